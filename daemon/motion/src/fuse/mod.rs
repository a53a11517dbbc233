//! Orientation of a strap.
//!
//! Two regimes. Between swings a running filter blends gyroscope and accelerometer: see
//! [`running`]. In a swing the accelerometer speaks of the motion, not of gravity, so from
//! takeaway to finish only the gyroscope is integrated, from an attitude latched at
//! address: see [`latched`]. Global frame: Y up; heading is whatever it was at the start.

pub mod complementary;
pub mod latched;
pub mod running;
pub mod vqf;

use nalgebra::{UnitQuaternion, Vector3};

/// One sample for a filter, sensor frame.
#[derive(Debug, Clone, Copy)]
pub struct Reading {
    /// Rate as measured, rad/s.
    pub gyro: Vector3<f64>,
    /// Gyroscope bias as known, rad/s.
    pub bias: Vector3<f64>,
    /// Specific force, m/s².
    pub acc: Vector3<f64>,
    /// Time since the reading before, s.
    pub dt_s: f64,
}

/// An orientation filter of a library, made to look alike.
pub trait OrientationFilter: Send {
    /// Takes one reading. Its numbers are finite.
    fn step(&mut self, reading: &Reading);
    /// Orientation, sensor → a frame with Z up.
    fn z_up(&self) -> UnitQuaternion<f64>;
}
