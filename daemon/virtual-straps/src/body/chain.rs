//! Angular kinematics of a chain of elementary rotations, exact.

use super::channel::Jet;
use nalgebra::{Matrix3, Vector3};

/// Axis of the already turned frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Axis {
    X = 0,
    Y = 1,
    Z = 2,
}

/// A moving frame: orientation (frame → global) with its angular velocity and angular
/// acceleration in the global frame.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Frame {
    pub(crate) rotation: Matrix3<f64>,
    pub(crate) omega: Vector3<f64>,
    pub(crate) alpha: Vector3<f64>,
}

impl Frame {
    pub(crate) fn global() -> Self {
        Self { rotation: Matrix3::identity(), omega: Vector3::zeros(), alpha: Vector3::zeros() }
    }

    /// Turns on by `angle` about an own axis n. With ω the velocity before this link:
    /// ω' = ω + n θ̇ and α' = α + n θ̈ + ω × n θ̇, because n itself is carried round by ω.
    pub(crate) fn turned(mut self, axis: Axis, angle: Jet) -> Self {
        let n: Vector3<f64> = self.rotation.column(axis as usize).into();
        self.alpha += n * angle.accel + self.omega.cross(&n) * angle.rate;
        self.omega += n * angle.rate;
        let (s, c) = angle.value.sin_cos();
        let (i, j) = ((axis as usize + 1) % 3, (axis as usize + 2) % 3);
        let (u, v): (Vector3<f64>, Vector3<f64>) =
            (self.rotation.column(i).into(), self.rotation.column(j).into());
        self.rotation.set_column(i, &(u * c + v * s));
        self.rotation.set_column(j, &(v * c - u * s));
        self
    }
}

/// A moving point: position and acceleration in the global frame.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Point {
    pub(crate) position: Vector3<f64>,
    pub(crate) acceleration: Vector3<f64>,
}

impl Point {
    /// The point at the end of `lever`, which is fixed in `frame`:
    /// a' = a + α × r + ω × (ω × r).
    pub(crate) fn offset(self, frame: &Frame, lever: Vector3<f64>) -> Self {
        let r = frame.rotation * lever;
        Self {
            position: self.position + r,
            acceleration: self.acceleration
                + frame.alpha.cross(&r)
                + frame.omega.cross(&frame.omega.cross(&r)),
        }
    }

    /// The point at the end of a lever that itself moves in `frame`; `lever` is its place,
    /// speed and acceleration there: a' = a + α × r + ω × (ω × r) + 2 ω × ṙ + r̈.
    pub(crate) fn gliding(self, frame: &Frame, lever: [Vector3<f64>; 3]) -> Self {
        let carried = self.offset(frame, lever[0]);
        let (speed, own) = (frame.rotation * lever[1], frame.rotation * lever[2]);
        Self { acceleration: carried.acceleration + 2.0 * frame.omega.cross(&speed) + own, ..carried }
    }
}
