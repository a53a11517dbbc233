//! Turns, tilts and separation of one swing.

use super::deviation::{Deviation, Deviations, Sources};
use super::{Part, When, round, stated};
use peakorder_protocol::Role;
use peakorder_protocol::swing::{AngleSet, SEPARATION_METHOD, Segment, Separation};

/// How far a series lies from its value at `t_s` where that instant is known to `sd_s` (RMS of
/// both ways), in the series' unit.
pub(super) fn open(at: impl Fn(f64) -> Option<f64>, t_s: f64, sd_s: f64) -> Option<f64> {
    let here = at(t_s)?;
    let [early, late] = [at(t_s - sd_s)? - here, at(t_s + sd_s)? - here];
    Some((0.5 * (early * early + late * late)).sqrt())
}

/// Fills turn, tilt and flexion where the strap is aligned.
pub(super) fn fill(segment: &mut Segment, part: &Part<'_>, when: &When<'_>) {
    let path = &part.path;
    let address_s = when.phases.address_to_s;
    let Some(sources) = Sources::new(part, when.handedness, address_s) else { return };
    let role = part.window.role;
    let (top_s, impact_s) = (when.top.t_s, when.impact.t_s);
    let top_sd_s = when.top.sd_s.hypot(if role == when.top_of { 0.0 } else { when.clock_sd_s });
    let impact_sd_s = when.impact.sd_s.hypot(if role == Role::LeadArm { 0.0 } else { when.clock_sd_s });
    let until = part.reversal.map_or(top_s, |r| r.t_s);
    let (lo, hi) = (path.index(when.phases.moving_s), path.index(until).min(path.t_s.len() - 1));
    let extreme = (lo..=hi).fold(lo, |best, i| if path.turn_deg[i] < path.turn_deg[best] { i } else { best });
    let extreme_s = path.t_s[extreme];
    let extreme_sd_s = part.reversal.map_or(top_sd_s, |r| r.sd_s);
    let [at_address, at_top, at_impact, at_extreme] =
        [address_s, top_s, impact_s, extreme_s].map(|t| sources.at(t));
    let set = |series: &[f64], of: fn(&Deviations) -> Deviation, is_turn: bool| -> Option<AngleSet> {
        let sway = path.sway(series);
        let zero = if is_turn { sway } else { 0.0 };
        let at = |t: f64| path.at(series, t);
        let whole = |deviation: Deviation, t_s: f64, sd_s: f64| {
            Some(deviation.sd_deg().hypot(zero).hypot(open(at, t_s, sd_s)?))
        };
        let change = of(&at_impact) - of(&at_address);
        Some(AngleSet {
            top: round(at(top_s)?, 3),
            impact: round(at(impact_s)?, 3),
            max_away: round(series[extreme], 3),
            address: round(if is_turn { 0.0 } else { at(address_s)? }, 3),
            sd: round(whole(of(&at_top), top_s, top_sd_s)?, 3),
            impact_sd: stated(whole(of(&at_impact), impact_s, impact_sd_s)?, 3),
            // The turn hardly changes where it is at its extreme, the others do.
            max_away_sd: stated(
                whole(of(&at_extreme), extreme_s, if is_turn { 0.0 } else { extreme_sd_s })?,
                3,
            ),
            address_sd: stated(of(&at_address).sd_deg().hypot(sway), 3).filter(|_| !is_turn),
            address_to_impact_sd: stated(
                change.sd_deg().hypot(sway).hypot(open(at, impact_s, impact_sd_s)?),
                3,
            ),
            ..AngleSet::default()
        })
    };
    segment.turn_deg = set(&path.turn_deg, |d| d.turn, true);
    segment.lateral_tilt_deg = set(&path.lateral_deg, |d| d.lateral, false);
    segment.flexion_deg = set(&path.flexion_deg, |d| d.flexion, false);
}

/// Thorax turn minus pelvis turn.
pub(super) fn separation(parts: &[Part<'_>], when: &When<'_>) -> Option<Separation> {
    let get = |role| parts.iter().find(|p| p.window.role == role);
    let (pelvis, thorax) = (get(Role::Pelvis)?, get(Role::Thorax)?);
    let sources = [pelvis, thorax].map(|part| Sources::new(part, when.handedness, when.phases.address_to_s));
    let [Some(of_pelvis), Some(of_thorax)] = sources else { return None };
    let turn = |part: &Part<'_>, t: f64| part.path.at(&part.path.turn_deg, t);
    let at = |t: f64| Some(turn(thorax, t)? - turn(pelvis, t)?);
    let (takeaway_s, top_s, impact_s) = (when.phases.moving_s, when.top.t_s, when.impact.t_s);
    let top = at(top_s)?;
    let steps = ((impact_s - takeaway_s) / 0.002).max(1.0) as usize;
    // Towards the side it has at the top: near impact the thorax passes the pelvis, which is
    // no winding up.
    let side = if top < 0.0 { -1.0 } else { 1.0 };
    let (max_s, max) = (0..=steps)
        .map(|i| takeaway_s + (impact_s - takeaway_s) * i as f64 / steps as f64)
        .filter_map(|t| Some((t, at(t)?)))
        .fold((top_s, top), |best, next| if next.1 * side > best.1 * side { next } else { best });
    // Without a reversal of the pelvis it is the growth since the top, and nothing is stated for it.
    let reversal = pelvis.reversal.unwrap_or(when.top);
    let at_reversal = at(reversal.t_s).unwrap_or(top);

    let sway = pelvis.path.sway(&pelvis.path.turn_deg).hypot(thorax.path.sway(&thorax.path.turn_deg));
    // One strap's clock against the other's shifts one turn under the other.
    let shifted = |t: f64| {
        let by = |part| open(|t| turn(part, t), t, when.clock_sd_s);
        Some(by(pelvis)?.hypot(by(thorax)?))
    };
    let [top_d, max_d, reversal_d] =
        [top_s, max_s, reversal.t_s].map(|t| [of_pelvis.at(t).turn, of_thorax.at(t).turn]);
    let joined = |d: [Deviation; 2]| d[0].sd_deg().hypot(d[1].sd_deg());
    let grown = [max_d[0] - reversal_d[0], max_d[1] - reversal_d[1]];
    let top_sd = joined(top_d).hypot(sway).hypot(shifted(top_s)?).hypot(open(at, top_s, when.top.sd_s)?);
    let max_sd = joined(max_d).hypot(sway).hypot(shifted(max_s)?);
    let stretch_sd = joined(grown).hypot(shifted(max_s)?).hypot(open(at, reversal.t_s, reversal.sd_s)?);
    Some(Separation {
        top_deg: round(top, 3),
        max_deg: round(max, 3),
        stretch_deg: round((max - at_reversal) * side, 3),
        sd_deg: round(top_sd, 3),
        max_sd_deg: stated(max_sd, 3),
        stretch_sd_deg: stated(stretch_sd, 3).filter(|_| pelvis.reversal.is_some()),
        bone_sd_deg: None,
        max_bone_sd_deg: None,
        stretch_bone_sd_deg: None,
        method: SEPARATION_METHOD.into(),
    })
}
