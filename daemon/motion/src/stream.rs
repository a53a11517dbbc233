//! One strap: bytes → samples on a device clock → bias, running orientation, alignment.

use super::angles::Cardan;
use super::calibrate::{Axes, Mounting};
use super::clock::{StrapClock, TimeMap};
use super::fuse::Reading;
use super::fuse::running::RunningFilter;
use super::rest::BiasTracker;
use super::settings::Settings;
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Role;
use peakorder_protocol::log::Arrival;
use peakorder_protocol::profile::{ClockKind, Decoded, Decoder, Profile, SampleIs};
use peakorder_protocol::session::Strap;
use std::collections::VecDeque;

/// How much of the past is kept: the longest guided movement and the longest swing fit.
const KEEP_S: f64 = 30.0;

/// One kept sample. Times stay on the device clock until a swing is finished.
#[derive(Debug, Clone, Copy)]
pub struct Sample {
    /// Device time, s.
    pub device_s: f64,
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

/// Totals since the session began.
#[derive(Debug, Clone, Copy, Default)]
pub struct Counts {
    /// Samples that came in.
    pub samples: u64,
    /// Samples that the strap's own count says are missing.
    pub lost: u64,
    /// Packets that could not be decoded.
    pub bad_packets: u64,
}

/// One strap's stream.
pub struct StrapStream {
    role: Role,
    decoder: Decoder,
    decoded: Decoded,
    clock: StrapClock,
    common_clock: bool,
    sample_is: SampleIs,
    period_s: f64,
    ring: VecDeque<Sample>,
    bias: BiasTracker,
    filter: RunningFilter,
    axes: Axes,
    mounting: Option<Mounting>,
    heading_zero_rad: f64,
    counts: Counts,
    last_device_s: f64,
    latest_s: f64,
    map: TimeMap,
    last_error: Option<String>,
}

impl StrapStream {
    /// A stream for the strap worn at `role`.
    pub fn new(role: Role, strap: &Strap, profile: &Profile, settings: &Settings) -> Self {
        let clock = StrapClock::new(
            profile,
            strap.latency_ms * 1e-3,
            strap.latency_sd_ms.map(|ms| ms * 1e-3),
            strap.interval_ms.map(|ms| ms * 1e-3),
        );
        let info = profile.clock();
        Self {
            role,
            decoder: Decoder::new(profile),
            decoded: Decoded::default(),
            map: clock.map(),
            clock,
            common_clock: info.kind == ClockKind::Common,
            sample_is: info.sample_is,
            period_s: if info.nominal_rate_hz > 0.0 { 1.0 / info.nominal_rate_hz } else { f64::NAN },
            ring: VecDeque::new(),
            bias: BiasTracker::new(settings),
            filter: RunningFilter::new(settings),
            axes: Axes::default(),
            mounting: None,
            heading_zero_rad: 0.0,
            counts: Counts::default(),
            last_device_s: f64::NEG_INFINITY,
            latest_s: f64::NEG_INFINITY,
            last_error: None,
        }
    }

    /// Takes one arrival. `seen` is called with (session time, bias-free rate in the segment
    /// frame if aligned, else the sensor frame) for every sample, in order.
    pub fn arrival(&mut self, arrival: &Arrival, mut seen: impl FnMut(f64, Vector3<f64>)) {
        let arrival_s = arrival.t_ns as f64 * 1e-9;
        let mut decoded = std::mem::take(&mut self.decoded);
        if let Err(error) = self.decoder.decode(arrival.channel, &arrival.bytes, &mut decoded) {
            self.counts.bad_packets += 1;
            self.last_error = Some(error.to_string());
        }
        for head in &decoded.packets {
            let times = self.clock.packet(head, head.n, arrival_s);
            self.map = self.clock.map();
            if times.restarted {
                // Device times before and after are not comparable: what is kept is of no use.
                self.ring.clear();
                self.last_device_s = f64::NEG_INFINITY;
            }
            if !self.common_clock {
                self.period_s = times.period_s;
                self.clock.link_mut().set_samples_per_packet(head.n);
            }
            for (i, raw) in decoded.samples[head.first..head.first + head.n].iter().enumerate() {
                let device_s = match raw.t_ns {
                    Some(ns) => ns as f64 * 1e-9,
                    None => times.first_s + times.period_s * i as f64,
                };
                self.sample(
                    device_s,
                    Vector3::from(raw.gyro),
                    Vector3::from(raw.acc),
                    raw.clipped,
                    &mut seen,
                );
            }
        }
        self.decoded = decoded;
    }

    #[inline]
    fn sample(
        &mut self,
        device_s: f64,
        gyro: Vector3<f64>,
        acc: Vector3<f64>,
        clipped: bool,
        seen: &mut impl FnMut(f64, Vector3<f64>),
    ) {
        let step = device_s - self.last_device_s;
        if step <= 0.0 {
            // A packet sent twice or out of order adds nothing.
            return;
        }
        if self.common_clock && step.is_finite() {
            // Learn the sample period as the running median would: by small steps towards each interval.
            if self.period_s.is_nan() {
                self.period_s = step;
            } else {
                self.period_s += (step - self.period_s).clamp(-0.02 * self.period_s, 0.02 * self.period_s);
            }
        }
        let lost_before = if step.is_finite() && step > 1.5 * self.period_s {
            ((step / self.period_s).round() - 1.0).clamp(0.0, 65_535.0) as u16
        } else {
            0
        };
        self.counts.samples += 1;
        self.counts.lost += u64::from(lost_before);
        let t_s = if self.common_clock { device_s } else { self.map.session_s(device_s) };
        self.bias.push(t_s, &gyro, &acc);
        let rate = gyro - self.bias.bias();
        self.filter.push(&Reading { gyro, bias: self.bias.bias(), acc, dt_s: step });
        self.last_device_s = device_s;
        self.latest_s = t_s;
        let attitude = self.filter.orientation().unwrap_or_default();
        self.ring.push_back(Sample { device_s, gyro, acc, attitude, lost_before, clipped });
        while self.ring.front().is_some_and(|s| s.device_s < device_s - KEEP_S) {
            self.ring.pop_front();
        }
        seen(t_s, self.mounting.map_or(rate, |a| a.to_segment * rate));
    }

    /// Where the strap is worn.
    pub fn role(&self) -> Role {
        self.role
    }

    /// Session time of the newest sample, s.
    pub fn latest_s(&self) -> f64 {
        self.latest_s
    }

    /// Totals.
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// The newest decoding error, once.
    pub fn take_error(&mut self) -> Option<String> {
        self.last_error.take()
    }

    /// Clock.
    pub fn clock(&self) -> &StrapClock {
        &self.clock
    }

    /// Clock, to be told of link changes.
    pub fn clock_mut(&mut self) -> &mut StrapClock {
        &mut self.clock
    }

    /// Gyroscope bias.
    pub fn bias(&self) -> &BiasTracker {
        &self.bias
    }

    /// The newest kept sample.
    pub fn newest(&self) -> Option<&Sample> {
        self.ring.back()
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
            self.zero_heading(self.latest_s);
        }
        fresh.is_some()
    }

    /// What a sample of this strap stands for.
    pub fn sample_is(&self) -> SampleIs {
        self.sample_is
    }

    /// Sample period, s.
    pub fn period_s(&self) -> f64 {
        self.period_s
    }

    /// Session time of a kept sample by the newest clock estimate.
    pub fn session_s(&self, sample: &Sample) -> f64 {
        if self.common_clock { sample.device_s } else { self.map.session_s(sample.device_s) }
    }

    /// Kept samples with session times in [`from_s`, `to_s`].
    pub fn between(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = (f64, &Sample)> {
        let first = self.ring.partition_point(|s| self.session_s(s) < from_s);
        self.ring.range(first..).map(|s| (self.session_s(s), s)).take_while(move |(t, _)| *t <= to_s)
    }
}
