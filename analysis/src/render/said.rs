//! What the coach says of a lesson and of its swings.

use super::{Style, clean, wrap};
use crate::words;
use peakorder_protocol::remark::{Remarks, SwingRemarks};
use peakorder_protocol::swing::Swing;

/// Appends the notes of the lesson and the targets set in it.
pub(super) fn lesson(out: &mut String, style: Style, remarks: &Remarks) {
    for note in &remarks.notes {
        wrap(out, style, "Note   ", &clean(&note.text));
    }
    for target in remarks.targets.iter().filter_map(|t| t.target.as_ref()) {
        let block = if target.block.is_empty() { "" } else { &format!(" (block {})", clean(&target.block)) };
        wrap(out, style, "Target ", &format!("{}{block}", clean(&target.words)));
    }
}

/// Appends a line for every swing that something is said of.
pub(super) fn swings(out: &mut String, style: Style, swings: &[&Swing], remarks: &Remarks) {
    let said: Vec<(u32, &SwingRemarks)> =
        swings.iter().filter_map(|s| Some((s.number, remarks.swing(s.number)?))).collect();
    if !said.is_empty() {
        out.push('\n');
    }
    for (number, said) in said {
        wrap(out, style, "  · ", &format!("{number}: {}", one(said)));
    }
}

/// What is said of one swing, in one line.
pub(crate) fn one(said: &SwingRemarks) -> String {
    let mut parts = Vec::new();
    if said.excluded {
        let reason =
            if said.reason.is_empty() { String::new() } else { format!(" ({})", clean(&said.reason)) };
        parts.push(format!("left out by the coach{reason}"));
    }
    if let Some(struck) = said.struck {
        parts.push(words::ball::said(struck).into());
    }
    if !said.labels.is_empty() {
        parts.push(format!("ball {}", clean(&said.labels.join(", "))));
    }
    if !said.note.is_empty() {
        parts.push(clean(&said.note));
    }
    parts.join("; ")
}
