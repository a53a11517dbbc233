//! A player's body as three moving segments whose every derivative is exact.
//!
//! Of a planned body a degree of freedom is a [`channel::Channel`]: a sum of smooth steps and waves
//! with closed-form first and second derivatives. Orientations are chains of elementary
//! rotations by those angles (`chain`), so angular velocity and acceleration follow
//! without any finite difference. [`skeleton`] joins the segments; `planner` plans
//! who moves when; `swing` and `activities` know golf.
//!
//! A [`recorded`] body goes through poses that were measured.

pub(crate) mod activities;
pub(crate) mod chain;
pub mod channel;
pub mod drill;
pub mod people;
pub(crate) mod planner;
pub mod player;
pub mod recorded;
pub mod skeleton;
pub(crate) mod swing;
pub(crate) mod variation;

#[cfg(test)]
mod tests;

use chain::{Frame, Point};
use nalgebra::{Rotation3, UnitQuaternion, Vector3};
use peakorder_protocol::{Handedness, Role};
use recorded::Recorded;
use skeleton::Skeleton;

/// Standard gravity, m/s² (ISO 80000-3).
pub use peakorder_protocol::estimate::STANDARD_GRAVITY_M_S2 as GRAVITY;

/// Exact motion of one strap's place on the body.
#[derive(Debug, Clone, Copy)]
pub struct SegmentState {
    /// Segment → global.
    pub orientation: UnitQuaternion<f64>,
    /// Angular velocity in the segment's own frame, rad/s.
    pub omega_body: Vector3<f64>,
    /// Angular velocity in the global frame, rad/s.
    pub omega_global: Vector3<f64>,
    /// Angular acceleration in the global frame, rad/s².
    pub alpha_global: Vector3<f64>,
    /// Position of the strap in the global frame, metres.
    pub position: Vector3<f64>,
    /// Specific force (acceleration minus gravity) at the strap in the segment's frame, m/s².
    pub specific_force_body: Vector3<f64>,
}

/// A body in motion over a whole session.
#[derive(Debug, Clone)]
pub enum Body {
    /// It moves by a plan.
    Planned(Skeleton),
    /// It moves as a body was seen to move.
    Recorded(Recorded),
}

impl Body {
    /// Side the player swings from.
    pub const fn handedness(&self) -> Handedness {
        match self {
            Self::Planned(body) => body.handedness(),
            Self::Recorded(body) => body.handedness(),
        }
    }

    /// Orientation, angular velocity and acceleration of a segment at `t`.
    pub(crate) fn frame(&self, role: Role, t: f64) -> Frame {
        match self {
            Self::Planned(body) => body.frame(role, t),
            Self::Recorded(body) => body.frame(role, t),
        }
    }

    /// How far a segment is turned within the player, by the right-hand rule, rad: pelvis and thorax about
    /// their own long axes, the lead arm in its swing plane.
    pub(crate) fn own_turn(&self, role: Role, t: f64) -> f64 {
        match self {
            Self::Planned(body) => body.own_turn(role, t),
            Self::Recorded(body) => body.own_turn(role, t),
        }
    }

    /// Where the middle of the hips and the joint of the trail hip are.
    pub(crate) fn hips(&self, t: f64) -> [Vector3<f64>; 2] {
        match self {
            Self::Planned(body) => body.hips(t),
            Self::Recorded(body) => body.hips(t),
        }
    }

    /// The segment's frame and its strap point, moved by `worn_offset` (segment frame, metres).
    pub(crate) fn strap_point(&self, role: Role, worn_offset: Vector3<f64>, t: f64) -> (Frame, Point) {
        match self {
            Self::Planned(body) => body.strap_point(role, worn_offset, t),
            Self::Recorded(body) => body.strap_point(role, worn_offset, t),
        }
    }

    /// Everything about a segment and its strap point at session time `t`, seconds.
    pub fn state(&self, role: Role, worn_offset: Vector3<f64>, t: f64) -> SegmentState {
        let (frame, point) = self.strap_point(role, worn_offset, t);
        let inverse = frame.rotation.transpose();
        let up = Vector3::new(0.0, GRAVITY, 0.0);
        SegmentState {
            orientation: UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(
                frame.rotation,
            )),
            omega_body: inverse * frame.omega,
            omega_global: frame.omega,
            alpha_global: frame.alpha,
            position: point.position,
            specific_force_body: inverse * (point.acceleration + up),
        }
    }
}
