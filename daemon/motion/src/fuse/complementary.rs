//! Madgwick's and Mahony's filters of the `ahrs` crate, the gyroscope's bias removed.

use super::{OrientationFilter, Reading};
use ahrs::{Ahrs, Madgwick, Mahony};
use nalgebra::{UnitQuaternion, Vector3};

/// Mahony's proportional and integral gains (Mahony, Hamel, Pflimlin 2008 use kp 1, ki 0.3
/// on faster sensors; bias is removed at rest here, so no integral).
const MAHONY_KP: f64 = 0.2;
const MAHONY_KI: f64 = 0.0;

/// Below this the specific force has no direction to correct by (free fall), m/s². The
/// filters refuse a zero vector and would skip the gyroscope step with it.
const FREE_FALL_M_S2: f64 = 0.1;

/// A filter of the `ahrs` crate that is given the bias-free rate.
#[derive(Debug, Clone)]
pub struct Complementary<F> {
    filter: F,
    set_period: fn(&mut F, f64),
    orientation: fn(&F) -> UnitQuaternion<f64>,
}

impl Complementary<Madgwick<f64>> {
    /// Madgwick's with gradient step `beta_rad_s`, starting with orientation `start` (Z up).
    pub fn madgwick(start: UnitQuaternion<f64>, beta_rad_s: f64) -> Self {
        Self {
            filter: Madgwick::new_with_quat(1.0, beta_rad_s, start),
            set_period: |f, dt_s| *f.sample_period_mut() = dt_s,
            orientation: Madgwick::quat,
        }
    }
}

impl Complementary<Mahony<f64>> {
    /// Mahony's, starting with orientation `start` (Z up).
    pub fn mahony(start: UnitQuaternion<f64>) -> Self {
        Self {
            filter: Mahony::new_with_quat(1.0, MAHONY_KP, MAHONY_KI, start),
            set_period: |f, dt_s| *f.sample_period_mut() = dt_s,
            orientation: Mahony::quat,
        }
    }
}

impl<F: Ahrs<f64> + Send> OrientationFilter for Complementary<F> {
    #[inline]
    fn step(&mut self, reading: &Reading) {
        (self.set_period)(&mut self.filter, reading.dt_s);
        let rate: Vector3<f64> = reading.gyro - reading.bias;
        if reading.acc.norm_squared() < FREE_FALL_M_S2 * FREE_FALL_M_S2
            || self.filter.update_imu(&rate, &reading.acc).is_err()
        {
            self.filter.update_gyro(&rate);
        }
    }

    fn z_up(&self) -> UnitQuaternion<f64> {
        (self.orientation)(&self.filter)
    }
}
