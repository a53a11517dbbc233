//! Swings unlike the others of their block, over all measures at once.
//!
//! A phone rings, a foot slips: one such swing moves a mean of eight more than a drill does. It is shown and still
//! counted; whether it was a swing like the others is for coach and player to say.

mod limits;

use crate::measure::{Definition, Measure, Value};
use crate::stats::{mad, median};
use crate::words::{difference, plural, step, subject, value};
use peakorder_protocol::swing::Swing;

/// Fewest swings of a block among which one can be told to be unlike the others.
pub const FEWEST: usize = limits::FEWEST;

/// One measure of one swing that lies further from the block's median than clean values do.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// Number of the swing.
    pub number: u32,
    /// Which measure.
    pub measure: Measure,
    /// The swing's value, in the measure's unit.
    pub value: f64,
    /// The block's median.
    pub median: f64,
    /// How far the value is from it, in the block's robust SDs (1.4826 times the median absolute deviation).
    pub robust_sds: f64,
    /// What of the furthest value is exceeded in one clean block of twenty, over all measures together.
    pub limit: f64,
    /// The same in words, without the swing's number.
    pub words: String,
}

/// Flags the swings of one block that are unlike its others, in the order of `swings`, of each the furthest measure
/// first. Give only swings that count.
///
/// Source: the modified z of Iglewicz B, Hoaglin DC 1993, *How to Detect and Handle Outliers*, with limits for as many
/// swings and measures as there are instead of their 3.5, which flags one in three clean blocks of eight in one
/// measure alone: at most 5 % of clean blocks of independent, normal swings have any flag (Bonferroni over measures;
/// `limits.rs`). A measure that fewer than [`FEWEST`] swings have, or that half of them share to the digit, is passed over.
pub fn outliers(swings: &[&Swing]) -> Vec<Flag> {
    let columns: Vec<Column> = Measure::ALL.into_iter().filter_map(|m| Column::of(m, swings)).collect();
    let mut flags = Vec::new();
    for (i, swing) in swings.iter().enumerate() {
        let mut of_swing: Vec<Flag> =
            columns.iter().filter_map(|c| c.flag(i, swing.number, columns.len())).collect();
        of_swing.sort_by(|a, b| (b.robust_sds / b.limit).total_cmp(&(a.robust_sds / a.limit)));
        flags.extend(of_swing);
    }
    flags
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

/// What a modified z must exceed, of `n` swings and as many measures.
fn limit(n: usize, measures: usize) -> f64 {
    let row = limits::LIMITS[n.clamp(FEWEST, FEWEST + limits::LIMITS.len() - 1) - FEWEST];
    // The next larger number of measures: fewer flags, never more. Beyond the last, the chance is shared on as the
    // tail of the last two columns falls.
    if let Some(column) = limits::MEASURES.iter().position(|m| *m >= measures) {
        return row[column];
    }
    let last = row.len() - 1;
    let step = |of: f64, by: usize| of / limits::MEASURES[by] as f64;
    let share = step(measures as f64, last).ln() / step(limits::MEASURES[last] as f64, last - 1).ln();
    row[last] * (row[last] / row[last - 1]).powf(share)
}

/// One measure over the block.
struct Column {
    measure: Measure,
    /// By swing; `None` where it was not measured, or by another definition than most.
    values: Vec<Option<f64>>,
    n: usize,
    median: f64,
    scale: f64,
}

impl Column {
    fn of(measure: Measure, swings: &[&Swing]) -> Option<Self> {
        let values: Vec<Option<Value>> = swings.iter().map(|s| measure.of(s)).collect();
        let count = |d: Definition| values.iter().flatten().filter(|v| v.definition == d).count();
        let most = values.iter().flatten().map(|v| v.definition).rev().max_by_key(|d| count(*d))?;
        let values: Vec<Option<f64>> =
            values.iter().map(|v| v.as_ref().filter(|v| v.definition == most).map(|v| v.value)).collect();
        let known: Vec<f64> = values.iter().copied().flatten().collect();
        let scale = mad(&known).filter(|scale| known.len() >= FEWEST && *scale > 0.0)?;
        Some(Self { measure, n: known.len(), median: median(&known)?, scale, values })
    }

    fn flag(&self, i: usize, number: u32, measures: usize) -> Option<Flag> {
        let of = self.values[i]?;
        let (robust_sds, limit) = ((of - self.median).abs() / self.scale, limit(self.n, measures));
        // What is printed alike is not called unlike.
        (robust_sds > limit && (of - self.median).abs() >= step(self.measure)).then(|| Flag {
            number,
            measure: self.measure,
            value: of,
            median: self.median,
            robust_sds,
            limit,
            words: format!(
                "{}, {} the block's median ({})",
                subject(self.measure, of),
                difference(self.measure, of, self.median),
                value(self.measure, self.median)
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_rise_with_measures_and_go_on_beyond_the_table() {
        for n in [5, 6, 8, 9, 13, 30, 60, 200] {
            let at: Vec<f64> = (1..=80).map(|m| limit(n, m)).collect();
            assert!(at.windows(2).all(|w| w[1] >= w[0]), "{n}");
            assert!(at[79] > at[49] && at[79] < 1.5 * at[49], "{n}: {} {}", at[49], at[79]);
        }
        assert_eq!(limit(8, 1), 4.93);
        assert_eq!(limit(8, 36), limit(8, 40));
    }
}
