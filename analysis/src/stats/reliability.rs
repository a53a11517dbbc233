//! How well a measurement repeats.

use super::Z95;

/// Minimal detectable change at 95 %, SEM · 1.96 · √2, in the unit of `sem`.
///
/// Source: Weir JP 2005, *J Strength Cond Res* 19:231–240.
pub fn mdc95(sem: f64) -> f64 {
    sem * Z95 * std::f64::consts::SQRT_2
}
