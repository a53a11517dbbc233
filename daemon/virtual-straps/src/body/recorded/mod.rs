//! A body that goes through poses that were measured.
//!
//! Between the poses quintic splines of unit quaternion and joint position: orientation, angular velocity and
//! angular acceleration are of one curve, so a gyroscope and an accelerometer feel what the pose does.

mod assemble;
mod events;
mod pose;
mod spline;
mod trial;

pub(crate) use assemble::{Timeline, TrialSpan};
pub(crate) use events::swing_of;
pub use trial::{Trial, TrialError};

use super::chain::{Frame, Point};
use nalgebra::{Matrix3, Quaternion, UnitQuaternion, Vector3};
use peakorder_protocol::{Handedness, Role};
use pose::Pose;
use spline::Spline;

/// Strap from joint (root, base of the thorax, lead shoulder) of a right-handed player, m: sacrum, between the
/// shoulder blades, lateral mid upper arm. Plausible, not measured.
const STRAPS: [Vector3<f64>; 3] =
    [Vector3::new(-0.11, 0.02, 0.0), Vector3::new(-0.11, 0.10, 0.0), Vector3::new(0.0, -0.14, -0.05)];
/// Half the distance between the hip joints, m (plausible, not measured).
const HALF_HIPS_M: f64 = 0.086;

/// One segment: orientation (segment → global, `[w, x, y, z]`, not of unit length between the samples) and its joint.
#[derive(Debug, Clone)]
struct Track {
    orientation: Spline<4>,
    joint: Spline<3>,
}

/// A body that moves as a body was seen to move.
#[derive(Debug, Clone)]
pub struct Recorded {
    handedness: Handedness,
    tracks: [Track; 3],
    /// Middle of the hips from the root, in the pelvis, m.
    hips_from_root: Vector3<f64>,
    /// Heading of the pelvis when it first stood, rad.
    heading: f64,
}

fn quaternion(q: [f64; 4]) -> Quaternion<f64> {
    Quaternion::new(q[0], q[1], q[2], q[3])
}

impl Recorded {
    /// Through `rows` of poses (pelvis, thorax, lead arm), `hz` a second; mirrored if `handedness` is left.
    fn through(rows: &[[Pose; 3]], hz: f64, hips_from_root: Vector3<f64>, handedness: Handedness) -> Self {
        let left = handedness == Handedness::Left;
        let track = |i: usize| {
            let mut last = [1.0, 0.0, 0.0, 0.0];
            let orientation: Vec<[f64; 4]> = rows
                .iter()
                .map(|row| {
                    let q = row[i].mirrored_if(left).rotation;
                    let q = [q.w, q.i, q.j, q.k];
                    // q and −q are the same orientation; a spline needs neighbours on one side.
                    let side = last.iter().zip(q).map(|(a, b)| a * b).sum::<f64>();
                    last = q.map(|v| if side < 0.0 { -v } else { v });
                    last
                })
                .collect();
            let joint: Vec<[f64; 3]> =
                rows.iter().map(|row| row[i].mirrored_if(left).position.into()).collect();
            Track { orientation: Spline::through(&orientation, hz), joint: Spline::through(&joint, hz) }
        };
        let heading = rows.first().map_or(0.0, |row| axial(&row[0].mirrored_if(left).rotation));
        Self { handedness, tracks: [0, 1, 2].map(track), hips_from_root, heading }
    }

    pub(crate) const fn handedness(&self) -> Handedness {
        self.handedness
    }

    /// Of unnormalised q with n = |q|: ω = 2 vec(q̇ q*)/n² and α = 2 vec(q̈ q*)/n² − 2 ω (q · q̇)/n².
    pub(crate) fn frame(&self, role: Role, t: f64) -> Frame {
        let [q, rate, accel] = self.tracks[role.index()].orientation.at(t).map(quaternion);
        let square = q.norm_squared();
        let of = |derivative: Quaternion<f64>| (derivative * q.conjugate()).imag() * (2.0 / square);
        let omega = of(rate);
        let alpha = of(accel) - omega * (2.0 * q.dot(&rate) / square);
        let rotation = UnitQuaternion::from_quaternion(q).to_rotation_matrix().into_inner();
        Frame { rotation, omega, alpha }
    }

    fn joint(&self, role: Role, t: f64) -> Point {
        let [position, _, acceleration] = self.tracks[role.index()].joint.at(t).map(Vector3::from);
        Point { position, acceleration }
    }

    fn mirrored(&self, v: Vector3<f64>) -> Vector3<f64> {
        Vector3::new(v.x, v.y, v.z * self.handedness.sign())
    }

    pub(crate) fn strap_point(&self, role: Role, worn_offset: Vector3<f64>, t: f64) -> (Frame, Point) {
        let frame = self.frame(role, t);
        let lever = self.mirrored(STRAPS[role.index()]) + worn_offset;
        (frame, self.joint(role, t).offset(&frame, lever))
    }

    pub(crate) fn hips(&self, t: f64) -> [Vector3<f64>; 2] {
        let turned = self.frame(Role::Pelvis, t).rotation;
        let middle = self.joint(Role::Pelvis, t).position + turned * self.hips_from_root;
        [middle, middle + turned * self.mirrored(Vector3::z() * HALF_HIPS_M)]
    }

    /// Pelvis and thorax: axial angle since the body first stood. A lead arm near the vertical has none: its
    /// angle from hanging, which is all that the skin needs.
    pub(crate) fn own_turn(&self, role: Role, t: f64) -> f64 {
        let rotation = self.frame(role, t).rotation;
        if role == Role::LeadArm {
            return rotation[(1, 1)].clamp(-1.0, 1.0).acos();
        }
        let turned = axial_of(&rotation) - self.heading;
        turned.sin().atan2(turned.cos())
    }
}

/// Axial angle of a Y–X–Z decomposition, rad.
fn axial(orientation: &UnitQuaternion<f64>) -> f64 {
    axial_of(&orientation.to_rotation_matrix().into_inner())
}

fn axial_of(rotation: &Matrix3<f64>) -> f64 {
    rotation[(0, 2)].atan2(rotation[(2, 2)])
}

#[cfg(test)]
mod tests;
