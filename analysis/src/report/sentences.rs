//! Before and after in sentences a player reads at home.

use crate::compare::{Comparison, Row, Verdict};
use crate::order::Share;
use crate::summary::{BlockSummary, MeasureSummary};
use crate::words::{self, amount, difference, list, plural, subject, value};
use crate::{measure::Group, measure::Measure};

/// What the peaks did in most swings: "In 7 of 12 swings pelvis first, then …".
pub(super) fn orders(summary: &BlockSummary) -> String {
    let Some((first, rest)) = summary.orders.split_first() else {
        return "No order of peaks could be measured.".into();
    };
    let lead = format!("In {} of {} {}", first.count, plural(first.of, "swing"), words::order(&first.order));
    let others: Vec<String> =
        rest.iter().map(|s: &Share| format!("{} ({})", s.order.text(), s.count)).collect();
    if others.is_empty() { format!("{lead}.") } else { format!("{lead}. Also seen: {}.", others.join("; ")) }
}

/// One measure's change with its verdict.
pub(super) fn change(row: &Row) -> String {
    let m = row.measure;
    let (before, after) = (row.before.sample.mean, row.after.sample.mean);
    let now = subject(m, after);
    let differs = difference(m, after, before);
    let was = value(m, before);
    let band = row.interval.map_or(String::new(), |interval| {
        format!("; allowing for drift and ordinary variation, {} (95 %)", words::between(m, before, interval))
    });
    let verdict = match row.verdict {
        Verdict::Changed => "More than ordinary variation.".to_owned(),
        Verdict::NoneThatMatters => format!("No change that matters. {}", words::compared::matters(row)),
        Verdict::Perhaps => {
            "Perhaps a change: about one in ten that are called so is there by chance.".to_owned()
        }
        Verdict::CantTell => format!("Can't tell yet. {}", words::compared::more(row).unwrap_or_default())
            .trim_end()
            .to_owned(),
        Verdict::TooFew => "Can't tell: too few swings.".to_owned(),
    };
    format!("{now}, {differs} before ({was}){band}. {verdict}")
}

/// A number that was only looked through: what it was and is.
pub(super) fn aside(row: &Row) -> String {
    let m = row.measure;
    let (before, after) = (row.before.sample.mean, row.after.sample.mean);
    format!("{}, {} before ({})", subject(m, after), difference(m, after, before), value(m, before))
}

/// The rows of one verdict.
pub(super) fn of(comparison: &Comparison, verdict: Verdict) -> Vec<&Row> {
    comparison.rows.iter().filter(|r| r.verdict == verdict).collect()
}

/// The measures for which no change could be shown, in one sentence; empty when there are none.
pub(super) fn not_shown(comparison: &Comparison) -> String {
    let names: Vec<String> = [Verdict::CantTell, Verdict::TooFew]
        .into_iter()
        .flat_map(|v| of(comparison, v))
        .map(|r| r.measure.label())
        .collect();
    if names.is_empty() {
        return String::new();
    }
    format!("No change could be shown in {}. That does not say that nothing changed.", list(&names))
}

/// A block in words: the numbers a player can picture.
pub(super) fn block(summary: &BlockSummary) -> Vec<String> {
    use Group::{Shift, Tempo, Timing, Turn};
    let told = |m: &&MeasureSummary| match m.measure {
        Measure::PeakBeforeImpact(_) | Measure::Backswing | Measure::Downswing => false,
        m => matches!(m.group(), Shift | Timing | Tempo | Turn),
    };
    let mut lines = Vec::new();
    for m in summary.measures.iter().filter(told) {
        let spread = m
            .sample
            .sd
            .map_or(String::new(), |sd| format!(", from swing to swing {} (SD)", amount(m.measure, sd)));
        lines.push(format!("{}{spread}.", subject(m.measure, m.sample.mean)));
    }
    lines
}
