//! Whether a swing hit a ball, who says so, and whether it counts.

use peakorder_protocol::remark::{Ball, Remarks, Standing};
use peakorder_protocol::swing::{Swing, SwingKind};

/// What the coach says of one swing.
pub const fn said(struck: bool) -> &'static str {
    if struck { "hit a ball, as the coach says" } else { "without a ball, as the coach says" }
}

/// What a swing was, by whom, and whether it is left out for that: `strike`,
/// `rehearsal (left out of the statistics)`.
pub fn of_swing(swing: &Swing, remarks: &Remarks) -> String {
    let by_word = remarks.swing(swing.number).and_then(|s| s.struck);
    let what = match (by_word, swing.kind, remarks.ball(swing)) {
        (Some(struck), ..) => said(struck),
        (None, SwingKind::Strike, _) => "strike",
        (None, SwingKind::Rehearsal, _) => "rehearsal",
        (None, SwingKind::Unsure, Ball::Struck) => "strike, as the coach says of the block",
        (None, SwingKind::Unsure, Ball::Without) => "without a ball, as the coach says of the block",
        (None, SwingKind::Unsure, Ball::Unknown) => "strike or rehearsal: not known",
    };
    match remarks.standing(swing) {
        Standing::Rehearsal | Standing::Unsure => format!("{what} (left out of the statistics)"),
        Standing::Struck => format!("{what} (left out of the statistics: the block is without a ball)"),
        Standing::Counts | Standing::Excluded(_) | Standing::Unusable => what.into(),
    }
}

/// The same in a word or two, for a column.
pub fn in_column(swing: &Swing, remarks: &Remarks) -> &'static str {
    match remarks.standing(swing) {
        Standing::Counts if remarks.struck(swing) => "strike",
        Standing::Counts => "no ball",
        Standing::Excluded(_) => "left out",
        Standing::Rehearsal => "rehearsal",
        Standing::Unsure => "unsure",
        Standing::Struck => "hit, out",
        Standing::Unusable => "unusable",
    }
}

/// What the coach says of a block's swings and balls, if anything.
pub fn of_block(remarks: &Remarks, label: &str) -> Option<&'static str> {
    if remarks.without_ball(label) {
        Some("without a ball, as the coach says")
    } else if remarks.balls.contains(label) {
        Some("every swing hits a ball, as the coach says")
    } else {
        None
    }
}

/// What is to be known where one of two blocks is without a ball and the other is not; `None` where they
/// are alike. `without`: (the block before, the block after).
pub const fn unlike(without: (bool, bool)) -> Option<&'static str> {
    match without {
        (true, false) => Some(
            "The swings before are without a ball, those after with one: a difference may be the ball's, and \
             impact before is estimated from the motion.",
        ),
        (false, true) => Some(
            "The swings before are with a ball, those after without one: a difference may be the ball's, and \
             impact after is estimated from the motion.",
        ),
        _ => None,
    }
}
