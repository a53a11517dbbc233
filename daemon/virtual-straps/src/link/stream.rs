//! One strap's notifications as they arrive at the host, in order, one packet at a time.

use super::{LinkModel, Outage};
use crate::rng::Draw;
use crate::strap::clock::{StrapClock, Tick};
use crate::strap::sensor::Sensor;
use peakorder_protocol::Role;
use peakorder_protocol::log::{Arrival, Disconnection, Record, StrapEvent, StrapEventKind, interval_of_ms};
use peakorder_protocol::packet::{
    EVENT_AGE_UNKNOWN, FLAG_DROPPED, FLAG_RESTARTED, FLAG_SATURATED, RawCounts, ReferencePacket,
};
use std::collections::VecDeque;

/// What a stream is made of.
#[derive(Debug)]
pub(crate) struct StreamSetup {
    pub(crate) role: Role,
    pub(crate) sensor: Sensor,
    /// A sample shows the motion of this much earlier.
    pub(crate) delay_s: f64,
    pub(crate) clock: StrapClock,
    pub(crate) link: LinkModel,
    pub(crate) radio: Draw,
    /// Error of the host's radio clock, a share; the same for all straps of a host.
    pub(crate) host_error: f64,
    pub(crate) samples_per_packet: usize,
    pub(crate) short_form: bool,
    /// In order of time, not overlapping.
    pub(crate) outages: Vec<Outage>,
    pub(crate) end_s: f64,
}

/// Connection events of one connection.
#[derive(Debug, Clone)]
struct Radio {
    phase_s: f64,
    interval_s: f64,
    /// Last event that carried a packet and how many.
    last_event: f64,
    carried: u32,
    /// Last event whose fate was drawn.
    judged: Option<(f64, bool)>,
    /// Current or next burst.
    burst: (f64, f64),
}

/// A sampled packet before it is sent.
struct Sampled {
    samples: Vec<RawCounts>,
    first: Tick,
    last: Tick,
    saturated: bool,
}

/// Records of one strap in order of time.
#[derive(Debug)]
pub(crate) struct StrapStream {
    setup: StreamSetup,
    radio: Radio,
    outages: VecDeque<Outage>,
    out: VecDeque<Record>,
    sequence: u16,
    flags_next: u8,
    previous_age: u16,
    last_arrival_s: f64,
    ended: bool,
}

fn nanoseconds(t_s: f64) -> u64 {
    (t_s.max(0.0) * 1e9).round() as u64
}

impl Radio {
    fn new(link: &LinkModel, host_error: f64, from_s: f64, draw: &mut Draw) -> Self {
        Self {
            phase_s: from_s + draw.uniform(0.0, link.interval_s),
            interval_s: link.interval_s * (1.0 + host_error),
            last_event: -1.0,
            carried: 0,
            judged: None,
            burst: (f64::NEG_INFINITY, f64::NEG_INFINITY),
        }
    }

    fn time_of(&self, event: f64) -> f64 {
        self.phase_s + event * self.interval_s
    }

    fn first_event_after(&self, t: f64) -> f64 {
        ((t - self.phase_s) / self.interval_s).ceil().max(0.0)
    }

    fn fails(&mut self, event: f64, link: &LinkModel, draw: &mut Draw) -> bool {
        if let Some((judged, fate)) = self.judged
            && judged == event
        {
            return fate;
        }
        let t = self.time_of(event);
        if self.burst.1 == f64::NEG_INFINITY {
            self.burst.1 = self.phase_s;
        }
        while link.bursts_per_min > 0.0 && self.burst.1 < t {
            let start = self.burst.1 + draw.exponential(60.0 / link.bursts_per_min);
            self.burst = (start, start + draw.uniform(0.05, 0.3));
        }
        let in_burst = (self.burst.0..=self.burst.1).contains(&t);
        let fate = draw.chance(if in_burst { link.fail_in_burst } else { link.fail });
        self.judged = Some((event, fate));
        fate
    }

    /// When a packet that is ready at `ready_s` goes on air, and as how manieth of its event.
    fn send(&mut self, ready_s: f64, link: &LinkModel, draw: &mut Draw) -> (f64, u32) {
        let mut event = self.first_event_after(ready_s).max(self.last_event);
        if event == self.last_event && self.carried >= link.per_event {
            event += 1.0;
        }
        while event != self.last_event && self.fails(event, link, draw) {
            event += 1.0;
        }
        if event == self.last_event {
            self.carried += 1;
        } else {
            (self.last_event, self.carried) = (event, 1);
        }
        (self.time_of(event), self.carried)
    }
}

impl StrapStream {
    pub(crate) fn new(mut setup: StreamSetup) -> Self {
        let radio = Radio::new(&setup.link, setup.host_error, 0.0, &mut setup.radio);
        let outages = setup.outages.iter().copied().collect();
        let mut stream = Self {
            setup,
            radio,
            outages,
            out: VecDeque::new(),
            sequence: 0,
            flags_next: 0,
            previous_age: EVENT_AGE_UNKNOWN,
            last_arrival_s: 0.0,
            ended: false,
        };
        stream.connected(0.0);
        stream
    }

    fn event(&mut self, t_s: f64, what: StrapEventKind) {
        let role = self.setup.role;
        self.out.push_back(Record::Strap(StrapEvent { t_ns: nanoseconds(t_s), role, what }));
    }

    fn connected(&mut self, t_s: f64) {
        self.event(t_s, StrapEventKind::CONNECTED);
        if let Some(interval) = interval_of_ms(self.setup.link.interval_s * 1000.0) {
            self.event(t_s, StrapEventKind::Interval { interval });
        }
    }

    /// Samples one packet, or `None` at the end of the session.
    fn sample(&mut self) -> Option<Sampled> {
        let n = self.setup.samples_per_packet;
        let first = self.setup.clock.tick();
        let mut packet = Sampled { samples: Vec::with_capacity(n), first, last: first, saturated: false };
        for i in 0..n {
            if i > 0 {
                packet.last = self.setup.clock.tick();
            }
            let (counts, saturated) = self.setup.sensor.counts(packet.last.host_s - self.setup.delay_s);
            packet.samples.push(counts);
            packet.saturated |= saturated;
        }
        (packet.last.host_s < self.setup.end_s).then_some(packet)
    }

    /// The link is down from `outage.start_s`: nothing is sampled until it is up again.
    fn go_through(&mut self, outage: Outage) {
        let down_s = outage.start_s.max(self.last_arrival_s + 1e-5);
        self.event(down_s, StrapEventKind::Disconnected { reason: Disconnection::NotKnown });
        let up_s = down_s + outage.duration_s;
        while self.setup.clock.tick().host_s < up_s {}
        self.radio = Radio::new(&self.setup.link, self.setup.host_error, up_s, &mut self.setup.radio);
        self.last_arrival_s = up_s;
        self.flags_next = FLAG_DROPPED;
        if outage.clock_restarts {
            self.setup.clock.restart();
            self.sequence = 0;
            self.flags_next |= FLAG_RESTARTED;
        }
        self.previous_age = EVENT_AGE_UNKNOWN;
        if up_s < self.setup.end_s {
            self.connected(up_s);
        }
    }

    /// Sends one packet; it may be lost.
    fn send(&mut self, packet: Sampled) {
        let StreamSetup { link, radio, .. } = &mut self.setup;
        let ready_s = packet.last.host_s + radio.uniform(0.0004, 0.0007);
        let age = self.previous_age;
        // First attempt, whether or not it gets through: that is what makes it useful.
        let first_attempt = self.radio.time_of(self.radio.first_event_after(ready_s));
        let age_s = (first_attempt - packet.last.host_s) * packet.last.device_rate
            + link.stamp_noise_s * radio.standard();
        let known = !radio.chance(link.stamp_unknown) && link.event_stamps;
        let age_10us = (age_s * 1e5).round().max(0.0);
        self.previous_age = if known && age_10us < f64::from(EVENT_AGE_UNKNOWN) {
            age_10us as u16
        } else {
            EVENT_AGE_UNKNOWN
        };
        let saturated = if packet.saturated { FLAG_SATURATED } else { 0 };
        let message = ReferencePacket {
            flags: 1 | saturated | self.flags_next,
            sequence: self.sequence,
            t_first_us: (packet.first.device_s * 1e6) as u64 as u32,
            period_fifth_us: u16::try_from((packet.last.period_s * 5e6).round() as u32).unwrap_or(0),
            event_age_10us: age,
            samples: packet.samples,
        };
        self.flags_next = 0;
        self.sequence = self.sequence.wrapping_add(1);
        if radio.chance(link.drop) {
            return;
        }
        let (sent_s, place) = self.radio.send(ready_s, link, radio);
        let span_s = packet.last.host_s - packet.first.host_s + packet.last.period_s;
        // What is still queued when the link goes down is gone.
        let lost = self.outages.front().is_some_and(|o| sent_s >= o.start_s);
        if lost || sent_s - ready_s > link.queue * span_s {
            return;
        }
        let mut late_s = radio.exponential(link.jitter_s);
        if radio.chance(link.tail_share) {
            late_s += radio.exponential(link.tail_s).min(link.tail_cap_s);
        }
        let arrival_s = sent_s + link.base_s + 0.0004 * f64::from(place) + late_s;
        self.last_arrival_s = arrival_s.max(self.last_arrival_s + 1e-5);
        let mut bytes = Vec::with_capacity(12 + 12 * message.samples.len());
        if !(self.setup.short_form && message.encode_short(&mut bytes)) {
            message.encode(&mut bytes);
        }
        let (t_ns, role) = (nanoseconds(self.last_arrival_s), self.setup.role);
        self.out.push_back(Record::Arrival(Arrival { t_ns, role, channel: 0, bytes }));
    }
}

impl Iterator for StrapStream {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        loop {
            if let Some(record) = self.out.pop_front() {
                return Some(record);
            }
            if self.ended {
                return None;
            }
            match self.sample() {
                None => self.ended = true,
                Some(packet) => match self.outages.front().copied() {
                    Some(outage) if packet.last.host_s >= outage.start_s => {
                        self.outages.pop_front();
                        self.go_through(outage);
                    }
                    _ => self.send(packet),
                },
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Purpose;

    fn waits(link: &LinkModel, n: u32) -> Vec<f64> {
        let mut draw = Draw::new(3, Purpose::Link, 0);
        let mut radio = Radio::new(link, 0.0, 0.0, &mut draw);
        // Not commensurate with 15 ms, so the phase sweeps the whole interval.
        (0..n)
            .map(|i| {
                let ready = 1.0 + f64::from(i) * 0.019_237_311;
                radio.send(ready, link, &mut draw).0 - ready
            })
            .collect()
    }

    fn mean_sd(v: &[f64]) -> (f64, f64) {
        let m = v.iter().sum::<f64>() / v.len() as f64;
        (m, (v.iter().map(|x| (x - m).powi(2)).sum::<f64>() / v.len() as f64).sqrt())
    }

    /// A packet that is ready at any phase waits U(0, interval): mean interval/2, SD
    /// interval/√12 = 4.330 ms at 15 ms. Bideaux et al. (2015), 10.1515/cdbme-2015-0019,
    /// measured 4.76 ± 2.32 ms over a real link.
    #[test]
    fn without_failures_the_wait_is_uniform_over_the_interval() {
        let link = LinkModel { fail: 0.0, bursts_per_min: 0.0, ..LinkModel::normal() };
        let waits = waits(&link, 20_000);
        let (mean, sd) = mean_sd(&waits);
        assert!((mean - 0.0075).abs() < 0.0001 && (sd - 0.00433).abs() < 0.0001, "{mean} {sd}");
        assert!(waits.iter().all(|w| (-1e-9..0.015).contains(w)));
    }

    /// Each failed event costs an interval: the mean number of failures is p/(1 − p).
    /// Queueing (a failure delays what follows) adds nothing as long as events have room.
    #[test]
    fn failed_events_add_whole_intervals() {
        let link = LinkModel { fail: 0.15, bursts_per_min: 0.0, ..LinkModel::normal() };
        let (mean, _) = mean_sd(&waits(&link, 40_000));
        let expected = 0.015 * (0.5 + 0.15 / 0.85);
        assert!((mean / expected - 1.0).abs() < 0.05, "{mean} {expected}");
    }

    #[test]
    fn an_event_carries_no_more_than_it_may() {
        let link = LinkModel::normal();
        let mut draw = Draw::new(5, Purpose::Link, 0);
        let mut radio = Radio::new(&link, 0.0, 0.0, &mut draw);
        let sent: Vec<f64> =
            (0..5000).map(|i| radio.send(f64::from(i) * 0.003, &link, &mut draw).0).collect();
        assert!(sent.is_sorted());
        let most = sent.chunk_by(|a, b| a == b).map(<[f64]>::len).max();
        assert_eq!(most, Some(4));
    }

    #[test]
    fn bursts_make_some_packets_very_late() {
        let link = LinkModel::normal();
        let waits = waits(&link, 40_000);
        let late = waits.iter().filter(|w| **w > 0.05).count() as f64 / waits.len() as f64;
        // Three bursts a minute of 50–300 ms cover 0.9 % of the time.
        assert!((0.002..0.012).contains(&late), "{late}");
    }
}
