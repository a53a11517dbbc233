//! In which order to swing, and what it can show.

use super::table::{Align, Table};
use super::{Style, clean, ending, heading, number, wrap};
use crate::design::{PROPOSALS, Proposal};
use crate::load::Loaded;
use crate::measure::Measure;
use crate::summary::{MeasureSummary, summarise};
use crate::words::plural;
use peakorder_protocol::swing::Swing;
use std::fmt::Write as _;

/// The orders with the changes they find if so many measures are meant; with a session's block, in the player's own numbers.
pub fn plan(measures: &[Measure], count: usize, block: Option<&Loaded>, style: Style) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", style.bold("In which order to swing"));
    let text = format!(
        "Found 8 times in 10 with {} meant, by simulation (PROMISE.md); the ordinary spread is the standard deviation from swing to swing.",
        plural(count, "measure")
    );
    wrap(&mut out, style, "", &text);
    let spreads: Vec<MeasureSummary> = block.map_or_else(Vec::new, |loaded| {
        let swings: Vec<&Swing> = loaded.swings.iter().collect();
        let summary = summarise("", &swings, &loaded.remarks);
        measures.iter().filter_map(|m| summary.measure(*m).cloned()).collect()
    });
    out.push('\n');
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, PROPOSALS.iter().map(Proposal::words).collect())]);
    table.group(
        "spreads",
        vec![("", Align::Right, PROPOSALS.iter().map(|p| format!("{:.1}", p.found_with(count))).collect())],
    );
    for m in &spreads {
        let Some(sd) = m.sample.sd else { continue };
        let column = PROPOSALS.iter().map(|p| number(p.found_with(count) * sd, m.measure.decimals(), false));
        table.group(&m.measure.name(), vec![("", Align::Right, column.collect())]);
    }
    table.write(&mut out, style);
    if let Some(loaded) = block {
        out.push('\n');
        wrap(&mut out, style, "", &format!("By the spread in {}.", clean(&loaded.name())));
    }
    heading(&mut out, style, "What each can show", "");
    for text in [
        "Straight through: a drift over the lesson looks like a change, so much is allowed for it. More swings help little.",
        "With a return to the old way, or in short blocks in turn: a drift cancels. Such an order shows what can be switched on and \
         off; what stays of the new way is understated. Give the blocks of the old way one label, those of the new way another.",
        "Whether a change lasts, only the next lesson shows.",
    ] {
        wrap(&mut out, style, "  · ", text);
    }
    ending(&mut out, style);
    out
}
