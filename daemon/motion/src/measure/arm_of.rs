//! How the lead upper arm is held at the top, and what the backswing was made of.

use super::arm_pose::{Poses, angle_between, down};
use super::backswing_of::backswing;
use super::deviation::ATTITUDE_SD_DEG;
use super::drift::drift_sd_deg;
use super::{GYRO_SCALE_SD, Part, When, round};
use crate::joint::{self, Heading, Side};
use nalgebra::Vector3;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{ARM_METHOD, ArmUse, Backswing, Reason, Segment, Withheld, Withholding};
use std::collections::BTreeMap;
use std::f64::consts::FRAC_PI_2;

/// A heading less certain than this says nothing about how the arm lies on the chest, deg.
pub(super) const HEADING_SD_MAX_DEG: f64 = 8.0;
/// … nor one less certain than this about how far it moved there, deg. On real swings whose heading was
/// moved by 15° (SD) the share still told a lifted swing from a turned one, with an unknown heading hardly.
pub(super) const HEADING_SD_MAX_MOVED_DEG: f64 = 20.0;
/// The fit ends this long before impact: the strike's shock is no motion of the joint.
const BEFORE_IMPACT_S: f64 = 0.015;
/// From the thorax strap (upper back) to the lead shoulder of a right-handed player, and from
/// the arm strap up to it, segment frames, m: a first guess, plausible and not measured.
const BACK_TO_SHOULDER_M: [f64; 3] = [0.1, 0.05, -0.18];
const ARM_TO_SHOULDER_M: [f64; 3] = [0.0, 0.15, 0.0];

/// What an arm strap adds to a swing.
#[derive(Default)]
pub(super) struct LeadArm {
    pub(super) at_top: Option<ArmUse>,
    pub(super) backswing: Option<Backswing>,
    /// What had to be withheld of both.
    pub(super) withheld: Vec<Withheld>,
}

/// Arm and backswing, as far as the straps worn are calibrated.
pub(super) fn lead_arm(parts: &[Part<'_>], segments: &BTreeMap<Role, Segment>, when: &When<'_>) -> LeadArm {
    let get = |role| parts.iter().find(|p| p.window.role == role && p.window.mounting.is_some());
    let Some(arm) = get(Role::LeadArm) else { return LeadArm::default() };
    let mut at_top = against_gravity(arm, when);
    let Some(thorax) = get(Role::Thorax) else {
        return LeadArm { at_top, ..LeadArm::default() };
    };
    let heading = heading(thorax, arm, when);
    let known_to = |limit_deg: f64| known_to(heading, limit_deg);
    let turn = |role| segments.get(&role).and_then(|segment: &Segment| segment.turn_deg);
    let poses = turn(Role::Thorax).and_then(|turn| Poses::new(thorax, arm, heading, -turn.top, when));
    let Some(poses) = poses else { return LeadArm { at_top, ..LeadArm::default() } };
    let mut withheld = Vec::new();
    if let Some(found) = &mut at_top {
        found.heading_sd_deg = heading.map(|h| round(h.sd_rad.to_degrees(), 3));
        let known = known_to(HEADING_SD_MAX_MOVED_DEG).is_ok();
        found.heading_deg = heading.filter(|_| known).map(|h| round(h.rad.to_degrees(), 3));
        match known_to(HEADING_SD_MAX_DEG) {
            Ok(()) => {
                let raised = poses.angle(|read| read.elevation_deg[1]);
                let across = poses.angle(|read| read.across_deg[1]);
                found.elevation_top_deg = Some(round(raised.0, 3));
                found.elevation_sd_deg = Some(round(raised.1, 3));
                found.across_chest_top_deg = Some(round(across.0, 3));
                found.across_chest_sd_deg = Some(round(across.1, 3));
            }
            Err(why) => withheld.push(Withheld { what: Withholding::ArmAgainstThorax, why }),
        }
    }
    let (backswing, not_told) = backswing(&poses, turn(Role::Pelvis), known_to);
    withheld.extend(not_told);
    LeadArm { at_top, backswing, withheld }
}

/// What needs the arm strap alone.
fn against_gravity(arm: &Part<'_>, when: &When<'_>) -> Option<ArmUse> {
    let at_top = arm.path.orientation_at(when.top.t_s);
    let raised_deg = angle_between(at_top * down(), down());
    let swept_deg = arm.path.orientation_at(when.phases.address_to_s).angle_to(&at_top).to_degrees();
    let drifted_deg = drift_sd_deg(arm, when.phases.moving_s, when.top.t_s);
    let drift_deg = (GYRO_SCALE_SD * swept_deg).hypot(drifted_deg);
    let axis_deg = arm.window.mounting?.long_axis_sd_deg;
    Some(ArmUse {
        elevation_gravity_top_deg: round(raised_deg, 3),
        elevation_gravity_sd_deg: round(axis_deg.hypot(ATTITUDE_SD_DEG).hypot(drift_deg), 3),
        elevation_top_deg: None,
        elevation_sd_deg: None,
        across_chest_top_deg: None,
        across_chest_sd_deg: None,
        heading_deg: None,
        heading_sd_deg: None,
        elevation_gravity_bone_sd_deg: None,
        elevation_bone_sd_deg: None,
        across_chest_bone_sd_deg: None,
        method: ARM_METHOD.into(),
    })
}

/// Heading of the arm strap against the thorax strap.
fn heading(thorax: &Part<'_>, arm: &Part<'_>, when: &When<'_>) -> Option<Heading> {
    let [x, y, z] = BACK_TO_SHOULDER_M;
    let shoulder = Vector3::new(x, y, z * when.handedness.sign());
    let back = Side::new(thorax.window, &thorax.path, shoulder);
    let upper_arm = Side::new(arm.window, &arm.path, ARM_TO_SHOULDER_M.into());
    joint::heading(back, upper_arm, when.phases.moving_s, when.impact.t_s - BEFORE_IMPACT_S)
}

/// Whether the heading is known to `limit_deg` (standard uncertainty), or why not.
fn known_to(heading: Option<Heading>, limit_deg: f64) -> Result<(), Reason> {
    // A band of more than a right angle either way says nothing.
    let heading = heading.filter(|h| Z95 * h.sd_rad < FRAC_PI_2).ok_or(Reason::HeadingNotFound)?;
    let heading_sd_deg = heading.sd_rad.to_degrees();
    if heading_sd_deg <= limit_deg {
        Ok(())
    } else {
        Err(Reason::HeadingUncertain { heading_sd_deg: round(heading_sd_deg, 3) })
    }
}

#[cfg(test)]
#[path = "arm_tests.rs"]
mod tests;
