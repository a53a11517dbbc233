//! A straight line through a few points.

use super::{mean, t_quantile, t_two_sided_p};

/// Least-squares line with what is known of its slope.
///
/// Source: ordinary least squares; Draper NR, Smith H 1998, *Applied Regression Analysis*,
/// chapter 1 (edition from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Change of y per unit of x.
    pub slope: f64,
    /// y at x = 0.
    pub intercept: f64,
    /// Standard error of the slope.
    pub se: f64,
    /// Degrees of freedom, points less two.
    pub df: f64,
    /// Two-sided p of a slope of zero.
    pub p: f64,
    /// Half-width of the slope's confidence interval.
    pub half_width: f64,
}

/// Fits `y` over `x` at confidence `level`. `None` for fewer than three points, lists of
/// different length, no spread of `x`, or points exactly on a line (nothing is known of
/// their scatter then).
pub fn line(x: &[f64], y: &[f64], level: f64) -> Option<Line> {
    if x.len() != y.len() || x.len() < 3 {
        return None;
    }
    let (mx, my) = (mean(x)?, mean(y)?);
    let sxx: f64 = x.iter().map(|v| (v - mx).powi(2)).sum();
    let sxy: f64 = x.iter().zip(y).map(|(a, b)| (a - mx) * (b - my)).sum();
    let slope = sxy / sxx;
    let residual: f64 = x.iter().zip(y).map(|(a, b)| (b - my - slope * (a - mx)).powi(2)).sum();
    let df = x.len() as f64 - 2.0;
    let se = (residual / df / sxx).sqrt();
    if !(se > 0.0 && se.is_finite()) {
        return None;
    }
    let half_width = t_quantile(f64::midpoint(1.0, level), df)? * se;
    Some(Line { slope, intercept: my - slope * mx, se, df, p: t_two_sided_p(slope / se, df)?, half_width })
}
