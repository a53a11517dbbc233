//! One swing as a picture and what a drill changed, in some twenty lines: what a newcomer sees first.

use super::compare::end;
use super::table::{Align, Table};
use super::{Style, number, plot, wrap};
use crate::compare::{Comparison, Row, Standing, Verdict};
use crate::order::Order;
use crate::words;
use peakorder_protocol::curves::Curves;
use peakorder_protocol::swing::Swing;

/// Measures beside the one that leads.
const OTHERS: usize = 4;

/// `swing` with its speeds, then the measures of `comparison` that get a verdict, the first of them in a sentence.
pub fn first_look(swing: &Swing, curves: &Curves, comparison: &Comparison, style: Style) -> String {
    let mut out = String::new();
    let title = format!("Swing {}, block {}, speeds in °/s: ", swing.number, super::clean(&swing.block));
    wrap(
        &mut out,
        style,
        "",
        &format!(
            "{title}{}",
            Order::of_peaks(&swing.sequence).map_or("order not measured".into(), |o| o.text())
        ),
    );
    match plot::speeds_in_few_rows(curves, swing, style) {
        Ok(picture) => out += &picture,
        Err(why) => wrap(&mut out, style, "  ", &why.to_string()),
    }
    out.push('\n');
    let rows: Vec<&Row> =
        comparison.rows.iter().filter(|r| r.standing == Standing::Judged).take(1 + OTHERS).collect();
    table(&rows).write(&mut out, style);
    if let Some(row) = rows.first() {
        wrap(&mut out, style, "", &sentence(row));
    }
    out
}

fn table(rows: &[&Row]) -> Table {
    let column = |cell: &dyn Fn(&Row) -> String| rows.iter().map(|row| cell(row)).collect::<Vec<_>>();
    let mean = |row: &Row, mean: f64| number(mean, row.measure.decimals(), row.measure.signed());
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, column(&|row| row.measure.name()))]);
    table.group("before", vec![("", Align::Right, column(&|row| mean(row, row.before.sample.mean)))]);
    table.group("after", vec![("", Align::Right, column(&|row| mean(row, row.after.sample.mean)))]);
    table.group(
        "change, 95 %",
        vec![
            ("", Align::Right, column(&|row| end(row, |i| i.0))),
            ("", Align::Left, column(&|_| "to".into())),
            ("", Align::Right, column(&|row| end(row, |i| i.1))),
        ],
    );
    table.group("verdict", vec![("", Align::Left, column(&|row| row.verdict.label().into()))]);
    table
}

/// The leading measure's change and how far it is to be trusted.
fn sentence(row: &Row) -> String {
    let mean = row.before.sample.mean;
    let said = words::said::change(row.measure, mean, row.difference).unwrap_or_else(|| "no change".into());
    let decimals = row.measure.unit().spoken_decimals();
    let band = row.interval.map_or(String::new(), |interval| {
        format!(" ({}, 95 %)", words::said::range_to(row.measure, mean, interval, decimals))
    });
    let trust = match row.verdict {
        Verdict::Changed => "beyond ordinary variation",
        Verdict::NoneThatMatters => "no change that matters",
        Verdict::CantTell => "ordinary variation could be all of it",
        Verdict::Perhaps => "perhaps a change",
        Verdict::TooFew => "too few swings to tell",
    };
    format!("{} {said}{band}: {trust}.", words::capital(&row.measure.label()))
}
