//! Whether a session's records are still taken and handed on.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// The loop beats five times a second, also on a busy computer. One that has been still for so long hangs; own judgement.
const STILL: Duration = Duration::from_secs(10);

/// Beats with every turn of the loop that hands records to the recorder and to the computation. Neither a disk nor a long
/// computation can hold that loop up, so one that no longer beats hangs for good. The end of a session, where the disk is
/// waited for, counts as going on.
#[derive(Debug, Default)]
pub struct Pulse {
    beats: AtomicU64,
    closing: AtomicBool,
    waiting: AtomicUsize,
}

impl Pulse {
    /// Beats so far; `None` while the session is being closed.
    pub fn beats(&self) -> Option<u64> {
        (!self.closing.load(Ordering::Relaxed)).then(|| self.beats.load(Ordering::Relaxed))
    }

    /// Batches that waited for the computation at the last beat.
    pub fn waiting(&self) -> usize {
        self.waiting.load(Ordering::Relaxed)
    }

    pub(super) fn beat(&self, waiting: usize) {
        self.waiting.store(waiting, Ordering::Relaxed);
        self.beats.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn close(&self) {
        self.closing.store(true, Ordering::Relaxed);
    }
}

/// When a session was last seen to go on.
#[derive(Debug)]
pub struct PulseWatch {
    pulse: Arc<Pulse>,
    beats: u64,
    at: Instant,
}

impl PulseWatch {
    /// Watches from `now` on.
    pub fn new(pulse: Arc<Pulse>, now: Instant) -> Self {
        Self { pulse, beats: 0, at: now }
    }

    /// What is watched.
    pub fn pulse(&self) -> &Pulse {
        &self.pulse
    }

    /// Whether the session goes on at `now`; to be asked every few seconds.
    pub fn goes_on(&mut self, now: Instant) -> bool {
        let beats = self.pulse.beats();
        if beats != Some(self.beats) {
            (self.beats, self.at) = (beats.unwrap_or(self.beats), now);
        }
        now.duration_since(self.at) < STILL
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loop_that_no_longer_beats_is_noticed_and_one_that_closes_is_left_alone() {
        let start = Instant::now();
        let at = |s: u64| start + Duration::from_secs(s);
        let pulse = Arc::new(Pulse::default());
        let mut watch = PulseWatch::new(Arc::clone(&pulse), start);
        assert!(watch.goes_on(at(9)), "it may need a while to begin");
        pulse.beat(0);
        assert!(watch.goes_on(at(11)));
        assert!(watch.goes_on(at(20)) && !watch.goes_on(at(21)), "ten seconds without a beat");
        pulse.beat(0);
        assert!(watch.goes_on(at(22)), "it was only late");
        pulse.close();
        assert!([40, 60, 600].iter().all(|s| watch.goes_on(at(*s))), "the disk may take its time at the end");
    }
}
