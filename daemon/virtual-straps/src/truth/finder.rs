//! Searches one swing.

use super::search::{SCAN_S, TOLERANCE_S, largest, upward_zero};
use super::{AngleTruth, BackswingTruth, HipShiftTruth, SegmentTruth, SeparationTruth};
use crate::body::Body;
#[cfg(test)]
use crate::body::chain::Frame;
use crate::body::swing::SwingPlan;
use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};
#[cfg(test)]
use peakorder_protocol::Handedness;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{Outcome, SpeedKind};

/// Speed that counts as motion in [`SwingTruth::moving_s`], rad/s (5 deg/s).
const MOVING_RAD_S: f64 = 0.087;
/// Speed and duration that count as settled in [`SwingTruth::slow_s`], rad/s (35 deg/s) and s.
const SLOW_RAD_S: f64 = 0.611;
const SLOW_FOR_S: f64 = 0.15;

/// Axial, lateral and flexion angle of a frame, radians, before any unwrapping.
fn angles(r: &Matrix3<f64>, side: f64) -> [f64; 3] {
    let axial = r[(0, 2)].atan2(r[(2, 2)]);
    let lateral = -r[(1, 2)].clamp(-1.0, 1.0).asin();
    let flexion = -r[(1, 0)].atan2(r[(1, 1)]);
    [side * axial, side * lateral, flexion]
}

/// Axial, lateral and flexion angle of a segment at `t_s`, degrees.
pub(super) fn axial_angles(body: &Body, role: Role, t_s: f64) -> [f64; 3] {
    angles(&body.frame(role, t_s).rotation, body.handedness().sign()).map(f64::to_degrees)
}

/// The same in degrees, for checks against published decompositions.
#[cfg(test)]
pub(crate) fn frame_angles_deg(frame: &Frame, handedness: Handedness) -> [f64; 3] {
    angles(&frame.rotation, handedness.sign()).map(f64::to_degrees)
}

fn wrapped_deg(radians: f64) -> f64 {
    let d = radians.to_degrees();
    d - 360.0 * (d / 360.0).round()
}

/// Where the arm points, in the thorax; of thorax and lead arm → global.
fn arm_in_thorax([thorax, arm]: [Matrix3<f64>; 2]) -> Vector3<f64> {
    thorax.transpose() * -arm.column(1)
}

/// Elevation and across-chest angle of the lead arm against the thorax, degrees.
fn arm_against(pair: [Matrix3<f64>; 2], side: f64) -> (f64, f64) {
    let pointing = arm_in_thorax(pair);
    let elevation = (-pointing.y).clamp(-1.0, 1.0).acos();
    let across = (side * pointing.z).atan2(pointing.x);
    (elevation.to_degrees(), across.to_degrees())
}

/// How the player stands at address.
struct Address {
    /// Segment → global.
    rotations: [Matrix3<f64>; 3],
    /// Middle of the hips and joint of the trail hip, m.
    hips: [Vector3<f64>; 2],
}

impl Address {
    /// Looks at an address of some length take the mean of this many instants.
    const LOOKS: usize = 51;

    fn of(body: &Body, (from_s, to_s): (f64, f64)) -> Self {
        let at = |role: Role, t: f64| body.frame(role, t).rotation;
        if to_s <= from_s {
            return Self { rotations: Role::ALL.map(|role| at(role, from_s)), hips: body.hips(from_s) };
        }
        let n = Self::LOOKS as f64;
        let times = (0..Self::LOOKS).map(|i| from_s + (to_s - from_s) * i as f64 / (n - 1.0));
        let rotations = Role::ALL.map(|role| {
            let first = Rotation3::from_matrix_unchecked(at(role, from_s));
            let away =
                |t: f64| (first.inverse() * Rotation3::from_matrix_unchecked(at(role, t))).scaled_axis();
            let mean = times.clone().map(away).sum::<Vector3<f64>>() / n;
            (first * Rotation3::from_scaled_axis(mean)).into_inner()
        });
        let hips = [0, 1].map(|i| times.clone().map(|t| body.hips(t)[i]).sum::<Vector3<f64>>() / n);
        Self { rotations, hips }
    }
}

pub(super) struct Finder<'a> {
    body: &'a Body,
    plan: &'a SwingPlan,
    side: f64,
    address: Address,
}

impl<'a> Finder<'a> {
    pub(super) fn new(body: &'a Body, plan: &'a SwingPlan) -> Self {
        Self { body, plan, side: body.handedness().sign(), address: Address::of(body, plan.address_s) }
    }

    fn axial(&self, role: Role, t: f64) -> f64 {
        let frame = self.body.frame(role, t);
        self.side * frame.omega.dot(&frame.rotation.column(1))
    }

    fn across(&self, t: f64) -> Vector3<f64> {
        let frame = self.body.frame(Role::LeadArm, t);
        let long: Vector3<f64> = frame.rotation.column(1).into();
        frame.omega - long * frame.omega.dot(&long)
    }

    fn resultant(&self, role: Role, t: f64) -> f64 {
        self.body.frame(role, t).omega.norm()
    }

    /// Speed towards the target (arm: magnitude).
    fn speed(&self, role: Role, t: f64) -> f64 {
        match role {
            Role::LeadArm => self.across(t).norm(),
            _ => self.axial(role, t),
        }
    }

    pub(super) fn reversal(&self, role: Role) -> f64 {
        let (from, to) = self.plan.turn_round_s[role.index()];
        // Leans add a little to the planned spin, so the change of sign may lie outside.
        let (from, to) = (from - 0.1, to + 0.1);
        if role == Role::LeadArm {
            let peak = largest(|t| self.speed(role, t), to.min(self.plan.impact_s), self.plan.impact_s);
            let towards = self.across(peak).normalize();
            upward_zero(|t| self.across(t).dot(&towards), from, to)
        } else {
            upward_zero(|t| self.axial(role, t), from, to)
        }
    }

    fn angles(&self, role: Role, t: f64) -> [f64; 3] {
        angles(&self.body.frame(role, t).rotation, self.side)
    }

    fn address_angles(&self, role: Role) -> [f64; 3] {
        angles(&self.address.rotations[role.index()], self.side)
    }

    /// Turn relative to address, degrees.
    fn turn_deg(&self, role: Role, t: f64) -> f64 {
        wrapped_deg(self.angles(role, t)[0] - self.address_angles(role)[0])
    }

    pub(super) fn segment(&self, role: Role, reversal_s: f64, top_s: f64) -> SegmentTruth {
        let plan = self.plan;
        let impact = plan.impact_s;
        let peak_s = largest(|t| self.speed(role, t), reversal_s, impact);
        let resultant_peak_s = largest(|t| self.resultant(role, t), reversal_s, impact);
        let away = largest(|t| -self.turn_deg(role, t), plan.takeaway_s, reversal_s);
        let [at_top, at_impact, at_away] = [top_s, impact, away].map(|t| self.angles(role, t));
        let raw = [self.address_angles(role), at_top, at_impact, at_away];
        let set = |i: usize| {
            let [address, top, impact, max_away] = raw.map(|a| wrapped_deg(a[i]));
            AngleTruth { address, top, impact, max_away }
        };
        let turn = [top_s, impact, away].map(|t| self.turn_deg(role, t));
        SegmentTruth {
            speed_kind: if role == Role::LeadArm { SpeedKind::Across } else { SpeedKind::Axial },
            reversal_s,
            peak_s,
            peak_before_ms: 1000.0 * (impact - peak_s),
            within_2pct_ms: self.width(role, peak_s, reversal_s),
            peak_dps: self.speed(role, peak_s).to_degrees(),
            outcome: if impact - peak_s < 10.0 * TOLERANCE_S { Outcome::Rising } else { Outcome::Peak },
            speed_at_impact_dps: self.speed(role, impact).to_degrees(),
            resultant_peak_s,
            resultant_peak_dps: self.resultant(role, resultant_peak_s).to_degrees(),
            turn_deg: AngleTruth { address: 0.0, top: turn[0], impact: turn[1], max_away: turn[2] },
            lateral_tilt_deg: set(1),
            flexion_deg: set(2),
            orientation_wxyz: [
                self.address.rotations[role.index()],
                self.body.frame(role, top_s).rotation,
                self.body.frame(role, impact).rotation,
            ]
            .map(|rotation| {
                let rotation = Rotation3::from_matrix_unchecked(rotation);
                let q = UnitQuaternion::from_rotation_matrix(&rotation);
                [q.w, q.i, q.j, q.k]
            }),
        }
    }

    /// How long the speed has been within 2 % of its largest when it is largest, and how long it stays so, humps
    /// and the dips between them together, up to impact, ms.
    fn width(&self, role: Role, peak_s: f64, reversal_s: f64) -> [f64; 2] {
        let level = 0.98 * self.speed(role, peak_s);
        let outermost = |end_s: f64| {
            let n = ((end_s - peak_s).abs() / SCAN_S).ceil().max(1.0);
            let at = |i: f64| peak_s + (end_s - peak_s) * i / n;
            let high = (0..=n as usize).rev().map(|i| at(i as f64)).find(|&t| self.speed(role, t) >= level);
            1000.0 * (high.unwrap_or(peak_s) - peak_s).abs()
        };
        [outermost(reversal_s), outermost(self.plan.impact_s)]
    }

    pub(super) fn separation(&self, pelvis_reversal_s: f64, top_s: f64) -> SeparationTruth {
        let at = |t: f64| {
            wrapped_deg((self.turn_deg(Role::Thorax, t) - self.turn_deg(Role::Pelvis, t)).to_radians())
        };
        let side = at(top_s).signum();
        let extreme = largest(|t| side * at(t), self.plan.takeaway_s, self.plan.impact_s);
        let (max_deg, reversal) = (at(extreme), at(pelvis_reversal_s));
        SeparationTruth {
            top_deg: at(top_s),
            max_deg,
            at_pelvis_reversal_deg: reversal,
            stretch_deg: max_deg.abs() - reversal.abs(),
        }
    }

    pub(super) fn hip_shift(&self, top_s: f64) -> HipShiftTruth {
        let plan = self.plan;
        let ahead = self.address.rotations[Role::Pelvis.index()].column(0).into_owned();
        // The target is at the left of a right-handed player.
        let target = Vector3::y().cross(&Vector3::new(ahead.x, 0.0, ahead.z)).normalize() * self.side;
        let address = self.address.hips;
        let [top, impact] = [top_s, plan.impact_s].map(|t| {
            let now = self.body.hips(t);
            [0, 1].map(|i| (now[i] - address[i]).dot(&target) * 100.0)
        });
        HipShiftTruth {
            mid_top_cm: top[0],
            mid_impact_cm: impact[0],
            trail_top_cm: top[1],
            trail_impact_cm: impact[1],
        }
    }

    /// Thorax and lead arm at an instant.
    fn pair(&self, t: f64) -> [Matrix3<f64>; 2] {
        [Role::Thorax, Role::LeadArm].map(|role| self.body.frame(role, t).rotation)
    }

    /// Elevation and across-chest angle of the lead arm against the thorax at an instant, degrees.
    pub(super) fn arm_use(&self, t: f64) -> (f64, f64) {
        arm_against(self.pair(t), self.side)
    }

    pub(super) fn backswing(&self, pelvis: bool, top_s: f64) -> BackswingTruth {
        let between = |a: Vector3<f64>, b: Vector3<f64>| a.dot(&b).clamp(-1.0, 1.0).acos().to_degrees();
        let address = [Role::Thorax, Role::LeadArm].map(|role| self.address.rotations[role.index()]);
        let top = self.pair(top_s);
        let moved = between(arm_in_thorax(address), arm_in_thorax(top));
        let turn = |role| -self.turn_deg(role, top_s);
        let all = turn(Role::Thorax) + moved;
        let rotation = ((address[0].transpose() * top[0]).trace() - 1.0) / 2.0;
        let arm = [address, top].map(|pair| -pair[1].column(1));
        let [was, is] = [address, top].map(|pair| arm_against(pair, self.side));
        BackswingTruth {
            turn_share: turn(Role::Thorax) / all,
            hips_share: pelvis.then(|| turn(Role::Pelvis) / all),
            arm_moved_deg: moved,
            arm_raised_deg: is.0 - was.0,
            arm_across_deg: wrapped_deg((is.1 - was.1).to_radians()),
            chest_per_arm: rotation.clamp(-1.0, 1.0).acos().to_degrees() / between(arm[0], arm[1]),
        }
    }

    /// The arm's angle from hanging straight down, degrees.
    pub(super) fn arm_from_vertical_deg(&self, t: f64) -> f64 {
        self.body.frame(Role::LeadArm, t).rotation[(1, 1)].clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// Where all of `roles` have become slow for a while.
    pub(super) fn slow(&self, roles: &[Role]) -> f64 {
        let fast = |t: f64| roles.iter().any(|&role| self.resultant(role, t) > SLOW_RAD_S);
        let (mut slow_for, mut t) = (0.0, self.plan.impact_s);
        while slow_for < SLOW_FOR_S && t < self.plan.finish_s + 1.0 {
            slow_for = if fast(t) { 0.0 } else { slow_for + SCAN_S };
            t += SCAN_S;
        }
        t - slow_for
    }

    /// Where the turn away of `role` that ends at `reversal_s` has 5 % of its fastest speed.
    pub(super) fn onset(&self, role: Role, reversal_s: f64) -> f64 {
        if let Some(found) = self.plan.onset_s {
            return found;
        }
        let away = |t: f64| -self.axial(role, t);
        let fastest_s = largest(away, self.plan.takeaway_s, reversal_s);
        let level = 0.05 * away(fastest_s);
        let mut t = fastest_s;
        while t > self.plan.takeaway_s && away(t) > level {
            t -= SCAN_S;
        }
        t
    }

    pub(super) fn moving(&self, roles: &[Role]) -> f64 {
        let away = |t: f64| {
            roles.iter().any(|&role| match role {
                Role::LeadArm => self.speed(role, t) > MOVING_RAD_S,
                _ => -self.axial(role, t) > MOVING_RAD_S,
            })
        };
        let mut t = self.plan.takeaway_s;
        while t < self.plan.impact_s && !away(t) {
            t += SCAN_S;
        }
        t
    }
}
