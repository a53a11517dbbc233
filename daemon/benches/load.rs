//! Sixty straps through one process: processor time, memory, and how long a packet waits.
//!
//! `cargo bench -p peakorder-daemon --bench load [-- --seconds N]`. A session has three straps
//! (pelvis, thorax, lead arm), so sixty are twenty sessions, each with its own engine, log and
//! files, fed in real time: 208 Hz, four samples a packet, 3120 packets a second together.
//! Every packet is handed over by itself, when it is due, as Bluetooth notifications come.

use peakorder_daemon::engine::{BATCHES, Engine, Recording};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::Record;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

const SESSIONS: usize = 20;

/// What one session saw.
#[derive(Default)]
struct Seen {
    /// Due to recorded and through the pipeline, seconds.
    delays_s: Vec<f64>,
    /// Of those, the ones after which a swing's numbers were out.
    swings_s: Vec<f64>,
    samples: u64,
}

fn main() {
    let seconds: f64 = std::env::args()
        .skip_while(|a| a != "--seconds")
        .nth(1)
        .map_or(Ok(60.0), |v| v.parse())
        .expect("--seconds takes a number");
    let player = PlayerParams::drawn_from(Population::Amateur, 5);
    let options = PracticeOptions { pause_s: (6.0, 10.0), ..PracticeOptions::default() };
    let script = Script::practice(5, player, 40, &options);
    let limit_ns = (seconds * 1e9) as u64;
    let records: Arc<Vec<Record>> =
        Arc::new(script.clone().session().records().take_while(|r| r.t_ns() < limit_ns).collect());
    let folder = tempfile::tempdir().expect("a temporary folder");
    let held_kb = memory_kb();
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let cpu_before_s = cpu_s();
    let began = Instant::now();
    let mut seen = Seen::default();
    let mut memory = held_kb;
    runtime.block_on(async {
        let mut tasks = Vec::new();
        for i in 0..SESSIONS {
            let dir = SessionDir::create(&folder.path().join(i.to_string()), false).expect("a new folder");
            let session =
                virtual_session(&script, &format!("load-{i}"), Player::default(), "2026-01-01T00:00:00Z");
            let engine = Engine::new(dir, session, Recording::Live).expect("the session is valid");
            let (to, from) = mpsc::channel(BATCHES);
            // Sessions do not move in step: swings fall where they may.
            let start = began + Duration::from_secs_f64(0.137 * i as f64);
            tasks.push((tokio::spawn(feed(records.clone(), start, to)), tokio::spawn(work(engine, from))));
        }
        for (feeder, worker) in tasks {
            feeder.await.expect("the feeder ends");
            let more = worker.await.expect("the session ends");
            memory = memory.max(memory_kb());
            seen.delays_s.extend(more.delays_s);
            seen.swings_s.extend(more.swings_s);
            seen.samples += more.samples;
        }
    });
    let took_s = began.elapsed().as_secs_f64();
    let cpu = (cpu_s() - cpu_before_s) / took_s;
    println!(
        "{} straps in {SESSIONS} sessions, {} packets and {} samples in {took_s:.0} s, {} swings",
        3 * SESSIONS,
        seen.delays_s.len(),
        seen.samples,
        seen.swings_s.len()
    );
    println!(
        "processor: {:.1} % of one core, {:.2} % a strap",
        cpu * 100.0,
        cpu * 100.0 / (3 * SESSIONS) as f64
    );
    println!(
        "memory: {:.1} MB resident, of which {:.1} MB before the sessions began (program and the packets held ready)",
        memory as f64 / 1e3,
        held_kb as f64 / 1e3
    );
    println!("packet due to recorded and computed: {}", quantiles(&mut seen.delays_s));
    println!("packet that completes a swing to its numbers out: {}", quantiles(&mut seen.swings_s));
}

/// Hands over each record when it is due.
async fn feed(records: Arc<Vec<Record>>, start: Instant, to: mpsc::Sender<(Instant, Record)>) {
    for record in records.iter() {
        let due = start + Duration::from_nanos(record.t_ns());
        tokio::time::sleep_until(due.into()).await;
        // The timer's own lateness (it ticks in milliseconds) is not the daemon's.
        if to.send((Instant::now().max(due), record.clone())).await.is_err() {
            return;
        }
    }
}

/// As the engine's own loop: raw bytes to disk, then through the pipeline.
async fn work(mut engine: Engine, mut from: mpsc::Receiver<(Instant, Record)>) -> Seen {
    let mut seen = Seen::default();
    let mut watch = engine.watch();
    while let Some((due, record)) = from.recv().await {
        engine.push(std::slice::from_ref(&record));
        let delay_s = due.elapsed().as_secs_f64();
        seen.delays_s.push(delay_s);
        while let Ok(event) = watch.try_recv() {
            if matches!(event, LiveEvent::Swing { .. }) {
                seen.swings_s.push(delay_s);
            }
        }
    }
    let (_, summary) = engine.finish().expect("disk has room");
    seen.samples = summary.samples;
    seen
}

fn quantiles(values: &mut [f64]) -> String {
    values.sort_by(f64::total_cmp);
    let at = |q: f64| {
        values.get(((values.len().max(1) - 1) as f64 * q).round() as usize).map_or(f64::NAN, |v| v * 1e3)
    };
    format!("median {:.2} ms, 99th percentile {:.2} ms, largest {:.2} ms", at(0.5), at(0.99), at(1.0))
}

/// Processor time of this process so far, seconds (Linux; elsewhere not a number).
fn cpu_s() -> f64 {
    // Fields 14 and 15 after the name in brackets, in ticks of 1/100 s (proc(5)).
    std::fs::read_to_string("/proc/self/stat")
        .ok()
        .and_then(|text| {
            let fields: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
            let user: f64 = fields.get(11)?.parse().ok()?;
            let system: f64 = fields.get(12)?.parse().ok()?;
            Some((user + system) / 100.0)
        })
        .unwrap_or(f64::NAN)
}

/// Resident memory, kB (Linux; elsewhere 0).
fn memory_kb() -> u64 {
    std::fs::read_to_string("/proc/self/status")
        .ok()
        .and_then(|text| {
            let line = text.lines().find(|l| l.starts_with("VmRSS"))?;
            line.split_whitespace().nth(1)?.parse().ok()
        })
        .unwrap_or(0)
}
