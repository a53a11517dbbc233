//! The repetitions of a drill, a line each, and how alike they are.

use super::table::{Align, Table};
use super::{Style, clean, heading, mark, number};
use crate::drill::{Quantity, Spread, by_block, spreads};
use crate::stats::Z95;
use crate::words::plural;
use peakorder_protocol::Role;
use peakorder_protocol::repetition::Repetition;

/// Every drill of the session, or of the block chosen.
pub(super) fn drills(out: &mut String, style: Style, repetitions: &[Repetition]) {
    for (label, repetitions) in by_block(repetitions) {
        let title = format!("Drill {}", clean(label));
        heading(out, style, &title, &plural(repetitions.len(), "repetition"));
        let told = spreads(&repetitions);
        let mut table = Table::default();
        let mut numbers: Vec<String> = repetitions.iter().map(|r| r.number.to_string()).collect();
        numbers.extend(["mean".into(), "SD".into()]);
        table.group("", vec![("no", Align::Right, numbers)]);
        for (title, of) in groups() {
            let columns: Vec<(&str, Align, Vec<String>)> = of
                .iter()
                .filter_map(|(header, quantity)| {
                    let spread = told.iter().find(|s| s.quantity == *quantity)?;
                    Some((*header, Align::Right, column(spread, &repetitions)))
                })
                .collect();
            if !columns.is_empty() {
                table.group(&title, columns);
            }
        }
        table.write(out, style);
    }
}

/// Columns under their titles.
fn groups() -> Vec<(String, Vec<(&'static str, Quantity)>)> {
    let turns = |role: Role| vec![("back", Quantity::Back(role)), ("through", Quantity::Through(role))];
    let mut thorax = turns(Role::Thorax);
    thorax.push(("tilt", Quantity::Tilt));
    vec![
        (format!("{} turn, °", mark(Role::Pelvis)), turns(Role::Pelvis)),
        (format!("{} turn, side tilt, °", mark(Role::Thorax)), thorax),
        ("separation".into(), vec![("°", Quantity::Separation)]),
        (format!("of it {}", mark(Role::Pelvis)), vec![("%", Quantity::PelvisShare)]),
        (
            "seconds".into(),
            vec![
                ("back", Quantity::BackSeconds),
                ("held", Quantity::HoldSeconds),
                ("forward", Quantity::ForwardSeconds),
            ],
        ),
    ]
}

fn column(spread: &Spread, repetitions: &[&Repetition]) -> Vec<String> {
    let quantity = spread.quantity;
    // So many of them are known to a digit more than each.
    let finer = |value: f64| number(value, quantity.decimals() + 1, false);
    let mut cells: Vec<String> = repetitions.iter().map(|r| cell(quantity, r)).collect();
    cells.extend([finer(spread.mean), spread.sd.map_or_else(|| "–".into(), finer)]);
    cells
}

fn cell(quantity: Quantity, repetition: &Repetition) -> String {
    let Some((value, sd)) = quantity.of(repetition) else { return "–".into() };
    let decimals = quantity.decimals();
    let step = 10_f64.powi(-(decimals as i32));
    let band =
        sd.map_or_else(String::new, |sd| format!(" ± {}", number((Z95 * sd).max(step), decimals, false)));
    format!("{}{band}", number(value, decimals, false))
}
