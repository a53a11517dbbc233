//! The running filter between swings, one of the `ahrs` crate's, behind one small type.

use crate::motion::settings::{FilterKind, Settings};
use ahrs::{Ahrs, Madgwick, Mahony};
use nalgebra::{UnitQuaternion, Vector3};

/// `ahrs` filters have Z up; ours is Y up (ISB). Rotates Z onto Y.
fn z_up_to_y_up() -> UnitQuaternion<f64> {
    UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -std::f64::consts::FRAC_PI_2)
}

/// Mahony's proportional and integral gains (Mahony, Hamel, Pflimlin 2008 use kp 1, ki 0.3
/// on faster sensors; bias is removed at rest here, so no integral).
const MAHONY_KP: f64 = 0.2;
const MAHONY_KI: f64 = 0.0;

#[derive(Debug, Clone)]
enum Filter {
    Madgwick(Madgwick<f64>),
    Mahony(Mahony<f64>),
}

/// A running orientation filter: sensor frame → global frame (Y up).
#[derive(Debug, Clone)]
pub struct RunningFilter {
    kind: FilterKind,
    beta: f64,
    filter: Option<Filter>,
}

impl RunningFilter {
    /// Not started yet: the first sample's gravity sets the attitude. Starting from identity
    /// instead would leave a strap worn upside down on the filter's saddle for ever.
    pub fn new(settings: &Settings) -> Self {
        Self { kind: settings.filter, beta: settings.madgwick_beta_rad_s, filter: None }
    }

    /// One step of `dt_s` with bias-free rate (rad/s) and specific force (m/s²).
    #[inline]
    pub fn push(&mut self, gyro: &Vector3<f64>, acc: &Vector3<f64>, dt_s: f64) {
        let Some(filter) = &mut self.filter else {
            let up = acc.norm();
            if up > 1.0 {
                let start = UnitQuaternion::rotation_between(acc, &Vector3::z()).unwrap_or_else(|| {
                    UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI)
                });
                self.filter = Some(match self.kind {
                    FilterKind::Madgwick => Filter::Madgwick(Madgwick::new_with_quat(dt_s, self.beta, start)),
                    FilterKind::Mahony => {
                        Filter::Mahony(Mahony::new_with_quat(dt_s, MAHONY_KP, MAHONY_KI, start))
                    }
                });
            }
            return;
        };
        // Free fall leaves no direction to correct by: the filter refuses a zero vector and
        // would skip the gyroscope step with it.
        let usable = acc.norm_squared() > 0.01;
        let result = match filter {
            Filter::Madgwick(f) => {
                *f.sample_period_mut() = dt_s;
                if usable {
                    f.update_imu(gyro, acc).map(|_| ())
                } else {
                    f.update_gyro(gyro);
                    Ok(())
                }
            }
            Filter::Mahony(f) => {
                *f.sample_period_mut() = dt_s;
                if usable {
                    f.update_imu(gyro, acc).map(|_| ())
                } else {
                    f.update_gyro(gyro);
                    Ok(())
                }
            }
        };
        debug_assert!(result.is_ok(), "the accelerometer's norm was checked");
    }

    /// Orientation, sensor → global; identity before the first sample.
    pub fn orientation(&self) -> UnitQuaternion<f64> {
        let z_up = match &self.filter {
            Some(Filter::Madgwick(f)) => f.quat(),
            Some(Filter::Mahony(f)) => f.quat(),
            None => return UnitQuaternion::identity(),
        };
        z_up_to_y_up() * z_up
    }
}
