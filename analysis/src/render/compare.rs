//! Before and after side by side.

use super::blocks::{curve_change, order_change, unlike};
use super::table::{Align, Table};
use super::{Style, clean, ending, heading, number, wrap};
use crate::chosen::{Family, MOST};
use crate::compare::{Comparison, Row, Side, Standing, Verdict};
use crate::curves::CurveChange;
use crate::measure::Group;
use crate::order::{self, Share};
use crate::summary::MeasureSummary;
use crate::words::{self, plural};
use std::fmt::Write as _;

/// How much of a comparison is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// Of the measures that were only looked through, those called "perhaps".
    Short,
    /// All of them.
    Whole,
}

/// The comparison as text.
pub fn comparison(comparison: &Comparison, extent: Extent, style: Style) -> String {
    comparison_with_curves(comparison, None, extent, style)
}

/// The same with what the curves show, if they were asked for.
pub fn comparison_with_curves(
    comparison: &Comparison,
    curves: Option<&CurveChange>,
    extent: Extent,
    style: Style,
) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", style.bold("Before and after"));
    let sides = std::iter::once(("before  ", &comparison.before))
        .chain(comparison.also_before.iter().map(|s| ("        ", s)))
        .chain([("after   ", &comparison.after)]);
    for (word, side) in sides {
        wrap(&mut out, style, word, &describe(side));
    }
    if !comparison.notes.is_empty() {
        out.push('\n');
    }
    for note in &comparison.notes {
        wrap(&mut out, style, "  · ", &clean(note));
    }

    unlike(&mut out, style, comparison);

    let of = |standing: Standing| -> Vec<&Row> {
        comparison.rows.iter().filter(|r| r.standing == standing).collect()
    };
    let (judged, looked) = (of(Standing::Judged), of(Standing::LookedThrough));
    let title = match comparison.family {
        Family::All => "Measures",
        Family::Chosen(_) | Family::Only(_) => "What it is about",
    };
    heading(&mut out, style, title, "mean, and in brackets the SD between swings");
    if judged.is_empty() {
        wrap(&mut out, style, "", "None of these measures can be compared.");
    } else {
        rows_table(&judged).write(&mut out, style);
        fewer(&mut out, style, comparison, &judged);
    }
    if !comparison.not_compared.is_empty() {
        out.push('\n');
    }
    for n in &comparison.not_compared {
        wrap(&mut out, style, "  ", &format!("{}: not compared, {}", n.measure.label(), clean(&n.why)));
    }
    in_words(&mut out, style, &judged);
    if !looked.is_empty() {
        looked_through(&mut out, style, &looked, extent);
    }

    heading(&mut out, style, "Order of peaks", "swings with each order");
    order_table(comparison).write(&mut out, style);
    out.push('\n');
    wrap(&mut out, style, "", order::LEGEND);
    order_change(&mut out, style, &comparison.order);
    if let Some(curves) = curves {
        curve_change(&mut out, style, curves);
    }

    heading(&mut out, style, "How to read this", "");
    how_to_read(&mut out, style, comparison, judged.len());
    ending(&mut out, style);
    out
}

/// The measures that were not meant, largest effect first.
fn looked_through(out: &mut String, style: Style, rows: &[&Row], extent: Extent) {
    heading(out, style, "Looked through", "no verdicts: not meant beforehand");
    let mut rows = rows.to_vec();
    rows.sort_by(|a, b| b.effect().total_cmp(&a.effect()));
    let perhaps: Vec<&Row> = rows.iter().copied().filter(|r| r.verdict == Verdict::Perhaps).collect();
    if extent == Extent::Whole {
        rows_table(&rows).write(out, style);
        return;
    }
    for row in &perhaps {
        wrap(out, style, "  · ", &format!("perhaps: {}", said_of(row)));
    }
    let rest = rows.len() - perhaps.len();
    let text = format!(
        "{}{} in which nothing shows that chance alone would not make (--all prints them).",
        plural(rest, "number"),
        if perhaps.is_empty() { "" } else { " more" },
    );
    wrap(out, style, "  · ", &text);
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

/// The lower end of a row's 95 % interval, or the upper one.
pub(super) fn end(row: &Row, pick: fn((f64, f64)) -> f64) -> String {
    row.interval.map_or("–".into(), |interval| number(pick(interval), row.measure.decimals(), true))
}

fn rows_table(rows: &[&Row]) -> Table {
    let column = |cell: &dyn Fn(&Row) -> String| {
        let mut cells = Vec::new();
        let mut group: Option<Group> = None;
        for &row in rows {
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
            (
                "",
                Align::Right,
                column(&|r| {
                    pick(r)
                        .sample
                        .sd
                        .map_or("(–)".into(), |sd| format!("({})", number(sd, decimals(r), false)))
                }),
            ),
        ]
    };
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, column(&|r| r.measure.name()))]);
    table.group("before", side(|r| &r.before));
    table.group("after", side(|r| &r.after));
    table.group(
        "difference",
        vec![("", Align::Right, column(&|r| number(r.difference, r.measure.decimals(), true)))],
    );
    table.group(
        "95 % interval",
        vec![
            ("", Align::Right, column(&|r| end(r, |i| i.0))),
            ("", Align::Left, column(&|_| "to".into())),
            ("", Align::Right, column(&|r| end(r, |i| i.1))),
        ],
    );
    table.group("verdict", vec![("", Align::Left, column(&|r| r.verdict.label().into()))]);
    table.group("adj. p", vec![("", Align::Right, column(&|r| r.p_adjusted.map_or("–".into(), p_text)))]);
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
fn fewer(out: &mut String, style: Style, comparison: &Comparison, rows: &[&Row]) {
    let whole = (comparison.before.summary.used.len(), comparison.after.summary.used.len());
    let mut by_n: Vec<((usize, usize), Vec<String>)> = Vec::new();
    if !comparison.also_before.is_empty() {
        return;
    }
    for row in rows {
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

/// A row's numbers in a sentence's second half.
fn said_of(r: &Row) -> String {
    let decimals = r.measure.decimals();
    let (low, high) = r.interval.unwrap_or((r.difference, r.difference));
    format!(
        "{}: from {} to {}, a difference of {} (95 % interval {} to {})",
        r.measure.label(),
        number(r.before.sample.mean, decimals, r.measure.signed()),
        number(r.after.sample.mean, decimals, r.measure.signed()),
        r.measure.unit().after(&number(r.difference, decimals, true)),
        number(low, decimals, true),
        number(high, decimals, true),
    )
}

fn in_words(out: &mut String, style: Style, rows: &[&Row]) {
    heading(out, style, "In words", "");
    let of = |v: Verdict| rows.iter().filter(move |r| r.verdict == v);
    for verdict in [Verdict::Changed, Verdict::NoneThatMatters, Verdict::Perhaps] {
        for r in of(verdict) {
            let mut text = format!("{}: {}.", verdict.label(), said_of(r));
            if verdict == Verdict::NoneThatMatters {
                text = format!("{} {}", text, words::compared::matters(r));
            }
            wrap(out, style, "  · ", &text);
        }
    }
    // Of a few a sentence each; of all together their names.
    if rows.len() > MOST {
        let names: Vec<String> = of(Verdict::CantTell).map(|r| r.measure.label()).collect();
        if !names.is_empty() {
            wrap(out, style, "  · ", &format!("{}: {}.", Verdict::CantTell.label(), names.join("; ")));
        }
    }
    for r in of(Verdict::CantTell).filter(|_| rows.len() <= MOST) {
        if let Some(more) = words::compared::more(r) {
            let text = format!("{}: {}. {}", Verdict::CantTell.label(), said_of(r), more);
            wrap(out, style, "  · ", &text);
        }
    }
    let names: Vec<String> = of(Verdict::TooFew).map(|r| r.measure.label()).collect();
    if !names.is_empty() {
        wrap(
            out,
            style,
            "  · ",
            &format!("Can't tell, {}: {}.", Verdict::TooFew.meaning(), names.join("; ")),
        );
    }
    for r in rows.iter().filter(|r| r.verdict != Verdict::TooFew) {
        if rows.len() <= MOST
            && let Some(text) = words::compared::dependence(r)
        {
            wrap(out, style, "  · ", &text);
        }
    }
}

fn how_to_read(out: &mut String, style: Style, comparison: &Comparison, judged: usize) {
    let difference = if comparison.design.is_some() {
        "after − before as far as it is neither drift over the lesson nor the likeness of neighbouring \
         swings, so it need not be the difference of the two means. The interval holds the true one with 95 %, \
         for that measure alone"
    } else {
        "after − before. The interval holds the true one with 95 %, for that measure alone, with what putting the \
         straps on anew shifts in a whole session"
    };
    let shown = Verdict::ALL.into_iter().filter(|v| comparison.rows.iter().any(|r| r.verdict == *v));
    let room =
        shown.clone().map(|v| v.label().chars().count()).chain(["difference".len()]).max().unwrap_or(0);
    let term = |text: &str| format!("  {text:<room$}  ");
    wrap(out, style, &term("difference"), difference);
    for verdict in shown {
        wrap(out, style, &term(verdict.label()), verdict.meaning());
    }
    let looked = comparison.rows.len() - judged;
    let mut p = format!(
        "p after Holm over the {} judged: at most one comparison in twenty like this one calls anything \
         changed by chance.",
        plural(judged, "measure")
    );
    if looked > 0 {
        p.push_str(" Of the others, after Benjamini and Hochberg.");
    }
    wrap(out, style, &term("adj. p"), &p);
    wrap(
        out,
        style,
        &term("meas. SD"),
        "typical standard uncertainty of one swing's number; its random part is contained in \
         the SD between swings",
    );
}
