//! Is the daemon alive, and what is it doing? For the service manager.

use super::{Hub, RunningLesson};
use peakorder_analysis::words::plural;
use std::time::Instant;

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
