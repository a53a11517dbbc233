//! How well a measurement repeats: intraclass correlation, minimal detectable change,
//! typical error.

use super::{Z95, mean, sd};

/// The six intraclass correlations with the mean squares they come from.
///
/// Source: Shrout PE, Fleiss JL 1979, *Psychol Bull* 86:420–428.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Icc {
    /// Mean square between targets.
    pub ms_between: f64,
    /// Mean square within targets.
    pub ms_within: f64,
    /// Mean square between judges (trials).
    pub ms_judges: f64,
    /// Residual mean square.
    pub ms_error: f64,
    /// ICC(1,1): each target has judges of its own.
    pub one_single: f64,
    /// ICC(2,1): judges are a random sample; agreement counts.
    pub two_single: f64,
    /// ICC(3,1): these judges only; consistency counts.
    pub three_single: f64,
    /// ICC(1,k): mean of k judges, as (1,1).
    pub one_mean: f64,
    /// ICC(2,k): mean of k judges, as (2,1).
    pub two_mean: f64,
    /// ICC(3,k): mean of k judges, as (3,1).
    pub three_mean: f64,
}

impl Icc {
    /// Standard error of measurement, the root of the residual mean square, in the unit of
    /// the ratings. Source: Weir JP 2005, *J Strength Cond Res* 19:231–240.
    pub fn sem(&self) -> f64 {
        self.ms_error.sqrt()
    }
}

/// Intraclass correlations of `rows` (one row a target, one column a judge or trial).
/// `None` unless there are at least two rows of the same length of at least two, and some
/// variation.
pub fn icc(rows: &[Vec<f64>]) -> Option<Icc> {
    let n = rows.len();
    let k = rows.first()?.len();
    if n < 2 || k < 2 || rows.iter().any(|r| r.len() != k) {
        return None;
    }
    let (nf, kf) = (n as f64, k as f64);
    let all: Vec<f64> = rows.iter().flatten().copied().collect();
    let grand = mean(&all)?;
    let square = |x: f64| (x - grand).powi(2);
    let total: f64 = all.iter().map(|&x| square(x)).sum();
    let between: f64 = rows.iter().map(|r| kf * square(r.iter().sum::<f64>() / kf)).sum();
    let judges: f64 = (0..k).map(|j| nf * square(rows.iter().map(|r| r[j]).sum::<f64>() / nf)).sum();
    let ms_between = between / (nf - 1.0);
    let ms_within = (total - between) / (nf * (kf - 1.0));
    let ms_judges = judges / (kf - 1.0);
    let ms_error = (total - between - judges) / ((nf - 1.0) * (kf - 1.0));
    let icc = Icc {
        ms_between,
        ms_within,
        ms_judges,
        ms_error,
        one_single: (ms_between - ms_within) / (ms_between + (kf - 1.0) * ms_within),
        two_single: (ms_between - ms_error)
            / (ms_between + (kf - 1.0) * ms_error + kf * (ms_judges - ms_error) / nf),
        three_single: (ms_between - ms_error) / (ms_between + (kf - 1.0) * ms_error),
        one_mean: (ms_between - ms_within) / ms_between,
        two_mean: (ms_between - ms_error) / (ms_between + (ms_judges - ms_error) / nf),
        three_mean: (ms_between - ms_error) / ms_between,
    };
    [icc.one_single, icc.two_single, icc.three_single, icc.one_mean]
        .iter()
        .all(|v| v.is_finite())
        .then_some(icc)
}

/// Minimal detectable change at 95 %, SEM · 1.96 · √2, in the unit of `sem`.
///
/// Source: Weir JP 2005, *J Strength Cond Res* 19:231–240.
pub fn mdc95(sem: f64) -> f64 {
    sem * Z95 * std::f64::consts::SQRT_2
}

/// Typical error of two trials of the same targets.
///
/// Source: Hopkins WG 2000, *Sports Med* 30:1–15.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TypicalError {
    /// Mean of second minus first.
    pub mean_change: f64,
    /// SD of the differences over √2.
    pub typical_error: f64,
    /// Smallest worthwhile change, 0.2 × SD of the first trial between targets.
    pub smallest_worthwhile: f64,
    /// Typical error over the grand mean, per cent.
    pub cv_percent: f64,
}

impl TypicalError {
    /// Whether one measurement can show the smallest worthwhile change.
    pub fn resolves_smallest_worthwhile(&self) -> bool {
        self.typical_error <= self.smallest_worthwhile
    }
}

/// Typical error of `second` against `first`, pair by pair; `None` for fewer than two
/// pairs, lists of different length, or a grand mean of zero.
pub fn typical_error(first: &[f64], second: &[f64]) -> Option<TypicalError> {
    if first.len() != second.len() {
        return None;
    }
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| b - a).collect();
    let grand = f64::midpoint(mean(first)?, mean(second)?);
    if grand == 0.0 {
        return None;
    }
    let typical_error = sd(&differences)? / std::f64::consts::SQRT_2;
    Some(TypicalError {
        mean_change: mean(&differences)?,
        typical_error,
        smallest_worthwhile: 0.2 * sd(first)?,
        cv_percent: 100.0 * typical_error / grand.abs(),
    })
}
