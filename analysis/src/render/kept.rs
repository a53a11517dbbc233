//! What lasted from lesson to lesson, as text.

use super::{Style, clean, ending, heading, wrap};
use crate::kept::Kept;
use crate::words;
use std::fmt::Write as _;

/// As text.
pub fn kept(kept: &Kept, style: Style) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", style.bold("What lasted from lesson to lesson"));
    wrap(&mut out, style, "", &clean(&kept.player));
    for why in &kept.left_out {
        wrap(&mut out, style, "  · ", &format!("Left out: {}", clean(why)));
    }
    for course in &kept.courses {
        heading(&mut out, style, &words::capital(&course.measure.label()), "");
        for line in words::kept::course(kept, course) {
            wrap(&mut out, style, "  · ", &clean(&line));
        }
    }
    if kept.courses.is_empty() {
        wrap(&mut out, style, "", "None of the numbers asked for was measured.");
    }
    heading(&mut out, style, "How to read this", "");
    wrap(
        &mut out,
        style,
        "  ",
        "What a lesson gained is its last block against its first, both in one wearing. What is left is the start of a lesson, before any \
         drill, against the start of the one before; putting the straps on anew and the player's days are in \
         those intervals, so they are wide until several lessons are there. Each number is for itself: nothing is corrected for looking at \
         several.",
    );
    ending(&mut out, style);
    out
}
