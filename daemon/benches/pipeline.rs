//! Speed of each stage and of the whole, on one core.
//!
//! `cargo bench -p peakorder-daemon --bench pipeline`. The hour is a lesson of virtual straps,
//! three at 208 Hz, repeated to 3600 s of session time and held in memory.

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_daemon::source::replay::Replay;
use peakorder_motion::fuse::Reading;
use peakorder_motion::fuse::latched;
use peakorder_motion::fuse::running::RunningFilter;
use peakorder_motion::pipeline::Pipeline;
use peakorder_motion::settings::{FilterKind, Settings};
use peakorder_protocol::log::{LogWriter, Record};
use peakorder_protocol::profile::{Decoded, Decoder, Profile, SampleIs};
use peakorder_protocol::session::{Player, Session};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};
use std::hint::black_box;

/// An hour of three straps: records and their session.
fn hour() -> (Session, Vec<Record>) {
    let player = PlayerParams::drawn_from(Population::Amateur, 5);
    let options = PracticeOptions { pause_s: (15.0, 25.0), ..PracticeOptions::default() };
    let script = Script::practice(5, player, 125, &options);
    let session = virtual_session(&script, "hour", Player::default(), "2026-01-01T00:00:00Z");
    let records: Vec<Record> =
        script.session().records().take_while(|r| r.t_ns() < 3_600_000_000_000).collect();
    (session, records)
}

fn samples(records: &[Record]) -> u64 {
    // The reference packet carries four samples.
    4 * records.iter().filter(|r| matches!(r, Record::Arrival(_))).count() as u64
}

fn stages(c: &mut Criterion) {
    let (session, records) = hour();
    let seconds = records.last().map_or(0.0, |r| r.t_ns() as f64 * 1e-9);
    let n = samples(&records);
    println!("{seconds:.0} s of session time, {n} samples of three straps");

    let mut group = c.benchmark_group("hour");
    group.sample_size(10).throughput(Throughput::Elements(n));
    group.bench_function("decode", |b| {
        let profile = Profile::from_toml(&session.straps.values().next().expect("three straps").profile_toml)
            .expect("it is built in");
        b.iter(|| {
            let mut decoder = Decoder::new(&profile);
            let mut decoded = Decoded::default();
            let mut sum = 0.0;
            for record in &records {
                if let Record::Arrival(a) = record {
                    decoder.decode(a.channel, &a.bytes, &mut decoded).expect("virtual packets decode");
                    sum += decoded.samples[0].gyro[0];
                }
            }
            black_box(sum)
        });
    });
    group.bench_function("whole pipeline", |b| {
        b.iter_batched(
            || Pipeline::new(&session).expect("the session is valid"),
            |mut pipeline| {
                let mut out = Vec::new();
                for record in &records {
                    pipeline.push(record, &mut out);
                }
                pipeline.finish(&mut out);
                assert!(pipeline.swings() > 50, "{} swings", pipeline.swings());
                black_box(out.len())
            },
            BatchSize::LargeInput,
        );
    });
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("samples.log");
    let mut log = LogWriter::create(&path).expect("a new log");
    for batch in records.chunks(64) {
        log.append(batch).expect("disk has room");
    }
    log.finish().expect("disk has room");
    group.bench_function("replay from disk", |b| {
        b.iter(|| {
            let mut pipeline = Pipeline::new(&session).expect("the session is valid");
            let mut out = Vec::new();
            for record in Replay::open(&path).expect("the log is there") {
                pipeline.push(&record, &mut out);
            }
            pipeline.finish(&mut out);
            black_box(out.len())
        });
    });
    group.finish();

    let mut group = c.benchmark_group("step");
    let gyro = Vector3::new(0.3, -1.2, 0.7);
    let acc = Vector3::new(0.4, 9.7, 0.9);
    group.throughput(Throughput::Elements(1));
    for kind in [FilterKind::Madgwick, FilterKind::Mahony, FilterKind::Vqf] {
        group.bench_function(format!("running filter, {kind}"), |b| {
            let mut filter = RunningFilter::new(&Settings { filter: kind, ..Settings::default() });
            let reading = Reading { gyro, bias: Vector3::zeros(), acc, dt_s: 1.0 / 208.0 };
            b.iter(|| filter.push(black_box(&reading)));
        });
    }
    let times: Vec<f64> = (0..416).map(|i| f64::from(i) / 208.0).collect();
    let rates = vec![gyro; times.len()];
    group.throughput(Throughput::Elements(times.len() as u64));
    group.bench_function("latched integration, 2 s", |b| {
        b.iter(|| {
            black_box(latched::integrate(UnitQuaternion::identity(), &times, &rates, SampleIs::Instant).len())
        });
    });
    group.finish();
}

criterion_group!(benches, stages);
criterion_main!(benches);
