//! Turns, tilts and separation of one swing.

use super::impact_of::FoundImpact;
use super::{GYRO_SCALE_SD, MOUNTING_SHARE_OF_TURN, Part, round};
use crate::detect::phases::Phases;
use crate::sequence::reversal::Reversal;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{AngleSet, SEPARATION_METHOD, Segment, Separation};

/// Standard uncertainty of an angle turned since address, deg.
fn sd_deg(part: &Part<'_>, turned_deg: f64, seconds: f64) -> f64 {
    let mounting = part.window.mounting.map_or(0.0, |a| a.sd_deg) * MOUNTING_SHARE_OF_TURN;
    let bias = part.window.bias_sd.to_degrees() * seconds;
    mounting.hypot(GYRO_SCALE_SD * turned_deg).hypot(bias)
}

/// Half width over which an angle's rate is taken, s.
const RATE_S: f64 = 0.01;

/// Fills turn, tilt and flexion where the strap is aligned.
pub(super) fn fill(
    segment: &mut Segment,
    part: &Part<'_>,
    phases: &Phases,
    top: &Reversal,
    impact: &FoundImpact,
) {
    let path = &part.path;
    let (top_s, impact_s) = (top.t_s, impact.t_s);
    let (top_sd_s, impact_sd_s) = (top.sd_s, impact.sd_s);
    if path.turn_deg.is_empty() {
        return;
    }
    let until = part.reversal.map_or(top_s, |r| r.t_s);
    let (lo, hi) = (path.index(phases.takeaway_s), path.index(until).min(path.t_s.len() - 1));
    let extreme = (lo..=hi).fold(lo, |best, i| if path.turn_deg[i] < path.turn_deg[best] { i } else { best });
    let seconds = impact_s - phases.takeaway_s;
    let set = |series: &[f64], zero: bool| -> Option<AngleSet> {
        let top = path.at(series, top_s)?;
        let impact = path.at(series, impact_s)?;
        let address = if zero { 0.0 } else { path.at(series, phases.address_to_s)? };
        let zero_sd = if zero { path.zero_sd_deg } else { 0.0 };
        // An instant known to so many ms leaves the angle open by what it changes in them.
        let open = |t: f64, sd_s: f64| -> Option<f64> {
            Some((path.at(series, t + RATE_S)? - path.at(series, t - RATE_S)?) / (2.0 * RATE_S) * sd_s)
        };
        let whole =
            |angle: f64, open: f64| sd_deg(part, (angle - address).abs(), seconds).hypot(zero_sd).hypot(open);
        let furthest =
            if (series[extreme] - address).abs() > (top - address).abs() { series[extreme] } else { top };
        Some(AngleSet {
            top: round(top, 3),
            impact: round(impact, 3),
            max_away: round(series[extreme], 3),
            address: round(address, 3),
            sd: round(whole(furthest, open(top_s, top_sd_s)?), 3),
            impact_sd: round(whole(impact, open(impact_s, impact_sd_s)?), 3),
        })
    };
    segment.turn_deg = set(&path.turn_deg, true);
    segment.lateral_tilt_deg = set(&path.lateral_deg, false);
    segment.flexion_deg = set(&path.flexion_deg, false);
}

/// Thorax turn minus pelvis turn.
pub(super) fn separation(
    parts: &[Part<'_>],
    phases: &Phases,
    top_s: f64,
    impact_s: f64,
) -> Option<Separation> {
    let get = |role| parts.iter().find(|p| p.window.role == role);
    let (pelvis, thorax) = (get(Role::Pelvis)?, get(Role::Thorax)?);
    let at =
        |t: f64| Some(thorax.path.at(&thorax.path.turn_deg, t)? - pelvis.path.at(&pelvis.path.turn_deg, t)?);
    let top = at(top_s)?;
    let steps = ((impact_s - phases.takeaway_s) / 0.002).max(1.0) as usize;
    // Towards the side it has at the top: near impact the thorax passes the pelvis, which is
    // no winding up.
    let side = if top < 0.0 { -1.0 } else { 1.0 };
    let max = (0..=steps)
        .filter_map(|i| at(phases.takeaway_s + (impact_s - phases.takeaway_s) * i as f64 / steps as f64))
        .fold(top, |best, v| if v * side > best * side { v } else { best });
    let at_reversal = pelvis.reversal.and_then(|r| at(r.t_s)).unwrap_or(top);
    let seconds = impact_s - phases.takeaway_s;
    Some(Separation {
        top_deg: round(top, 3),
        max_deg: round(max, 3),
        stretch_deg: round((max - at_reversal) * side, 3),
        sd_deg: round(sd_deg(pelvis, top.abs(), seconds).hypot(sd_deg(thorax, top.abs(), seconds)), 3),
        method: SEPARATION_METHOD.into(),
    })
}
