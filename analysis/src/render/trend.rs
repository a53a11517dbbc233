//! A player's sessions, a column each.

use super::table::{Align, Table};
use super::{Style, clean, ending, heading, number, wrap};
use crate::INVENTED;
use crate::compare::Verdict;
use crate::trend::{Trend, TrendRow};
use crate::words::plural;
use peakorder_protocol::text::is_visible;
use std::fmt::Write as _;

/// The trend as text.
pub fn trend(trend: &Trend, style: Style) -> String {
    let mut out = String::new();
    let player = if is_visible(&trend.player) { &trend.player } else { "player not named" };
    let title = format!("{}, block {}", clean(player), clean(&trend.block));
    let _ = writeln!(out, "{}", style.bold(&title));
    wrap(&mut out, style, "", &format!("{}, each a column below.", plural(trend.sessions.len(), "session")));
    if trend.sessions.iter().any(|s| s.invented) {
        wrap(&mut out, style, "", INVENTED);
    }
    for note in &trend.notes {
        wrap(&mut out, style, "  · ", &clean(note));
    }
    heading(&mut out, style, "Order of peaks", "the most frequent one");
    for s in &trend.sessions {
        let orders = &s.summary.orders;
        let text = orders
            .first()
            .map_or("–".to_owned(), |o| format!("{}, {} of {}", o.order.text(), o.count, o.of));
        wrap(&mut out, style, &format!("  {}  ", day(&s.started_utc)), &text);
    }
    if trend.rows.is_empty() {
        out.push('\n');
        wrap(&mut out, style, "", "One session only: a trend begins with the next.");
        ending(&mut out, style);
        return out;
    }
    heading(&mut out, style, "Measures", "session mean ± half its 95 % interval");
    table(trend).write(&mut out, style);
    heading(&mut out, style, "In words", "");
    for verdict in [Verdict::Changed, Verdict::NoneThatMatters, Verdict::Perhaps] {
        for row in trend.rows.iter().filter(|r| r.verdict == verdict) {
            wrap(&mut out, style, "  · ", &row.words);
        }
    }
    for verdict in [Verdict::CantTell, Verdict::TooFew] {
        let names: Vec<String> =
            trend.rows.iter().filter(|r| r.verdict == verdict).map(|r| r.measure.label()).collect();
        if !names.is_empty() {
            let why = match verdict {
                Verdict::CantTell => "within ordinary variation between sessions",
                _ => "too few swings or sessions",
            };
            wrap(&mut out, style, "  · ", &format!("Can't tell, {why}: {}.", names.join("; ")));
        }
    }
    ending(&mut out, style);
    out
}

/// The date of an RFC 3339 time.
fn day(started_utc: &str) -> String {
    clean(started_utc.get(..10).unwrap_or(started_utc))
}

fn table(trend: &Trend) -> Table {
    let rows = &trend.rows;
    let column = |cell: &dyn Fn(&TrendRow) -> String| rows.iter().map(cell).collect::<Vec<_>>();
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, column(&|r| r.measure.name()))]);
    for (i, session) in trend.sessions.iter().enumerate() {
        let point = |r: &TrendRow,
                     with: &dyn Fn(&crate::summary::MeasureSummary) -> Option<f64>,
                     signed: bool| {
            let p = r.points.get(i).and_then(Option::as_ref);
            p.and_then(with)
                .map_or("–".to_owned(), |v| number(v, r.measure.decimals(), signed && r.measure.signed()))
        };
        let half = |r: &TrendRow| {
            let h = r.half_widths.get(i).copied().flatten();
            h.map_or("–".to_owned(), |h| number(h, r.measure.decimals(), false))
        };
        table.group(
            &day(&session.started_utc),
            vec![
                ("", Align::Right, column(&|r| point(r, &|p| Some(p.sample.mean), true))),
                ("", Align::Left, column(&|_| "±".into())),
                ("", Align::Right, column(&|r| half(r))),
            ],
        );
    }
    if rows.iter().any(|r| r.line.is_some()) {
        let slope = |r: &TrendRow| {
            r.line.map_or("–".to_owned(), |l| {
                let decimals = r.measure.decimals().max(1);
                format!("{} ± {}", number(l.slope, decimals, true), number(l.half_width, decimals, false))
            })
        };
        table.group("per 30 days", vec![("", Align::Right, column(&slope))]);
    }
    table.group("verdict", vec![("", Align::Left, column(&|r| r.verdict.label().into()))]);
    table
}
