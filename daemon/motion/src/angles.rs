//! Segment angles.
//!
//! An orientation R (segment → global, Y up) is decomposed as R = Ry(axial) · Rx(lateral) ·
//! Rz(flexion), intrinsic: axial first, so that the lateral angle is the true tilt of the
//! mediolateral axis against the horizontal whatever the flexion (Baker R 2001, Gait Posture
//! 13:1–6, for the pelvis). Angles follow the right-hand rule of the ISB axes here; the
//! swing file mirrors and names them for people.

use nalgebra::{Matrix3, UnitQuaternion, Vector3};
use peakorder_protocol::{Handedness, Role};

/// Axial, lateral, flexion by the right-hand rule, rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cardan {
    /// About global Y (up).
    pub axial: f64,
    /// About the once-turned X (anterior).
    pub lateral: f64,
    /// About the segment's own Z (right).
    pub flexion: f64,
}

/// Closer to a lateral tilt of 90 deg than this (rad), axial and flexion cannot be told apart.
const GIMBAL_RAD: f64 = 1e-9;

impl Cardan {
    /// Decomposes a rotation matrix. At a lateral tilt of ±90 deg only the sum or difference of
    /// axial and flexion is determined; all of it is then put into `axial`.
    pub fn from_matrix(r: &Matrix3<f64>) -> Self {
        // From both sine and cosine: the sine alone loses half its digits near 90 deg.
        let cos_lateral = r[(1, 0)].hypot(r[(1, 1)]);
        let lateral = (-r[(1, 2)]).atan2(cos_lateral);
        if cos_lateral < GIMBAL_RAD {
            return Self { axial: (-r[(2, 0)]).atan2(r[(0, 0)]), lateral, flexion: 0.0 };
        }
        Self { axial: r[(0, 2)].atan2(r[(2, 2)]), lateral, flexion: r[(1, 0)].atan2(r[(1, 1)]) }
    }

    /// Decomposes a segment → global rotation.
    pub fn from_quaternion(q: &UnitQuaternion<f64>) -> Self {
        Self::from_matrix(q.to_rotation_matrix().matrix())
    }

    /// The rotation these angles stand for.
    pub fn to_quaternion(self) -> UnitQuaternion<f64> {
        UnitQuaternion::from_axis_angle(&Vector3::y_axis(), self.axial)
            * UnitQuaternion::from_axis_angle(&Vector3::x_axis(), self.lateral)
            * UnitQuaternion::from_axis_angle(&Vector3::z_axis(), self.flexion)
    }
}

/// Angles as people read them, deg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Readable {
    /// Axial rotation, positive towards the target.
    pub turn_deg: f64,
    /// Lateral tilt, positive = trail side lower.
    pub lateral_deg: f64,
    /// Flexion, positive = forward.
    pub flexion_deg: f64,
}

/// Forward for people: a trunk's upper end goes forward by a left-handed turn about the axis to
/// the right, an arm's lower end by a right-handed one.
const fn forward(role: Role) -> f64 {
    match role {
        Role::Pelvis | Role::Thorax => -1.0,
        Role::LeadArm => 1.0,
    }
}

impl Cardan {
    /// Mirrored by handedness and named for people.
    pub fn for_people(self, role: Role, handedness: Handedness) -> Readable {
        let sign = handedness.sign();
        Readable {
            turn_deg: self.axial.to_degrees() * sign,
            lateral_deg: self.lateral.to_degrees() * sign,
            flexion_deg: forward(role) * self.flexion.to_degrees(),
        }
    }

    /// Back from what people read.
    pub fn from_people(angles: Readable, role: Role, handedness: Handedness) -> Self {
        let sign = handedness.sign();
        Self {
            axial: (angles.turn_deg * sign).to_radians(),
            lateral: (angles.lateral_deg * sign).to_radians(),
            flexion: forward(role) * angles.flexion_deg.to_radians(),
        }
    }
}

/// The attitude with heading zero whose up, in the segment frame, is `up`.
pub fn attitude_from_up(up: &Vector3<f64>) -> UnitQuaternion<f64> {
    Cardan { axial: 0.0, lateral: (-up.z).clamp(-1.0, 1.0).asin(), flexion: up.x.atan2(up.y) }.to_quaternion()
}

/// Takes jumps of a full turn out of a series of angles, rad.
pub fn unwrap(angles: &mut [f64]) {
    for i in 1..angles.len() {
        let step = angles[i] - angles[i - 1];
        angles[i] -= (step / std::f64::consts::TAU).round() * std::f64::consts::TAU;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn any_rotation_survives_decomposition(w in -1.0..1.0_f64, x in -1.0..1.0_f64, y in -1.0..1.0_f64, z in -1.0..1.0_f64) {
            prop_assume!(w * w + x * x + y * y + z * z > 0.01);
            let q = UnitQuaternion::from_quaternion(nalgebra::Quaternion::new(w, x, y, z));
            let back = Cardan::from_quaternion(&q).to_quaternion();
            prop_assert!(q.angle_to(&back) < 1e-6);
        }

        #[test]
        fn attitude_from_up_has_heading_zero_and_that_up(x in -1.0..1.0_f64, y in 0.1..1.0_f64, z in -0.9..0.9_f64) {
            let up = Vector3::new(x, y, z).normalize();
            let q = attitude_from_up(&up);
            prop_assert!((q.inverse() * Vector3::y() - up).norm() < 1e-9);
            prop_assert!(Cardan::from_quaternion(&q).axial.abs() < 1e-9);
        }
    }

    #[test]
    fn at_ninety_degrees_of_tilt_nothing_is_nan_and_the_rotation_is_kept() {
        for lateral in [90.0_f64, -90.0] {
            let q = Cardan { axial: 0.4, lateral: lateral.to_radians(), flexion: -0.3 }.to_quaternion();
            let c = Cardan::from_quaternion(&q);
            assert!(c.axial.is_finite() && c.lateral.is_finite() && c.flexion == 0.0);
            assert!(q.angle_to(&c.to_quaternion()) < 1e-4);
        }
    }

    #[test]
    fn unwrap_follows_more_than_a_full_turn() {
        let mut a: Vec<f64> = (0..100)
            .map(|i| (f64::from(i) * 0.1 + 3.0).sin().atan2((f64::from(i) * 0.1 + 3.0).cos()))
            .collect();
        unwrap(&mut a);
        assert!((a[99] - a[0] - 9.9).abs() < 1e-9);
    }
}
