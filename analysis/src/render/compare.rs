//! Before and after side by side.

use super::blocks::{curve_change, order_change, unlike};
use super::table::{Align, Table};
use super::{Style, clean, ending, heading, number, wrap};
use crate::compare::{Comparison, Row, Side, Verdict};
use crate::curves::CurveChange;
use crate::measure::Group;
use crate::order::{self, Share};
use crate::summary::MeasureSummary;
use crate::words::plural;
use std::fmt::Write as _;

/// The comparison as text.
pub fn comparison(comparison: &Comparison, style: Style) -> String {
    comparison_with_curves(comparison, None, style)
}

/// The same with what the curves show, if they were asked for.
pub fn comparison_with_curves(comparison: &Comparison, curves: Option<&CurveChange>, style: Style) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", style.bold("Before and after"));
    for (word, side) in [("before  ", &comparison.before), ("after   ", &comparison.after)] {
        wrap(&mut out, style, word, &describe(side));
    }
    if !comparison.notes.is_empty() {
        out.push('\n');
    }
    for note in &comparison.notes {
        wrap(&mut out, style, "  · ", &clean(note));
    }

    unlike(&mut out, style, comparison);

    heading(&mut out, style, "Order of peaks", "swings with each order");
    order_table(comparison).write(&mut out, style);
    out.push('\n');
    wrap(&mut out, style, "", order::LEGEND);
    order_change(&mut out, style, &comparison.order);

    heading(&mut out, style, "Measures", "mean ± SD between swings");
    if comparison.rows.is_empty() {
        wrap(&mut out, style, "", "No measure can be compared.");
    } else {
        rows_table(comparison).write(&mut out, style);
        fewer(&mut out, style, comparison);
    }
    if !comparison.not_compared.is_empty() {
        out.push('\n');
    }
    for n in &comparison.not_compared {
        wrap(&mut out, style, "  ", &format!("{}: not compared, {}", n.measure.label(), clean(&n.why)));
    }

    in_words(&mut out, style, comparison);
    if let Some(curves) = curves {
        curve_change(&mut out, style, curves);
    }
    heading(&mut out, style, "How to read this", "");
    how_to_read(&mut out, style, comparison);
    ending(&mut out, style);
    out
}

fn describe(side: &Side) -> String {
    let summary = &side.summary;
    let mut text =
        format!("{}: {} of {}", clean(&side.title), plural(summary.used.len(), "swing"), clean(&side.name));
    let left_out = summary.rehearsals.len() + summary.unusable.len() + summary.unsure.len();
    if left_out > 0 {
        let _ = write!(
            text,
            "; left out: {}, {} unusable",
            plural(summary.rehearsals.len(), "rehearsal"),
            summary.unusable.len()
        );
        if !summary.unsure.is_empty() {
            let _ =
                write!(text, ", {} of which it is not known whether they hit a ball", summary.unsure.len());
        }
    }
    if !summary.excluded.is_empty() {
        let _ = write!(text, "; left out by the coach: {}", summary.excluded.len());
    }
    text
}

fn order_table(comparison: &Comparison) -> Table {
    let (before, after) = (&comparison.before.summary.orders, &comparison.after.summary.orders);
    let mut orders: Vec<&order::Order> = before.iter().map(|s| &s.order).collect();
    for share in after {
        if !orders.contains(&&share.order) {
            orders.push(&share.order);
        }
    }
    let column = |shares: &[Share]| -> Vec<String> {
        let of = shares.first().map_or(0, |s| s.of);
        orders
            .iter()
            .map(|o| {
                let count = shares.iter().find(|s| s.order == **o).map_or(0, |s| s.count);
                format!("{count} of {of}")
            })
            .collect()
    };
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, orders.iter().map(|o| o.text()).collect())]);
    table.group("", vec![("before", Align::Right, column(before))]);
    table.group("", vec![("after", Align::Right, column(after))]);
    table
}

fn rows_table(comparison: &Comparison) -> Table {
    let rows = &comparison.rows;
    let column = |cell: &dyn Fn(&Row) -> String| {
        let mut cells = Vec::new();
        let mut group: Option<Group> = None;
        for row in rows {
            // A free line between kinds of measures lets the eye rest.
            if group.is_some_and(|g| g != row.measure.group()) {
                cells.push(String::new());
            }
            group = Some(row.measure.group());
            cells.push(cell(row));
        }
        cells
    };
    let side = |pick: fn(&Row) -> &MeasureSummary| {
        let decimals = |r: &Row| r.measure.decimals();
        vec![
            ("", Align::Right, column(&|r| number(pick(r).sample.mean, decimals(r), r.measure.signed()))),
            ("", Align::Left, column(&|_| "±".into())),
            (
                "",
                Align::Right,
                column(&|r| pick(r).sample.sd.map_or("–".into(), |sd| number(sd, decimals(r), false))),
            ),
        ]
    };
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, column(&|r| r.measure.name()))]);
    table.group("before", side(|r| &r.before));
    table.group("after", side(|r| &r.after));
    table.group(
        "difference",
        vec![
            ("", Align::Right, column(&|r| number(r.difference, r.measure.decimals(), true))),
            ("", Align::Left, column(&|_| "±".into())),
            (
                "",
                Align::Right,
                column(&|r| {
                    r.welch.map_or("–".into(), |w| number(w.half_width, r.measure.decimals(), false))
                }),
            ),
        ],
    );
    table.group("verdict", vec![("", Align::Left, column(&|r| r.verdict.label().into()))]);
    table.group("adj. p", vec![("", Align::Right, column(&|r| r.p_holm.map_or("–".into(), p_text)))]);
    table.group(
        "meas. SD",
        vec![(
            "",
            Align::Right,
            column(&|r| {
                r.measuring_sd.map_or("–".into(), |sd| number(sd, r.measure.decimals().max(1), false))
            }),
        )],
    );
    table
}

/// Measures that fewer swings have than the sides hold, by the numbers they rest on.
fn fewer(out: &mut String, style: Style, comparison: &Comparison) {
    let whole = (comparison.before.summary.used.len(), comparison.after.summary.used.len());
    let mut by_n: Vec<((usize, usize), Vec<String>)> = Vec::new();
    for row in &comparison.rows {
        let n = (row.before.sample.n, row.after.sample.n);
        match by_n.iter_mut().find(|(m, _)| *m == n) {
            Some((_, names)) => names.push(row.measure.label()),
            None => by_n.push((n, vec![row.measure.label()])),
        }
    }
    by_n.retain(|(n, _)| *n != whole);
    if !by_n.is_empty() {
        out.push('\n');
    }
    for ((before, after), names) in by_n {
        let text = format!("from {before} and {after} swings only: {}", names.join("; "));
        wrap(out, style, "  · ", &text);
    }
}

fn p_text(p: f64) -> String {
    if p < 0.001 { "<0.001".into() } else { format!("{p:.3}") }
}

fn in_words(out: &mut String, style: Style, comparison: &Comparison) {
    heading(out, style, "In words", "");
    let of = |v: Verdict| comparison.rows.iter().filter(move |r| r.verdict == v);
    for verdict in [Verdict::Changed, Verdict::Perhaps] {
        for r in of(verdict) {
            let decimals = r.measure.decimals();
            let half = r.welch.map_or(0.0, |w| w.half_width);
            let text = format!(
                "{} {}: from {} to {}, a difference of {} (95 % interval {} to {}).",
                r.measure.label(),
                if verdict == Verdict::Changed { "changed" } else { "perhaps changed" },
                number(r.before.sample.mean, decimals, r.measure.signed()),
                number(r.after.sample.mean, decimals, r.measure.signed()),
                r.measure.unit().after(&number(r.difference, decimals, true)),
                number(r.difference - half, decimals, true),
                number(r.difference + half, decimals, true),
            );
            wrap(out, style, "  · ", &text);
        }
    }
    for verdict in [Verdict::CantTell, Verdict::WornAnew, Verdict::TooFew] {
        let names: Vec<String> = of(verdict).map(|r| r.measure.label()).collect();
        if !names.is_empty() {
            wrap(out, style, "  · ", &format!("Can't tell, {}: {}.", verdict.meaning(), names.join("; ")));
        }
    }
}

fn how_to_read(out: &mut String, style: Style, comparison: &Comparison) {
    wrap(
        out,
        style,
        "  difference  ",
        "after − before, ± half the width of its 95 % confidence interval (Welch; for that \
         measure alone, not adjusted). The half-width is also the smallest change that so many \
         swings could show.",
    );
    for verdict in [Verdict::Changed, Verdict::Perhaps, Verdict::CantTell] {
        wrap(out, style, &format!("  {:<12}", verdict.label()), verdict.meaning());
    }
    if comparison.rows.iter().any(|r| r.verdict == Verdict::WornAnew) {
        wrap(out, style, "  ¹           ", Verdict::WornAnew.meaning());
    }
    wrap(
        out,
        style,
        "  adj. p      ",
        &format!(
            "p after Holm over the {} measures shown: at most one comparison in twenty like this \
             one calls anything changed by chance. Ask for fewer measures (--only) when fewer \
             were meant beforehand.",
            comparison.rows.iter().filter(|r| r.p_holm.is_some()).count()
        ),
    );
    wrap(
        out,
        style,
        "  meas. SD    ",
        "typical standard uncertainty of one swing's number; its random part is contained in \
         the SD between swings",
    );
}
