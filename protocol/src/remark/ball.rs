//! Whether a swing hit a ball, and whether it counts: what the straps felt, and what the coach says.

use super::Remarks;
use crate::swing::{Swing, SwingKind};

/// Whether a swing hit a ball, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ball {
    /// It did.
    Struck,
    /// It did not.
    Without,
    /// Neither straps nor coach say.
    Unknown,
}

/// Whether a swing counts in summaries, and if not, why.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing<'a> {
    /// It counts.
    Counts,
    /// The coach left it out, with the reason (may be empty).
    Excluded(&'a str),
    /// A rehearsal in a block that is not said to be without a ball.
    Rehearsal,
    /// Nobody says whether it hit a ball.
    Unsure,
    /// It hit a ball in a block that is without one.
    Struck,
    /// It would count, but its timing is unusable.
    Unusable,
}

impl Remarks {
    /// Whether a swing hit a ball. What the coach says of this one swing comes first, then what straps felt or
    /// would have felt, then what the coach says of the block.
    pub fn ball(&self, swing: &Swing) -> Ball {
        let said = self.swing(swing.number).and_then(|s| s.struck);
        match (said, swing.kind) {
            (Some(true), _) | (None, SwingKind::Strike) => Ball::Struck,
            (Some(false), _) | (None, SwingKind::Rehearsal) => Ball::Without,
            (None, SwingKind::Unsure) if self.balls.contains(&swing.block) => Ball::Struck,
            (None, SwingKind::Unsure) if self.without_ball(&swing.block) => Ball::Without,
            (None, SwingKind::Unsure) => Ball::Unknown,
        }
    }

    /// Whether a swing hit a ball, by what the straps felt or the coach says of it or of its block.
    pub fn struck(&self, swing: &Swing) -> bool {
        self.ball(swing) == Ball::Struck
    }

    /// Whether the block of that label is said to be without a ball.
    pub fn without_ball(&self, block: &str) -> bool {
        self.without_ball.contains(block)
    }

    /// Whether a swing counts in summaries: not left out, with a ball (or without one, in a block that is
    /// without), timed well enough. Swings with and without a ball are never counted together.
    pub fn standing(&self, swing: &Swing) -> Standing<'_> {
        if let Some(reason) = self.excluded(swing.number) {
            return Standing::Excluded(reason);
        }
        match (self.ball(swing), self.without_ball(&swing.block)) {
            (Ball::Unknown, _) => Standing::Unsure,
            (Ball::Without, false) => Standing::Rehearsal,
            (Ball::Struck, true) => Standing::Struck,
            (Ball::Struck, false) | (Ball::Without, true) if swing.quality.usable => Standing::Counts,
            (Ball::Struck, false) | (Ball::Without, true) => Standing::Unusable,
        }
    }

    /// Whether a swing counts in summaries; why not is its [`standing`](Self::standing).
    pub fn counts(&self, swing: &Swing) -> bool {
        self.standing(swing) == Standing::Counts
    }
}
