//! The samples around one candidate swing, calibrated and on the session clock.

use super::calibrate::Mounting;
use super::clock::time::SessionTime;
use super::clock::uncertainty::{ClockLimits, ClockState};
use super::segment::Segment;
use nalgebra::{Matrix3, UnitQuaternion, Vector3};
use peakorder_protocol::profile::SampleIs;
use peakorder_protocol::{Handedness, Role};

/// A link delivers in bursts of up to 0.3 s; a strap that is missing for longer was lost, s.
const LATE_S: f64 = 0.35;

/// A strap that is there has sent its last sample no more than so many periods ago.
const LATEST_PERIODS: f64 = 1.5;

/// One strap's part of the window.
#[derive(Debug, Clone)]
pub struct SegmentWindow {
    /// Where it is worn.
    pub role: Role,
    /// Session times, s, ascending.
    pub t_s: Vec<f64>,
    /// Bias-free rate, rad/s; segment frame if aligned, else sensor frame.
    pub gyro: Vec<Vector3<f64>>,
    /// Specific force, m/s²; same frame.
    pub acc: Vec<Vector3<f64>>,
    /// Up by the running filter; same frame.
    pub up: Vec<Vector3<f64>>,
    /// Samples missing before each.
    pub lost_before: Vec<u16>,
    /// At the sensor's limit.
    pub clipped: Vec<bool>,
    /// Mounting in force.
    pub mounting: Option<Mounting>,
    /// Sample period, s.
    pub period_s: f64,
    /// Covariance of the bias, (rad/s)²; same frame as the rate.
    pub bias_covariance: Matrix3<f64>,
    /// What a sample stands for.
    pub sample_is: SampleIs,
    /// Clock.
    pub clock: ClockState,
    /// What its profile and link allow, to compare straps by.
    pub clock_limits: ClockLimits,
}

/// A covariance of the sensor's axes in the segment's, where it is calibrated.
pub(crate) fn turned(covariance: &Matrix3<f64>, mounting: Option<&Mounting>) -> Matrix3<f64> {
    mounting.map_or(*covariance, |m| {
        let r = m.to_segment.to_rotation_matrix();
        r * covariance * r.transpose()
    })
}

impl SegmentWindow {
    /// Cuts the samples of `stream` between two session times.
    pub fn cut(stream: &Segment, from_s: f64, to_s: f64, now_s: f64) -> Self {
        let bias = stream.bias().bias();
        let mounting = stream.mounting().copied();
        let mut w = Self {
            role: stream.role(),
            t_s: Vec::new(),
            gyro: Vec::new(),
            acc: Vec::new(),
            up: Vec::new(),
            lost_before: Vec::new(),
            clipped: Vec::new(),
            mounting,
            period_s: stream.period_s(),
            bias_covariance: turned(&stream.bias().covariance(), mounting.as_ref()),
            sample_is: stream.sample_is(),
            clock: stream.clock().state(SessionTime::from_s(now_s)),
            clock_limits: stream.clock().limits().clone(),
        };
        for (t, s) in stream.between(from_s, to_s) {
            let to_segment = mounting.map_or_else(UnitQuaternion::identity, |a| a.to_segment);
            w.t_s.push(t);
            w.gyro.push(to_segment * (s.gyro - bias));
            w.acc.push(to_segment * s.acc);
            w.up.push(to_segment * (s.attitude.inverse() * Vector3::y()));
            w.lost_before.push(s.lost_before);
            w.clipped.push(s.clipped);
        }
        w
    }

    /// Index of the first sample at or after `t_s`.
    pub fn index(&self, t_s: f64) -> usize {
        self.t_s.partition_point(|t| *t < t_s)
    }

    /// Time of the last sample, s; before everything if there is none.
    pub fn last_s(&self) -> f64 {
        self.t_s.last().copied().unwrap_or(f64::NEG_INFINITY)
    }

    /// The strap was there until `t_s`, or so short before that it was only late.
    pub fn reaches(&self, t_s: f64) -> bool {
        t_s - self.last_s() < LATE_S
    }

    /// Samples missing between two session times.
    pub fn lost(&self, from_s: f64, to_s: f64) -> u32 {
        (self.index(from_s)..self.index(to_s)).map(|i| u32::from(self.lost_before[i])).sum()
    }

    /// No sample is missing between two session times: none of those that are there follows a hole, nor the next
    /// one, whose hole began before `to_s`, and they do not end before.
    pub fn is_whole(&self, from_s: f64, to_s: f64) -> bool {
        let until = (self.index(to_s) + 1).min(self.t_s.len());
        self.last_s() + LATEST_PERIODS * self.period_s > to_s
            && self.lost_before[self.index(from_s)..until].iter().all(|lost| *lost == 0)
    }

    /// Samples at the limit between two session times.
    pub fn clipped(&self, from_s: f64, to_s: f64) -> u32 {
        (self.index(from_s)..self.index(to_s)).map(|i| u32::from(self.clipped[i])).sum()
    }

    /// The strap sends enough samples over the whole of the given time to say anything.
    pub fn covers(&self, from_s: f64, to_s: f64) -> bool {
        let seconds = to_s - from_s;
        let n = self.index(to_s).saturating_sub(self.index(from_s)) as f64;
        seconds > 0.0 && n * self.period_s > 0.7 * seconds
    }
}

/// All straps' parts.
#[derive(Debug, Clone)]
pub struct Window {
    /// Segments, proximal to distal.
    pub segments: Vec<SegmentWindow>,
    /// Side the player swings from.
    pub handedness: Handedness,
}

impl Window {
    /// The part of one segment.
    pub fn get(&self, role: Role) -> Option<&SegmentWindow> {
        self.segments.iter().find(|s| s.role == role)
    }
}
