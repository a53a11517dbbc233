//! What a block of swings has in common and how much it varies.

use crate::measure::{Definition, Measure, Shared, Value};
use crate::order::{Order, Share, shares};
use crate::stats::lessons::SessionMean;
use crate::stats::{LEVEL, Level, Rule, Sample, Series, level, rms};
use crate::words;
use crate::{ADVISED_SWINGS, FEW_SWINGS_ADVICE};
use peakorder_protocol::remark::{Remarks, Standing};
use peakorder_protocol::swing::Swing;

/// Summary of a block.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockSummary {
    /// The block's label; empty before the first block.
    pub label: String,
    /// Numbers of the swings that the statistics rest on.
    pub used: Vec<u32>,
    /// Numbers of the rehearsals (no strike), left out.
    pub rehearsals: Vec<u32>,
    /// Numbers of the swings of which neither the straps nor the coach say whether they hit a ball, left
    /// out.
    pub unsure: Vec<u32>,
    /// Numbers of the swings that hit a ball, in a block that is without one, left out.
    pub struck: Vec<u32>,
    /// The coach says that the block is without a ball.
    pub without_ball: bool,
    /// Swings whose timing is unusable, left out, with the reason.
    pub unusable: Vec<(u32, String)>,
    /// Swings that the coach left out, with the reason (may be empty).
    pub excluded: Vec<(u32, String)>,
    /// How often the peaks came in which order, ties apart.
    pub orders: Vec<Share>,
    /// How often the reversals came in which order, ties apart.
    pub reversal_orders: Vec<Share>,
    /// Measures that at least one swing has.
    pub measures: Vec<MeasureSummary>,
}

/// Summary of one measure over a block.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasureSummary {
    /// Which.
    pub measure: Measure,
    /// Size, mean and SD between swings.
    pub sample: Sample,
    /// What is believed of the mean, and how swings depended on one another; `None` for one swing, or without
    /// variation.
    pub level: Option<Level>,
    /// Numbers of the swings that have it, ascending: their places in the session.
    pub places: Vec<u32>,
    /// Their values, in the measure's unit.
    pub values: Vec<f64>,
    /// Typical standard uncertainty of one swing's value (root mean square).
    pub measuring_sd: Option<f64>,
    /// The same of the bone (root mean square), where the swings state it.
    pub bone_sd: Option<f64>,
    /// Mean of the uncertainties that the swings share, where the measure has some.
    pub shared: Option<Shared>,
    /// How the values are defined.
    pub definition: Definition,
    /// Swings whose value is defined otherwise and so was left out here.
    pub other_definition: usize,
}

impl MeasureSummary {
    /// What of the bone's uncertainty the skin makes, in the measure's unit.
    pub fn skin_sd(&self) -> Option<f64> {
        Some((self.bone_sd?.powi(2) - self.measuring_sd?.powi(2)).max(0.0).sqrt())
    }
}

impl MeasureSummary {
    /// Half-width of the 95 % interval of the mean, within this wearing: swings that resemble their neighbours and may
    /// drift ([`level`]), with what `shared` adds. It takes longer than all else here.
    pub fn half_width(&self) -> Option<f64> {
        let known = self.shared.as_ref().map_or(0.0, squared);
        let (low, high) = self.level.as_ref()?.mean.with_known(known).interval(LEVEL)?;
        Some((high - low) / 2.0)
    }

    /// The mean and what its swings leave in it; of a block without spread nothing is known.
    pub fn session_mean(&self) -> Option<SessionMean> {
        Some(SessionMean {
            mean: self.sample.mean,
            variance: self.level.as_ref()?.likely_variance,
            least_variance: self.sample.sd?.powi(2) / self.sample.n as f64,
        })
    }
}

impl BlockSummary {
    /// A word of caution when there are few swings.
    pub fn advice(&self) -> Option<&'static str> {
        (self.used.len() < ADVISED_SWINGS).then_some(FEW_SWINGS_ADVICE)
    }

    /// Summary of that measure, if any swing has it.
    pub fn measure(&self, measure: Measure) -> Option<&MeasureSummary> {
        self.measures.iter().find(|m| m.measure == measure)
    }
}

/// Groups swings by block label, in order of first appearance.
pub fn by_block(swings: &[Swing]) -> Vec<(String, Vec<&Swing>)> {
    let mut blocks: Vec<(String, Vec<&Swing>)> = Vec::new();
    for swing in swings {
        match blocks.iter_mut().find(|(label, _)| *label == swing.block) {
            Some((_, members)) => members.push(swing),
            None => blocks.push((swing.block.clone(), vec![swing])),
        }
    }
    blocks
}

/// Summarises swings as one block called `label`. Swings that the coach left out, rehearsals
/// and swings with unusable timing are left out of every figure and listed.
pub fn summarise(label: &str, swings: &[&Swing], remarks: &Remarks) -> BlockSummary {
    summarise_of(&Measure::ALL, label, swings, remarks)
}

/// As [`summarise`], of these measures only.
pub fn summarise_of(measures: &[Measure], label: &str, swings: &[&Swing], remarks: &Remarks) -> BlockSummary {
    let mut excluded = Vec::new();
    let mut rehearsals = Vec::new();
    let mut unsure = Vec::new();
    let mut struck = Vec::new();
    let mut unusable = Vec::new();
    let mut used = Vec::new();
    for &swing in swings {
        match remarks.standing(swing) {
            Standing::Excluded(reason) => excluded.push((swing.number, reason.to_owned())),
            Standing::Rehearsal => rehearsals.push(swing.number),
            Standing::Unsure => unsure.push(swing.number),
            Standing::Struck => struck.push(swing.number),
            Standing::Unusable => unusable.push((swing.number, unusable_reason(swing))),
            Standing::Counts => used.push(swing),
        }
    }
    BlockSummary {
        label: label.to_owned(),
        rehearsals,
        unsure,
        struck,
        without_ball: remarks.without_ball(label),
        unusable,
        excluded,
        orders: shares(used.iter().filter_map(|s| Order::of_peaks(&s.sequence))),
        reversal_orders: shares(used.iter().filter_map(|s| Order::of_reversals(&s.sequence))),
        measures: measures.iter().filter_map(|m| summarise_measure(*m, &used)).collect(),
        used: used.iter().map(|s| s.number).collect(),
    }
}

fn unusable_reason(swing: &Swing) -> String {
    let reasons: Vec<String> = swing.quality.withheld.iter().map(|w| words::quality::why(&w.why)).collect();
    if reasons.is_empty() { "the swing file gives no reason".into() } else { reasons.join("; ") }
}

/// Summarises one measure over `swings`; `None` when none of them has it. Values defined
/// otherwise than most (another speed, another start of the downswing) are left out.
pub fn summarise_measure(measure: Measure, swings: &[&Swing]) -> Option<MeasureSummary> {
    let mut measured: Vec<(u32, Value)> =
        swings.iter().filter_map(|s| Some((s.number, measure.part_of_mean(s)?))).collect();
    measured.sort_by_key(|m| m.0);
    let count = |d: Definition| measured.iter().filter(|m| m.1.definition == d).count();
    // The first of equally frequent definitions, so that the result does not depend on chance.
    let definition = measured.iter().map(|m| m.1.definition).rev().max_by_key(|&d| count(d))?;
    let places: Vec<u32> = measured.iter().filter(|m| m.1.definition == definition).map(|m| m.0).collect();
    let alike: Vec<&Value> = measured.iter().map(|m| &m.1).filter(|v| v.definition == definition).collect();
    let numbers: Vec<f64> = alike.iter().map(|v| v.value).collect();
    let sds: Vec<f64> = alike.iter().filter_map(|v| v.sd).collect();
    let bone_sds: Vec<f64> = alike.iter().filter_map(|v| v.bone_sd).collect();
    let sample = Sample::of(&numbers)?;
    let shared: Vec<Shared> = alike.iter().filter_map(|v| v.shared).collect();
    let shared = (!shared.is_empty())
        .then(|| std::array::from_fn(|i| shared.iter().map(|s| s[i]).sum::<f64>() / shared.len() as f64));
    let at: Vec<f64> = places.iter().map(|&p| f64::from(p)).collect();
    let level = level(Series { values: &numbers, places: &at }, &Rule::standard());
    Some(MeasureSummary {
        measure,
        sample,
        level,
        shared,
        measuring_sd: rms(&sds),
        bone_sd: rms(&bone_sds),
        other_definition: measured.len() - alike.len(),
        definition,
        places,
        values: numbers,
    })
}

/// Variance of independent errors.
pub(crate) fn squared(parts: &Shared) -> f64 {
    parts.iter().map(|part| part * part).sum()
}
