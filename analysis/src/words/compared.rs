//! What a comparison says of one measure beside its verdict.

use super::amount;
use crate::compare::{How, Row};

/// The smallest change that matters, and whose it is.
pub fn matters(row: &Row) -> String {
    let Some(size) = row.matters else { return String::new() };
    let whose = if row.matters_named {
        "as the coach said"
    } else if row.spread.is_some_and(|s| 0.2 * s >= size) {
        "a fifth of the ordinary spread, by convention"
    } else {
        "what one swing's measurement is unsure by"
    };
    format!("The smallest change that matters is {} ({whose}).", amount(row.measure, size))
}

/// What it would take to tell; `None` where that is not known.
pub fn more(row: &Row) -> Option<String> {
    let more = row.more?;
    let size = amount(row.measure, more.change);
    let size = if more.named {
        format!("a change of {size} (the smallest that matters)")
    } else {
        format!("a change as large as the ordinary spread ({size})")
    };
    Some(match more.how {
        How::Swings(n) => {
            format!("About {n} more swings a block would show {size} in 8 cases of 10.")
        }
        How::Enough => format!("So many swings show {size} in 8 cases of 10; smaller ones take more."),
        How::Return => format!(
            "More swings in this order would not show {size}: go back to the old way for a few swings, or swing old and new in \
             short blocks in turn."
        ),
        How::Lessons => format!(
            "More swings alone would not show {size}, for putting the straps on anew shifts about as much; more lessons \
             would, or a check with the straps put on anew."
        ),
        How::TooSmall => format!("It takes more swings than a lesson has to show {size}."),
    })
}

/// How swings depended on one another; `None` between wearings.
pub fn dependence(row: &Row) -> Option<String> {
    let d = row.dependence?;
    let (low, high) = d.correlation_interval;
    Some(format!(
        "{}: neighbouring swings correlate by {:.1} ({low:.1} to {high:.1}), drift over these swings {} (± {}, 95 %).",
        row.measure.label(),
        d.correlation,
        row.measure.unit().after(&crate::render::number(d.drift, row.measure.decimals(), true)),
        crate::render::number(crate::stats::Z95 * d.drift_sd, row.measure.decimals(), false),
    ))
}
