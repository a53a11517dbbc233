//! Offset and skew of a strap's clock from one-way arrivals.
//!
//! A packet can be late (it waits for a connection event, is sent again, queues in the
//! host) but never early, so the true offset lies on the lower edge of what is seen. A
//! two-state Kalman filter follows that edge: a packet that comes later than predicted is
//! believed less the later it is, but never not at all: without that cap the filter can
//! lock out and run away. Constant memory, some twenty operations a packet.

/// Trust in a packet that comes exactly when predicted, seconds (1 SD).
const ON_TIME_SD_S: f64 = 2e-3;
/// Least trust in any packet, however late, seconds (1 SD).
const LATE_SD_CAP_S: f64 = 0.2;
/// Uncertainty of the first offset, seconds (1 SD).
const START_SD_S: f64 = 10e-3;
/// Random walk of the offset, s²/s.
const OFFSET_WALK: f64 = 1e-10;
/// Random walk of the skew, 1/s: 1 ppm over a second's square root.
const SKEW_WALK: f64 = 1e-12;

/// Lateness is averaged over about this many packets (ten seconds of the usual strap).
const LATENESS_PACKETS: f64 = 500.0;
/// A packet later than this counts as this late: one burst of lost events is not the link.
const LATENESS_CAP_S: f64 = 0.05;

/// One-sided Kalman filter on (offset, skew).
#[derive(Debug, Clone)]
pub struct OffsetFilter {
    offset_s: f64,
    skew: f64,
    p00: f64,
    p01: f64,
    p11: f64,
    at_s: f64,
    lateness_s: f64,
    taken: f64,
}

impl OffsetFilter {
    /// Starts with the first observation: at device time `device_s` the host clock was
    /// `offset_s` ahead. `skew_prior` is the SD of the clock's rate error (50e-6 for a crystal).
    pub fn new(device_s: f64, offset_s: f64, skew_prior: f64) -> Self {
        Self {
            offset_s,
            skew: 0.0,
            p00: START_SD_S * START_SD_S,
            p01: 0.0,
            p11: skew_prior * skew_prior,
            at_s: device_s,
            lateness_s: 0.0,
            taken: 0.0,
        }
    }

    /// The strap's clock started again: new offset, same crystal.
    pub fn restart(&mut self, device_s: f64, offset_s: f64) {
        self.offset_s = offset_s;
        self.at_s = device_s;
        self.p00 = START_SD_S * START_SD_S;
        self.p01 = 0.0;
    }

    /// Takes one observation: device time and (arrival − device time).
    pub fn push(&mut self, device_s: f64, seen_offset_s: f64) {
        let dt = device_s - self.at_s;
        if dt > 0.0 {
            self.offset_s += self.skew * dt;
            self.p00 += 2.0 * dt * self.p01 + dt * dt * self.p11 + OFFSET_WALK * dt;
            self.p01 += dt * self.p11;
            self.p11 += SKEW_WALK * dt;
            self.at_s = device_s;
        }
        let late = seen_offset_s - self.offset_s;
        self.taken = (self.taken + 1.0).min(LATENESS_PACKETS);
        self.lateness_s += (late.clamp(0.0, LATENESS_CAP_S) - self.lateness_s) / self.taken;
        let sd = if late < 0.0 {
            ON_TIME_SD_S
        } else {
            (ON_TIME_SD_S * (1.0 + late / ON_TIME_SD_S)).min(LATE_SD_CAP_S)
        };
        let s = self.p00 + sd * sd;
        if late < -5.0 * s.sqrt() {
            // Earlier than anything believed possible: the start fell into a burst of late
            // packets. Jump, keep the skew.
            self.offset_s = seen_offset_s;
            self.p00 = ON_TIME_SD_S * ON_TIME_SD_S;
            self.p01 = 0.0;
            return;
        }
        let k0 = self.p00 / s;
        let k1 = self.p01 / s;
        self.offset_s += k0 * late;
        self.skew += k1 * late;
        self.p11 -= k1 * self.p01;
        self.p01 -= k0 * self.p01;
        self.p00 -= k0 * self.p00;
    }

    /// Predicted offset at device time `device_s`.
    pub fn offset_at(&self, device_s: f64) -> f64 {
        self.offset_s + self.skew * (device_s - self.at_s)
    }

    /// The filter's own standard deviation of the offset, seconds: what lateness and the number
    /// of packets leave open. It knows nothing of the beat, see [`uncertainty`](super::uncertainty).
    pub fn sd_s(&self) -> f64 {
        self.p00.max(0.0).sqrt()
    }

    /// How late packets come on average, seconds after the earliest that could be.
    pub fn lateness_s(&self) -> f64 {
        self.lateness_s
    }

    /// (offset, skew, device time they hold at).
    pub fn state(&self) -> (f64, f64, f64) {
        (self.offset_s, self.skew, self.at_s)
    }
}
