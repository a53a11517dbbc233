//! Is the daemon alive, and what is it doing? For the service manager.

use super::{Hub, RunningLesson};
use crate::engine::Pulse;
use peakorder_analysis::words::plural;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The loop that takes a lesson's records beats five times a second, also on a busy computer. One that has been still for
/// so long hangs; own judgement.
const STILL: Duration = Duration::from_secs(10);
/// From this share of the memory for what waits on, the disk is said to be behind; as on the page.
const BEHIND: f64 = 0.01;

/// How the daemon is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Health {
    /// The running lesson's records are taken, or no lesson runs.
    pub goes_on: bool,
    /// What it does, without names.
    pub doing: String,
}

/// When a lesson's engine was last seen to go on.
#[derive(Debug)]
pub(super) struct Watched {
    pulse: Arc<Pulse>,
    beats: u64,
    at: Instant,
}

impl Watched {
    pub(super) fn new(pulse: Arc<Pulse>, now: Instant) -> Self {
        Self { pulse, beats: 0, at: now }
    }

    pub(super) fn pulse(&self) -> &Pulse {
        &self.pulse
    }

    fn goes_on(&mut self, now: Instant) -> bool {
        let beats = self.pulse.beats();
        if beats != Some(self.beats) {
            (self.beats, self.at) = (beats.unwrap_or(self.beats), now);
        }
        now.duration_since(self.at) < STILL
    }
}

impl Hub {
    /// How the daemon is at `now`. It takes the lock, and so shows that the lock can be had.
    pub fn health(&self, now: Instant) -> Health {
        self.with_lesson(|lesson| Health {
            goes_on: lesson.watched.as_mut().is_none_or(|w| w.goes_on(now)),
            doing: doing(lesson),
        })
        .unwrap_or_else(|| Health { goes_on: true, doing: "Idle; no lesson is running.".into() })
    }
}

fn doing(lesson: &RunningLesson) -> String {
    let [connected, straps] = lesson.straps.connected();
    let swings = plural(lesson.swings() as usize, "swing");
    let behind = if lesson.backlog() >= BEHIND { ", the disk is behind" } else { "" };
    format!("Lesson of {swings} running, {connected} of {} connected{behind}.", plural(straps, "strap"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_engine_that_no_longer_beats_is_noticed_and_one_that_closes_is_left_alone() {
        let start = Instant::now();
        let at = |s: u64| start + Duration::from_secs(s);
        let pulse = Arc::new(Pulse::default());
        let mut watched = Watched::new(Arc::clone(&pulse), start);
        assert!(watched.goes_on(at(9)), "it may need a while to begin");
        pulse.beat(0);
        assert!(watched.goes_on(at(11)));
        assert!(watched.goes_on(at(20)) && !watched.goes_on(at(21)), "ten seconds without a beat");
        pulse.beat(0);
        assert!(watched.goes_on(at(22)), "it was only late");
        pulse.close();
        assert!([40, 60, 600].iter().all(|s| watched.goes_on(at(*s))), "the disk may take its time at the end");
    }
}
