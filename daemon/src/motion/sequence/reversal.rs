//! When a segment turned back towards the target.

use super::fit::LocalFit;
use super::peak::Series;

/// A located reversal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reversal {
    /// Session time, s.
    pub t_s: f64,
    /// Standard uncertainty, s.
    pub sd_s: f64,
}

/// Speed of a signed axial component known to no better than this: sway and cross-talk of
/// an axis some degrees off, deg/s (own judgement).
const CROSS_TALK_DPS: f64 = 4.0;

/// The last change of sign from away to forward before `peak_s`, not before `from_s`.
pub fn find(series: Series<'_>, from_s: f64, peak_s: f64, half_s: f64) -> Option<Reversal> {
    let lo = series.t_s.partition_point(|t| *t < from_s);
    let hi = series.t_s.partition_point(|t| *t < peak_s);
    let crossing = (lo + 1..hi).rev().find(|&i| series.dps[i - 1] <= 0.0 && series.dps[i] > 0.0)?;
    let near = 0.5 * (series.t_s[crossing] + series.t_s[crossing - 1]);
    let fit = LocalFit::new(series.t_s, series.dps, near, half_s)?;
    let t = fit.root(0, near).filter(|t| (t - near).abs() <= half_s).unwrap_or(near);
    let slope = fit.at(t, 1).abs().max(50.0);
    let noise = fit.sd(t, 0, fit.residual_var());
    Some(Reversal { t_s: t, sd_s: noise.hypot(CROSS_TALK_DPS) / slope })
}
