//! Playing records at a chosen speed.

use peakorder_protocol::UnknownWord;
use peakorder_protocol::log::Record;
use std::str::FromStr;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

/// How fast recorded or simulated time goes by.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Speed {
    /// As fast as the machine can.
    #[default]
    Max,
    /// This many times real time.
    Times(f64),
}

impl FromStr for Speed {
    type Err = UnknownWord;

    fn from_str(s: &str) -> Result<Self, Self::Err> {
        if s == "max" {
            return Ok(Self::Max);
        }
        match s.parse::<f64>() {
            Ok(v) if v.is_finite() && v > 0.0 => Ok(Self::Times(v)),
            _ => Err(UnknownWord::new(s, "a speed", "max or a number above 0 (1 = real time)")),
        }
    }
}

/// Records handed over at once when there is no pace to keep.
const BATCH: usize = 64;

/// A pause is cut into pieces this long, so that the end of the session ends it.
const CHECK_EVERY: Duration = Duration::from_millis(100);

/// Waits until `due`; false when nobody listens any more.
fn wait_until(due: Instant, to: &mpsc::Sender<Vec<Record>>) -> bool {
    loop {
        if to.is_closed() {
            return false;
        }
        let left = due.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return true;
        }
        std::thread::sleep(left.min(CHECK_EVERY));
    }
}

/// Sends `records` at `speed`, blocking this thread; stops early when nobody listens.
/// `progress` is told the session time.
pub fn play(
    records: impl Iterator<Item = Record>,
    speed: Speed,
    to: &mpsc::Sender<Vec<Record>>,
    progress: impl FnMut(f64),
) {
    play_from(0.0, records, speed, to, progress);
}

/// The same for records that begin at session time `from_s`.
pub fn play_from(
    from_s: f64,
    records: impl Iterator<Item = Record>,
    speed: Speed,
    to: &mpsc::Sender<Vec<Record>>,
    mut progress: impl FnMut(f64),
) {
    let start = Instant::now();
    let mut batch = Vec::with_capacity(BATCH);
    for record in records {
        let t_s = record.t_ns() as f64 * 1e-9;
        if let Speed::Times(times) = speed {
            let due = start + Duration::from_secs_f64((t_s - from_s).max(0.0) / times);
            let now = Instant::now();
            if due > now {
                if !batch.is_empty() && to.blocking_send(std::mem::take(&mut batch)).is_err() {
                    return;
                }
                if !wait_until(due, to) {
                    return;
                }
            }
        }
        batch.push(record);
        if batch.len() >= BATCH {
            progress(t_s);
            if to.blocking_send(std::mem::replace(&mut batch, Vec::with_capacity(BATCH))).is_err() {
                return;
            }
        }
    }
    if !batch.is_empty() {
        let _ = to.blocking_send(batch);
    }
}
