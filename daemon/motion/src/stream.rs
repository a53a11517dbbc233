//! One strap's stream: notifications → packets → device time → samples on the session clock.
//!
//! The only reader of a strap. The pipeline keeps one for each strap of a session; commands
//! that use straps without a session (`check`, `straps identify`, `align`) have their own.
//! Everything else, from bias to the rest check, is an observer of what [`StrapStream::received`]
//! shows: nothing is decoded or clocked twice, and a replay sees what the live session saw.

use super::clock::time::{DeviceTime, SessionTime};
use super::clock::{StrapClock, TimeMap};
use nalgebra::Vector3;
use peakorder_protocol::log::{StrapEventKind, interval_ms};
use peakorder_protocol::profile::{ClockKind, DecodeError, Decoded, Decoder, PacketHead, Profile, RawSample};

/// A gap longer than this many sample periods has lost samples in it.
const GAP_PERIODS: f64 = 1.5;
/// How many notifications back a packet's own arrival is remembered.
const ARRIVALS_KEPT: usize = 256;

/// One sample.
#[derive(Debug, Clone, Copy)]
pub struct Sample {
    /// When, on the strap's own clock.
    pub device: DeviceTime,
    /// The same on the session clock, by the estimate that held when it came in. A finished
    /// movement is timed anew, by [`StrapStream::session`].
    pub session: SessionTime,
    /// Device seconds since the sample before; infinite for the first one and after a restart.
    pub step_s: f64,
    /// Raw rate, rad/s, sensor frame.
    pub gyro: Vector3<f64>,
    /// Specific force, m/s², sensor frame.
    pub acc: Vector3<f64>,
    /// Samples missing before this one.
    pub lost_before: u16,
    /// At the sensor's limit.
    pub clipped: bool,
}

/// One packet whose samples came in.
#[derive(Debug, Clone, Copy)]
pub struct Packet {
    /// When its last byte arrived.
    pub arrival: SessionTime,
    /// Session time of its last sample, by the newest estimate.
    pub newest: SessionTime,
    /// The strap's clock or counter started again with this packet: device times before and
    /// after cannot be compared.
    pub restarted: bool,
    /// Number of its samples, those that had come before included.
    pub n: usize,
}

/// What the last notification brought.
#[derive(Debug, Clone, Copy)]
pub struct Received<'a> {
    /// Packets that it completed, in order.
    pub packets: &'a [Packet],
    /// Their samples, in order of time; one that had come before is left out.
    pub samples: &'a [Sample],
    /// What could not be decoded.
    pub error: Option<&'a DecodeError>,
}

impl Received<'_> {
    /// The strap's clock started again.
    pub fn restarted(&self) -> bool {
        self.packets.iter().any(|p| p.restarted)
    }
}

/// Totals since the stream began.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Samples that came in.
    pub samples: u64,
    /// Samples that the strap's own count, or the strap itself, says are missing.
    pub lost: u64,
    /// Samples at the sensor's limit.
    pub clipped: u64,
    /// Packets that could not be decoded.
    pub bad_packets: u64,
}

/// One strap's stream.
pub struct StrapStream {
    decoder: Decoder,
    decoded: Decoded,
    clock: StrapClock,
    map: TimeMap,
    common_clock: bool,
    period_s: f64,
    last: DeviceTime,
    latest: SessionTime,
    counts: Counts,
    packets: Vec<Packet>,
    samples: Vec<Sample>,
    error: Option<DecodeError>,
    /// Arrival of the latest notifications: a packet that waited for another characteristic
    /// arrived with an earlier one.
    arrivals: [SessionTime; ARRIVALS_KEPT],
    calls: usize,
}

impl StrapStream {
    /// A stream of a strap of `profile`, timed by `clock`.
    pub fn new(profile: &Profile, clock: StrapClock) -> Self {
        let info = profile.clock();
        Self {
            decoder: Decoder::new(profile),
            decoded: Decoded::default(),
            map: clock.map(),
            clock,
            common_clock: info.kind == ClockKind::Common,
            period_s: if info.nominal_rate_hz > 0.0 { 1.0 / info.nominal_rate_hz } else { f64::NAN },
            last: DeviceTime::NEVER,
            latest: SessionTime::NEVER,
            counts: Counts::default(),
            packets: Vec::new(),
            samples: Vec::new(),
            error: None,
            arrivals: [SessionTime::NEVER; ARRIVALS_KEPT],
            calls: 0,
        }
    }

    /// A stream of a strap of `profile` of whose latency nothing is known.
    pub fn unaligned(profile: &Profile) -> Self {
        Self::new(profile, StrapClock::new(profile, 0.0, None, None))
    }

    /// Takes one notification of `channel` of the profile that arrived at `arrival`.
    pub fn notification(&mut self, arrival: SessionTime, channel: u8, bytes: &[u8]) -> Received<'_> {
        self.arrivals[self.calls % ARRIVALS_KEPT] = arrival;
        self.calls += 1;
        self.packets.clear();
        self.samples.clear();
        let mut decoded = std::mem::take(&mut self.decoded);
        self.error = self.decoder.decode(channel, bytes, &mut decoded).err();
        self.counts.bad_packets += u64::from(self.error.is_some());
        for head in &decoded.packets {
            self.packet(head, decoded.samples_of(head));
        }
        self.decoded = decoded;
        self.received()
    }

    fn packet(&mut self, head: &PacketHead, raw: &[RawSample]) {
        let arrival = self.arrival_of(head);
        let times = self.clock.packet(head, head.n, arrival);
        self.map = self.clock.map();
        if times.restarted {
            self.last = DeviceTime::NEVER;
        }
        if !self.common_clock {
            self.period_s = times.period_s;
            self.clock.limits_mut().set_samples_per_packet(head.n);
        }
        for (i, raw) in raw.iter().enumerate() {
            let device = match raw.t_ns {
                Some(ns) => DeviceTime::from_ns(ns),
                None => times.first.plus_s(times.period_s * i as f64),
            };
            self.sample(device, raw, i == 0 && head.dropped_before);
        }
        self.packets.push(Packet { arrival, newest: self.latest, restarted: times.restarted, n: head.n });
    }

    fn arrival_of(&self, head: &PacketHead) -> SessionTime {
        let ago = (head.calls_ago as usize).min(self.calls - 1).min(ARRIVALS_KEPT - 1);
        self.arrivals[(self.calls - 1 - ago) % ARRIVALS_KEPT]
    }

    #[inline]
    fn sample(&mut self, device: DeviceTime, raw: &RawSample, dropped_before: bool) {
        let step_s = device.since_s(self.last);
        if step_s <= 0.0 {
            // A packet sent twice or out of order adds nothing.
            return;
        }
        let follows = step_s.is_finite();
        if self.common_clock && follows {
            // Learn the sample period as the running median would: by small steps towards each interval.
            if self.period_s.is_nan() {
                self.period_s = step_s;
            } else {
                let most = 0.02 * self.period_s;
                self.period_s += (step_s - self.period_s).clamp(-most, most);
            }
        }
        let lost_before = if follows && step_s > GAP_PERIODS * self.period_s {
            ((step_s / self.period_s).round() - 1.0).clamp(0.0, 65_535.0) as u16
        } else {
            // A strap whose times do not show what it dropped dropped at least one.
            u16::from(follows && dropped_before)
        };
        self.counts.samples += 1;
        self.counts.lost += u64::from(lost_before);
        self.counts.clipped += u64::from(raw.clipped);
        let session = self.session(device);
        self.last = device;
        self.latest = session;
        self.samples.push(Sample {
            device,
            session,
            step_s,
            gyro: Vector3::from(raw.gyro),
            acc: Vector3::from(raw.acc),
            lost_before,
            clipped: raw.clipped,
        });
    }

    /// What the last notification brought.
    pub fn received(&self) -> Received<'_> {
        Received { packets: &self.packets, samples: &self.samples, error: self.error.as_ref() }
    }

    /// Takes what happened to the strap, in the order of the log. A packet that was half
    /// received when the link went down is never completed over the new one. A restart needs
    /// nothing: it is this stream that saw it, in the packets.
    pub fn event(&mut self, what: &StrapEventKind) {
        match what {
            StrapEventKind::Connected { .. } | StrapEventKind::Disconnected { .. } => self.decoder.reset(),
            StrapEventKind::Interval { interval } => self.clock.set_interval_s(interval_ms(*interval) * 1e-3),
            _ => {}
        }
    }

    /// Session time of a device time by the newest estimate.
    #[inline]
    pub fn session(&self, device: DeviceTime) -> SessionTime {
        self.map().session(device)
    }

    /// From device times to session times by the newest estimate.
    #[inline]
    pub fn map(&self) -> TimeMap {
        // Imported samples carry times on the session clock.
        if self.common_clock { TimeMap::SAME } else { self.map }
    }

    /// Session time of the newest sample.
    pub fn latest(&self) -> SessionTime {
        self.latest
    }

    /// Sample period, device seconds; not a number before it is known.
    pub fn period_s(&self) -> f64 {
        self.period_s
    }

    /// Totals.
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// Clock.
    pub fn clock(&self) -> &StrapClock {
        &self.clock
    }
}
