//! Whether samples are missing where a peak could have been.

use super::Part;
use crate::detect::phases::Phases;
use peakorder_protocol::swing::Outcome;

/// A step between two samples longer than this many periods is a hole: two samples or more are missing.
const HOLE_PERIODS: f64 = 2.5;
/// The peak's fit looks this far to both sides, s.
const NEAR_S: f64 = 0.03;
/// A speed that still rises at impact is not known to where samples are missing this close before it, s.
const BEFORE_IMPACT_S: f64 = 0.06;
/// Slopes beside a hole are taken over this, s.
const SLOPE_S: f64 = 0.025;
/// What the slopes lead to in a hole must stay below this share of the peak that was found. Speeds do not
/// bend as sharply as that in 3 % of their size (own judgement).
const BELOW: f64 = 0.97;

/// True if the peak of `part` between its reversal and impact may lie where samples are missing: at the
/// peak found, or where the slopes on both sides of a hole lead as high.
pub(super) fn may_hide_peak(part: &Part<'_>, phases: &Phases, impact_s: f64) -> bool {
    let from_s = part.reversal.map_or(phases.trunk_reversal_s, |r| r.t_s);
    let (path, until_s) = (&part.path, impact_s + NEAR_S);
    let speed = &path.speed_dps;
    let mut holes = path
        .t_s
        .windows(2)
        .enumerate()
        .filter(|(_, t)| t[1] - t[0] > HOLE_PERIODS * part.window.period_s && t[1] > from_s && t[0] < until_s)
        .map(|(i, t)| (i, t[0], t[1]));
    let Some(peak) = &part.peak else { return holes.next().is_some() };
    holes.any(|(i, begins_s, ends_s)| {
        let [from_s, to_s] = peak.band_s;
        let near = if peak.outcome == Outcome::Rising {
            ends_s > impact_s - BEFORE_IMPACT_S
        } else {
            ends_s > from_s - NEAR_S && begins_s < to_s + NEAR_S
        };
        let seconds = ends_s - begins_s;
        let (before, after) =
            (path.index(begins_s - SLOPE_S), path.index(ends_s + SLOPE_S).min(speed.len() - 1));
        let rise =
            |from: usize, to: usize| (speed[to] - speed[from]) / (path.t_s[to] - path.t_s[from]).max(1e-3);
        // Into the hole from the left, and from the right.
        let left = speed[i] + rise(before.min(i.saturating_sub(1)), i).max(0.0) * seconds;
        let right = speed[i + 1] - rise(i + 1, after.max(i + 2).min(speed.len() - 1)).min(0.0) * seconds;
        near || left.max(right) > BELOW * peak.found.dps
    })
}
