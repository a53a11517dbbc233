//! Our half of the speed comparison with numpy, scipy and the VQF library; `compare_speed.py`
//! beside this file runs both halves and prints the ratio.
//!
//! `cargo bench -p peakorder-daemon --bench reference -- --export FILE` writes the samples of
//! an hour of one virtual strap (little-endian f64: time s, gyroscope rad/s ×3, specific force m/s² ×3)
//! and prints our times as one line of JSON: processor time of one thread, best of five.

use nalgebra::Vector3;
use peakorder_motion::bias::BiasTracker;
use peakorder_motion::fuse::Reading;
use peakorder_motion::fuse::running::RunningFilter;
use peakorder_motion::pipeline::Pipeline;
use peakorder_motion::settings::{FilterKind, Settings};
use peakorder_protocol::Role;
use peakorder_protocol::log::Record;
use peakorder_protocol::session::Player;
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Sample, Script, SensorModel};
use std::hint::black_box;
use std::time::Instant;

const RATE_HZ: f64 = 208.0;

/// Seconds this thread has spent on a processor, where the system tells (Linux), so that
/// what else the machine does counts little; otherwise the time since `start`.
fn spent_s(start: Instant) -> f64 {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split_whitespace().next()?.parse::<f64>().ok())
        .map_or_else(|| start.elapsed().as_secs_f64(), |ns| ns * 1e-9)
}

/// Shortest of five runs, s of processor time.
fn best(mut work: impl FnMut()) -> f64 {
    (0..5)
        .map(|_| {
            let start = Instant::now();
            let from_s = spent_s(start);
            work();
            spent_s(start) - from_s
        })
        .fold(f64::INFINITY, f64::min)
}

/// Bias at rest and running filter over all samples, s.
fn bias_and_filter(samples: &[Sample], kind: FilterKind) -> f64 {
    let settings = Settings { filter: kind, ..Settings::default() };
    best(|| {
        let (mut bias, mut filter) = (BiasTracker::new(Role::Thorax), RunningFilter::new(&settings));
        for s in samples {
            let (gyro, acc) = (Vector3::from(s.gyro_rad_s), Vector3::from(s.accel_m_s2));
            bias.push(s.t_s, 1.0 / RATE_HZ, &gyro, &acc);
            filter.push(&Reading { gyro, bias: bias.bias(), acc, dt_s: 1.0 / RATE_HZ });
            black_box(filter.orientation());
        }
    })
}

fn main() {
    let Some(path) = std::env::args().skip_while(|a| a != "--export").nth(1) else {
        println!("this is half of a comparison: python3 daemon/benches/reference/compare_speed.py runs both");
        return;
    };
    let player = PlayerParams::drawn_from(Population::Amateur, 5);
    let options = PracticeOptions { pause_s: (15.0, 25.0), ..PracticeOptions::default() };
    let script = Script::practice(5, player, 125, &options);
    let meta = virtual_session(&script, "hour", Player::default(), "2026-01-01T00:00:00Z");
    let session = script.session();
    let samples: Vec<Sample> = session
        .ideal_samples(Role::Thorax, RATE_HZ, SensorModel::consumer())
        .take_while(|s| s.t_s < 3600.0)
        .collect();
    let mut bytes = Vec::with_capacity(samples.len() * 56);
    for s in &samples {
        let row = [s.t_s].into_iter().chain(s.gyro_rad_s).chain(s.accel_m_s2);
        bytes.extend(row.flat_map(f64::to_le_bytes));
    }
    std::fs::write(&path, bytes).unwrap_or_else(|e| panic!("{path}: {e}"));

    let records: Vec<Record> = session.records().take_while(|r| r.t_ns() < 3_600_000_000_000).collect();
    let mut straps_samples = 0;
    let whole_s = best(|| {
        let mut pipeline = Pipeline::new(&meta).expect("the session is valid");
        let mut out = Vec::new();
        for record in &records {
            pipeline.push(record, &mut out);
        }
        pipeline.finish(&mut out);
        straps_samples = pipeline.counts().map(|(_, c)| c.samples).sum();
        black_box(out.len());
    });
    println!(
        "{{\"samples\":{},\"madgwick_s\":{},\"vqf_s\":{},\"whole_samples\":{straps_samples},\"whole_s\":{whole_s}}}",
        samples.len(),
        bias_and_filter(&samples, FilterKind::Madgwick),
        bias_and_filter(&samples, FilterKind::Vqf),
    );
}
