//! How far each source of error moves a segment's angles.
//!
//! Each source is moved by its standard uncertainty and the angles are read again. What a source does
//! at two instants is kept apart from the other sources, so that it cancels in a difference.

use super::drift::drift;
use super::{GYRO_SCALE_SD, Part, turn_sd_deg};
use crate::angles::Cardan;
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Handedness;
use std::ops::Sub;

/// Error of gravity at address about each level axis: accelerometer bias and sway (10 mg is
/// 0.6 deg; own judgement).
pub(super) const ATTITUDE_SD_DEG: f64 = 0.5;

/// The part of it that accelerometer bias makes, about each axis across the long one. The gravity of
/// the calibration has the same bias, so the two cancel where a segment stands as it did then.
const ACC_BIAS_SD_DEG: f64 = 0.45;
/// The part of it that sway makes.
const LEVEL_SD_DEG: f64 = 0.22;
/// How much of each axis's rotation leaks into each other axis (own judgement: data sheets give up
/// to 1–2 %).
const CROSS_AXIS_SD: f64 = 0.005;

/// Mounting about three axes, accelerometer bias and sway about two each, gyroscope scale (with leakage
/// between axes) of nine, gyroscope bias of three.
const SOURCES: usize = 19;

/// By how much each source of error moves an angle, deg.
#[derive(Debug, Clone, Copy)]
pub(super) struct Deviation([f64; SOURCES]);

impl Deviation {
    /// Standard uncertainty, deg.
    pub(super) fn sd_deg(&self) -> f64 {
        self.0.iter().map(|d| d * d).sum::<f64>().sqrt()
    }
}

impl Sub for Deviation {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self(std::array::from_fn(|i| self.0[i] - other.0[i]))
    }
}

/// Deviations of a segment's angles at one instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Deviations {
    /// Of turn since address.
    pub(super) turn: Deviation,
    /// Of lateral tilt.
    pub(super) lateral: Deviation,
    /// Of flexion.
    pub(super) flexion: Deviation,
}

/// The sources of error of one segment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sources<'a> {
    part: &'a Part<'a>,
    handedness: Handedness,
    address_s: f64,
    /// Standard uncertainties of the mounting about X, Y, Z without accelerometer bias, deg.
    mounting_deg: [f64; 3],
    /// Deviation of the heading at address, by the path's own heading.
    address_turn: Deviation,
}

impl<'a> Sources<'a> {
    /// `None` where the strap is not calibrated.
    pub(super) fn new(part: &'a Part<'a>, handedness: Handedness, address_s: f64) -> Option<Self> {
        let mounting = part.window.mounting?;
        let long = (mounting.long_axis_sd_deg.powi(2) - ACC_BIAS_SD_DEG.powi(2)).max(0.0).sqrt();
        let mut sources = Self {
            part,
            handedness,
            address_s,
            mounting_deg: [long, turn_sd_deg(mounting), long],
            address_turn: Deviation([0.0; SOURCES]),
        };
        sources.address_turn = sources.absolute(address_s).turn;
        Some(sources)
    }

    /// Deviations at `t_s`.
    pub(super) fn at(&self, t_s: f64) -> Deviations {
        let now = self.absolute(t_s);
        Deviations { turn: now.turn - self.address_turn, ..now }
    }

    /// The same, of turn by the path's own heading.
    fn absolute(&self, t_s: f64) -> Deviations {
        let (held, moved) = self.orientations(t_s);
        let read = |q: &UnitQuaternion<f64>| {
            Cardan::from_quaternion(q).for_people(self.part.window.role, self.handedness)
        };
        let is = read(&held);
        let none = Deviation([0.0; SOURCES]);
        let mut all = Deviations { turn: none, lateral: none, flexion: none };
        for (source, moved) in moved.iter().map(read).enumerate() {
            let off = |a: f64, b: f64| (a - b) - 360.0 * ((a - b) / 360.0).round();
            all.turn.0[source] = off(moved.turn_deg, is.turn_deg);
            all.lateral.0[source] = off(moved.lateral_deg, is.lateral_deg);
            all.flexion.0[source] = off(moved.flexion_deg, is.flexion_deg);
        }
        all
    }

    /// The orientation at `t_s` by the path's own heading, and what it would be with each source
    /// of error moved by its standard uncertainty.
    pub(super) fn orientations(&self, t_s: f64) -> (UnitQuaternion<f64>, [UnitQuaternion<f64>; SOURCES]) {
        let path = &self.part.path;
        let (held, at_address) = (path.orientation_at(t_s), path.orientation_at(self.address_s));
        let turned = (at_address.inverse() * held).scaled_axis();
        let drifted = drift(self.part, self.address_s, t_s);
        let about = |i: usize, rad: f64| Vector3::ith(i, rad);
        let by = UnitQuaternion::from_scaled_axis;
        let gravity = |off: Vector3<f64>| {
            // The heading is the gyroscope's.
            let level = at_address * off;
            by(-Vector3::new(level.x, 0.0, level.z)) * held * by(off)
        };
        let moved = std::array::from_fn(|source| match source {
            0..3 => held * by(about(source, self.mounting_deg[source].to_radians())),
            3 | 4 => gravity(about(2 * (source - 3), ACC_BIAS_SD_DEG.to_radians())),
            5 | 6 => by(about(2 * (source - 5), LEVEL_SD_DEG.to_radians())) * held,
            7..16 => {
                let (into, from) = ((source - 7) / 3, (source - 7) % 3);
                let share = if into == from { GYRO_SCALE_SD } else { CROSS_AXIS_SD };
                held * by(about(into, share * turned[from]))
            }
            _ => by(drifted[source - 16]) * held,
        });
        (held, moved)
    }
}
