//! What can be trusted, what is withheld and why.

use super::impact_of::FoundImpact;
use super::{Context, Part, holes, round};
use crate::calibrate::slip::Moved;
use crate::detect::phases::Phases;
use crate::window::Window;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{Note, Outcome, Quality, Reason, Swing, Withheld, Withholding};

/// Samples at the limit this close to a peak spoil it, s.
const NEAR_PEAK_S: f64 = 0.03;

pub(super) fn quality(
    parts: &[Part<'_>],
    window: &Window,
    phases: &Phases,
    context: &Context<'_>,
    impact: &FoundImpact,
    clock_sd_s: f64,
) -> Quality {
    let (from_s, to_s) = (phases.moving_s, phases.finish_s);
    let mut withheld = Vec::new();
    let mut notes = Vec::new();
    let mut withhold = |what, why| {
        let one = Withheld { what, why };
        if !withheld.contains(&one) {
            withheld.push(one);
        }
    };
    for segment in &window.segments {
        if !parts.iter().any(|p| p.window.role == segment.role) {
            withhold(Withholding::Segment(segment.role), Reason::TooFewSamples);
        }
    }
    for part in parts {
        let role = part.window.role;
        match part.window.mounting {
            None => withhold(Withholding::Angles(role), Reason::NotCalibrated),
            Some(a) if phases.moving_s - a.at_s > context.settings.calibration_valid_s => {
                withhold(Withholding::Angles(role), Reason::CalibrationStale);
            }
            Some(_) => {}
        }
        match context.moved.iter().find(|(moved, _)| *moved == role) {
            Some((_, Moved::Slipped(deg))) => {
                withhold(Withholding::Angles(role), Reason::Slipped { moved_deg: round(*deg, 3) });
            }
            Some((_, Moved::Noticed(deg))) => {
                notes.push(Note::AddressMoved { role, moved_deg: round(*deg, 3) });
            }
            None => {}
        }
        if let Some(peak) = part.peak.filter(|p| p.outcome != Outcome::Rising) {
            let [from_s, to_s] = peak.band_s;
            let near = (from_s - NEAR_PEAK_S, to_s + NEAR_PEAK_S);
            if part.window.clipped(near.0, near.1) > 0 {
                withhold(Withholding::Peak(role), Reason::RangeLimitAtPeak);
            }
        }
        if part.impact_decides {
            let impact_sd_ms = round(impact.sd_s * 1e3, 3);
            withhold(Withholding::Peak(role), Reason::ImpactUncertain { impact_sd_ms });
        }
        if holes::may_hide_peak(part, phases, impact.t_s) {
            withhold(Withholding::Peak(role), Reason::SamplesLostAtPeak);
        }
        if part.window.clock.settling {
            withhold(Withholding::Sequence, Reason::ClockSettling);
        } else if let Some(doubt) = part.window.clock.uncertain {
            let clock_sd_ms = round(part.window.clock.sd_s * 1e3, 3);
            notes.push(Note::ClockUncertain { role, clock_sd_ms, doubt });
        }
    }
    let timed = parts.iter().filter(|p| p.peak.is_some()).count();
    let spoilt = |w: &Withheld| matches!(w.what, Withholding::Sequence | Withholding::Peak(_));
    Quality {
        usable: timed >= 2 && !withheld.iter().any(spoilt),
        withheld,
        notes,
        lost_samples: parts.iter().map(|p| p.window.lost(from_s, to_s)).sum(),
        clipped_samples: parts.iter().map(|p| p.window.clipped(from_s, to_s)).sum(),
        clock_sd_ms: round(clock_sd_s * 1e3, 3),
    }
}

/// Takes withheld numbers out of the swing.
pub(super) fn withhold(swing: &mut Swing) {
    let withheld: Vec<Withholding> = swing.quality.withheld.iter().map(|w| w.what.clone()).collect();
    for role in Role::ALL {
        let Some(segment) = swing.segments.get_mut(&role) else { continue };
        if withheld.contains(&Withholding::Angles(role)) {
            segment.turn_deg = None;
            segment.lateral_tilt_deg = None;
            segment.flexion_deg = None;
            match role {
                Role::LeadArm => (swing.arm, swing.backswing) = (None, None),
                Role::Pelvis => {
                    swing.separation = None;
                    if let Some(backswing) = &mut swing.backswing {
                        (backswing.hips_share, backswing.hips_share_sd) = (None, None);
                    }
                }
                Role::Thorax => {
                    (swing.separation, swing.backswing) = (None, None);
                    // What is left needs the arm strap alone.
                    if let Some(arm) = &mut swing.arm {
                        (arm.elevation_top_deg, arm.elevation_sd_deg) = (None, None);
                        (arm.across_chest_top_deg, arm.across_chest_sd_deg) = (None, None);
                        arm.heading_deg = None;
                    }
                }
            }
        }
        if withheld.contains(&Withholding::Peak(role)) {
            segment.peak = None;
            segment.resultant_peak = None;
            segment.speed_kept_at_impact = None;
            segment.speed_kept_sd = None;
            swing.sequence.gaps.retain(|g| g.from != role && g.to != role);
            for group in &mut swing.sequence.order {
                group.retain(|r| *r != role);
            }
            swing.sequence.order.retain(|group| !group.is_empty());
        }
    }
    if withheld.contains(&Withholding::Sequence) {
        swing.sequence.gaps.clear();
        swing.sequence.order.clear();
        swing.sequence.reversal_gaps.clear();
        swing.sequence.reversal_order.clear();
    }
}
