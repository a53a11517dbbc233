//! What it would take to tell: how many more swings, or that swings alone will not do.

use super::ALPHA;
use crate::design::Design;
use crate::stats::{Change, Rule, t_quantile};

/// A change that is there is to be found so often.
pub const POWER: f64 = 0.8;

/// More swings than this in a block are nobody's lesson.
const MOST: usize = 60;

/// What it would take to find a change of a stated size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct More {
    /// The change, in the measure's unit.
    pub change: f64,
    /// Whether the coach named it; otherwise it is the player's ordinary spread.
    pub named: bool,
    /// How.
    pub how: How,
}

/// How it could be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// So many more swings in each block.
    Swings(usize),
    /// As many swings as there are would do: it is simply not there, or was missed this time.
    Enough,
    /// Not by more swings in this order: the old way has to be gone back to.
    Return,
    /// Not by more swings, but by more lessons or by a check with the straps put on anew.
    Lessons,
    /// Not in one lesson.
    TooSmall,
}

/// Standard errors that a change must have to be found [`POWER`] of the time, with a level shared by `family` measures.
fn needed(family: usize, df: f64) -> Option<f64> {
    let alpha = ALPHA / family.max(1) as f64;
    Some(t_quantile(1.0 - alpha / 2.0, df)? + t_quantile(POWER, df)?)
}

/// Within a wearing.
pub(super) fn within(design: &Design, change: &Change, size: f64, family: usize) -> Option<How> {
    let rule = Rule::standard();
    let found = |sides: &[bool]| {
        let se = change.expected_standard_error(sides, &rule)?;
        Some(needed(family, sides.len() as f64 - 2.0)? * se <= size)
    };
    if found(&design.longer(0))? {
        return Some(How::Enough);
    }
    // More swings never tell less, so halving finds the fewest.
    if found(&design.longer(MOST))? {
        let (mut low, mut high) = (0, MOST);
        while high - low > 1 {
            let middle = usize::midpoint(low, high);
            if found(&design.longer(middle))? { high = middle } else { low = middle }
        }
        return Some(How::Swings(high));
    }
    Some(if design.returns() { How::TooSmall } else { How::Return })
}

/// Between wearings: `within` is the variance that swings leave in the difference, `shared` what more swings do not
/// average away; `n` swings in the later block.
pub(super) fn between(within: f64, shared: f64, df: f64, n: usize, size: f64, family: usize) -> Option<How> {
    let most = (size / needed(family, df)?).powi(2);
    if within + shared <= most {
        return Some(How::Enough);
    }
    if shared >= most {
        return Some(How::Lessons);
    }
    let factor = within / (most - shared);
    let more = (n as f64 * (factor - 1.0)).ceil() as usize;
    Some(if more <= MOST { How::Swings(more.max(1)) } else { How::Lessons })
}
