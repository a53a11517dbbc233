//! When the club met the ball, and by what evidence.

use super::Part;
use super::sequence_of::rock_back_deg;
use crate::detect::impact::{self, Shock};
use crate::detect::phases::Phases;
use crate::path::SegmentPath;
use crate::sequence::peak::Series;
use crate::sequence::reversal;
use nalgebra::Vector3;
use peakorder_protocol::Role;
use peakorder_protocol::swing::Evidence;

/// The arm passes its address direction near impact; how near, differs from player to player:
/// by some 15 deg of arm (own judgement), and in time by no less than this, s.
const ARM_ESTIMATE_SD_DEG: f64 = 15.0;
const ARM_ESTIMATE_SD_S: f64 = 0.02;
/// From the trunk alone impact can be placed no better than this, s: peak-to-impact times
/// of pelvis and thorax vary by 14–38 ms between players (Cheetham et al. 2008, second-hand) …
const TRUNK_ESTIMATE_SD_S: f64 = 0.035;
/// … nor than this share of the thorax's downswing, which in slow swings is more.
const TRUNK_ESTIMATE_SHARE: f64 = 0.12;
/// The thorax has turned this much further than it had turned away when the club meets the ball …
const THORAX_THROUGH: f64 = 1.25;
/// … but in players who stay closed the club does not wait for it: from the reversal to impact
/// is no longer than this many times as long as to the thorax's address direction.
const THORAX_LATEST: f64 = 1.25;
/// Strikes are looked for this many standard uncertainties around the estimate, and at least so far, s.
const SEARCH_SDS: f64 = 4.0;
const ARM_SEARCH_S: f64 = 0.12;
const TRUNK_SEARCH_S: f64 = 0.16;
/// … but not in the first part of the downswing, in which feet are set down.
const TRUNK_SEARCH_FROM: f64 = 0.5;

/// A strike has rung down between two samples that are further apart than this, s, and what looks
/// like one in the trunk is then as likely its own movement.
const DEAF_PERIOD_S: f64 = 0.012;

/// From samples further apart than this, s, a soft strike cannot be told: of one of 1 g in the arm, let
/// through by a sensor's filter, 104 Hz shows one in ten, 208 Hz all (own simulation on real swings; of
/// 3 g both show all).
const FAINT_PERIOD_S: f64 = 0.007;

/// Impact found or estimated.
#[derive(Debug, Clone, Copy)]
pub(super) struct FoundImpact {
    pub(super) t_s: f64,
    pub(super) sd_s: f64,
    pub(super) evidence: Evidence,
}

/// Impact, and how far samples may be used for peaks.
#[derive(Debug, Clone, Copy)]
pub(super) struct ImpactAndReach {
    pub(super) impact: FoundImpact,
    pub(super) data_to_s: f64,
}

/// Finds impact; on the way gives the arm its downswing direction and reversal.
pub(super) fn impact(parts: &mut [Part<'_>], phases: &Phases, half_s: f64) -> ImpactAndReach {
    let arm_estimate = parts
        .iter_mut()
        .find(|p| p.window.role == Role::LeadArm)
        .and_then(|arm| arm_estimate(arm, phases, half_s));
    let Estimate { t_s: estimate_s, sd_s: estimate_sd_s, search: (from_s, to_s) } =
        arm_estimate.unwrap_or_else(|| trunk_estimate(parts, phases));
    let look = |part: &Part<'_>, arm: bool| -> Option<Shock> {
        impact::find(part.window, phases.moving_s, from_s, to_s, arm)
    };
    let arm = parts.iter().find(|p| p.window.role == Role::LeadArm);
    let arm_shock = arm.and_then(|p| look(p, true));
    // The arm feels a strike many times as strongly as the trunk, so what the trunk alone felt
    // was a step, unless no arm strap was listening. One that misses samples there may have missed
    // the strike; what the trunk felt is as likely a step then as the strike.
    let missed = arm.is_some_and(|p| !p.window.is_whole(from_s, to_s));
    let deaf = arm.is_none_or(|p| p.window.period_s > DEAF_PERIOD_S);
    let faint = arm.is_none_or(|p| p.window.period_s > FAINT_PERIOD_S);
    let trunk_shock = parts
        .iter()
        .filter(|p| deaf && p.window.role != Role::LeadArm && p.window.period_s <= DEAF_PERIOD_S)
        .filter_map(|p| look(p, false))
        .max_by(|a, b| a.size_m_s2.total_cmp(&b.size_m_s2));
    let impact = match (arm_shock, trunk_shock) {
        (Some(s), _) => FoundImpact { t_s: s.t_s, sd_s: s.sd_s, evidence: Evidence::ArmShock },
        (None, Some(s)) => FoundImpact { t_s: s.t_s, sd_s: s.sd_s, evidence: Evidence::TrunkShock },
        // An arm strap that listens often enough feels every strike.
        (None, None) => FoundImpact {
            t_s: estimate_s,
            sd_s: estimate_sd_s,
            evidence: if faint || missed { Evidence::Estimated } else { Evidence::None },
        },
    };
    let struck = arm_shock.or(trunk_shock).is_some();
    let data_to_s = if struck { impact.t_s } else { impact.t_s + 0.03 };
    ImpactAndReach { impact, data_to_s }
}

/// Where impact should be by the movement alone, and where to look for it.
#[derive(Debug, Clone, Copy)]
struct Estimate {
    t_s: f64,
    sd_s: f64,
    /// First and last session time at which a strike is looked for, s.
    search: (f64, f64),
}

/// Where the arm passes its address direction on the way down.
fn arm_estimate(arm: &mut Part<'_>, phases: &Phases, half_s: f64) -> Option<Estimate> {
    let fastest = |arm: &Part<'_>, from_s: f64, to_s: f64| -> f64 {
        let (lo, hi) = (arm.path.index(from_s), arm.path.index(to_s).min(arm.path.t_s.len()));
        let at = (lo..hi)
            .fold(lo, |best, i| if arm.path.speed_dps[i] > arm.path.speed_dps[best] { i } else { best });
        arm.path.t_s[at.min(arm.path.t_s.len() - 1)]
    };
    // In the second half of the trunk's way to its peak the arm is on its way down, however late it turned
    // round and however slow the swing is.
    let half_way_s = 0.5 * (phases.trunk_reversal_s + phases.trunk_peak_s);
    let mut guess = fastest(arm, half_way_s, phases.trunk_peak_s + 0.05);
    let mut passes = None;
    // The direction is taken from before the pass, the pass follows from the direction.
    for _ in 0..2 {
        arm.path.set_arm_direction(arm.window, guess);
        let series = Series { t_s: &arm.path.t_s, dps: &arm.path.signed_dps };
        let rock_deg = rock_back_deg(Role::LeadArm);
        let turned = reversal::find(series, phases.moving_s, guess, half_s, rock_deg, 0.0)?;
        let pass_s = if arm.window.mounting.is_some() {
            points_as_at_address(arm, phases, turned.t_s)
        } else {
            swept_back(arm, phases, turned.t_s)
        }?;
        passes = Some(pass_s);
        guess = fastest(arm, turned.t_s + 0.05, pass_s);
    }
    let t_s = passes?;
    let sd_s = (ARM_ESTIMATE_SD_DEG / arm.path.at(&arm.path.speed_dps, t_s)?).max(ARM_ESTIMATE_SD_S);
    let search_s = ARM_SEARCH_S.max(SEARCH_SDS * sd_s);
    let from_s = (t_s - search_s).max(phases.trunk_reversal_s + 0.05);
    Some(Estimate { t_s, sd_s, search: (from_s, t_s + search_s) })
}

/// Where the arm's long axis comes nearest to where it pointed at address, after `turned_s`.
fn points_as_at_address(arm: &Part<'_>, phases: &Phases, turned_s: f64) -> Option<f64> {
    let path = &arm.path;
    let address = path.orientation_at(phases.address_to_s) * Vector3::y();
    let off = |i: usize| (path.orientation[i] * Vector3::y()).angle(&address);
    let lo = path.index(turned_s);
    let far = off(lo.min(path.t_s.len() - 1));
    (lo + 1..path.t_s.len().saturating_sub(1))
        .find(|&i| off(i) < 0.5 * far && off(i) <= off(i - 1) && off(i) <= off(i + 1))
        .map(|i| path.t_s[i])
}

/// Without calibration: where it has swept back as far as it had swept away before `turned_s`.
fn swept_back(arm: &Part<'_>, phases: &Phases, turned_s: f64) -> Option<f64> {
    let path = &arm.path;
    let back_deg = -path.swept_deg(&path.signed_dps, phases.moving_s, turned_s);
    if back_deg < 10.0 {
        return None;
    }
    passing(path, turned_s, back_deg)
}

/// When the signed speed has swept `wanted_deg` since `from_s`.
fn passing(path: &SegmentPath, from_s: f64, wanted_deg: f64) -> Option<f64> {
    let lo = path.index(from_s).max(1);
    let mut swept = 0.0;
    (lo..path.t_s.len()).find_map(|i| {
        let step = path.t_s[i] - path.t_s[i - 1];
        let more = 0.5 * (path.signed_dps[i] + path.signed_dps[i - 1]) * step;
        swept += more;
        (swept >= wanted_deg).then(|| path.t_s[i] - step * ((swept - wanted_deg) / more).clamp(0.0, 1.0))
    })
}

fn trunk_estimate(parts: &[Part<'_>], phases: &Phases) -> Estimate {
    let from_s = phases.trunk_reversal_s;
    let trunk = parts.iter().find(|p| p.window.role == Role::Thorax).or_else(|| parts.first());
    let t_s = trunk.and_then(|p| {
        let away_deg = -p.path.swept_deg(&p.path.signed_dps, phases.moving_s, from_s);
        let level_s = passing(&p.path, from_s, away_deg)?;
        let latest_s = from_s + THORAX_LATEST * (level_s - from_s);
        Some(passing(&p.path, from_s, away_deg * THORAX_THROUGH).map_or(latest_s, |t| t.min(latest_s)))
    });
    let t_s = t_s.unwrap_or(phases.trunk_peak_s);
    let down_s = t_s - from_s;
    let sd_s = TRUNK_ESTIMATE_SD_S.max(TRUNK_ESTIMATE_SHARE * down_s);
    Estimate {
        t_s,
        sd_s,
        search: (from_s + TRUNK_SEARCH_FROM * down_s, t_s + TRUNK_SEARCH_S.max(SEARCH_SDS * sd_s)),
    }
}
