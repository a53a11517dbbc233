//! Repetitions of drills.

use super::facts::{which_block, whose};
use super::{Facts, table_id};
use crate::drill::Quantity;
use crate::load::Loaded;
use peakorder_protocol::repetition::Repetition;
use peakorder_tables::{Cell, Column, Table};
use std::sync::Arc;

/// One repetition of a drill.
#[derive(Debug, Clone)]
pub struct RepetitionRow {
    /// Whose it is.
    pub facts: Arc<Facts>,
    /// What was measured.
    pub repetition: Repetition,
}

/// A session's repetitions as rows.
pub fn repetition_rows(loaded: &Loaded, facts: &Arc<Facts>) -> Vec<RepetitionRow> {
    loaded
        .repetitions
        .iter()
        .map(|r| RepetitionRow { facts: Arc::clone(facts), repetition: r.clone() })
        .collect()
}

/// The unit that a key ends in.
fn unit(key: &str) -> &'static str {
    match key.rsplit('_').next() {
        Some("deg") => "deg",
        Some("percent") => "%",
        Some("s") => "s",
        _ => "",
    }
}

/// The columns of repetitions.
pub fn repetitions_table() -> Table<RepetitionRow> {
    let table = whose(
        Table::new(
            table_id("repetitions"),
            "A repetition of a drill: the trunk turns back and through, or back and home, without a ball.",
        ),
        |r: &RepetitionRow| &r.facts,
    )
    .column(
        Column::int("repetition", "Its number in the session, in one row with the swings.").required(),
        |r| r.repetition.number.into(),
    )
    .column(
        Column::real(
            "top_s",
            "s",
            "When it was furthest back, on the session clock: seconds after started_utc.",
        ),
        |r| Cell::Real(r.repetition.events.top.t_s),
    );
    let mut table = which_block(table, |r| &r.facts, |r| &r.repetition.block)
        .column(Column::flag("usable", "Its numbers are usable.").required(), |r| {
            r.repetition.quality.usable.into()
        });
    for quantity in Quantity::ALL {
        let key = quantity.key();
        let unit = unit(&key);
        let sd =
            key.rsplit_once('_').map_or_else(|| format!("{key}_sd"), |(name, u)| format!("{name}_sd_{u}"));
        table = table
            .column(Column::real(key.clone(), unit, quantity.meaning()), move |r: &RepetitionRow| {
                quantity.of(&r.repetition).map(|q| q.0).into()
            })
            .column(
                Column::real(sd, unit, format!("Standard uncertainty of {key}, of what the strap did.")),
                move |r: &RepetitionRow| quantity.of(&r.repetition).and_then(|q| q.1).into(),
            );
    }
    table
}
