//! Swings.

use super::facts::{which_block, whose};
use super::measures::{bone_sd_key, def_key, measures, sd_key, unit_text};
use super::{Facts, table_id};
use crate::load::Loaded;
use crate::measure::Value;
use crate::order::Order;
use crate::words::quality;
use peakorder_protocol::Role;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::swing::Swing;
use peakorder_tables::{Cell, Column, Table};
use std::sync::Arc;

/// One swing.
#[derive(Debug, Clone)]
pub struct SwingRow {
    /// Whose it is.
    pub facts: Arc<Facts>,
    /// What is said of it.
    pub swing: Swing,
    /// It enters the summaries.
    pub counted: bool,
    order: String,
    withheld: String,
    reasons: String,
    values: Vec<(Option<Value>, String)>,
}

impl SwingRow {
    fn of(facts: &Arc<Facts>, swing: &Swing, remarks: &Remarks) -> Self {
        let keys: Vec<String> = swing.quality.withheld.iter().map(|w| w.what.key()).collect();
        let reasons: Vec<String> = swing
            .quality
            .withheld
            .iter()
            .map(|w| format!("{}: {}", w.what.key(), quality::why(&w.why)))
            .collect();
        Self {
            facts: Arc::clone(facts),
            swing: swing.clone(),
            counted: remarks.counts(swing),
            order: Order::of_peaks(&swing.sequence).map_or(String::new(), |o| o.text()),
            withheld: keys.join("; "),
            reasons: reasons.join("; "),
            values: measures()
                .map(|m| {
                    let value = m.of(swing);
                    (value, value.map_or(String::new(), |v| v.definition.text()))
                })
                .collect(),
        }
    }
}

/// A session's swings as rows.
pub fn swing_rows(loaded: &Loaded, facts: &Arc<Facts>) -> Vec<SwingRow> {
    loaded.swings.iter().map(|s| SwingRow::of(facts, s, &loaded.remarks)).collect()
}

fn said(text: &str) -> Cell<'_> {
    if text.is_empty() { Cell::None } else { Cell::Text(text) }
}

/// Which speed the trunk's peaks are of: values of different kinds do not mix.
fn trunk_speed(swing: &Swing) -> Cell<'_> {
    let trunk = swing.segments.get(&Role::Pelvis).or_else(|| swing.segments.get(&Role::Thorax));
    trunk.map_or(Cell::None, |s| Cell::Text(s.speed_kind.key()))
}

/// The columns of swings.
pub fn swings_table() -> Table<SwingRow> {
    let table = whose(Table::new(table_id("swings"), "A swing."), |r: &SwingRow| &r.facts)
        .column(Column::int("swing", "Number of the swing in its session, from 1.").required(), |r| {
            r.swing.number.into()
        })
        .column(
            Column::real("impact_s", "s", "Impact, on the session clock: seconds after started_utc."),
            |r| Cell::Real(r.swing.events.impact.t_s),
        );
    let mut table = which_block(table, |r| &r.facts, |r| &r.swing.block)
        .column(
            Column::int("wearing", "How often the straps had been taken off and put on again in the session.").required(),
            |r| r.swing.wearing.into(),
        )
        .column(Column::text("handedness", "Side the player swings from: right or left.").required(), |r| {
            Cell::Text(r.swing.handedness.key())
        })
        .column(
            Column::text("kind", "strike (felt), rehearsal (would have been felt) or unsure.").required(),
            |r| Cell::Text(r.swing.kind.key()),
        )
        .column(
            Column::flag(
                "counted",
                "It enters the summaries, by what was measured and by all that the coach had said when the row was written.",
            )
            .required(),
            |r| r.counted.into(),
        )
        .column(Column::flag("usable", "The timing of its sequence is usable.").required(), |r| {
            r.swing.quality.usable.into()
        })
        .column(
            Column::text("peak_order", "Order of the peaks, first to last; ≈ stands between what cannot be told apart."),
            |r| said(&r.order),
        )
        .column(Column::text("trunk_speed", "Kind of speed that the trunk's peaks are of."), |r| trunk_speed(&r.swing))
        .column(Column::int("withheld_n", "How many numbers or groups of numbers are withheld.").required(), |r| {
            Cell::Int(r.swing.quality.withheld.len() as i64)
        })
        .column(Column::text("withheld", "Their keys, joined by '; '."), |r| said(&r.withheld))
        .column(Column::text("withheld_why", "Each key with its reason in words."), |r| said(&r.reasons))
        .column(
            Column::int("lost_samples", "Samples lost between takeaway and finish, all straps.").required(),
            |r| r.swing.quality.lost_samples.into(),
        )
        .column(
            Column::int("clipped_samples", "Samples at the sensor's range limit between takeaway and finish.").required(),
            |r| r.swing.quality.clipped_samples.into(),
        )
        .column(
            Column::real("clock_sd_ms", "ms", "Standard uncertainty of the straps' alignment to one another."),
            |r| Cell::Real(r.swing.quality.clock_sd_ms),
        );
    for (at, m) in measures().enumerate() {
        let unit = unit_text(m.unit());
        table = table
            .column(Column::real(m.key(), unit, m.meaning()), move |r: &SwingRow| {
                r.values[at].0.map(|v| v.value).into()
            })
            .column(
                Column::real(
                    sd_key(m),
                    unit,
                    format!("Standard uncertainty of {}, of what the strap did.", m.key()),
                ),
                move |r: &SwingRow| r.values[at].0.and_then(|v| v.sd).into(),
            )
            .column(
                Column::real(
                    bone_sd_key(m),
                    unit,
                    format!("Standard uncertainty of {}, of the bone.", m.key()),
                ),
                move |r: &SwingRow| r.values[at].0.and_then(|v| v.bone_sd).into(),
            )
            .column(
                Column::text(
                    def_key(m),
                    format!(
                        "How {} is defined in this swing: values of different definition do not mix.",
                        m.key()
                    ),
                ),
                move |r: &SwingRow| said(&r.values[at].1),
            );
    }
    table
}
