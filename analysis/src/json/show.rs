//! A session, and one swing.

use super::blocks::Unlike;
use super::shared::{Block, Session};
use crate::drill::{self, Quantity};
use crate::load::{self, Loaded};
use crate::measure::{self, Measure};
use crate::order::Order;
use crate::outliers::{self, Flag};
use crate::summary::{by_block, summarise};
use peakorder_protocol::Role;
use peakorder_protocol::remark::{Ball, Remarks, SwingRemarks};
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::swing::{Swing, SwingKind, Withheld};
use serde::Serialize;
use std::collections::BTreeMap;

/// Schema of [`Show`].
pub const SHOW: &str = "peakorder.show/1";
/// Schema of [`ShowSwing`].
pub const SHOW_SWING: &str = "peakorder.show-swing/1";

/// A session, or the block chosen.
#[derive(Debug, Serialize)]
pub struct Show {
    schema: &'static str,
    session: Session,
    block: Option<String>,
    swings: Vec<SwingRow>,
    blocks: Vec<Block>,
    repetitions: Vec<RepetitionRow>,
    drills: Vec<Drill>,
    remarks: Remarks,
    problems: Vec<Problem>,
}

impl From<&Loaded> for Show {
    fn from(loaded: &Loaded) -> Self {
        let blocks = by_block(&loaded.swings);
        let flags: Vec<Flag> =
            blocks.iter().flat_map(|(label, _)| outliers::outliers(&loaded.counted(label))).collect();
        Self {
            schema: SHOW,
            session: (&loaded.session).into(),
            block: loaded.block.clone(),
            swings: loaded.swings.iter().map(|s| SwingRow::of(s, &loaded.remarks, &flags)).collect(),
            blocks: blocks.iter().map(|(l, s)| (&summarise(l, s, &loaded.remarks)).into()).collect(),
            repetitions: loaded.repetitions.iter().map(Into::into).collect(),
            drills: drill::by_block(&loaded.repetitions).into_iter().map(Into::into).collect(),
            remarks: loaded.remarks.clone(),
            problems: loaded.problems.iter().map(Into::into).collect(),
        }
    }
}

/// One swing.
#[derive(Debug, Serialize)]
pub struct ShowSwing {
    schema: &'static str,
    session: Session,
    swing: Swing,
    said: Option<SwingRemarks>,
    order_text: Option<String>,
    curves: bool,
    curves_problem: Option<String>,
}

impl ShowSwing {
    /// `swing` of the session `loaded`; looks whether its curves can be read.
    pub fn of(loaded: &Loaded, swing: &Swing) -> Self {
        let curves = loaded.curves(swing.number);
        Self {
            schema: SHOW_SWING,
            session: (&loaded.session).into(),
            swing: swing.clone(),
            said: loaded.remarks.swing(swing.number).cloned(),
            order_text: Order::of_peaks(&swing.sequence).map(|o| o.text()),
            curves: curves.is_ok(),
            curves_problem: curves.err().map(|e| e.to_string()),
        }
    }
}

#[derive(Debug, Serialize)]
struct Problem {
    number: u32,
    text: String,
}

impl From<&load::Problem> for Problem {
    fn from(p: &load::Problem) -> Self {
        Self { number: p.number, text: p.text.clone() }
    }
}

#[derive(Debug, Serialize)]
struct SwingRow {
    number: u32,
    block: String,
    kind: SwingKind,
    usable: bool,
    excluded: bool,
    ball: Ball,
    counts: bool,
    order: Vec<Vec<Role>>,
    rising_at_impact: Vec<Role>,
    order_text: Option<String>,
    reversal_order: Vec<Vec<Role>>,
    measures: BTreeMap<String, Measured>,
    withheld: Vec<Withheld>,
    unlike: Vec<Unlike>,
}

impl SwingRow {
    fn of(swing: &Swing, remarks: &Remarks, flags: &[Flag]) -> Self {
        let value = |m: Measure| Some((m.key(), Measured::from(m.of(swing)?)));
        Self {
            number: swing.number,
            block: swing.block.clone(),
            kind: swing.kind,
            usable: swing.quality.usable,
            excluded: remarks.excluded(swing.number).is_some(),
            ball: remarks.ball(swing),
            counts: remarks.counts(swing),
            order: swing.sequence.order.clone(),
            rising_at_impact: swing.sequence.rising_at_impact.clone(),
            order_text: Order::of_peaks(&swing.sequence).map(|o| o.text()),
            reversal_order: swing.sequence.reversal_order.clone(),
            measures: Measure::ALL.into_iter().filter_map(value).collect(),
            withheld: swing.quality.withheld.clone(),
            unlike: flags.iter().filter(|f| f.number == swing.number).map(Unlike::from).collect(),
        }
    }
}

/// A repetition of a drill.
#[derive(Debug, Serialize)]
struct RepetitionRow {
    number: u32,
    block: String,
    values: BTreeMap<String, RepetitionValue>,
    withheld: Vec<Withheld>,
}

impl From<&Repetition> for RepetitionRow {
    fn from(repetition: &Repetition) -> Self {
        let value = |q: Quantity| {
            let (value, measuring_sd) = q.of(repetition)?;
            Some((q.key(), RepetitionValue { value, measuring_sd }))
        };
        Self {
            number: repetition.number,
            block: repetition.block.clone(),
            values: Quantity::ALL.into_iter().filter_map(value).collect(),
            withheld: repetition.quality.withheld.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct RepetitionValue {
    value: f64,
    measuring_sd: Option<f64>,
}

/// A drill's repetitions together.
#[derive(Debug, Serialize)]
struct Drill {
    label: String,
    n: usize,
    values: BTreeMap<String, DrillValue>,
}

impl From<(&str, Vec<&Repetition>)> for Drill {
    fn from((label, repetitions): (&str, Vec<&Repetition>)) -> Self {
        let value = |s: drill::Spread| (s.quantity.key(), DrillValue { n: s.n, mean: s.mean, sd: s.sd });
        Self {
            label: label.to_owned(),
            n: repetitions.len(),
            values: drill::spreads(&repetitions).into_iter().map(value).collect(),
        }
    }
}

#[derive(Debug, Serialize)]
struct DrillValue {
    n: usize,
    mean: f64,
    sd: Option<f64>,
}

#[derive(Debug, Serialize)]
struct Measured {
    value: f64,
    measuring_sd: Option<f64>,
    bone_sd: Option<f64>,
    definition: String,
}

impl From<measure::Value> for Measured {
    fn from(v: measure::Value) -> Self {
        Self { value: v.value, measuring_sd: v.sd, bone_sd: v.bone_sd, definition: v.definition.text() }
    }
}
