//! Any movement of one strap: its orientation, and when it was fastest. Without golf's rules, for other sports and other segments.
//!
//! The parts are those that swings are measured with: the bias of [`bias`](crate::bias), the running filter of
//! [`fuse`](crate::fuse), the peaks of [`sequence`](crate::sequence). What is golf's is left out: guided movements, address, impact,
//! and the attitude that is carried through a swing by the gyroscope alone. So orientation during a fast movement is the running
//! filter's, which a strong acceleration pulls by some degrees.
//!
//! ```
//! use peakorder_motion::movement::{Movement, Sample};
//! use peakorder_motion::settings::Settings;
//! use peakorder_protocol::Role;
//!
//! // Three seconds at 200 Hz: at rest, a turn that is fastest in the middle, at rest.
//! let samples: Vec<Sample> = (0..600)
//!     .map(|i| {
//!         let t_s = f64::from(i) / 200.0;
//!         let speed_rad_s = 6.0 * (-((t_s - 1.5) / 0.1).powi(2)).exp();
//!         Sample { t_s, gyro_rad_s: [0.0, speed_rad_s, 0.0], acc_m_s2: [0.0, 9.81, 0.0] }
//!     })
//!     .collect();
//! let movement = Movement::of(Role::Thorax, &samples, &Settings::default())?;
//! let fastest = movement.fastest(100.0, 0.5);
//! assert!((fastest[0].t_s - 1.5).abs() < 1e-3);
//! assert!((movement.turned(0.5, 2.5).about_vertical_deg - 60.9).abs() < 0.5);
//! # Ok::<(), peakorder_motion::movement::MovementError>(())
//! ```

use crate::bias::BiasTracker;
use crate::fuse::Reading;
use crate::fuse::running::RunningFilter;
use crate::sequence::peak::{self, FoundPeak, Series};
use crate::settings::Settings;
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Role;

/// One sample of a strap, in the strap's own frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// On a clock that all straps share, seconds.
    pub t_s: f64,
    /// Angular velocity, rad/s.
    pub gyro_rad_s: [f64; 3],
    /// Specific force, m/s²: upwards and 9.81 at rest.
    pub acc_m_s2: [f64; 3],
}

/// Why samples are no movement.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum MovementError {
    /// There is less than one second.
    #[error(
        "{samples} samples over {seconds:.2} s are too few; record a second at least, still at its beginning"
    )]
    TooFew {
        /// Samples.
        samples: usize,
        /// From the first to the last, s.
        seconds: f64,
    },
    /// Times do not ascend.
    #[error("sample {index}: its time {t_s} s is not after the one before; sort the samples by time")]
    NotAfter {
        /// Place of the sample, from 0.
        index: usize,
        /// Its time.
        t_s: f64,
    },
    /// A value is infinite or no number.
    #[error("sample {index} holds a value that is no finite number; leave it out")]
    NotFinite {
        /// Place of the sample, from 0.
        index: usize,
    },
    /// The accelerometer never shows gravity.
    #[error("no sample shows gravity (all below 1 m/s²); are accelerations without gravity, or in g?")]
    NoGravity,
}

/// How far a strap has turned from one moment to another, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turned {
    /// About the vertical; positive to the left, seen from above counterclockwise. Between −180 and 180.
    pub about_vertical_deg: f64,
    /// Away from how it stood to the vertical.
    pub tilt_deg: f64,
}

/// The movement of one strap.
#[derive(Debug, Clone)]
pub struct Movement {
    t_s: Vec<f64>,
    /// Angular velocity without bias, rad/s, strap's frame.
    rate: Vec<Vector3<f64>>,
    orientation: Vec<UnitQuaternion<f64>>,
}

impl Movement {
    /// Of samples in order of time. `role` says what is known of how a body moves there when it stands: the trunk sways less
    /// than an arm, and the gyroscope's bias is told from that; take the nearest. One bias holds for all samples, so
    /// cut recordings of hours. The longer the strap is at rest somewhere in it, the better.
    pub fn of(role: Role, samples: &[Sample], settings: &Settings) -> Result<Self, MovementError> {
        check(samples)?;
        let mut tracker = BiasTracker::new(role);
        for (dt_s, s) in steps(samples) {
            tracker.push(s.t_s, dt_s.unwrap_or(f64::INFINITY), &s.gyro_rad_s.into(), &s.acc_m_s2.into());
        }
        let bias = tracker.bias();
        let mut filter = RunningFilter::new(settings);
        let (mut t_s, mut rate, mut orientation) = (Vec::new(), Vec::new(), Vec::new());
        let mut before = None;
        for (dt_s, s) in steps(samples) {
            let gyro = Vector3::from(s.gyro_rad_s);
            // What it turned since the sample before is the mean of both rates; the last alone would be half a sample ahead.
            let mean = before.map_or(gyro, |before: Vector3<f64>| (before + gyro) / 2.0);
            before = Some(gyro);
            let dt_s = dt_s.unwrap_or_default();
            filter.push(&Reading { gyro: mean, bias, acc: s.acc_m_s2.into(), dt_s });
            // Samples before the first that shows gravity have no orientation.
            if let Some(now) = filter.orientation() {
                t_s.push(s.t_s);
                rate.push(gyro - bias);
                orientation.push(now);
            }
        }
        if orientation.is_empty() {
            Err(MovementError::NoGravity)
        } else {
            Ok(Self { t_s, rate, orientation })
        }
    }

    /// Times of the samples, s.
    pub fn times_s(&self) -> &[f64] {
        &self.t_s
    }

    /// Orientation at each sample: from the strap's frame to one with Y up, whose heading is whatever it was at the start. So
    /// headings of two straps are not comparable, their changes are.
    pub fn orientations(&self) -> &[UnitQuaternion<f64>] {
        &self.orientation
    }

    /// The same at any time, held at both ends of the recording.
    pub fn orientation_at(&self, t_s: f64) -> UnitQuaternion<f64> {
        let after = self.t_s.partition_point(|t| *t < t_s).min(self.t_s.len() - 1);
        let before = after.saturating_sub(1);
        let (from, to) = (self.t_s[before], self.t_s[after]);
        let share = if to > from { ((t_s - from) / (to - from)).clamp(0.0, 1.0) } else { 0.0 };
        self.orientation[before].slerp(&self.orientation[after], share)
    }

    /// How far the strap turned between two moments.
    pub fn turned(&self, from_s: f64, to_s: f64) -> Turned {
        let (from, to) = (self.orientation_at(from_s), self.orientation_at(to_s));
        let turn = to * from.inverse();
        // The part of the rotation about the vertical (swing and twist).
        let half = turn.quaternion().j.atan2(turn.quaternion().w);
        let up = turn * Vector3::y();
        Turned {
            about_vertical_deg: (2.0 * half).sin().atan2((2.0 * half).cos()).to_degrees(),
            tilt_deg: up.angle(&Vector3::y()).to_degrees(),
        }
    }

    /// Speed at each sample: the magnitude of angular velocity, deg/s. It does not depend on how the strap is worn.
    pub fn speed_dps(&self) -> Vec<f64> {
        self.rate.iter().map(|r| r.norm().to_degrees()).collect()
    }

    /// The fastest moment of each part of the recording in which the speed was above `least_dps`, in order of time, each with its
    /// standard uncertainty. Parts with less than `apart_s` between them are one; a part that the recording cuts off is left out.
    pub fn fastest(&self, least_dps: f64, apart_s: f64) -> Vec<FoundPeak> {
        let speed = self.speed_dps();
        let mut parts: Vec<[usize; 2]> = Vec::new();
        for i in (0..speed.len()).filter(|&i| speed[i] > least_dps) {
            match parts.last_mut() {
                Some([_, last]) if self.t_s[i] - self.t_s[*last] < apart_s => *last = i,
                _ => parts.push([i, i]),
            }
        }
        let count = self.t_s.len() as f64;
        let period_s = (self.t_s[self.t_s.len() - 1] - self.t_s[0]) / (count - 1.0).max(1.0);
        let half_s = peak::half_width_s(period_s);
        let series = Series { t_s: &self.t_s, dps: &speed };
        parts
            .into_iter()
            .filter(|[first, last]| *first > 0 && last + 1 < speed.len())
            .filter_map(|[first, last]| {
                let (from_s, to_s) = (self.t_s[first] - period_s, self.t_s[last] + period_s);
                peak::find(series, from_s, to_s, to_s + half_s, half_s)
            })
            .collect()
    }
}

/// Every sample with the time since the one before.
fn steps(samples: &[Sample]) -> impl Iterator<Item = (Option<f64>, &Sample)> {
    let before = std::iter::once(None).chain(samples.iter().map(|s| Some(s.t_s)));
    samples.iter().zip(before).map(|(s, before)| (before.map(|b| s.t_s - b), s))
}

fn check(samples: &[Sample]) -> Result<(), MovementError> {
    for (index, s) in samples.iter().enumerate() {
        if ![s.t_s].iter().chain(&s.gyro_rad_s).chain(&s.acc_m_s2).all(|v| v.is_finite()) {
            return Err(MovementError::NotFinite { index });
        }
        if index > 0 && s.t_s <= samples[index - 1].t_s {
            return Err(MovementError::NotAfter { index, t_s: s.t_s });
        }
    }
    let seconds = samples.last().map_or(0.0, |l| l.t_s - samples[0].t_s);
    if seconds < 1.0 { Err(MovementError::TooFew { samples: samples.len(), seconds }) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A turn about the vertical by a Gaussian pulse of 500 deg/s, 0.08 s wide, at `at_s`, on a strap worn askew, with a bias.
    fn turning(at_s: f64) -> Vec<Sample> {
        let worn = UnitQuaternion::from_euler_angles(0.4, -0.9, 1.7);
        (0..1200)
            .map(|i| {
                let t_s = f64::from(i) / 200.0;
                let speed = 500_f64.to_radians() * (-((t_s - at_s) / 0.08).powi(2)).exp();
                let gyro = worn.inverse() * Vector3::new(0.0, speed, 0.0) + Vector3::new(0.01, -0.02, 0.005);
                Sample {
                    t_s,
                    gyro_rad_s: gyro.into(),
                    acc_m_s2: (worn.inverse() * Vector3::new(0.0, 9.81, 0.0)).into(),
                }
            })
            .collect()
    }

    /// The integral of a Gaussian pulse is its height times its width times √π.
    #[test]
    fn a_turn_that_can_be_integrated_by_hand_is_found() {
        let movement =
            Movement::of(Role::LeadArm, &turning(3.123), &Settings::default()).expect("a movement");
        let fastest = movement.fastest(60.0, 0.5);
        assert_eq!(fastest.len(), 1, "{fastest:?}");
        assert!((fastest[0].t_s - 3.123).abs() < 0.5e-3, "{fastest:?}");
        assert!((fastest[0].dps - 500.0).abs() < 5.0, "{fastest:?}");
        let turned = movement.turned(2.0, 5.0);
        let wanted = 500.0 * 0.08 * std::f64::consts::PI.sqrt();
        assert!((turned.about_vertical_deg - wanted).abs() < 1.0, "{turned:?}, not {wanted}");
        assert!(turned.tilt_deg < 0.5, "{turned:?}");
        // The other way round in time it turns back.
        assert!((movement.turned(5.0, 2.0).about_vertical_deg + wanted).abs() < 1.0);
    }

    #[test]
    fn what_the_recording_cuts_off_is_left_out() {
        let movement = Movement::of(Role::LeadArm, &turning(6.0), &Settings::default()).expect("a movement");
        assert_eq!(movement.fastest(60.0, 0.5), []);
    }

    #[test]
    fn samples_that_are_no_movement_are_refused() {
        let good = turning(3.0);
        let of = |samples: &[Sample]| Movement::of(Role::Pelvis, samples, &Settings::default()).map(|_| ());
        assert!(matches!(of(&[]), Err(MovementError::TooFew { samples: 0, .. })));
        assert!(matches!(of(&good[..100]), Err(MovementError::TooFew { samples: 100, .. })));
        let mut twice = good.clone();
        twice[7].t_s = twice[6].t_s;
        assert!(matches!(of(&twice), Err(MovementError::NotAfter { index: 7, .. })));
        let mut none = good.clone();
        none[9].gyro_rad_s[1] = f64::NAN;
        assert_eq!(of(&none), Err(MovementError::NotFinite { index: 9 }));
        let weightless: Vec<Sample> = good.iter().map(|s| Sample { acc_m_s2: [0.0; 3], ..*s }).collect();
        assert_eq!(of(&weightless), Err(MovementError::NoGravity));
    }
}
