//! Student's t, and size, mean and SD of a set of values.

use super::{mean, sd};
use statrs::distribution::{ContinuousCDF as _, Normal, StudentsT};

/// Quantile of Student's t distribution at `p` with `df` degrees of freedom (may be
/// fractional); `None` outside 0 < p < 1 or df > 0.
pub fn t_quantile(p: f64, df: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0 && df > 0.0 && df.is_finite()) {
        return None;
    }
    if df >= MANY {
        return Some(near_normal(Normal::standard().inverse_cdf(p), df));
    }
    Some(StudentsT::new(0.0, 1.0, df).ok()?.inverse_cdf(p))
}

/// From so many degrees of freedom on the library's search may not end (statrs 0.19; there are millions where a known error
/// outweighs the values' own scatter), and the expansion is right to 10⁻¹¹.
const MANY: f64 = 1000.0;

/// From so many on the library's distribution loses digits that the normal one, to first order in 1/df (Abramowitz and
/// Stegun 1964, 26.7.8), has.
const MILLIONS: f64 = 1e6;

/// Quantile for many degrees of freedom from the normal quantile `z`.
///
/// Source: Abramowitz M, Stegun IA 1964, *Handbook of Mathematical Functions*, 26.7.5.
pub(super) fn near_normal(z: f64, df: f64) -> f64 {
    let sq = z * z;
    let first = z * (sq + 1.0) / 4.0;
    let second = z * ((5.0 * sq + 16.0) * sq + 3.0) / 96.0;
    let third = z * (((3.0 * sq + 19.0) * sq + 17.0) * sq - 15.0) / 384.0;
    z + (first + (second + third / df) / df) / df
}

/// Two-sided p of a t statistic; `None` for df ≤ 0 or a statistic that is not a number.
pub fn t_two_sided_p(t: f64, df: f64) -> Option<f64> {
    if t.is_nan() || !(df > 0.0 && df.is_finite()) {
        return None;
    }
    if df >= MILLIONS {
        let z = t.abs() * (1.0 - 1.0 / (4.0 * df)) / (1.0 + t * t / (2.0 * df)).sqrt();
        return Some(2.0 * Normal::standard().cdf(-z));
    }
    // The lower tail keeps its digits where 1 − cdf would lose them.
    Some(2.0 * StudentsT::new(0.0, 1.0, df).ok()?.cdf(-t.abs()))
}

/// Size, mean and sample SD of a set of values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Number of values.
    pub n: usize,
    /// Mean, in the values' unit.
    pub mean: f64,
    /// Sample SD (n − 1), in the values' unit; `None` for a single value.
    pub sd: Option<f64>,
}

impl Sample {
    /// Summarises `values`; `None` without values.
    pub fn of(values: &[f64]) -> Option<Self> {
        Some(Self { n: values.len(), mean: mean(values)?, sd: sd(values) })
    }
}
