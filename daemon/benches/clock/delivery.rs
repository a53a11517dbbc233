//! Two straps and the way their packets take to the host, as numbers only: when each packet
//! was sampled (the truth), what its clock said, and when it arrived.
//!
//! Shares no code with the estimator, nor with the product's virtual straps. The model and
//! its figures are assumptions; nothing was measured on radio hardware.
//!
//! - Crystal: error uniform ±50 ppm at 25 °C, less 0.034 ppm/K² away from it (the usual
//!   parabola of a 32 kHz tuning fork; common practice, no source), temperature going to the
//!   body's with τ 400 s, and an Ornstein–Uhlenbeck wander of 1 ppm (τ 10 min).
//! - The sensor's own oscillator: off by a constant share, wander 20 ppm, warm-up ±100 ppm.
//! - Radio: a packet is ready 0.4–0.7 ms after its last sample and waits for a connection
//!   event with room (4 a packet's length each); events fail alone (2 %) and in bursts (3 a
//!   minute, 50–300 ms, 92 %); a full queue or the air loses packets; the host's radio clock
//!   is off by up to 20 ppm.
//! - Host: 2 ms, plus an exponential of 1.2 ms, plus for 3 % an exponential of 10 ms up to
//!   30 ms; arrivals stay in order.

use chacha20::ChaCha8Rng;
use rand::{RngExt as _, SeedableRng as _};
use rand_distr::{Distribution as _, Exp1, StandardNormal};

/// What the strap says about time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Stamp {
    /// Device clock of the first sample in ticks of this many seconds, wrapping at 2^bits.
    Ticks { tick_s: f64, bits: u32 },
    /// The same, but taken when the processor read the sensor: up to this much late.
    Read { tick_s: f64, bits: u32, late_s: f64 },
    /// A packet number of this many bits only.
    Counter { bits: u8 },
}

/// A strap and its link.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Model {
    pub(crate) rate_hz: f64,
    pub(crate) per_packet: usize,
    pub(crate) stamp: Stamp,
    /// The sensor's own oscillator is off by up to this share; `None`: the crystal paces it.
    pub(crate) rc_share: Option<f64>,
    pub(crate) crystal_ppm: f64,
    /// Temperatures the strap may come from, °C; it goes to 32.
    pub(crate) from_celsius: (f64, f64),
    pub(crate) interval_s: f64,
    pub(crate) fail: f64,
    pub(crate) bursts_per_min: f64,
    pub(crate) drop: f64,
    pub(crate) jitter_s: f64,
    pub(crate) tail_share: f64,
    pub(crate) tail_s: f64,
    /// The strap tells of an earlier packet when it could first have been sent.
    pub(crate) event_stamps: bool,
}

impl Model {
    /// 208 Hz, four samples a packet, µs stamps of a crystal that also paces the sensor, 15 ms.
    pub(crate) const fn usual() -> Self {
        Self {
            rate_hz: 208.0,
            per_packet: 4,
            stamp: Stamp::Ticks { tick_s: 1e-6, bits: 32 },
            rc_share: None,
            crystal_ppm: 50.0,
            from_celsius: (18.0, 25.0),
            interval_s: 0.015,
            fail: 0.02,
            bursts_per_min: 3.0,
            drop: 0.002,
            jitter_s: 0.0012,
            tail_share: 0.03,
            tail_s: 0.010,
            event_stamps: false,
        }
    }

    pub(crate) const fn at(rate_hz: f64, per_packet: usize, interval_s: f64) -> Self {
        Self { rate_hz, per_packet, interval_s, ..Self::usual() }
    }

    pub(crate) const fn harsh(self) -> Self {
        Self {
            fail: 0.15,
            bursts_per_min: 12.0,
            drop: 0.02,
            jitter_s: 0.003,
            tail_share: 0.10,
            tail_s: 0.015,
            ..self
        }
    }
}

/// A packet that arrived.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Packet {
    /// Number as sent.
    pub(crate) seq: u32,
    /// Device ticks of the first sample as sent.
    pub(crate) t_raw: u64,
    /// Device time of the last sample by the strap's own count or clock, unwrapped and
    /// without rounding: what the estimators beside ours are given.
    pub(crate) device_s: f64,
    /// True host time of the last sample.
    pub(crate) true_s: f64,
    /// Host time of arrival.
    pub(crate) arrival_s: f64,
    /// Sample period on the device clock, seconds.
    pub(crate) period_s: f64,
    /// Device time from the last sample of the packet before to the event that could first
    /// have carried it.
    pub(crate) age_before_s: Option<f64>,
    /// The clock started anew with this packet.
    pub(crate) restarted: bool,
}

/// A lost link.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Outage {
    pub(crate) at_s: f64,
    pub(crate) for_s: f64,
    pub(crate) clock_restarts: bool,
}

/// One strap's packets in order of arrival.
pub(crate) struct Strap {
    model: Model,
    rng: ChaCha8Rng,
    outage: Option<Outage>,
    // oscillators
    crystal: f64,
    celsius: f64,
    wander: f64,
    rc: f64,
    rc_wander: f64,
    rc_warm: f64,
    // state
    host_s: f64,
    device_s: f64,
    made: u32,
    // radio
    phase_s: f64,
    radio_interval_s: f64,
    event: f64,
    carried: u32,
    judged: f64,
    fate: bool,
    burst: (f64, f64),
    arrived_s: f64,
    age_s: Option<f64>,
    restarted: bool,
}

const BODY_CELSIUS: f64 = 32.0;
const WARM_S: f64 = 400.0;
const WANDER_S: f64 = 600.0;
const BASE_S: f64 = 0.002;
const TAIL_CAP_S: f64 = 0.030;
const PER_EVENT: u32 = 4;
const QUEUE: f64 = 14.0;

impl Strap {
    /// Strap number `index` of pair `pair`; `host_error` is the host radio clock's share.
    pub(crate) fn new(model: Model, pair: u64, index: u64, host_error: f64, outage: Option<Outage>) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(pair);
        rng.set_stream(1 + index);
        let crystal = rng.random_range(-1.0..1.0) * model.crystal_ppm * 1e-6;
        let celsius = rng.random_range(model.from_celsius.0..model.from_celsius.1);
        let wander: f64 = StandardNormal.sample(&mut rng);
        let rc = rng.random_range(-1.0..1.0) * model.rc_share.unwrap_or(0.0);
        let rc_wander: f64 = StandardNormal.sample(&mut rng);
        let rc_warm = rng.random_range(-100e-6..100e-6);
        // The counter may wrap at any moment of the session.
        let device_s = match model.stamp {
            Stamp::Ticks { tick_s, bits } | Stamp::Read { tick_s, bits, .. } => {
                let wrap_s = tick_s * 2.0_f64.powi(bits as i32);
                wrap_s - rng.random_range(0.0..4000.0_f64.min(wrap_s))
            }
            Stamp::Counter { .. } => 0.0,
        };
        Self {
            rc_warm: if model.rc_share.is_some() { rc_warm } else { 0.0 },
            rc_wander: if model.rc_share.is_some() { 20e-6 * rc_wander } else { 0.0 },
            wander: 1e-6 * wander,
            host_s: rng.random_range(0.0..model.per_packet as f64 / model.rate_hz),
            made: rng.random_range(0..60_000),
            phase_s: rng.random_range(0.0..model.interval_s),
            radio_interval_s: model.interval_s * (1.0 + host_error),
            crystal,
            celsius,
            rc,
            device_s,
            model,
            rng,
            outage,
            event: -1.0,
            carried: 0,
            judged: -1.0,
            fate: false,
            burst: (f64::NEG_INFINITY, 0.0),
            arrived_s: 0.0,
            age_s: None,
            restarted: false,
        }
    }

    fn exponential(&mut self, mean: f64) -> f64 {
        let unit: f64 = Exp1.sample(&mut self.rng);
        unit * mean
    }

    fn standard(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }

    /// Samples one packet: (device time of its first sample, sample period on the device clock).
    fn sample(&mut self) -> (f64, f64) {
        let t = self.host_s;
        let celsius = BODY_CELSIUS + (self.celsius - BODY_CELSIUS) * (-t / WARM_S).exp();
        let crystal = self.crystal + self.wander - 0.034e-6 * (celsius - 25.0).powi(2);
        let rc = self.rc + self.rc_wander + self.rc_warm * (-t / WARM_S).exp();
        let nominal_s = 1.0 / self.model.rate_hz;
        let (host_period_s, device_period_s) = if self.model.rc_share.is_some() {
            let host = nominal_s / (1.0 + rc);
            (host, host * (1.0 + crystal))
        } else {
            (nominal_s / (1.0 + crystal), nominal_s)
        };
        let n = self.model.per_packet as f64;
        let (host_step, device_step) = (n * host_period_s, n * device_period_s);
        self.host_s += host_step;
        self.device_s += device_step;
        // One step of the wanders; at these steps keep ≈ 1 − dt/τ.
        let keep = 1.0 - host_step / WANDER_S;
        let fresh = (2.0 * host_step / WANDER_S).sqrt();
        self.wander = keep * self.wander + 1e-6 * fresh * self.standard();
        if self.model.rc_share.is_some() {
            self.rc_wander = keep * self.rc_wander + 20e-6 * fresh * self.standard();
        }
        (self.device_s - (n - 1.0) * device_period_s, device_period_s)
    }

    fn event_s(&self, event: f64) -> f64 {
        self.phase_s + event * self.radio_interval_s
    }

    fn fails(&mut self, event: f64) -> bool {
        if self.judged == event {
            return self.fate;
        }
        let t = self.event_s(event);
        while self.burst.1 < t {
            let from = self.burst.1.max(self.phase_s) + self.exponential(60.0 / self.model.bursts_per_min);
            self.burst = (from, from + self.rng.random_range(0.05..0.3));
        }
        let share = if t >= self.burst.0 { 0.92 } else { self.model.fail };
        self.judged = event;
        self.fate = self.rng.random::<f64>() < share;
        self.fate
    }

    /// The next packet that arrives.
    pub(crate) fn next(&mut self) -> Packet {
        loop {
            if let Some(outage) = self.outage.filter(|o| self.host_s >= o.at_s) {
                self.outage = None;
                let up_s = outage.at_s + outage.for_s;
                while self.host_s < up_s {
                    self.sample();
                    self.made = self.made.wrapping_add(1);
                }
                if outage.clock_restarts {
                    self.device_s = 0.3;
                    self.made = 0;
                    self.restarted = true;
                }
                // A new connection has events at new places.
                self.phase_s = up_s + self.rng.random_range(0.0..self.model.interval_s);
                (self.event, self.carried, self.judged) = (-1.0, 0, -1.0);
                self.age_s = None;
            }
            let (first_s, period_s) = self.sample();
            self.made = self.made.wrapping_add(1);
            let seq = self.made;
            let age_before_s = self.age_s.take();
            let ready_s = self.host_s + self.rng.random_range(0.0004..0.0007);
            let first = ((ready_s - self.phase_s) / self.radio_interval_s).ceil().max(0.0);
            if self.model.event_stamps && self.rng.random::<f64>() > 0.15 {
                let error_s = 1e-4 * self.standard();
                self.age_s = Some(((self.event_s(first) - self.host_s + error_s) * 1e5).round() * 1e-5);
            }
            if self.rng.random::<f64>() < self.model.drop {
                continue;
            }
            let mut event = first.max(self.event);
            if event == self.event && self.carried >= PER_EVENT {
                event += 1.0;
            }
            while event != self.event && self.fails(event) {
                event += 1.0;
            }
            let sent_s = self.event_s(event);
            if sent_s - ready_s > QUEUE * self.model.per_packet as f64 / self.model.rate_hz {
                continue;
            }
            if event == self.event {
                self.carried += 1;
            } else {
                (self.event, self.carried) = (event, 1);
            }
            let mut late_s = BASE_S + 4e-4 * f64::from(self.carried) + self.exponential(self.model.jitter_s);
            if self.rng.random::<f64>() < self.model.tail_share {
                late_s += self.exponential(self.model.tail_s).min(TAIL_CAP_S);
            }
            self.arrived_s = (sent_s + late_s).max(self.arrived_s + 1e-5);
            let (seq, t_raw) = match self.model.stamp {
                Stamp::Ticks { tick_s, bits } => (seq & 0xffff, ticks(first_s, tick_s, bits)),
                Stamp::Read { tick_s, bits, late_s } => {
                    let late_s = self.rng.random_range(0.0..late_s);
                    (seq & 0xffff, ticks(first_s + late_s, tick_s, bits))
                }
                Stamp::Counter { bits } => (seq & ((1 << bits) - 1), 0),
            };
            let device_s = if matches!(self.model.stamp, Stamp::Counter { .. }) {
                f64::from(self.made) * self.model.per_packet as f64 / self.model.rate_hz
            } else {
                self.device_s
            };
            return Packet {
                seq,
                t_raw,
                device_s,
                true_s: self.host_s,
                arrival_s: self.arrived_s,
                period_s,
                age_before_s,
                restarted: std::mem::take(&mut self.restarted),
            };
        }
    }
}

fn ticks(device_s: f64, tick_s: f64, bits: u32) -> u64 {
    (device_s / tick_s).floor() as u64 & ((1_u64 << bits) - 1)
}

/// Error of a host's radio clock, a share.
pub(crate) fn host_error(pair: u64) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(pair);
    rng.random_range(-20e-6..20e-6)
}
