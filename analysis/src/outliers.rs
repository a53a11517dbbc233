//! Swings unlike the others of their block, over all measures at once.
//!
//! A phone rings, a foot slips: one such swing moves a mean of eight more than a drill does. It is shown and still
//! counted; whether it was a swing like the others is for coach and player to say.

use crate::compare::ALPHA;
use crate::measure::{Definition, Measure, Value};
use crate::stats::{Sample, extreme_limit, extremes};
use crate::words::{difference, plural, step, subject, value};
use peakorder_protocol::swing::Swing;

/// Fewest swings of a block among which one can be told to be unlike the others.
pub const FEWEST: usize = 5;

/// One measure of one swing that lies further from the block's others than clean values do.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// Number of the swing.
    pub number: u32,
    /// Which measure.
    pub measure: Measure,
    /// The swing's value, in the measure's unit.
    pub value: f64,
    /// Mean of the block's swings that are not flagged in this measure.
    pub others_mean: f64,
    /// Their SD.
    pub others_sd: f64,
    /// The same in words, without the swing's number.
    pub words: String,
}

impl Flag {
    /// How far the value is from the others' mean, in their SDs.
    pub fn sds(&self) -> f64 {
        (self.value - self.others_mean).abs() / self.others_sd
    }
}

/// Flags the swings of one block that are unlike its others, in the order of `swings`, of each the furthest measure
/// first. Give only swings that count. A measure that fewer than [`FEWEST`] swings have, or that does not vary, is passed over.
///
/// Up to a quarter of the swings can be flagged in a measure without hiding each other ([`far_out`]). At most 5 % of clean
/// blocks of independent, normal swings have any flag: the chance is shared out over the measures (Bonferroni).
pub fn outliers(swings: &[&Swing]) -> Vec<Flag> {
    let columns: Vec<Column> = Measure::ALL.into_iter().filter_map(|m| Column::of(m, swings)).collect();
    let alpha = ALPHA / columns.len().max(1) as f64;
    let mut flags: Vec<(usize, Flag)> = columns.iter().flat_map(|c| c.flags(swings, alpha)).collect();
    flags.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| b.1.sds().total_cmp(&a.1.sds())));
    flags.into_iter().map(|f| f.1).collect()
}

/// Places of the values that are too far from the others for a clean normal sample, with a chance of at most `alpha` of
/// any in one; at most a quarter of them.
///
/// Rosner's test of several outliers: where the i-th extreme exceeds its limit, so do all before it count, however they hide
/// each other. Half of the chance goes to the first, and half to the others together, so that it is not
/// exceeded in small samples either.
pub fn far_out(values: &[f64], alpha: f64) -> Vec<usize> {
    let most = (values.len() / 4).max(1);
    let share = |i: usize| match (most, i) {
        (1, _) => alpha,
        (_, 0) => alpha / 2.0,
        _ => alpha / 2.0 / (most - 1) as f64,
    };
    let mut found = extremes(values, most);
    let beyond = |(i, e): (usize, &crate::stats::Extreme)| {
        extreme_limit(values.len() - i, share(i)).is_some_and(|limit| e.deviate > limit)
    };
    let flagged = found.iter().enumerate().rposition(beyond).map_or(0, |last| last + 1);
    found.truncate(flagged);
    found.into_iter().map(|e| e.index).collect()
}

/// The flags of each flagged swing together.
pub fn by_swing(flags: &[Flag]) -> Vec<(u32, &[Flag])> {
    flags.chunk_by(|a, b| a.number == b.number).map(|flags| (flags[0].number, flags)).collect()
}

/// What is unlike in one swing, in one line: the three furthest measures, and how many more there are.
pub fn in_words(flags: &[Flag]) -> String {
    let mut parts: Vec<String> = flags.iter().take(3).map(|f| f.words.clone()).collect();
    if flags.len() > 3 {
        parts.push(format!("and {} more", plural(flags.len() - 3, "measure")));
    }
    parts.join("; ")
}

/// One measure over the block.
struct Column {
    measure: Measure,
    /// Place among the swings, and value; swings that have it, defined as most have it.
    values: Vec<(usize, f64)>,
}

impl Column {
    fn of(measure: Measure, swings: &[&Swing]) -> Option<Self> {
        let values: Vec<(usize, Value)> =
            swings.iter().enumerate().filter_map(|(i, s)| Some((i, measure.of(s)?))).collect();
        let count = |d: Definition| values.iter().filter(|v| v.1.definition == d).count();
        let most = values.iter().map(|v| v.1.definition).rev().max_by_key(|d| count(*d))?;
        let values: Vec<(usize, f64)> =
            values.iter().filter(|v| v.1.definition == most).map(|v| (v.0, v.1.value)).collect();
        (values.len() >= FEWEST).then_some(Self { measure, values })
    }

    fn flags(&self, swings: &[&Swing], alpha: f64) -> Vec<(usize, Flag)> {
        let values: Vec<f64> = self.values.iter().map(|v| v.1).collect();
        let far = far_out(&values, alpha);
        let others: Vec<f64> =
            values.iter().enumerate().filter(|(i, _)| !far.contains(i)).map(|(_, v)| *v).collect();
        let Some(Sample { mean, sd: Some(sd), .. }) = Sample::of(&others) else { return Vec::new() };
        let flag = |i: &usize| {
            let (place, at) = self.values[*i];
            // What is printed alike is not called unlike.
            ((at - mean).abs() >= step(self.measure)).then(|| {
                let words = format!(
                    "{}, {} the others ({})",
                    subject(self.measure, at),
                    difference(self.measure, at, mean),
                    value(self.measure, mean)
                );
                let number = swings[place].number;
                (
                    place,
                    Flag {
                        number,
                        measure: self.measure,
                        value: at,
                        others_mean: mean,
                        others_sd: sd,
                        words,
                    },
                )
            })
        };
        far.iter().filter_map(flag).collect()
    }
}
