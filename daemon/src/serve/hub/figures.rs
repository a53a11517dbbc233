//! What an operator counts: totals of this run of the program, and how the running lesson stands. No names, no addresses.

use super::{Hub, Inner, RunningLesson};
use crate::recorder::Backlog;
use peakorder_protocol::Role;

/// Totals since the program began.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Totals {
    /// Lessons begun or continued.
    pub lessons: u64,
    /// Swings measured.
    pub swings: u64,
    /// Repetitions of drills measured.
    pub repetitions: u64,
    /// Troubles of the recording or the computation.
    pub troubles: u64,
    /// Bytes of records in the lessons' logs.
    pub recorded_bytes: u64,
    /// Samples that came in, by the index of their strap's role.
    pub samples: [u64; 3],
    /// Samples missing by the straps' own count.
    pub lost: [u64; 3],
}

impl Totals {
    fn each(self, other: Self, f: impl Fn(u64, u64) -> u64) -> Self {
        let three = |a: [u64; 3], b: [u64; 3]| [f(a[0], b[0]), f(a[1], b[1]), f(a[2], b[2])];
        Self {
            lessons: f(self.lessons, other.lessons),
            swings: f(self.swings, other.swings),
            repetitions: f(self.repetitions, other.repetitions),
            troubles: f(self.troubles, other.troubles),
            recorded_bytes: f(self.recorded_bytes, other.recorded_bytes),
            samples: three(self.samples, other.samples),
            lost: three(self.lost, other.lost),
        }
    }

    /// Both together.
    pub(super) fn plus(self, other: Self) -> Self {
        self.each(other, |a, b| a + b)
    }

    /// What came since.
    pub(super) fn since(self, before: Self) -> Self {
        self.each(before, u64::saturating_sub)
    }
}

/// A strap of the running lesson.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrapFigures {
    /// Where it is worn.
    pub role: Role,
    /// Its link is up.
    pub connected: bool,
    /// Battery level, percent, once it was told.
    pub battery_percent: Option<f64>,
    /// Standard uncertainty of its clock's offset, s; absent while it settles.
    pub clock_sd_s: Option<f64>,
}

/// What waits in the running lesson.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Running {
    /// Its straps.
    pub straps: Vec<StrapFigures>,
    /// Bytes of records that are not safe on the disk yet, roughly.
    pub backlog_bytes: usize,
    /// Batches that wait for the computation.
    pub batches: usize,
}

/// Everything, of one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Since the program began.
    pub totals: Totals,
    /// The running lesson.
    pub running: Option<Running>,
}

impl Hub {
    /// How it stands now. The lock is held while a few numbers are copied.
    pub fn figures(&self) -> Figures {
        let inner = self.lock();
        let Inner { ended, lesson, .. } = &*inner;
        let totals = ended.plus(lesson.as_ref().map(RunningLesson::totals).unwrap_or_default());
        Figures { totals, running: lesson.as_ref().map(RunningLesson::figures) }
    }
}

impl RunningLesson {
    /// What has come of it in this run of the program.
    pub(super) fn totals(&self) -> Totals {
        let (samples, lost) = self.straps.counts();
        let now = Totals {
            lessons: 1,
            swings: u64::from(self.swings()),
            repetitions: self.state.repetitions().len() as u64,
            troubles: self.troubles,
            recorded_bytes: self.backlog.as_ref().map_or(0, |b| b.recorded_bytes()),
            samples,
            lost,
        };
        now.since(self.before)
    }

    fn figures(&self) -> Running {
        Running {
            straps: self.straps.figures(),
            backlog_bytes: self.backlog.as_ref().map_or(0, |b| Backlog::bytes(b)),
            batches: self.watched.as_ref().map_or(0, |w| w.pulse().waiting()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn totals_grow_by_what_came_and_never_fall() {
        let before = Totals { swings: 5, samples: [100, 0, 0], ..Totals::default() };
        let now =
            Totals { lessons: 1, swings: 7, samples: [160, 50, 0], lost: [1, 2, 3], ..Totals::default() };
        let came = now.since(before);
        assert_eq!((came.lessons, came.swings, came.samples, came.lost), (1, 2, [60, 50, 0], [1, 2, 3]));
        assert_eq!(before.since(now), Totals::default());
        assert_eq!(before.plus(came).swings, 7);
    }
}
