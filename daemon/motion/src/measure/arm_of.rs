//! How the lead upper arm is held at the top, and what carried it there.

use super::deviation::ATTITUDE_SD_DEG;
use super::drift::drift_sd_deg;
use super::{GYRO_SCALE_SD, MOUNTING_SHARE_OF_TURN, Part, When, round, turn_sd_deg};
use crate::angles::unwrap;
use crate::calibrate::Mounting;
use crate::joint::{self, Heading, Side};
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{ARM_METHOD, ArmUse, Reason, Withheld, Withholding};
use peakorder_protocol::{Handedness, Role};
use std::f64::consts::FRAC_PI_2;

/// A heading less certain than this says nothing about how the arm lies on the chest, deg.
const HEADING_SD_MAX_DEG: f64 = 8.0;
/// Below this turn of the arm about the vertical a share of it means nothing, deg.
const LEAST_TRAVEL_DEG: f64 = 30.0;
/// … nor does a share less certain than this.
const SHARE_SD_MAX: f64 = 0.1;
/// The fit ends this long before impact: the strike's shock is no motion of the joint.
const BEFORE_IMPACT_S: f64 = 0.015;
/// From the thorax strap (upper back) to the lead shoulder of a right-handed player, and from
/// the arm strap up to it, segment frames, m: a first guess, plausible and not measured.
const BACK_TO_SHOULDER_M: [f64; 3] = [0.1, 0.05, -0.18];
const ARM_TO_SHOULDER_M: [f64; 3] = [0.0, 0.15, 0.0];

/// Arm use where the arm strap is aligned, and what had to be withheld.
pub(super) fn arm_use(parts: &[Part<'_>], when: &When<'_>) -> (Option<ArmUse>, Vec<Withheld>) {
    let handedness = when.handedness;
    let get = |role| parts.iter().find(|p| p.window.role == role).and_then(|p| Some((p, p.window.mounting?)));
    let mut withheld = Vec::new();
    let Some((arm, arm_fit)) = get(Role::LeadArm) else { return (None, withheld) };
    let drift = |part: &Part<'_>, turned_deg: f64| {
        (GYRO_SCALE_SD * turned_deg).hypot(drift_sd_deg(part, when.phases.moving_s, when.top.t_s))
    };
    let at_top = arm.path.orientation_at(when.top.t_s);
    let raised_deg = angle_between(at_top * down(), down());
    let swept_deg = arm.path.orientation_at(when.phases.address_to_s).angle_to(&at_top).to_degrees();
    let raised_sd = arm_fit.long_axis_sd_deg.hypot(ATTITUDE_SD_DEG).hypot(drift(arm, swept_deg));
    let mut found = ArmUse {
        elevation_gravity_top_deg: round(raised_deg, 3),
        elevation_gravity_sd_deg: round(raised_sd, 3),
        elevation_top_deg: None,
        elevation_sd_deg: None,
        across_chest_top_deg: None,
        across_chest_sd_deg: None,
        turn_share_of_travel: None,
        turn_share_sd: None,
        heading_sd_deg: None,
        method: ARM_METHOD.into(),
    };
    let Some((thorax, thorax_fit)) = get(Role::Thorax) else { return (Some(found), withheld) };
    let turned_deg = thorax.path.at(&thorax.path.turn_deg, when.top.t_s).unwrap_or(0.0);
    let mut withhold = |what, why| withheld.push(Withheld { what, why });

    match share(arm, arm_fit, thorax_fit, turned_deg, when, &drift) {
        Ok((share, sd)) => {
            found.turn_share_of_travel = Some(round(share, 4));
            found.turn_share_sd = Some(round(sd, 4));
        }
        Err(why) => withhold(Withholding::ArmTurnShare, why),
    }

    let [x, y, z] = BACK_TO_SHOULDER_M;
    let shoulder = Vector3::new(x, y, z * handedness.sign());
    let back = Side::new(thorax.window, &thorax.path, shoulder);
    let upper_arm = Side::new(arm.window, &arm.path, ARM_TO_SHOULDER_M.into());
    let to_s = when.impact.t_s - BEFORE_IMPACT_S;
    let heading = joint::heading(back, upper_arm, when.phases.moving_s, to_s);
    found.heading_sd_deg = heading.map(|h| round(h.sd_rad.to_degrees(), 3));
    let known = heading.filter(|h| h.sd_rad.to_degrees() <= HEADING_SD_MAX_DEG);
    let Some(heading) = known else {
        // A band of more than a right angle either way says nothing.
        let why = heading.filter(|h| Z95 * h.sd_rad < FRAC_PI_2).map_or(Reason::HeadingNotFound, |h| {
            Reason::HeadingUncertain { heading_sd_deg: round(h.sd_rad.to_degrees(), 3) }
        });
        withhold(Withholding::ArmAgainstThorax, why);
        return (Some(found), withheld);
    };
    let pose = Pose { thorax: thorax.path.orientation_at(when.top.t_s), arm: at_top, heading };
    let drift_deg = drift(arm, swept_deg).hypot(drift(thorax, turned_deg));
    let (raised, across) = pose.held(handedness, (thorax_fit, arm_fit), drift_deg);
    found.elevation_top_deg = Some(round(raised.0, 3));
    found.elevation_sd_deg = Some(round(raised.1, 3));
    found.across_chest_top_deg = Some(round(across.0, 3));
    found.across_chest_sd_deg = Some(round(across.1, 3));
    (Some(found), withheld)
}

fn down() -> Vector3<f64> {
    -Vector3::y()
}

fn angle_between(a: Vector3<f64>, b: Vector3<f64>) -> f64 {
    // From both sine and cosine: the cosine alone loses half its digits near 0 and 180 deg.
    a.cross(&b).norm().atan2(a.dot(&b)).to_degrees()
}

/// Thorax turn over the arm's turn about the vertical, with its standard uncertainty.
fn share(
    arm: &Part<'_>,
    arm_fit: Mounting,
    thorax_fit: Mounting,
    turned_deg: f64,
    when: &When<'_>,
    drift: &impl Fn(&Part<'_>, f64) -> f64,
) -> Result<(f64, f64), Reason> {
    let path = &arm.path;
    let (lo, hi) = (path.index(when.phases.address_to_s), path.index(when.top.t_s));
    let pointing: Vec<Vector3<f64>> =
        path.orientation[lo..=hi.min(path.orientation.len() - 1)].iter().map(|q| q * down()).collect();
    let mut azimuth: Vec<f64> = pointing.iter().map(|p| (-p.z).atan2(p.x)).collect();
    unwrap(&mut azimuth);
    let (Some(first), Some(last)) = (pointing.first(), pointing.last()) else {
        return Err(Reason::AddressIsTop);
    };
    let travel_deg = when.handedness.sign() * (azimuth[azimuth.len() - 1] - azimuth[0]).to_degrees();
    if travel_deg.abs() < LEAST_TRAVEL_DEG {
        return Err(Reason::LittleTravel { travel_deg: round(travel_deg.abs(), 3) });
    }
    // The steeper the arm hangs, the less its long axis tells about where it points.
    let level = |p: &Vector3<f64>| p.x.hypot(p.z);
    let axis_sd = arm_fit.long_axis_sd_deg.hypot(ATTITUDE_SD_DEG);
    let travel_sd = (axis_sd / level(first)).hypot(axis_sd / level(last)).hypot(drift(arm, travel_deg));
    let turn_sd = (MOUNTING_SHARE_OF_TURN * thorax_fit.sd_deg).hypot(drift(arm, turned_deg));
    let share = turned_deg / travel_deg;
    let sd = (turn_sd / travel_deg).hypot(share * travel_sd / travel_deg);
    if sd > SHARE_SD_MAX {
        return Err(Reason::ShareUncertain { share_sd: round(sd, 4) });
    }
    Ok((share, sd))
}

/// Thorax and arm at one instant, each in its own heading.
#[derive(Debug, Clone, Copy)]
struct Pose {
    thorax: UnitQuaternion<f64>,
    arm: UnitQuaternion<f64>,
    heading: Heading,
}

impl Pose {
    /// Where the arm points, in the thorax frame. `off_thorax` and `off_arm` are small rotations
    /// of the two segment frames (rad), `off_heading` one about the vertical.
    fn pointing(&self, off_thorax: Vector3<f64>, off_arm: Vector3<f64>, off_heading: f64) -> Vector3<f64> {
        let turn = UnitQuaternion::from_axis_angle(&Vector3::y_axis(), self.heading.rad + off_heading);
        let axis = UnitQuaternion::from_scaled_axis(off_arm) * down();
        UnitQuaternion::from_scaled_axis(off_thorax) * (self.thorax.inverse() * (turn * (self.arm * axis)))
    }

    /// (value, standard uncertainty) of elevation and of reach across the chest, deg.
    fn held(
        &self,
        handedness: Handedness,
        (thorax, arm): (Mounting, Mounting),
        drift_deg: f64,
    ) -> ((f64, f64), (f64, f64)) {
        let zero = Vector3::zeros();
        let read =
            |p: Vector3<f64>| [angle_between(p, down()), (handedness.sign() * p.z).atan2(p.x).to_degrees()];
        let value = read(self.pointing(zero, zero, 0.0));
        let (t, a) =
            (thorax.long_axis_sd_deg.hypot(ATTITUDE_SD_DEG), arm.long_axis_sd_deg.hypot(ATTITUDE_SD_DEG));
        let heading = self.heading.sd_rad.hypot(drift_deg.to_radians());
        let about = |axis: Vector3<f64>, deg: f64| axis * deg.to_radians();
        let moved = [
            self.pointing(about(Vector3::x(), t), zero, 0.0),
            self.pointing(about(Vector3::y(), turn_sd_deg(thorax)), zero, 0.0),
            self.pointing(about(Vector3::z(), t), zero, 0.0),
            self.pointing(zero, about(Vector3::x(), a), 0.0),
            self.pointing(zero, about(Vector3::z(), a), 0.0),
            self.pointing(zero, zero, heading),
        ]
        .map(read);
        let sd = |i: usize| {
            let off = |v: f64| v - 360.0 * (v / 360.0).round();
            moved.iter().map(|m| off(m[i] - value[i]).powi(2)).sum::<f64>().sqrt()
        };
        ((value[0], sd(0)), (value[1], sd(1)))
    }
}

#[cfg(test)]
#[path = "arm_tests.rs"]
mod tests;
