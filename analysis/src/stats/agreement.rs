//! Agreement of two methods.

use super::{mean, sd};

/// Bias and 95 % limits of agreement, in the unit of the measurements.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Mean difference.
    pub bias: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
}

/// Limits of agreement, bias ± 1.96 SD of the differences.
///
/// Source: Bland JM, Altman DG 1986, *Lancet* i:307–310.
pub fn limits_of_agreement(bias: f64, sd_of_differences: f64) -> Limits {
    let half = 1.96 * sd_of_differences;
    Limits { bias, lower: bias - half, upper: bias + half }
}

/// Limits of agreement of `second` minus `first`, pair by pair; `None` for fewer than two
/// pairs or lists of different length.
pub fn limits_of_pairs(first: &[f64], second: &[f64]) -> Option<Limits> {
    if first.len() != second.len() {
        return None;
    }
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| b - a).collect();
    Some(limits_of_agreement(mean(&differences)?, sd(&differences)?))
}
