//! Statistics of blocks.

use super::facts::{which_block, whose};
use super::{Facts, table_id};
use crate::load::Loaded;
use crate::measure::{Measure, Value};
use crate::stats::{Sample, rms};
use crate::summary::summarise_measure;
use peakorder_protocol::swing::Swing;
use peakorder_tables::{Cell, Column, Table};
use std::sync::Arc;

/// A measure in a block's swings that count and have one definition of it.
#[derive(Debug, Clone)]
pub struct BlockStat {
    /// Whose it is.
    pub facts: Arc<Facts>,
    /// Label of the block.
    pub block: String,
    /// Key of the measure.
    pub measure: String,
    /// The definition.
    pub definition: String,
    /// Swings.
    pub n: usize,
    /// Their mean, in the measure's unit.
    pub mean: f64,
    /// Their variance, n − 1 in the denominator; none of one swing.
    pub variance: Option<f64>,
    /// Most swings of the block have this definition: it is the one that is shown.
    pub main: bool,
    /// Root mean square of the swings' standard uncertainties, of the strap.
    pub measuring_sd: Option<f64>,
    /// The same of the bone.
    pub bone_sd: Option<f64>,
}

/// Statistics of every block of a session, a row for each measure and definition that its swings have.
pub fn block_stats(loaded: &Loaded, facts: &Arc<Facts>) -> Vec<BlockStat> {
    let mut stats = Vec::new();
    for block in &facts.phases.blocks {
        let counted = loaded.counted(&block.label);
        for measure in Measure::ALL {
            of_measure(measure, &block.label, &counted, facts, &mut stats);
        }
    }
    stats
}

fn of_measure(
    measure: Measure,
    block: &str,
    swings: &[&Swing],
    facts: &Arc<Facts>,
    stats: &mut Vec<BlockStat>,
) {
    let Some(shown) = summarise_measure(measure, swings) else { return };
    let mut by_definition: Vec<(String, Vec<Value>)> = Vec::new();
    for value in swings.iter().filter_map(|s| measure.part_of_mean(s)) {
        let definition = value.definition.text();
        match by_definition.iter_mut().find(|d| d.0 == definition) {
            Some((_, values)) => values.push(value),
            None => by_definition.push((definition, vec![value])),
        }
    }
    for (definition, values) in by_definition {
        let numbers: Vec<f64> = values.iter().map(|v| v.value).collect();
        let Some(sample) = Sample::of(&numbers) else { continue };
        let of = |sd: fn(&Value) -> Option<f64>| rms(&values.iter().filter_map(sd).collect::<Vec<_>>());
        stats.push(BlockStat {
            facts: Arc::clone(facts),
            block: block.to_owned(),
            measure: measure.key(),
            main: definition == shown.definition.text(),
            definition,
            n: sample.n,
            mean: sample.mean,
            variance: sample.sd.map(|sd| sd * sd),
            measuring_sd: of(|v| v.sd),
            bone_sd: of(|v| v.bone_sd),
        });
    }
}

/// The columns of block statistics.
pub fn block_stats_table() -> Table<BlockStat> {
    let table = whose(
        Table::new(
            table_id("block_stats"),
            "A measure over the swings of a block that count and have one definition of it.",
        ),
        |r: &BlockStat| &r.facts,
    );
    which_block(table, |r| &r.facts, |r| &r.block)
        .column(Column::text("measure", "Key of the measure, which ends in its unit.").required(), |r| {
            Cell::Text(&r.measure)
        })
        .column(Column::text("definition", "How it is defined in these swings.").required(), |r| {
            Cell::Text(&r.definition)
        })
        .column(Column::int("n", "Swings.").required(), |r| Cell::Int(r.n as i64))
        .column(Column::new("mean", peakorder_tables::Kind::Real, "Their mean, in the measure's unit.").required(), |r| {
            Cell::Real(r.mean)
        })
        .column(
            Column::new(
                "variance",
                peakorder_tables::Kind::Real,
                "Their variance, n - 1 in the denominator, in the measure's unit squared; nothing of one swing.",
            ),
            |r| r.variance.into(),
        )
        .column(
            Column::flag("main", "Most swings of the block have this definition: it is the one that is shown.").required(),
            |r| r.main.into(),
        )
        .column(
            Column::new(
                "measuring_sd",
                peakorder_tables::Kind::Real,
                "Root mean square of the swings' standard uncertainties, of the strap, in the measure's unit.",
            ),
            |r| r.measuring_sd.into(),
        )
        .column(
            Column::new("bone_sd", peakorder_tables::Kind::Real, "The same of the bone."),
            |r| r.bone_sd.into(),
        )
}
