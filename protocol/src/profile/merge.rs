//! Puts together angular velocity and acceleration that come from separate
//! characteristics. Both are taken to be sampled at the profile's rate.

use super::decoder::{DecodeError, Decoded, PacketHead, RawSample};
use super::plan::{MAX_SAMPLES, MergePlan};
use super::schema::{MergeHow, Quantity};
use std::collections::VecDeque;

/// Packets that wait for the other quantity, and packets of it that are kept.
const PACKETS_KEPT: usize = 64;
/// A period measured from two packets' times is believed within these factors of nominal;
/// outside, packets were lost between them.
const BELIEVED_PERIOD: std::ops::Range<f64> = 0.8..1.25;

#[derive(Debug, Clone)]
pub(super) struct Merger {
    plan: MergePlan,
    /// Number of the current call of the decoder.
    call: u32,
    /// Packets of the quantity that sets the times, waiting.
    waiting: VecDeque<Packet>,
    /// Samples of the other quantity, for merging by time.
    others: VecDeque<Other>,
    /// Packets of the other quantity, for merging by number, and the last one otherwise.
    other_packets: VecDeque<Packet>,
    /// Samples that used the last other packet so far.
    used: usize,
    last: [Option<Last>; 2],
}

#[derive(Debug, Clone)]
struct Packet {
    head: PacketHead,
    samples: Vec<RawSample>,
    call: u32,
    period_s: f64,
}

/// The last packet of a stream, to measure its period.
#[derive(Debug, Clone, Copy)]
struct Last {
    t_raw: u64,
    n: usize,
}

/// One sample of the other quantity.
#[derive(Debug, Clone, Copy)]
struct Other {
    time: Time,
    value: [f64; 3],
    clipped: bool,
}

/// A device time that may wrap: ticks as sent, and seconds from there.
#[derive(Debug, Clone, Copy)]
struct Time {
    ticks: u64,
    plus_s: f64,
}

impl MergePlan {
    /// Seconds from `b` to `a`, across at most half a wrap.
    fn between(&self, a: Time, b: Time) -> f64 {
        let unused = self.t_mask.leading_zeros();
        let ticks = ((a.ticks.wrapping_sub(b.ticks) << unused) as i64) >> unused;
        ticks as f64 * self.tick_s + (a.plus_s - b.plus_s)
    }
}

impl Packet {
    fn time(&self, q: usize) -> Time {
        let from = if self.head.stamps_last { self.samples.len() - 1 } else { 0 };
        Time { ticks: self.head.t_raw.unwrap_or(0), plus_s: (q as f64 - from as f64) * self.period_s }
    }

    fn key(&self) -> (Option<u32>, Option<u64>) {
        match self.head.seq {
            Some(seq) => (Some(seq), None),
            None => (None, self.head.t_raw),
        }
    }
}

impl Merger {
    pub(super) fn new(plan: MergePlan) -> Self {
        Self {
            plan,
            call: 0,
            waiting: VecDeque::new(),
            others: VecDeque::new(),
            other_packets: VecDeque::new(),
            used: 0,
            last: [None; 2],
        }
    }

    pub(super) fn begin_call(&mut self) {
        self.call = self.call.wrapping_add(1);
    }

    pub(super) fn reset(&mut self) {
        *self = Self { call: self.call, ..Self::new(self.plan) };
    }

    /// Takes the packets of one quantity and hands out what is complete.
    pub(super) fn push(
        &mut self,
        quantity: Quantity,
        part: &Decoded,
        out: &mut Decoded,
    ) -> Result<(), DecodeError> {
        let sets_times = quantity == self.plan.clock_of;
        let mut result = Ok(());
        for head in &part.packets {
            let packet = Packet {
                head: *head,
                samples: part.samples_of(head).to_vec(),
                call: self.call,
                period_s: self.period(usize::from(sets_times), head),
            };
            let by_time = self.plan.tick_s > 0.0 && self.plan.how != MergeHow::Index;
            if sets_times {
                self.waiting.push_back(packet);
            } else if by_time {
                for (q, s) in packet.samples.iter().enumerate() {
                    self.others.push_back(Other {
                        time: packet.time(q),
                        value: self.other_value(s),
                        clipped: s.clipped,
                    });
                }
            } else {
                self.other_packets.push_back(packet);
                self.used = 0;
            }
            let one = match (self.plan.how, by_time) {
                (_, true) => self.by_time(out),
                (MergeHow::Index, _) => self.by_number(out),
                (MergeHow::Nearest | MergeHow::Interpolate, false) => self.by_arrival(out),
            };
            result = result.and(one);
        }
        result.and(self.bound())
    }

    fn period(&mut self, stream: usize, head: &PacketHead) -> f64 {
        let nominal = self.plan.nominal_period_s;
        let before = head.t_raw.and_then(|t_raw| self.last[stream].replace(Last { t_raw, n: head.n }));
        let measured = before.zip(head.t_raw).map(|(last, t)| {
            let s =
                self.plan.between(Time { ticks: t, plus_s: 0.0 }, Time { ticks: last.t_raw, plus_s: 0.0 });
            // From first to first sample lie the earlier packet's samples, from last to last this one's.
            s / (if head.stamps_last { head.n } else { last.n }) as f64
        });
        let believed = measured.filter(|p| BELIEVED_PERIOD.contains(&(p / nominal)));
        head.period_s.or(believed).unwrap_or(nominal)
    }

    fn other_value(&self, s: &RawSample) -> [f64; 3] {
        match self.plan.clock_of {
            Quantity::Gyro => s.acc,
            Quantity::Acc => s.gyro,
        }
    }

    /// Hands out a packet whose samples have been given the other quantity.
    fn emit(&self, packet: Packet, others: &[([f64; 3], bool)], dropped_before: bool, out: &mut Decoded) {
        let first = out.samples.len();
        for (mut s, (value, clipped)) in packet.samples.into_iter().zip(others) {
            match self.plan.clock_of {
                Quantity::Gyro => s.acc = *value,
                Quantity::Acc => s.gyro = *value,
            }
            s.clipped |= clipped;
            out.samples.push(s);
        }
        out.packets.push(PacketHead {
            first,
            calls_ago: self.call.wrapping_sub(packet.call),
            dropped_before: packet.head.dropped_before || dropped_before,
            ..packet.head
        });
    }

    /// Interpolates (or takes the nearest) as soon as the other quantity has got as far.
    fn by_time(&mut self, out: &mut Decoded) -> Result<(), DecodeError> {
        let mut missing = 0;
        while let (Some(packet), Some(newest)) = (self.waiting.front(), self.others.back()) {
            let last = packet.time(packet.samples.len() - 1);
            if self.plan.between(newest.time, last) < 0.0 {
                break;
            }
            let Some(packet) = self.waiting.pop_front() else { break };
            let found: Option<Vec<_>> =
                (0..packet.samples.len()).map(|q| self.other_at(packet.time(q))).collect();
            match found {
                // A gap in the other quantity shows in its times.
                Some(found) => self.emit(packet, &found, false, out),
                None => missing += packet.samples.len(),
            }
        }
        if missing > 0 { Err(DecodeError::MergeGap { samples: missing }) } else { Ok(()) }
    }

    /// The other quantity at one time; samples before it are given up.
    fn other_at(&mut self, t: Time) -> Option<([f64; 3], bool)> {
        while self.others.get(1).is_some_and(|next| self.plan.between(next.time, t) <= 0.0) {
            self.others.pop_front();
        }
        let a = *self.others.front()?;
        let to_a = self.plan.between(t, a.time);
        let b = self.others.get(1).copied().unwrap_or(a);
        let to_b = self.plan.between(b.time, t);
        if self.plan.how == MergeHow::Nearest {
            let (o, distance) = if to_a.abs() <= to_b.abs() { (a, to_a.abs()) } else { (b, to_b.abs()) };
            return (distance <= self.plan.max_gap_s).then_some((o.value, o.clipped));
        }
        let span = to_a + to_b;
        if to_a < 0.0 || to_b < 0.0 || span > self.plan.max_gap_s {
            // Exactly on the only sample is not a gap.
            return (to_a == 0.0).then_some((a.value, a.clipped));
        }
        let w = if span > 0.0 { to_a / span } else { 0.0 };
        let value = std::array::from_fn(|i| a.value[i] + w * (b.value[i] - a.value[i]));
        Some((value, a.clipped || b.clipped))
    }

    /// Pairs packets of the same number (or the same time).
    fn by_number(&mut self, out: &mut Decoded) -> Result<(), DecodeError> {
        let mut missing = 0;
        let pair = self.waiting.iter().enumerate().find_map(|(i, p)| {
            let j = self
                .other_packets
                .iter()
                .position(|o| o.key() == p.key() && o.samples.len() == p.samples.len())?;
            Some((i, j))
        });
        if let Some((i, j)) = pair {
            // Packets come in order: what is older on either side has lost its partner.
            missing = self.waiting.drain(..i).map(|p| p.samples.len()).sum();
            self.other_packets.drain(..j);
            if let (Some(packet), Some(other)) = (self.waiting.pop_front(), self.other_packets.pop_front()) {
                let values: Vec<_> = other.samples.iter().map(|s| (self.other_value(s), s.clipped)).collect();
                self.emit(packet, &values, other.head.dropped_before, out);
            }
        }
        if missing > 0 { Err(DecodeError::MergeGap { samples: missing }) } else { Ok(()) }
    }

    /// Without times: the other quantity's last packet, aligned by its end.
    fn by_arrival(&mut self, out: &mut Decoded) -> Result<(), DecodeError> {
        while self.other_packets.len() > 1 {
            self.other_packets.pop_front();
        }
        let mut missing = 0;
        while let Some(packet) = self.waiting.pop_front() {
            let n = packet.samples.len();
            let fresh = self.used as f64 * self.plan.nominal_period_s <= self.plan.max_gap_s;
            let Some(other) = self.other_packets.back().filter(|_| fresh) else {
                missing += n;
                continue;
            };
            let m = other.samples.len();
            let values: Vec<_> = (0..n)
                .map(|q| &other.samples[(m + q).saturating_sub(n)])
                .map(|s| (self.other_value(s), s.clipped))
                .collect();
            let dropped_before = self.used == 0 && other.head.dropped_before;
            self.used += n;
            self.emit(packet, &values, dropped_before, out);
        }
        if missing > 0 { Err(DecodeError::MergeGap { samples: missing }) } else { Ok(()) }
    }

    /// Keeps the queues short when one quantity has stopped.
    fn bound(&mut self) -> Result<(), DecodeError> {
        let excess = self.waiting.len().saturating_sub(PACKETS_KEPT);
        let samples: usize = self.waiting.drain(..excess).map(|p| p.samples.len()).sum();
        let excess = self.other_packets.len().saturating_sub(PACKETS_KEPT);
        self.other_packets.drain(..excess);
        let excess = self.others.len().saturating_sub(2 * MAX_SAMPLES);
        self.others.drain(..excess);
        if samples > 0 { Err(DecodeError::MergeGap { samples }) } else { Ok(()) }
    }
}
