//! How two blocks lie in a lesson: one after the other, with a return, or alternating.
//!
//! What can be concluded depends on it. A player who settles in or tires differs from before to after by that alone;
//! blocks that return or alternate tell a drill from a drift.

use crate::stats::Deals;

/// The order in which the swings of two sides were made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Layout {
    /// All swings of one side, then all of the other.
    OneAfterTheOther,
    /// Some swings are on both sides.
    Overlapping,
    /// The sides come from two sessions.
    TwoSessions,
    /// A side returns after the other, in so many runs: A–B–A, A–B–A–B.
    Returning {
        /// Runs of swings of one side.
        runs: usize,
        /// Whether there are enough runs for a test that deals them out whole to find anything (p below 0.05).
        enough: bool,
    },
}

/// Swings of both sides in the order made, and the layout.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arranged {
    /// Number of the swing in its session, and whether it is of the second side.
    pub swings: Vec<(u32, bool)>,
    /// The layout.
    pub layout: Layout,
}

impl Arranged {
    /// Of the numbers of both sides' swings.
    pub fn of(before: &[u32], after: &[u32], same_session: bool) -> Self {
        let mut swings: Vec<(u32, bool)> = before.iter().map(|n| (*n, false)).collect();
        swings.extend(after.iter().map(|n| (*n, true)));
        if !same_session {
            return Self { swings, layout: Layout::TwoSessions };
        }
        swings.sort_unstable();
        let sides: Vec<bool> = swings.iter().map(|s| s.1).collect();
        let layout = if swings.windows(2).any(|w| w[0].0 == w[1].0) {
            Layout::Overlapping
        } else {
            match sides.chunk_by(|a, b| a == b).count() {
                0..=2 => Layout::OneAfterTheOther,
                runs => Layout::Returning {
                    runs,
                    enough: Deals::of_runs(&sides).least_p() < crate::compare::ALPHA,
                },
            }
        };
        Self { swings, layout }
    }

    /// Sides in the order made.
    pub fn sides(&self) -> Vec<bool> {
        self.swings.iter().map(|s| s.1).collect()
    }

    /// What a permutation test deals out: whole runs where that can find anything, else single swings.
    pub fn deals(&self) -> Deals {
        match self.layout {
            Layout::Returning { enough: true, .. } => Deals::of_runs(&self.sides()),
            _ => Deals::of_swings(&self.sides()),
        }
    }

    /// Whether whole runs are dealt out.
    pub const fn by_runs(&self) -> bool {
        matches!(self.layout, Layout::Returning { enough: true, .. })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(text: &str, side: char) -> Vec<u32> {
        (1..).zip(text.chars()).filter(|(_, c)| *c == side).map(|(n, _)| n).collect()
    }

    fn layout(text: &str) -> Layout {
        Arranged::of(&numbers(text, 'A'), &numbers(text, 'B'), true).layout
    }

    #[test]
    fn layouts_are_told_by_the_numbers() {
        assert_eq!(layout("AAAABBBB"), Layout::OneAfterTheOther);
        // What lies between, here a drill, makes no run.
        assert_eq!(layout("AAA...AA...BBB"), Layout::OneAfterTheOther);
        assert_eq!(layout("AAABBBAAA"), Layout::Returning { runs: 3, enough: false });
        // 5 runs can be dealt in 10 ways: no p below 0.1.
        assert_eq!(layout("AAAABBBBAAAABBBBAAAA"), Layout::Returning { runs: 5, enough: false });
        // 8 runs in 70 ways, each with a twin: p from 2/70.
        assert_eq!(layout("AABBAABBAABBAABB"), Layout::Returning { runs: 8, enough: true });
        assert_eq!(Arranged::of(&[1, 2, 3], &[3, 4], true).layout, Layout::Overlapping);
        let two = Arranged::of(&[4, 5], &[1, 2], false);
        assert_eq!(two.layout, Layout::TwoSessions);
        assert_eq!(two.swings, [(4, false), (5, false), (1, true), (2, true)]);
    }
}
