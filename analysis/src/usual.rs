//! What is usual for a player: mean and ordinary band of each measure, and a swing's values of what the lesson is about.
//! The headline of a swing is drawn from these.

use crate::against::next_swing;
use crate::chosen::Family;
use crate::measure::{Definition, Measure, Value};
use crate::stats::{LEVEL, Sample, Z95};
use crate::words::said;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::swing::Swing;
use serde::Serialize;

/// What is usual in one measure, by the baseline.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Usual {
    /// [`Measure::key`].
    pub measure: String,
    /// The baseline's mean, in the measure's unit and sign.
    pub mean: f64,
    /// SD between its swings.
    pub sd: Option<f64>,
    /// Its swings with this measure.
    pub n: usize,
    /// Where one further swing of a player who did not change lies with 95 %: of all numbers that the lesson is about
    /// together. Absent with fewer than [`crate::against::FEWEST`] swings.
    pub band: Option<(f64, f64)>,
    /// The mean in words: `31° back`.
    pub words: String,
}

/// A swing's value of a measure that the lesson is about.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct AboutValue {
    /// [`Measure::key`].
    pub measure: String,
    /// The swing's value, in the measure's unit and sign; absent where it was not measured.
    pub value: Option<f64>,
    /// Half the width of its 95 % band, no finer than it is shown.
    pub half: Option<f64>,
    /// To be shown: `38° back`.
    pub words: String,
    /// To be said aloud: `38 degrees back`.
    pub spoken: String,
}

/// What is usual in every measure that the baseline has. Only swings whose value is defined as in its last swing count.
pub fn usual(baseline: &[&Swing], family: &Family) -> Vec<Usual> {
    let judged = match family {
        Family::All => 1,
        _ => family.judged().len().max(1),
    };
    let Some(last) = baseline.last() else { return Vec::new() };
    Measure::ALL
        .into_iter()
        .filter_map(|measure| {
            let definition = definition(measure, baseline)?;
            let (swings, values): (Vec<&Swing>, Vec<f64>) = baseline
                .iter()
                .filter_map(|s| Some((*s, measure.of(s)?)))
                .filter(|(_, v)| v.definition == definition)
                .map(|(s, v)| (s, v.value))
                .unzip();
            let sample = Sample::of(&values)?;
            let share = if family.judges(measure) { judged } else { 1 };
            let shown = 1.0 - (1.0 - LEVEL) / share as f64;
            let half = next_swing(measure, (&last.session, last.number + 1), &swings, &values)
                .and_then(|next| Some(next.quantile(f64::midpoint(1.0, shown))? - sample.mean))
                .filter(|h| *h > 0.0);
            Some(Usual {
                measure: measure.key(),
                mean: sample.mean,
                sd: sample.sd,
                n: values.len(),
                band: half.map(|h| (sample.mean - h, sample.mean + h)),
                words: said::value(measure, sample.mean),
            })
        })
        .collect()
}

fn definition(measure: Measure, baseline: &[&Swing]) -> Option<Definition> {
    baseline.iter().rev().find_map(|s| Some(measure.of(s)?.definition))
}

/// The values of a swing that the lesson is about, in the coach's order; none where nothing was chosen.
pub fn about(swing: &Swing, remarks: &Remarks) -> Vec<AboutValue> {
    values(remarks, |m| m.of(swing))
}

/// The same of a repetition of a drill.
pub fn about_repetition(repetition: &Repetition, remarks: &Remarks) -> Vec<AboutValue> {
    values(remarks, |m| m.of_repetition(repetition))
}

fn values(remarks: &Remarks, of: impl Fn(Measure) -> Option<Value>) -> Vec<AboutValue> {
    let Family::Chosen(chosen) = Family::of_remarks(remarks) else { return Vec::new() };
    chosen
        .iter()
        .map(|c| {
            let measured = of(c.measure);
            let value = measured.as_ref().map(|v| v.value);
            let sd = measured.as_ref().and_then(|v| v.sd);
            AboutValue {
                half: sd.map(|sd| (Z95 * sd).max(said::step(c.measure))),
                measure: c.measure.key(),
                value,
                words: value.map_or_else(|| "not measured".into(), |v| said::value(c.measure, v)),
                spoken: value.map_or_else(|| "not measured".into(), |v| said::spoken_value(c.measure, v)),
            }
        })
        .collect()
}
