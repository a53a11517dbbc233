//! Columns of measures, and the table that explains them: the data dictionary.

use crate::measure::{Measure, Unit};
use peakorder_tables::{Cell, Column, Table};

/// A unit as columns state it.
pub const fn unit_text(unit: Unit) -> &'static str {
    match unit {
        Unit::Milliseconds => "ms",
        Unit::DegreesPerSecond => "deg/s",
        Unit::Degrees => "deg",
        Unit::Centimetres => "cm",
        Unit::Percent => "%",
        Unit::Ratio => "",
    }
}

/// The measures that one swing tells, in the order of their columns.
pub fn measures() -> impl Iterator<Item = Measure> {
    Measure::ALL.into_iter().filter(|m| !m.means_only())
}

/// Column of a measure's standard uncertainty, of the strap: `gap_pelvis_thorax_sd_ms`.
pub fn sd_key(measure: Measure) -> String {
    measure.key_of("sd")
}

/// Column of its standard uncertainty, of the bone: `gap_pelvis_thorax_bone_sd_ms`.
pub fn bone_sd_key(measure: Measure) -> String {
    measure.key_of("bone_sd")
}

/// Column of its definition: `gap_pelvis_thorax_def`.
pub fn def_key(measure: Measure) -> String {
    measure.definition_key()
}

/// A measure, and in which columns of `swings` it stands.
#[derive(Debug, Clone)]
pub struct MeasureRow {
    measure: Measure,
    key: String,
    label: String,
    meaning: String,
    /// Value, both standard uncertainties, definition; nothing where only means tell it.
    columns: Option<[String; 4]>,
}

/// Every measure.
pub fn measure_rows() -> Vec<MeasureRow> {
    let columns = |m: Measure| [m.key(), sd_key(m), bone_sd_key(m), def_key(m)];
    Measure::ALL
        .into_iter()
        .map(|m| MeasureRow {
            measure: m,
            key: m.key(),
            label: m.label(),
            meaning: m.meaning(),
            columns: (!m.means_only()).then(|| columns(m)),
        })
        .collect()
}

/// The columns of measures.
pub fn measures_table() -> Table<MeasureRow> {
    let mut table = Table::new(super::table_id("measures"), "A measure: a quantity of a swing.")
        .column(Column::text("measure", "Its key, which ends in its unit.").required(), |r: &MeasureRow| {
            Cell::Text(&r.key)
        })
        .column(Column::text("unit", "Its unit; nothing for a ratio."), |r| {
            match unit_text(r.measure.unit()) {
                "" => Cell::None,
                unit => Cell::Text(unit),
            }
        })
        .column(Column::text("grp", "Kind of quantity.").required(), |r| Cell::Text(r.measure.group().key()))
        .column(Column::text("label", "What it is called.").required(), |r| Cell::Text(&r.label))
        .column(Column::text("meaning", "What it is, for calibrated straps.").required(), |r| {
            Cell::Text(&r.meaning)
        });
    let columns = [
        ("value_column", "Column of swings with its value; nothing where only means tell it."),
        ("sd_column", "Column of swings with the strap's standard uncertainty."),
        ("bone_sd_column", "Column of swings with the bone's standard uncertainty."),
        ("definition_column", "Column of swings with its definition."),
    ];
    for (at, (name, about)) in columns.into_iter().enumerate() {
        table = table.column(Column::text(name, about), move |r: &MeasureRow| {
            r.columns.as_ref().map(|c| c[at].as_str()).into()
        });
    }
    table
}
