//! The order in which old and new way were swung, and what each order can show.

use crate::words::plural;

/// Swings of two sides in the order made, as runs: whether it is the later side, and how many.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Design {
    /// Runs, no two of one side in a row.
    pub runs: Vec<(bool, usize)>,
}

impl Design {
    /// Of the sides in the order made.
    pub fn of(after: &[bool]) -> Self {
        let mut runs: Vec<(bool, usize)> = Vec::new();
        for &side in after {
            match runs.last_mut() {
                Some((last, n)) if *last == side => *n += 1,
                _ => runs.push((side, 1)),
            }
        }
        Self { runs }
    }

    /// The sides again, every run with `more` swings added.
    pub fn longer(&self, more: usize) -> Vec<bool> {
        self.runs.iter().flat_map(|&(side, n)| std::iter::repeat_n(side, n + more)).collect()
    }

    /// Whether the old way was gone back to after the new one, or the other way round.
    pub fn returns(&self) -> bool {
        self.runs.len() > 2
    }

    /// `8 before, 8 after`; `6 before, 8 after, 6 before`.
    pub fn text(&self) -> String {
        let runs: Vec<String> = self
            .runs
            .iter()
            .map(|(after, n)| format!("{n} {}", if *after { "after" } else { "before" }))
            .collect();
        runs.join(", ")
    }

    /// What this order can and cannot show.
    pub fn says(&self) -> &'static str {
        if self.returns() {
            "Old and new way were swung in turn, so a drift over the lesson cancels. This shows what can be \
             switched on and off; what stays of a new way is understated, and whether it lasts only the next \
             lesson shows."
        } else {
            "The old way was not gone back to, so a drift over the lesson looks like a change; the interval \
             allows for a drift of about three quarters of the ordinary spread. A few swings the old way at \
             the end, or short blocks in turn, show more with as many swings."
        }
    }
}

/// An order of blocks that may be proposed when a lesson is set up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proposal {
    /// Stable name for programs.
    pub key: &'static str,
    /// Sizes of the blocks, before and after in turn.
    pub blocks: &'static [usize],
    /// Change that is found eight times in ten if it is the one meant, in spreads of the player's swings (SD);
    /// with three meant, and with five. Measured by the bench `promise` at correlations of 0 and 0.4, the larger.
    pub found: [f64; 3],
}

/// Orders in common use and better ones, the fewest swings first. `found` is measured (`benches/promise/PROMISE.md`; a test compares them).
pub const PROPOSALS: [Proposal; 5] = [
    Proposal { key: "8-8", blocks: &[8, 8], found: [2.7, 3.4, 3.8] },
    Proposal { key: "6-8-6", blocks: &[6, 8, 6], found: [2.0, 2.4, 2.6] },
    Proposal { key: "4-4-4-4-4", blocks: &[4, 4, 4, 4, 4], found: [1.7, 2.1, 2.2] },
    Proposal { key: "4-4-4-4-4-4-4-4", blocks: &[4; 8], found: [1.3, 1.5, 1.6] },
    Proposal { key: "20-20", blocks: &[20, 20], found: [1.9, 2.3, 2.5] },
];

impl Proposal {
    /// Swings in all.
    pub fn swings(&self) -> usize {
        self.blocks.iter().sum()
    }

    /// The sides in the order made.
    pub fn sides(&self) -> Vec<bool> {
        self.blocks.iter().enumerate().flat_map(|(i, &n)| std::iter::repeat_n(i % 2 == 1, n)).collect()
    }

    /// `20 swings, in blocks of 4: old, new, old, new, old`.
    pub fn words(&self) -> String {
        let ways: Vec<String> = self
            .blocks
            .iter()
            .enumerate()
            .map(|(i, n)| format!("{n} the {} way", if i % 2 == 0 { "old" } else { "new" }))
            .collect();
        let even = self.blocks.iter().all(|n| *n == self.blocks[0]) && self.blocks.len() > 2;
        if even {
            format!(
                "{} in {} blocks of {}, old and new way in turn",
                plural(self.swings(), "swing"),
                self.blocks.len(),
                self.blocks[0]
            )
        } else {
            format!("{}: {}", plural(self.swings(), "swing"), ways.join(", "))
        }
    }

    /// What is found eight times in ten with so many measures meant, in spreads.
    pub fn found_with(&self, measures: usize) -> f64 {
        match measures {
            0 | 1 => self.found[0],
            2 | 3 => self.found[1],
            _ => self.found[2],
        }
    }
}
