//! How well a strap's time can be known.
//!
//! The filter's own variance is not honest: when packets and connection events are both
//! crystal-timed, the wait for the next event moves only as fast as the clocks drift
//! apart, over a range of g = gcd(packet period, connection interval), and no arrival-time
//! estimator can see where in that range it stands. So the stated uncertainty follows
//! from g, from whether the strap stamps connection events, and from what is known of the
//! constant latency (nothing, unless straps are alike or were aligned physically).

use peakorder_protocol::estimate::Z95;
use peakorder_protocol::profile::{ClockKind, PacedBy, Profile, Stamps};
use peakorder_protocol::swing::ClockDoubt;

/// A sweep of the beat slower than this is followed by the filter, seconds.
const SWEEP_S: f64 = 5.0;
/// Above this beat the filter may lose a sensor's own oscillator, seconds.
const LONG_BEAT_S: f64 = 0.03;
/// A crowded link widens the band at most this many times.
const CROWDED_MOST: f64 = 4.0;

/// What a strap's clock has shown so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    /// Since the clock (re)started, seconds.
    pub(super) age_s: f64,
    /// The strap stamps connection events.
    pub(super) event_stamps: bool,
    /// Rate error found.
    pub(super) skew: f64,
    /// The filter's own standard deviation of the offset, seconds.
    pub(super) filter_sd_s: f64,
    /// Mean lateness of packets, seconds.
    pub(super) lateness_s: f64,
}

/// State of a strap's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockState {
    /// Standard uncertainty of this strap's alignment to a like strap, seconds.
    pub sd_s: f64,
    /// Less than five seconds since (re)start: not yet to be used for timing.
    pub settling: bool,
    /// Known only to worse than 5 ms: why.
    pub uncertain: Option<ClockDoubt>,
}

/// What the profile, the connection and a physical alignment allow to be known of a strap's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockLimits {
    profile_id: String,
    rate_hz: f64,
    samples_per_packet: f64,
    interval_s: Option<f64>,
    interval_max_s: f64,
    rc_paced: bool,
    rate_tol: f64,
    stamps_read: bool,
    latency_sd_s: Option<f64>,
}

impl ClockLimits {
    pub(super) fn new(profile: &Profile, latency_sd_s: Option<f64>, interval_s: Option<f64>) -> Self {
        let clock = profile.clock();
        Self {
            profile_id: profile.id().to_owned(),
            rate_hz: clock.nominal_rate_hz,
            samples_per_packet: 4.0,
            interval_s,
            interval_max_s: clock.intervals_s.iter().copied().reduce(f64::max).unwrap_or(0.05),
            rc_paced: clock.paced_by == PacedBy::Imu,
            rate_tol: clock.rate_tol_ppm * 1e-6,
            stamps_read: clock.stamps == Stamps::Read,
            latency_sd_s,
        }
    }

    pub(super) fn set_interval_s(&mut self, interval_s: f64) {
        self.interval_s = Some(interval_s);
    }

    /// Tells how many samples the strap puts into a packet.
    pub fn set_samples_per_packet(&mut self, n: usize) {
        self.samples_per_packet = n as f64;
    }

    /// The beat between packet period and connection interval, seconds: the range within
    /// which the wait for the radio cannot be seen.
    pub fn beat_s(&self) -> f64 {
        let packet_s = self.samples_per_packet / self.rate_hz;
        match self.interval_s {
            // BLE intervals are multiples of 1.25 ms (Bluetooth Core, Vol 6 Part B 4.5.1), so
            // both are rational: gcd(n/rate, k/800) = gcd(800 n, k rate) / (800 rate).
            Some(interval) => {
                let k = (interval * 800.0).round() as u64;
                let rate = self.rate_hz.round() as u64;
                let g = gcd(800 * self.samples_per_packet as u64, k * rate);
                g as f64 / (800.0 * rate as f64)
            }
            None => packet_s.min(self.interval_max_s),
        }
    }

    /// Like straps on like intervals share their constant latency.
    pub fn is_like(&self, other: &Self) -> bool {
        self.profile_id == other.profile_id && self.interval_s == other.interval_s
    }

    /// 95 % half width of the constant latency difference to `other`, seconds. Unlike
    /// straps that were never aligned physically may differ by several milliseconds and
    /// one-way arrivals cannot show it.
    pub fn constant_u95_s(&self, other: &Self) -> f64 {
        match (self.latency_sd_s, other.latency_sd_s) {
            (Some(a), Some(b)) => Z95 * (a * a + b * b).sqrt(),
            _ if self.is_like(other) => 0.6e-3,
            _ => 5e-3,
        }
    }

    pub(super) fn state(&self, kind: ClockKind, tick_s: f64, seen: &Seen) -> ClockState {
        if kind == ClockKind::Common {
            return ClockState { sd_s: 0.0, settling: false, uncertain: None };
        }
        let g = self.beat_s();
        // A sensor's own oscillator sweeps the beat by itself. The filter remembers some ten
        // seconds: a slower sweep it follows instead of averaging over it. A crystal cannot be
        // shown to have swept at all.
        let drift = seen.skew.abs();
        let swept = g <= 0.5e-3
            || seen.event_stamps
            || (self.rc_paced
                && self.rate_tol > 200e-6
                && drift > 200e-6
                && g / drift < SWEEP_S
                && seen.age_s > 10.0 * g / drift);
        let clock = if swept {
            let settled: f64 = if seen.age_s < 30.0 { 0.8e-3 } else { 0.5e-3 };
            // A packet that is ready at any moment waits half an interval on average, and some
            // more for the host; where it waits longer the edge is seen less sharply.
            let usual = 0.6 * self.interval_s.unwrap_or(self.interval_max_s);
            settled.hypot(2.0 * seen.filter_sd_s) * (seen.lateness_s / usual).clamp(1.0, CROWDED_MOST)
        } else {
            // Where in the beat both straps stand is as good as unknown. A sweep too slow to average
            // over takes them through all of it; and at long intervals it can lead the filter
            // astray altogether (measured: benches/clock).
            let share = match (self.rc_paced, g > LONG_BEAT_S) {
                (false, _) => 0.9,
                (true, false) => 1.05,
                (true, true) => 6.0,
            };
            (share * g).hypot(0.5e-3).hypot(2.0 * seen.filter_sd_s)
        };
        // Two straps' independent uniform errors over a width w differ by less than 0.776 w in
        // 95 of 100 cases (triangular distribution: 1 − √0.05). Over a whole sample they no longer
        // are small beside what the filter makes of them, which takes a little more.
        let stamp = if self.stamps_read {
            0.85 / self.rate_hz
        } else if kind == ClockKind::Timestamp {
            0.776 * tick_s
        } else {
            0.0
        };
        let u95 = (clock * clock + stamp * stamp).sqrt();
        let uncertain = if kind == ClockKind::None {
            Some(ClockDoubt::NoTimes)
        } else if u95 > 5e-3 {
            Some(ClockDoubt::SlowBeat)
        } else {
            None
        };
        let sd_s = if kind == ClockKind::None { (u95 / Z95).max(5e-3) } else { u95 / Z95 };
        ClockState { sd_s, settling: seen.age_s < 5.0, uncertain }
    }
}

fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}
