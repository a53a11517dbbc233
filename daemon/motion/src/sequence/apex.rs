//! Two-sided parabola: an apex whose rise and fall are bent differently.
//!
//! Segment speeds rise and fall at unlike rates. A cubic follows that where the curve is
//! smooth; where a muscle lets go at once the bend itself changes at the apex, which a
//! cubic answers with a shift of a millisecond. This model has no shift there, but has one
//! on smooth curves: [`super::peak`] weighs the two by how well each fits.

use crate::minimum;
use nalgebra::{Matrix3, Vector3};

/// Fitted apex.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apex {
    /// Time of the apex, s.
    pub t_s: f64,
    /// Value there.
    pub top: f64,
    /// Sum of squared residuals.
    pub rss: f64,
    /// Second derivative of the residual sum by the apex time, 1/s²: its sharpness.
    pub sharpness: f64,
}

/// Share of the half width that the apex may lie off the centre.
const REACH: f64 = 0.6;

/// Fits samples within `centre_s` ± `half_s`. `None` with fewer than six of them, or when the
/// best apex is no maximum or lies at the edge of its reach.
pub fn fit(t_s: &[f64], y: &[f64], centre_s: f64, half_s: f64) -> Option<Apex> {
    let lo = t_s.partition_point(|t| *t < centre_s - half_s);
    let hi = t_s.partition_point(|t| *t <= centre_s + half_s);
    if hi < lo + 6 {
        return None;
    }
    let (t, y) = (&t_s[lo..hi], &y[lo..hi]);
    let cost = |apex: f64| solve(t, y, apex, half_s).map_or(f64::INFINITY, |(_, rss)| rss);
    let reach = REACH * half_s;
    let at = minimum::golden(cost, centre_s - reach, centre_s + reach, minimum::STEPS);
    if (at - centre_s).abs() > 0.98 * reach {
        return None;
    }
    let (shape, rss) = solve(t, y, at, half_s)?;
    if shape.y >= 0.0 || shape.z >= 0.0 {
        return None;
    }
    let h = 0.1 * half_s;
    let sharpness = (cost(at - h) - 2.0 * rss + cost(at + h)) / (h * h);
    Some(Apex { t_s: at, top: shape.x, rss, sharpness })
}

/// Best (top, bend before, bend after) for a given apex time.
fn solve(t_s: &[f64], y: &[f64], apex_s: f64, half_s: f64) -> Option<(Vector3<f64>, f64)> {
    let row = |t: f64| {
        let u = (t - apex_s) / half_s;
        if u < 0.0 { Vector3::new(1.0, u * u, 0.0) } else { Vector3::new(1.0, 0.0, u * u) }
    };
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for (t, y) in t_s.iter().zip(y) {
        let x = row(*t);
        normal += x * x.transpose();
        right += x * *y;
    }
    let shape = normal.try_inverse()? * right;
    let rss = t_s.iter().zip(y).map(|(t, y)| (y - shape.dot(&row(*t))).powi(2)).sum();
    Some((shape, rss))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_apex_with_unlike_sides_is_found_where_it_is() {
        let t: Vec<f64> = (0..60).map(|i| f64::from(i) / 208.0).collect();
        let y: Vec<f64> = t
            .iter()
            .map(|t| 900.0 - if *t < 0.1437 { 1.2e5 } else { 2.6e5 } * (t - 0.1437).powi(2))
            .collect();
        let apex = fit(&t, &y, 0.140, 0.03).unwrap();
        assert!((apex.t_s - 0.1437).abs() < 1e-5, "{}", apex.t_s);
        assert!((apex.top - 900.0).abs() < 0.01);
    }

    #[test]
    fn a_slope_has_no_apex() {
        let t: Vec<f64> = (0..60).map(|i| f64::from(i) / 208.0).collect();
        let y: Vec<f64> = t.iter().map(|t| 900.0 * t).collect();
        assert_eq!(fit(&t, &y, 0.14, 0.03), None);
    }
}
