//! Random-field threshold of a curve's t: what the permutation test is compared with.

use statrs::distribution::{ContinuousCDF as _, StudentsT};
use std::f64::consts::{LN_2, PI};

/// Smoothness of curves, as the full width at half maximum (in points) of the Gaussian that would make them of white
/// noise, from `residuals` (one row a swing). `None` without two points that vary.
///
/// Source: Kiebel SJ et al. 1999, *`NeuroImage`* 10:756–766 (from memory), as `spm1d` computes it: normalised gradients,
/// central inside and one-sided at the ends.
pub fn full_width_half_maximum(residuals: &[Vec<f64>]) -> Option<f64> {
    let points = residuals.first()?.len();
    if points < 2 || residuals.iter().any(|r| r.len() != points) {
        return None;
    }
    let gradient = |row: &Vec<f64>, i: usize| {
        let (left, right) = (i.saturating_sub(1), (i + 1).min(points - 1));
        (row[right] - row[left]) / (right - left) as f64
    };
    let resels_per_point = (0..points).map(|i| {
        let square: f64 = residuals.iter().map(|r| r[i] * r[i]).sum();
        let change: f64 = residuals.iter().map(|r| gradient(r, i).powi(2)).sum();
        (change / (square + f64::EPSILON) / (4.0 * LN_2)).sqrt()
    });
    let mean = resels_per_point.sum::<f64>() / points as f64;
    (mean > 0.0 && mean.is_finite()).then(|| 1.0 / mean)
}

/// What the largest t of a smooth curve of `points` points exceeds with a chance of `alpha` on one side, for `df`
/// degrees of freedom and smoothness `width` ([`full_width_half_maximum`]).
///
/// Source: expected Euler characteristic of a t field, Worsley KJ et al. 1996, *Human Brain Mapping* 4:58–73, through
/// P = 1 − exp(−E).
pub fn field_threshold(points: usize, width: f64, df: f64, alpha: f64) -> Option<f64> {
    if !(width > 0.0 && alpha > 0.0 && alpha < 1.0) || points < 2 {
        return None;
    }
    let student = StudentsT::new(0.0, 1.0, df).ok()?;
    let resels = (points - 1) as f64 / width;
    let wanted = -(-alpha).ln_1p();
    let expected = |t: f64| {
        student.cdf(-t)
            + resels * (4.0 * LN_2).sqrt() / (2.0 * PI) * (1.0 + t * t / df).powf((1.0 - df) / 2.0)
    };
    let (mut low, mut high) = (0.0, 1.0);
    while expected(high) > wanted {
        high *= 2.0;
        if high > 1e9 {
            return None;
        }
    }
    // The expectation falls with t.
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if expected(middle) > wanted { low = middle } else { high = middle }
    }
    Some(f64::midpoint(low, high))
}
