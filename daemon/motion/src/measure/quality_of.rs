//! What can be trusted, what is withheld and why.

use super::{Context, Part, round};
use crate::calibrate::slip::Moved;
use crate::detect::phases::Phases;
use crate::window::Window;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{Quality, Swing, Withheld};

/// Samples missing or at the limit this close to a peak spoil it, s.
const NEAR_PEAK_S: f64 = 0.03;

pub(super) fn quality(
    parts: &[Part<'_>],
    window: &Window,
    phases: &Phases,
    context: &Context<'_>,
    clock_sd_s: f64,
) -> Quality {
    let (from_s, to_s) = (phases.takeaway_s, phases.finish_s);
    let mut withheld = Vec::new();
    let mut notes = Vec::new();
    let mut withhold = |what: String, why: &str| withheld.push(Withheld { what, why: why.into() });
    for segment in &window.segments {
        if !parts.iter().any(|p| p.window.role == segment.role) {
            withhold(
                segment.role.key().into(),
                "the strap sent too few samples during the swing; bring the receiver closer or change its battery",
            );
        }
    }
    for part in parts {
        let key = part.window.role.key();
        match part.window.mounting {
            None => withhold(
                format!("{key}.angles"),
                "the strap is not calibrated: do still, bow and arm raise; its peak is of the resultant speed instead",
            ),
            Some(a) if phases.takeaway_s - a.at_s > context.settings.calibration_valid_s => {
                withhold(
                    format!("{key}.angles"),
                    "the calibration has gone stale: repeat still, bow and arm raise",
                );
            }
            Some(_) => {}
        }
        match context.moved.iter().find(|(role, _)| *role == part.window.role) {
            Some((_, Moved::Slipped(deg))) => withhold(
                format!("{key}.angles"),
                &format!(
                    "the strap seems to have slipped: gravity at address moved by {deg:.0} deg; tighten it and calibrate again"
                ),
            ),
            Some((role, Moved::Noticed(deg))) => notes.push(format!(
                "{role}: gravity at address is {deg:.0} deg from where it was after the calibration; if this is no other posture or club, the strap has shifted and its angles are off by as much: calibrate again"
            )),
            None => {}
        }
        if let Some(peak) = part.peak.filter(|p| !p.rising) {
            let near = (peak.t_s - NEAR_PEAK_S, peak.t_s + NEAR_PEAK_S);
            if part.window.lost(near.0, near.1) > 1 {
                withhold(format!("{key}.peak"), "samples were lost at its peak; bring the receiver closer");
            }
            if part.window.clipped(near.0, near.1) > 0 {
                withhold(
                    format!("{key}.peak"),
                    "the sensor was at its limit at the peak; set a larger range in the strap's profile",
                );
            }
        }
        if part.window.clock.settling {
            withhold(
                "sequence".into(),
                "a strap's clock is still settling; wait five seconds after it connects",
            );
        } else if let Some(why) = part.window.clock.uncertain {
            notes.push(format!(
                "{}: time known to {:.1} ms only: {why}",
                part.window.role,
                part.window.clock.sd_s * 1e3
            ));
        }
    }
    withheld.dedup();
    let timed = parts.iter().filter(|p| p.peak.is_some()).count();
    Quality {
        usable: timed >= 2
            && !withheld.iter().any(|w| {
                w.what == "sequence" || w.what.split_once('.').is_some_and(|(_, field)| field == "peak")
            }),
        withheld,
        notes,
        lost_samples: parts.iter().map(|p| p.window.lost(from_s, to_s)).sum(),
        clipped_samples: parts.iter().map(|p| p.window.clipped(from_s, to_s)).sum(),
        clock_sd_ms: round(clock_sd_s * 1e3, 3),
    }
}

/// Takes withheld numbers out of the swing.
pub(super) fn withhold(swing: &mut Swing) {
    let names: Vec<String> = swing.quality.withheld.iter().map(|w| w.what.clone()).collect();
    for role in Role::ALL {
        let Some(segment) = swing.segments.get_mut(&role) else { continue };
        let key = role.key();
        if names.contains(&format!("{key}.angles")) {
            segment.turn_deg = None;
            segment.lateral_tilt_deg = None;
            segment.flexion_deg = None;
            match role {
                Role::LeadArm => swing.arm = None,
                Role::Pelvis => swing.separation = None,
                Role::Thorax => {
                    swing.separation = None;
                    // What is left needs the arm strap alone.
                    if let Some(arm) = &mut swing.arm {
                        (arm.elevation_top_deg, arm.elevation_sd_deg) = (None, None);
                        (arm.across_chest_top_deg, arm.across_chest_sd_deg) = (None, None);
                        (arm.turn_share_of_travel, arm.turn_share_sd) = (None, None);
                    }
                }
            }
        }
        if names.contains(&format!("{key}.peak")) {
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
    if names.iter().any(|n| n == "sequence") {
        swing.sequence.gaps.clear();
        swing.sequence.order.clear();
        swing.sequence.reversal_gaps.clear();
        swing.sequence.reversal_order.clear();
    }
}
