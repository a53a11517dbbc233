//! When the club met the ball, and by what evidence.

use super::Part;
use super::sequence_of::rock_back_deg;
use crate::motion::detect::impact::{self, Shock};
use crate::motion::detect::phases::Phases;
use crate::motion::sequence::peak::Series;
use crate::motion::sequence::reversal;
use peakorder_protocol::Role;
use peakorder_protocol::swing::Evidence;

/// The arm passes its address position near impact; how near, differs from player to player:
/// some 20 deg of arm at 600 deg/s, s (own judgement).
const ARM_ESTIMATE_SD_S: f64 = 0.03;
/// From the trunk alone impact can be placed no better than this, s: peak-to-impact times
/// of pelvis and thorax vary by 14–38 ms between players (Cheetham et al. 2008, second-hand).
const TRUNK_ESTIMATE_SD_S: f64 = 0.035;
/// The thorax has turned this much further than it had turned away when the club meets the ball.
const THORAX_THROUGH: f64 = 1.25;
/// Strikes are looked for this far around the estimate, s.
const ARM_SEARCH_S: f64 = 0.12;
const TRUNK_SEARCH_S: f64 = 0.16;

/// A strike has rung down between two samples that are further apart than this, s.
const DEAF_PERIOD_S: f64 = 0.012;

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
    let (estimate_s, estimate_sd_s, search_s) = match arm_estimate {
        Some(t) => (t, ARM_ESTIMATE_SD_S, ARM_SEARCH_S),
        None => (trunk_estimate(parts, phases), TRUNK_ESTIMATE_SD_S, TRUNK_SEARCH_S),
    };
    let look = |part: &Part<'_>, arm: bool| -> Option<Shock> {
        impact::find(
            part.window,
            phases.takeaway_s,
            (estimate_s - search_s).max(phases.trunk_reversal_s + 0.05),
            estimate_s + search_s,
            arm,
        )
    };
    let arm = parts.iter().find(|p| p.window.role == Role::LeadArm);
    let arm_shock = arm.and_then(|p| look(p, true));
    // The arm feels a strike many times as strongly as the trunk, so what the trunk alone felt
    // was a step, unless the arm strap was not listening.
    let (from_s, to_s) = (estimate_s - search_s, estimate_s + search_s);
    let deaf = arm.is_none_or(|p| p.window.lost(from_s, to_s) > 0 || p.window.period_s > DEAF_PERIOD_S);
    let trunk_shock = parts
        .iter()
        .filter(|p| deaf && p.window.role != Role::LeadArm)
        .filter_map(|p| look(p, false))
        .max_by(|a, b| a.size_m_s2.total_cmp(&b.size_m_s2));
    let impact = match (arm_shock, trunk_shock) {
        (Some(s), _) => FoundImpact { t_s: s.t_s, sd_s: s.sd_s, evidence: Evidence::ArmShock },
        (None, Some(s)) => FoundImpact { t_s: s.t_s, sd_s: s.sd_s, evidence: Evidence::TrunkShock },
        // An arm strap that listens feels every strike.
        (None, None) => FoundImpact {
            t_s: estimate_s,
            sd_s: estimate_sd_s,
            evidence: if deaf { Evidence::Estimated } else { Evidence::None },
        },
    };
    let struck = arm_shock.or(trunk_shock).is_some();
    let data_to_s = if struck { impact.t_s } else { impact.t_s + 0.03 };
    ImpactAndReach { impact, data_to_s }
}

/// Where the arm passes its address position on the way down.
fn arm_estimate(arm: &mut Part<'_>, phases: &Phases, half_s: f64) -> Option<f64> {
    let fastest = |arm: &Part<'_>, from_s: f64, to_s: f64| -> f64 {
        let (lo, hi) = (arm.path.index(from_s), arm.path.index(to_s).min(arm.path.t_s.len()));
        let at = (lo..hi)
            .fold(lo, |best, i| if arm.path.speed_dps[i] > arm.path.speed_dps[best] { i } else { best });
        arm.path.t_s[at.min(arm.path.t_s.len() - 1)]
    };
    // Around the trunk's own peak the arm is on its way down, however late it turned round.
    let mut guess = fastest(
        arm,
        (phases.trunk_peak_s - 0.3).max(phases.trunk_reversal_s + 0.05),
        phases.trunk_peak_s + 0.05,
    );
    let mut passes = None;
    // The direction is taken from before the pass, the pass follows from the direction.
    for _ in 0..2 {
        arm.path.set_arm_direction(arm.window, guess);
        let series = Series { t_s: &arm.path.t_s, dps: &arm.path.signed_dps };
        let turned = reversal::find(series, phases.takeaway_s, guess, half_s, rock_back_deg(Role::LeadArm))?;
        let back_deg = -arm.path.swept_deg(&arm.path.signed_dps, phases.takeaway_s, turned.t_s);
        if back_deg < 10.0 {
            return None;
        }
        let lo = arm.path.index(turned.t_s).max(1);
        let mut swept = 0.0;
        passes = (lo..arm.path.t_s.len()).find_map(|i| {
            let step = arm.path.t_s[i] - arm.path.t_s[i - 1];
            let more = 0.5 * (arm.path.signed_dps[i] + arm.path.signed_dps[i - 1]) * step;
            swept += more;
            (swept >= back_deg).then(|| arm.path.t_s[i] - step * ((swept - back_deg) / more).clamp(0.0, 1.0))
        });
        guess = fastest(arm, turned.t_s + 0.05, passes?);
    }
    passes
}

fn trunk_estimate(parts: &[Part<'_>], phases: &Phases) -> f64 {
    let Some(trunk) = parts.iter().find(|p| p.window.role == Role::Thorax).or_else(|| parts.first()) else {
        return phases.trunk_peak_s;
    };
    let away = -trunk.path.swept_deg(&trunk.path.signed_dps, phases.takeaway_s, phases.trunk_reversal_s);
    let lo = trunk.path.index(phases.trunk_reversal_s).max(1);
    let mut swept = 0.0;
    (lo..trunk.path.t_s.len())
        .find(|&i| {
            swept += trunk.path.signed_dps[i] * (trunk.path.t_s[i] - trunk.path.t_s[i - 1]);
            swept >= away * THORAX_THROUGH
        })
        .map_or(phases.trunk_peak_s, |i| trunk.path.t_s[i])
}
