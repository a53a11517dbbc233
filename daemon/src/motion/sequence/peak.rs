//! When a segment was fastest between its reversal and impact.

use super::fit::LocalFit;

/// A speed series of one segment at its own sample times.
#[derive(Debug, Clone, Copy)]
pub struct Series<'a> {
    /// Session times, s.
    pub t_s: &'a [f64],
    /// Speed, deg/s.
    pub dps: &'a [f64],
}

/// A located maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundPeak {
    /// Session time, s; impact if the speed was still rising there.
    pub t_s: f64,
    /// Standard uncertainty from noise and from the smoothing's own shift, s.
    pub sd_s: f64,
    /// Speed there, deg/s.
    pub dps: f64,
    /// Still rising at impact.
    pub rising: bool,
}

/// Half width of the smoothing, s: the same for all segments. As a filter its −3 dB point
/// lies above 25 Hz; longer smoothing moves the peaks of segments with unlike rise and fall
/// against each other.
pub const HALF_S: f64 = 0.022;

/// Half width for straps of this sample period: at least seven samples.
pub fn half_width_s(period_s: f64) -> f64 {
    HALF_S.max(3.2 * period_s)
}

/// Finds the largest maximum in (`from_s`, `impact_s`]. Only samples up to `data_to_s`
/// (impact, or a little later without a strike) are used: the strike shakes the gyroscope.
pub fn find(series: Series<'_>, from_s: f64, impact_s: f64, data_to_s: f64, half_s: f64) -> Option<FoundPeak> {
    let end = series.t_s.partition_point(|t| *t <= data_to_s);
    let (t_s, dps) = (&series.t_s[..end], &series.dps[..end]);
    let lo = t_s.partition_point(|t| *t <= from_s);
    let hi = t_s.partition_point(|t| *t <= impact_s);
    let smooth = |i: usize| LocalFit::new(t_s, dps, t_s[i], half_s).map(|f| f.at(t_s[i], 0));
    let mut best: Option<(usize, f64)> = None;
    for i in lo..hi {
        if let Some(v) = smooth(i)
            && best.is_none_or(|(_, b)| v > b)
        {
            best = Some((i, v));
        }
    }
    let (at, _) = best?;
    let noise_var = noise_var(dps, lo, hi);

    // Refine: recentre the fit on its own maximum until it stays.
    let mut t = t_s[at];
    let mut fit = LocalFit::new(t_s, dps, t, half_s)?;
    for _ in 0..4 {
        let Some(next) = fit.root(1, t).filter(|next| (next - t_s[at]).abs() < half_s) else { break };
        t = next;
        fit = LocalFit::new(t_s, dps, t.min(impact_s), half_s)?;
    }
    let slope_at_impact = LocalFit::new(t_s, dps, impact_s, half_s);
    let last_is_best = at + 1 >= hi;
    let rising = t > impact_s
        || (last_is_best && slope_at_impact.as_ref().is_some_and(|f| f.at(impact_s, 1) > 0.0));
    if rising {
        let fit = slope_at_impact.unwrap_or(fit);
        return Some(FoundPeak { t_s: impact_s, sd_s: 0.0, dps: fit.at(impact_s, 0), rising: true });
    }
    let curvature = fit.at(t, 2);
    if curvature >= 0.0 {
        return None;
    }
    let noise_s = fit.sd(t, 1, noise_var) / -curvature;
    // How far the answer moves with half the smoothing again tells the smoothing's own shift.
    let wide = LocalFit::new(t_s, dps, t, half_s * 1.6).and_then(|f| f.root(1, t));
    let shift_s = wide.map_or(0.0, |w| (w - t).abs() * 0.5);
    Some(FoundPeak { t_s: t, sd_s: noise_s.hypot(shift_s).hypot(0.05e-3), dps: fit.at(t, 0), rising: false })
}

/// Variance of the samples' noise between two indices, from their departure from a line
/// through their neighbours (for white noise σ² times 3/2).
fn noise_var(dps: &[f64], lo: usize, hi: usize) -> f64 {
    let mut departures: Vec<f64> = (lo.max(2)..hi.min(dps.len().saturating_sub(2)))
        .map(|i| {
            // Fourth difference: smooth motion of these speeds is far below a deg/s in it.
            let d = dps[i - 2] - 4.0 * dps[i - 1] + 6.0 * dps[i] - 4.0 * dps[i + 1] + dps[i + 2];
            d * d / 70.0
        })
        .collect();
    if departures.is_empty() {
        return 1.0;
    }
    departures.sort_by(f64::total_cmp);
    // Median of squares of a normal variable is 0.455 of its variance.
    departures[departures.len() / 2] / 0.455 + 1e-4
}
