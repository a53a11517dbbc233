//! From a strap's own counters to session time.
//!
//! Each strap stamps its packets with its own clock (or just counts them). [`unwrap`]
//! turns the wrapping counter into device seconds, [`estimator`] tracks offset and skew of
//! that clock against the host from one-way arrivals, [`uncertainty`] says how well that
//! can be known. The mapping is affine at any moment, so a finished swing is timed with
//! the newest estimate, not with the one that held when its samples came in.

pub mod estimator;
pub mod time;
pub mod twist;
pub mod uncertainty;
pub mod unwrap;

use estimator::OffsetFilter;
use peakorder_protocol::profile::{ClockKind, PacketHead, Profile, SeqCounts};
use time::{DeviceTime, SessionTime};
use uncertainty::{ClockLimits, ClockState, Seen};
use unwrap::Unwrapper;

/// Affine map from device seconds to session seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeMap {
    offset_s: f64,
    skew: f64,
    origin_s: f64,
}

impl TimeMap {
    /// The device clock is the session clock, as in imported samples.
    pub const SAME: Self = Self { offset_s: 0.0, skew: 0.0, origin_s: 0.0 };

    /// Session time of `device`.
    #[inline]
    pub fn session(&self, device: DeviceTime) -> SessionTime {
        let device_s = device.s();
        SessionTime::from_s(device_s + self.offset_s + self.skew * (device_s - self.origin_s))
    }
}

/// Device times of one packet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PacketTimes {
    /// Device time of the first sample.
    pub first: DeviceTime,
    /// Spacing of its samples, device seconds.
    pub period_s: f64,
    /// The strap's clock started again since the last packet: device times before and
    /// after cannot be compared.
    pub restarted: bool,
}

/// A predicted offset that misses by more than this after a gap means the strap's clock
/// started again.
const RESTART_S: f64 = 0.5;

/// What is kept of a packet in case a later one tells when it could first have been sent.
#[derive(Debug, Clone, Copy)]
struct Earlier {
    seq: u32,
    last_s: f64,
    arrival_s: f64,
}

/// Clock of one strap.
#[derive(Debug, Clone)]
pub struct StrapClock {
    kind: ClockKind,
    tick_s: f64,
    seq_counts_samples: bool,
    nominal_period_s: f64,
    /// Sample period seen between stamped packets, for straps that do not send it.
    learned_period_s: Option<f64>,
    previous: Option<(u32, f64, usize)>,
    skew_prior: f64,
    group_delay_s: f64,
    latency_s: f64,
    unwrap: Unwrapper,
    filter: Option<OffsetFilter>,
    limits: ClockLimits,
    started_s: f64,
    last_event_stamp_s: f64,
    /// The latest packets, for event stamps that speak of an earlier one.
    recent: [Option<Earlier>; 16],
    packets: u64,
    last_arrival_s: f64,
    next_counter_s: f64,
}

impl StrapClock {
    /// Clock of a strap with `profile`; `latency_s` is the constant found by physical
    /// alignment, `interval_s` the connection interval if the platform shows it.
    pub fn new(
        profile: &Profile,
        latency_s: f64,
        latency_sd_s: Option<f64>,
        interval_s: Option<f64>,
    ) -> Self {
        let clock = profile.clock();
        // A common clock needs no rate; the value is then never used.
        let period_s = 1.0 / clock.nominal_rate_hz.max(1.0);
        Self {
            kind: clock.kind,
            tick_s: clock.tick_s,
            seq_counts_samples: clock.seq_counts == SeqCounts::Samples,
            nominal_period_s: period_s,
            learned_period_s: None,
            previous: None,
            // A strap that stamps time has a crystal; one that only counts runs at the
            // sensor's own rate, off by the tolerance of its RC oscillator.
            skew_prior: match clock.kind {
                ClockKind::Timestamp => 50e-6,
                _ => clock.rate_tol_ppm * 0.5e-6,
            },
            group_delay_s: clock.group_delay_s,
            latency_s,
            unwrap: Unwrapper::new(clock.bits),
            filter: None,
            limits: ClockLimits::new(profile, latency_sd_s, interval_s),
            started_s: 0.0,
            last_event_stamp_s: f64::NEG_INFINITY,
            recent: [None; 16],
            packets: 0,
            last_arrival_s: 0.0,
            next_counter_s: 0.0,
        }
    }

    /// The connection interval became known.
    pub fn set_interval_s(&mut self, interval_s: f64) {
        self.limits.set_interval_s(interval_s);
    }

    /// Takes one packet; returns the device times of its samples.
    pub fn packet(&mut self, head: &PacketHead, n: usize, arrival: SessionTime) -> PacketTimes {
        let arrival_s = arrival.s();
        let period_s = head.period_s.or(self.learned_period_s).unwrap_or(self.nominal_period_s);
        let mut restarted = head.restarted && self.filter.is_some();
        let span_s = period_s * n.saturating_sub(1) as f64;
        let elapsed_s = arrival_s - self.last_arrival_s;
        let first_s = match self.kind {
            ClockKind::Common => {
                // Times are the session's own: nothing to estimate.
                self.packets += 1;
                self.last_arrival_s = arrival_s;
                return PacketTimes { first: DeviceTime::from_s(0.0), period_s, restarted: false };
            }
            ClockKind::Timestamp => {
                let raw = head.t_raw.unwrap_or(0);
                let ticks = self.unwrap.push(raw, elapsed_s / self.tick_s);
                let t = ticks as f64 * self.tick_s;
                if head.stamps_last { t - span_s } else { t }
            }
            ClockKind::Counter => {
                let raw = u64::from(head.seq.unwrap_or(0));
                self.unwrap.set_bits(u32::from(head.seq_bits));
                let per_count = if self.seq_counts_samples { 1.0 } else { n as f64 };
                let ticks = self.unwrap.push(raw, elapsed_s / (per_count * self.nominal_period_s));
                ticks as f64 * per_count * self.nominal_period_s
            }
            ClockKind::None => {
                // Only the number of samples that came tells the time: after a loss every
                // later sample would be early, so a clear gap is closed from arrivals.
                if self.packets > 0 && elapsed_s > 0.25_f64.max(4.0 * n as f64 * period_s) {
                    self.next_counter_s += elapsed_s - n as f64 * period_s;
                }
                let first = self.next_counter_s;
                self.next_counter_s += n as f64 * period_s;
                first
            }
        };
        if head.period_s.is_none() && self.kind == ClockKind::Timestamp {
            self.learn_period(head.seq, first_s, n);
        }
        let last_s = first_s + span_s;
        self.packets += 1;
        self.last_arrival_s = arrival_s;

        if let Some(filter) = &self.filter {
            // No flag, but the clock is somewhere else entirely: it did restart.
            let miss = arrival_s - last_s - filter.offset_at(last_s);
            restarted |= miss < -RESTART_S || (miss > RESTART_S && miss > elapsed_s + RESTART_S);
        }
        if restarted {
            if let Some(filter) = &mut self.filter {
                filter.restart(last_s, arrival_s - last_s);
            }
            self.recent = [None; 16];
            self.started_s = arrival_s;
        }
        let seq = head.seq.unwrap_or(self.packets as u32);
        self.recent[(seq % 16) as usize] = Some(Earlier { seq, last_s, arrival_s });
        // The stamp names the packet by its place in the strap's own count: one that was lost on
        // the way never arrived, so its stamp says nothing.
        let stamp = head.event.and_then(|event| {
            let modulus = 1_u64 << head.seq_bits.min(32);
            let named = ((u64::from(seq) + modulus - u64::from(event.back)) % modulus) as u32;
            let earlier = self.recent[(named % 16) as usize].filter(|e| e.seq == named)?;
            Some((earlier.last_s + event.age_s, earlier.arrival_s))
        });
        let observation = match stamp {
            Some(stamp) => {
                self.last_event_stamp_s = arrival_s;
                Some(stamp)
            }
            // Packets without a stamp wait for their connection event; mixed with stamped
            // ones they would pull the estimate late.
            None if arrival_s - self.last_event_stamp_s < 2.0 => None,
            None => Some((last_s, arrival_s)),
        };
        if let Some((device_s, seen_s)) = observation {
            if let Some(filter) = &mut self.filter {
                filter.push(device_s, seen_s - device_s);
            } else {
                self.filter = Some(OffsetFilter::new(device_s, seen_s - device_s, self.skew_prior));
                self.started_s = arrival_s;
            }
        } else if self.filter.is_none() {
            self.filter = Some(OffsetFilter::new(last_s, arrival_s - last_s, self.skew_prior));
            self.started_s = arrival_s;
        }
        PacketTimes { first: DeviceTime::from_s(first_s), period_s, restarted }
    }

    /// Two packets in a row, by their count if there is one, tell the sample period.
    fn learn_period(&mut self, seq: Option<u32>, first_s: f64, n: usize) {
        if let Some((before_seq, before_s, before_n)) = self.previous {
            let period_s = (first_s - before_s) / before_n.max(1) as f64;
            let in_a_row = seq.is_none_or(|s| s == before_seq.wrapping_add(1));
            // Without a count a lost packet looks like a long period: only small steps are believed.
            let known = self.learned_period_s.unwrap_or(period_s);
            if in_a_row && period_s > 0.0 && (seq.is_some() || period_s < 1.5 * known) {
                self.learned_period_s = Some(known + 0.05 * (period_s - known));
            }
        }
        self.previous = Some((seq.unwrap_or(0), first_s, n));
    }

    /// Current map to session time, with the sensor's filter delay and the latency found
    /// by physical alignment taken off.
    pub fn map(&self) -> TimeMap {
        match &self.filter {
            Some(f) => {
                let (offset_s, skew, origin_s) = f.state();
                TimeMap { offset_s: offset_s - self.group_delay_s - self.latency_s, skew, origin_s }
            }
            None => TimeMap::SAME,
        }
    }

    /// How well this strap's time is known at session time `now`.
    pub fn state(&self, now: SessionTime) -> ClockState {
        let now_s = now.s();
        let seen = Seen {
            age_s: now_s - self.started_s,
            event_stamps: now_s - self.last_event_stamp_s < 2.0,
            skew: self.filter.as_ref().map_or(0.0, |f| f.state().1),
            filter_sd_s: self.filter.as_ref().map_or(0.0, OffsetFilter::sd_s),
            lateness_s: self.filter.as_ref().map_or(0.0, OffsetFilter::lateness_s),
        };
        self.limits.state(self.kind, self.tick_s, &seen)
    }

    /// What profile and link allow, for comparing straps: like straps share their constant latency.
    pub fn limits(&self) -> &ClockLimits {
        &self.limits
    }

    /// The same, to be told what is seen of the packets.
    pub fn limits_mut(&mut self) -> &mut ClockLimits {
        &mut self.limits
    }
}
