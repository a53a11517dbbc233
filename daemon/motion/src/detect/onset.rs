//! Where a segment's backswing began: on its smoothed rate away from the target, back along its slope.
//!
//! The level is 5 % of the segment's fastest turn away. A restless address hides the beginning below
//! its own sway; then the level is three of its SDs, and from there the slope leads back to the 5 %.

use super::signal::STEP_S;
use std::f64::consts::{PI, SQRT_2};

/// A start is where a segment has this share of its fastest speed away.
const SHARE: f64 = 0.05;
/// The slope is taken over this further share of that speed.
const SLOPE_SHARE: f64 = 0.10;
/// A start stands out from address by this many SDs of its sway.
const SWAY_SDS: f64 = 3.0;
/// Address ends this long before the start, and is looked at from this long before, s.
const ADDRESS_TO_S: f64 = 0.1;
const ADDRESS_FROM_S: f64 = 0.9;
/// With less of it, s, only the last moments are looked at.
const ADDRESS_MIN_S: f64 = 0.15;
const ADDRESS_SHORT_S: f64 = 0.3;
/// Slope that no start falls below, deg/s².
const SLOPE_MIN_DPS_S: f64 = 1.0;
/// Corner frequency (−3 dB) of the smoothing, both ways together, Hz. A body does not begin to turn
/// faster than that shows, and its sway at address is mostly above it.
const CORNER_HZ: f64 = 6.0;

/// A segment's start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Session time, s.
    pub at_s: f64,
    /// Standard uncertainty, s.
    pub sd_s: f64,
}

/// The start of the turn away that ends at `reversal`, in `away_dps`, known throughout to `bias_sd_dps`, on the
/// grid that starts at `start_s`. Its fastest moment lies after `from`.
pub(crate) fn find(
    away_dps: &[f64],
    bias_sd_dps: f64,
    start_s: f64,
    from: usize,
    reversal: usize,
) -> Option<Onset> {
    let smooth = zero_phase(away_dps, CORNER_HZ);
    let fastest = (from..=reversal).max_by(|a, b| smooth[*a].total_cmp(&smooth[*b]))?;
    let peak = smooth[fastest];
    if peak <= 0.0 {
        return None;
    }
    let wanted = SHARE * peak;
    let mut level = wanted;
    let mut at = crossing(&smooth, level, fastest)?;
    let mut sway = 0.0;
    // Address ends where the motion begins, and where that is depends on its sway.
    for _ in 0..2 {
        let (mean, sd) = address(&smooth, at)?;
        sway = sd;
        level = wanted.max(mean + SWAY_SDS * sd);
        at = crossing(&smooth, level, fastest)?;
    }
    let further = level + SLOPE_SHARE * peak;
    let reached = (at as usize..=fastest).find(|&i| smooth[i] >= further).unwrap_or(fastest);
    let seconds = ((reached as f64 - at) * STEP_S).max(STEP_S);
    let slope = ((further - level) / seconds).max(SLOPE_MIN_DPS_S);
    let hidden = level - wanted;
    // Sway moves the crossing. Half of what is hidden below the level is not known: the level's own
    // height above nothing, and what was extrapolated.
    let sd_s = (sway.hypot(bias_sd_dps) / slope).hypot(0.5 * level / slope).hypot(0.5 * STEP_S);
    Some(Onset { at_s: start_s + at * STEP_S - hidden / slope, sd_s })
}

/// Grid position at which `x` last rises through `level` before `before`.
fn crossing(x: &[f64], level: f64, before: usize) -> Option<f64> {
    (1..=before).rev().find(|&i| x[i - 1] <= level && level < x[i]).map(|i| {
        let below = (level - x[i - 1]) / (x[i] - x[i - 1]);
        (i - 1) as f64 + below
    })
}

/// Median of address before `at`, and the RMS about it.
fn address(x: &[f64], at: f64) -> Option<(f64, f64)> {
    let steps = |s: f64| (s / STEP_S) as usize;
    let end = at as usize;
    let mut still = &x[end.saturating_sub(steps(ADDRESS_FROM_S))..end.saturating_sub(steps(ADDRESS_TO_S))];
    if still.len() < steps(ADDRESS_MIN_S) {
        still = &x[end.saturating_sub(steps(ADDRESS_SHORT_S))..=end];
    }
    let mut sorted = still.to_vec();
    sorted.sort_by(f64::total_cmp);
    let median = *sorted.get(sorted.len() / 2)?;
    let mean_square = still.iter().map(|v| (v - median).powi(2)).sum::<f64>() / still.len() as f64;
    Some((median, mean_square.sqrt()))
}

/// Butterworth low-pass of second order, forward and backward: no delay. The corner of one pass is
/// higher than that of both by (√2 − 1)^(−1/4) (Winter, Biomechanics and Motor Control of Human
/// Movement, correction for two passes).
fn zero_phase(x: &[f64], corner_hz: f64) -> Vec<f64> {
    let one_pass_hz = corner_hz / (SQRT_2 - 1.0).powf(0.25);
    // Bilinear transform.
    let k = (PI * one_pass_hz * STEP_S).tan();
    let norm = 1.0 / (1.0 + SQRT_2 * k + k * k);
    let gain = k * k * norm;
    let feedback = [2.0 * (k * k - 1.0) * norm, (1.0 - SQRT_2 * k + k * k) * norm];
    let pass = |values: &mut dyn Iterator<Item = f64>| -> Vec<f64> {
        let mut out = Vec::with_capacity(x.len());
        let mut past: Option<[f64; 4]> = None;
        for v in values {
            // It begins as if the first value had always been there.
            let [x1, x2, y1, y2] = past.unwrap_or([v; 4]);
            let y = gain * (v + 2.0 * x1 + x2) - feedback[0] * y1 - feedback[1] * y2;
            past = Some([v, x1, y, y1]);
            out.push(y);
        }
        out
    };
    let forward = pass(&mut x.iter().copied());
    let mut both = pass(&mut forward.iter().rev().copied());
    both.reverse();
    both
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1: `sosfiltfilt(butter(2, 6 / 0.8022, fs=200, output='sos'), x)` of a sine of 10 s, the
    /// largest value in its middle: 0.9997, 0.7085 and 0.0163.
    #[test]
    fn the_smoothing_has_its_corner_at_six_hertz() {
        for (hz, share) in [(1.0, 1.0), (6.0, 1.0 / SQRT_2), (20.0, 0.017)] {
            let x: Vec<f64> = (0..2000).map(|i| (2.0 * PI * hz * f64::from(i) * STEP_S).sin()).collect();
            let y = zero_phase(&x, CORNER_HZ);
            let largest = y[600..1400].iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            assert!((largest - share).abs() < 0.005, "{hz} Hz: {largest}");
        }
    }

    #[test]
    fn a_ramp_begins_where_it_has_five_percent_of_its_speed() {
        // At rest, then 200 deg/s² up to 100 deg/s, held, and back.
        let at = |i: usize| {
            let t = i as f64 * STEP_S;
            ((t - 2.0).clamp(0.0, 0.5) - (t - 3.0).clamp(0.0, 0.5)) * 200.0
        };
        let x: Vec<f64> = (0..900).map(at).collect();
        let onset = find(&x, 0.0, 10.0, 300, 700).unwrap();
        // 5 deg/s after 25 ms; the smoothing rounds the corner by a few milliseconds.
        assert!((onset.at_s - 12.025).abs() < 0.025, "{onset:?}");
        assert!(onset.sd_s < 0.02);
    }

    #[test]
    fn sway_at_address_is_stepped_over_and_widens_the_band() {
        let at = |i: usize, sway: f64| {
            let t = i as f64 * STEP_S;
            let turn = ((t - 2.0).clamp(0.0, 0.5) - (t - 3.0).clamp(0.0, 0.5)) * 200.0;
            turn + sway * (2.0 * PI * 1.3 * t).sin()
        };
        let onset = |sway: f64| {
            let x: Vec<f64> = (0..900).map(|i| at(i, sway)).collect();
            find(&x, 0.0, 0.0, 300, 700).unwrap()
        };
        let (quiet, restless) = (onset(0.0), onset(6.0));
        assert!(restless.sd_s > 2.0 * quiet.sd_s);
        assert!((restless.at_s - quiet.at_s).abs() < 2.0 * restless.sd_s, "{quiet:?} {restless:?}");
    }
}
