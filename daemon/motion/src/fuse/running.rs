//! The running filter between swings: starts it, guards it, and turns its frame to ours.

use super::complementary::Complementary;
use super::vqf::Vqf;
use super::{OrientationFilter, Reading};
use crate::settings::{FilterKind, Settings};
use nalgebra::{UnitQuaternion, Vector3};

/// After a gap this long the attitude is lost, s: a person turns over in half a second.
const LOST_S: f64 = 0.5;

/// The orientation with Z up and no rotation about it that `acc` at rest stands for.
pub(super) fn level(acc: &Vector3<f64>) -> UnitQuaternion<f64> {
    UnitQuaternion::rotation_between(acc, &Vector3::z())
        .unwrap_or_else(|| UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI))
}

/// A running orientation filter: sensor frame → global frame (Y up).
pub struct RunningFilter {
    kind: FilterKind,
    beta_rad_s: f64,
    filter: Option<Box<dyn OrientationFilter>>,
    /// Turns the libraries' Z up into Y up (ISB).
    y_up: UnitQuaternion<f64>,
}

impl RunningFilter {
    /// Not started yet: the first sample's gravity sets the attitude. Starting from identity
    /// instead would leave a strap worn upside down on the filter's saddle for ever.
    pub fn new(settings: &Settings) -> Self {
        Self {
            kind: settings.filter,
            beta_rad_s: settings.madgwick_beta_rad_s,
            filter: None,
            y_up: UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -std::f64::consts::FRAC_PI_2),
        }
    }

    /// Takes one reading. A reading that is no number is left out: one would poison a
    /// filter's state for ever. After a long gap the filter starts anew.
    #[inline]
    pub fn push(&mut self, reading: &Reading) {
        if !reading.gyro.iter().chain(reading.acc.iter()).all(|v| v.is_finite()) {
            return;
        }
        if reading.dt_s >= LOST_S {
            self.filter = None;
        }
        if let Some(filter) = &mut self.filter {
            filter.step(reading);
        } else if reading.acc.norm() > 1.0 {
            let start = level(&reading.acc);
            self.filter = Some(match self.kind {
                FilterKind::Madgwick => Box::new(Complementary::madgwick(start, self.beta_rad_s)),
                FilterKind::Mahony => Box::new(Complementary::mahony(start)),
                FilterKind::Vqf => Box::new(Vqf::new(reading)),
            });
        }
    }

    /// Orientation, sensor → global; `None` before the first sample that shows gravity.
    pub fn orientation(&self) -> Option<UnitQuaternion<f64>> {
        self.filter.as_ref().map(|f| self.y_up * f.z_up())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KINDS: [FilterKind; 3] = [FilterKind::Madgwick, FilterKind::Mahony, FilterKind::Vqf];

    fn filter(kind: FilterKind) -> RunningFilter {
        RunningFilter::new(&Settings { filter: kind, ..Settings::default() })
    }

    fn reading(gyro: Vector3<f64>, acc: Vector3<f64>) -> Reading {
        Reading { gyro, bias: Vector3::zeros(), acc, dt_s: 0.005 }
    }

    /// Up in the sensor frame.
    fn up(filter: &RunningFilter) -> Vector3<f64> {
        filter.orientation().expect("started").inverse() * Vector3::y()
    }

    #[test]
    fn whichever_way_up_a_strap_is_worn_gravity_is_found() {
        for kind in KINDS {
            for down in [Vector3::y(), -Vector3::y(), Vector3::z(), -Vector3::z(), Vector3::x()] {
                let mut filter = filter(kind);
                for _ in 0..2000 {
                    filter.push(&reading(Vector3::zeros(), down * 9.81));
                }
                let off = up(&filter).angle(&down).to_degrees();
                assert!(off < 0.1, "{kind:?} {down}: {off} deg");
            }
        }
    }

    #[test]
    fn a_quarter_turn_about_the_vertical_is_followed() {
        for kind in KINDS {
            let mut filter = filter(kind);
            let still = reading(Vector3::zeros(), Vector3::y() * 9.81);
            let turning = reading(Vector3::y() * std::f64::consts::FRAC_PI_2, Vector3::y() * 9.81);
            (0..100).for_each(|_| filter.push(&still));
            let before = filter.orientation().expect("started");
            (0..200).for_each(|_| filter.push(&turning));
            let turned = before.inverse() * filter.orientation().expect("started");
            let want = UnitQuaternion::from_axis_angle(&Vector3::y_axis(), std::f64::consts::FRAC_PI_2);
            assert!(turned.angle_to(&want).to_degrees() < 0.1, "{kind:?}: {turned}");
        }
    }

    #[test]
    fn numbers_that_are_none_and_free_fall_do_no_harm() {
        for kind in KINDS {
            let mut filter = filter(kind);
            let good = reading(Vector3::zeros(), Vector3::y() * 9.81);
            (0..100).for_each(|_| filter.push(&good));
            filter.push(&reading(Vector3::repeat(f64::NAN), Vector3::y() * 9.81));
            filter.push(&reading(Vector3::zeros(), Vector3::repeat(f64::INFINITY)));
            filter.push(&reading(Vector3::zeros(), Vector3::zeros()));
            (0..100).for_each(|_| filter.push(&good));
            assert!(up(&filter).angle(&Vector3::y()).to_degrees() < 0.1, "{kind:?}");
        }
    }

    #[test]
    fn after_a_long_gap_gravity_counts_and_not_what_was_before() {
        for kind in KINDS {
            let mut filter = filter(kind);
            (0..100).for_each(|_| filter.push(&reading(Vector3::zeros(), Vector3::y() * 9.81)));
            filter.push(&Reading { dt_s: 3.0, ..reading(Vector3::zeros(), Vector3::x() * 9.81) });
            assert!(up(&filter).angle(&Vector3::x()).to_degrees() < 0.1, "{kind:?}");
        }
    }
}
