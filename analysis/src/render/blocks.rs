//! What two blocks are compared in besides their measures, and swings unlike the others of their block.

use super::{Style, clean, heading, mark, wrap};
use crate::compare::Comparison;
use crate::curves::CurveChange;
use crate::order_change::{OrderChange, OrderVerdict};
use crate::outliers::{Flag, by_swing, in_words};

/// Appends whether the orders differ, and in which pairs.
pub(super) fn order_change(out: &mut String, style: Style, change: &OrderChange) {
    out.push('\n');
    wrap(out, style, "", &change.sentence());
    for sentence in change.pair_sentences() {
        wrap(out, style, "  · ", &sentence);
    }
    if change.verdict != OrderVerdict::CannotJudge {
        wrap(out, style, "", change.presumes());
    }
}

/// Appends the swings of both sides that are unlike the others of their block.
pub(super) fn unlike(out: &mut String, style: Style, comparison: &Comparison) {
    let sides = [("before", &comparison.before), ("after", &comparison.after)];
    if sides.iter().any(|(_, side)| !side.unlike.is_empty()) {
        out.push('\n');
    }
    for (word, side) in sides {
        for (number, flags) in by_swing(&side.unlike) {
            wrap(out, style, "  ! ", &format!("swing {number}, {word}: {}", line(flags)));
        }
    }
}

/// Appends the swings of one block that are unlike its others.
pub(super) fn unlike_in_block(out: &mut String, style: Style, flags: &[Flag]) {
    if !flags.is_empty() {
        out.push('\n');
    }
    for (number, flags) in by_swing(flags) {
        wrap(out, style, "  ! ", &format!("{number}: {}", line(flags)));
    }
}

fn line(flags: &[Flag]) -> String {
    format!("unlike the block's other swings, and counted: {}.", in_words(flags))
}

/// Appends where along the swing the curves differ.
pub(super) fn curve_change(out: &mut String, style: Style, change: &CurveChange) {
    heading(out, style, "Curves", "where along the swing before and after differ");
    for pair in &change.curves {
        for sentence in pair.sentences() {
            wrap(out, style, &format!("  {} ", mark(pair.curve.role)), &sentence);
        }
    }
    out.push('\n');
    wrap(out, style, "", &change.method());
    for note in change.notes() {
        wrap(out, style, "  · ", &clean(&note));
    }
    if change.curves.len() > 1 {
        wrap(
            out,
            style,
            "  · ",
            "Fewer curves show more: name those that were meant beforehand (--curves=KEY,KEY).",
        );
    }
}
