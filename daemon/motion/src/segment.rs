//! One worn strap: its stream's samples with bias, running orientation and mounting, and the
//! stretch of the past that a swing or a guided movement is cut from.

use super::angles::Cardan;
use super::bias::BiasTracker;
use super::calibrate::{Axes, Mounting};
use super::clock::time::{DeviceTime, SessionTime};
use super::clock::{StrapClock, TimeMap};
use super::fuse::Reading;
use super::fuse::running::RunningFilter;
use super::settings::Settings;
use super::stream::{Counts, Received, StrapStream};
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Role;
use peakorder_protocol::log::{Arrival, StrapEvent};
use peakorder_protocol::profile::{Profile, SampleIs};
use peakorder_protocol::session::Strap;
use std::collections::VecDeque;

/// How much of the past is kept: the longest guided movement and the longest swing fit …
const KEEP_S: f64 = 30.0;
/// … and in a drill, whose repetitions may follow one another without a pause, so many of them.
const KEEP_DRILL_S: f64 = 75.0;

/// One kept sample. Times stay on the device clock until a swing is finished.
#[derive(Debug, Clone, Copy)]
pub struct Kept {
    /// Device time.
    pub device: DeviceTime,
    /// Raw rate, rad/s, sensor frame.
    pub gyro: Vector3<f64>,
    /// Specific force, m/s², sensor frame.
    pub acc: Vector3<f64>,
    /// Orientation by the running filter, sensor → global (Y up, its own heading).
    pub attitude: UnitQuaternion<f64>,
    /// Samples missing before this one.
    pub lost_before: u16,
    /// At the sensor's limit.
    pub clipped: bool,
}

/// The strap worn on one segment.
pub struct Segment {
    role: Role,
    stream: StrapStream,
    sample_is: SampleIs,
    ring: VecDeque<Kept>,
    bias: BiasTracker,
    filter: RunningFilter,
    axes: Axes,
    mounting: Option<Mounting>,
    heading_zero_rad: f64,
    keep_s: f64,
}

impl Segment {
    /// For the strap worn at `role`.
    pub fn new(role: Role, strap: &Strap, profile: &Profile, settings: &Settings) -> Self {
        let clock = StrapClock::new(
            profile,
            strap.latency_ms * 1e-3,
            strap.latency_sd_ms.map(|ms| ms * 1e-3),
            strap.interval_ms.map(|ms| ms * 1e-3),
        );
        Self {
            role,
            stream: StrapStream::new(profile, clock),
            sample_is: profile.clock().sample_is,
            ring: VecDeque::new(),
            bias: BiasTracker::new(role),
            filter: RunningFilter::new(settings),
            axes: Axes::default(),
            mounting: None,
            heading_zero_rad: 0.0,
            keep_s: KEEP_S,
        }
    }

    /// Takes one arrival. `seen` is called with (session time, s; bias-free rate in the segment
    /// frame if aligned, else the sensor frame) for every sample, in order.
    pub fn arrival(&mut self, arrival: &Arrival, mut seen: impl FnMut(f64, Vector3<f64>)) {
        let at = SessionTime::from_ns(arrival.t_ns);
        let received = self.stream.notification(at, arrival.channel, &arrival.bytes);
        for sample in received.samples {
            let t_s = sample.session.s();
            if sample.step_s == f64::INFINITY {
                // The strap's clock started again: device times before are not comparable.
                self.ring.clear();
            }
            self.bias.push(t_s, sample.step_s, &sample.gyro, &sample.acc);
            if sample.clipped {
                self.bias.interrupt();
            }
            let bias = self.bias.bias();
            self.filter.push(&Reading { gyro: sample.gyro, bias, acc: sample.acc, dt_s: sample.step_s });
            self.ring.push_back(Kept {
                device: sample.device,
                gyro: sample.gyro,
                acc: sample.acc,
                attitude: self.filter.orientation().unwrap_or_default(),
                lost_before: sample.lost_before,
                clipped: sample.clipped,
            });
            while self.ring.front().is_some_and(|s| sample.device.since_s(s.device) > self.keep_s) {
                self.ring.pop_front();
            }
            let rate = sample.gyro - bias;
            seen(t_s, self.mounting.map_or(rate, |a| a.to_segment * rate));
        }
    }

    /// Takes what happened to the strap, in the order of the log.
    pub fn event(&mut self, event: &StrapEvent) {
        self.stream.event(&event.what);
    }

    /// A drill is going on: more of the past is kept.
    pub fn set_in_drill(&mut self, in_drill: bool) {
        self.keep_s = if in_drill { KEEP_DRILL_S } else { KEEP_S };
    }

    /// What the last arrival brought.
    pub fn received(&self) -> Received<'_> {
        self.stream.received()
    }

    /// Where the strap is worn.
    pub fn role(&self) -> Role {
        self.role
    }

    /// Session time of the newest sample, s.
    pub fn latest_s(&self) -> f64 {
        self.stream.latest().s()
    }

    /// Totals.
    pub fn counts(&self) -> Counts {
        self.stream.counts()
    }

    /// Clock.
    pub fn clock(&self) -> &StrapClock {
        self.stream.clock()
    }

    /// Gyroscope bias.
    pub fn bias(&self) -> &BiasTracker {
        &self.bias
    }

    /// A swing was found whose address ended at session time `t_s`: evidence of the bias.
    pub fn address(&mut self, t_s: f64) {
        self.bias.address(t_s);
    }

    /// The strap was taken off and put on again: how it sits is not known until it is calibrated.
    pub fn worn_anew(&mut self) {
        self.bias.worn_anew();
        self.axes = Axes::default();
        self.mounting = None;
    }

    /// The newest kept sample.
    pub fn newest(&self) -> Option<&Kept> {
        self.ring.back()
    }

    /// The newest `count` kept samples in order, fewer where not so many are kept.
    pub fn newest_kept(&self, count: usize) -> impl ExactSizeIterator<Item = &Kept> {
        self.ring.range(self.ring.len().saturating_sub(count)..)
    }

    /// From the strap's clock to session time, by the newest estimate.
    pub fn map(&self) -> TimeMap {
        self.stream.map()
    }

    /// Makes the segment's heading by the running filter at session time `t_s` the zero of
    /// its turn in the live view.
    pub fn zero_heading(&mut self, t_s: f64) {
        let Some(alignment) = self.mounting else { return };
        let at =
            self.ring.partition_point(|s| self.session_s(s) < t_s).min(self.ring.len().saturating_sub(1));
        if let Some(sample) = self.ring.get(at) {
            let segment = sample.attitude * alignment.to_segment.inverse();
            self.heading_zero_rad = Cardan::from_quaternion(&segment).axial;
        }
    }

    /// Axial angle of the segment that counts as turn zero in the live view, rad.
    pub fn heading_zero_rad(&self) -> f64 {
        self.heading_zero_rad
    }

    /// Calibration axes, to be set by a step.
    pub fn axes_mut(&mut self) -> &mut Axes {
        &mut self.axes
    }

    /// Mounting if calibrated.
    pub fn mounting(&self) -> Option<&Mounting> {
        self.mounting.as_ref()
    }

    /// Takes over what the axes now say.
    pub fn refresh_mounting(&mut self, at_s: f64) -> bool {
        let fresh = self.axes.mounting(at_s);
        if fresh.is_some() {
            self.mounting = fresh;
            self.zero_heading(self.latest_s());
        }
        fresh.is_some()
    }

    /// What a sample of this strap stands for.
    pub fn sample_is(&self) -> SampleIs {
        self.sample_is
    }

    /// Sample period, s.
    pub fn period_s(&self) -> f64 {
        self.stream.period_s()
    }

    /// Session time of a kept sample by the newest clock estimate, s.
    pub fn session_s(&self, sample: &Kept) -> f64 {
        self.stream.session(sample.device).s()
    }

    /// Kept samples with session times in [`from_s`, `to_s`].
    pub fn between(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = (f64, &Kept)> {
        let first = self.ring.partition_point(|s| self.session_s(s) < from_s);
        self.ring.range(first..).map(|s| (self.session_s(s), s)).take_while(move |(t, _)| *t <= to_s)
    }
}
