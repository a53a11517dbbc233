//! Values far from the others of a sample, one or several.

use super::student::t_quantile;
use super::{mean, sd};

/// The value furthest from the mean of what is left when those before it are taken out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extreme {
    /// Its place in the sample.
    pub index: usize,
    /// Its distance from the mean of those left, itself among them, in their SDs.
    pub deviate: f64,
}

/// The `most` extreme values, each found with those before it taken out. Fewer where no three differing values are left.
///
/// Source: Rosner B 1983, *Technometrics* 25:165–172 (generalised extreme Studentised deviates).
pub fn extremes(values: &[f64], most: usize) -> Vec<Extreme> {
    let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    let mut found = Vec::new();
    while found.len() < most && left.len() >= 3 {
        let now: Vec<f64> = left.iter().map(|v| v.1).collect();
        let (Some(middle), Some(spread)) = (mean(&now), sd(&now)) else { break };
        if spread <= 1e-12 * middle.abs() {
            break;
        }
        let far = |v: &(usize, f64)| (v.1 - middle).abs();
        let Some(at) = (0..left.len()).max_by(|a, b| far(&left[*a]).total_cmp(&far(&left[*b]))) else {
            break;
        };
        let value = left.remove(at);
        found.push(Extreme { index: value.0, deviate: far(&value) / spread });
    }
    found
}

/// What the largest deviate of `n` normal values exceeds with a chance of at most `alpha`; `None` for fewer than three.
///
/// Source: Grubbs FE 1969, *Technometrics* 11:1–21 (from memory); the λ of Rosner 1983.
pub fn extreme_limit(n: usize, alpha: f64) -> Option<f64> {
    let left = n.checked_sub(2).filter(|left| *left > 0)? as f64;
    // The lower tail keeps its digits where 1 − α would lose them.
    let t = -t_quantile(alpha / (2.0 * n as f64), left)?;
    Some((left + 1.0) * t / ((left + t * t) * n as f64).sqrt())
}
