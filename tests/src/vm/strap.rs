//! One strap within reach: what its sensor puts out, and its side of a link.

use super::att::Server;
use super::scenario;
use peakorder_protocol::Role;
use peakorder_protocol::packet::EVENT_AGE_UNKNOWN;
use std::collections::VecDeque;

/// A packet is ready this long after its last sample (the virtual straps' 0.4–0.7 ms, half of
/// their 0.1 ms interval and their 0.4 ms on air).
const READY_AFTER_S: f64 = 0.001;
/// Packets that a strap keeps while they cannot be sent.
const QUEUE: usize = 14;
/// Packets of the script's start, in which the player stands still, that are repeated until
/// all straps stream.
const STANDING: usize = 52;

/// A packet of the script.
#[derive(Debug, Clone)]
pub(super) struct Ready {
    /// Seconds of the script.
    pub(super) at_s: f64,
    pub(super) bytes: Vec<u8>,
}

/// The sensor and the strap's clock, which go on whether or not there is a link. Times are
/// the radio's seconds.
#[derive(Debug)]
pub(super) struct Sensor {
    packets: Vec<Ready>,
    /// Seconds between packets, and microseconds of the strap's clock between them.
    period_s: f64,
    period_us: f64,
    /// Packets of the standing phase that were taken.
    stood: u32,
    /// Start of the script, and by how much its clock and its count are moved on then.
    started: Option<(f64, u32, u16)>,
    next: usize,
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(bytes[at..at + 4].try_into().expect("four bytes"))
}

impl Sensor {
    /// Plays `packets`, which must last more than a second.
    pub(super) fn new(packets: Vec<Ready>) -> Result<Self, String> {
        let (Some(first), Some(last)) = (packets.first(), packets.get(STANDING)) else {
            return Err(format!("the script has only {} packets of a strap", packets.len()));
        };
        let clock_us = u32_at(&last.bytes, 4).wrapping_sub(u32_at(&first.bytes, 4));
        Ok(Self {
            period_s: (last.at_s - first.at_s) / STANDING as f64,
            period_us: f64::from(clock_us) / STANDING as f64,
            packets,
            stood: 0,
            started: None,
            next: 0,
        })
    }

    /// The script begins at `at_s`. The strap's clock and count go on; the packet that is cut
    /// short by the change is missing, as if it had been lost.
    pub(super) fn start(&mut self, at_s: f64) {
        let place = (at_s + self.packets[0].at_s) / self.period_s;
        let moved_us = (place * self.period_us).round() as u32;
        self.started = Some((at_s, moved_us, place.ceil() as u16));
    }

    /// When its next packet is ready if it stands on.
    fn standing_s(&self) -> f64 {
        f64::from(self.stood) * self.period_s
    }

    /// The script's beginning, once the next packet is one of its.
    fn in_script(&self) -> Option<(f64, u32, u16)> {
        self.started.filter(|(at_s, ..)| self.standing_s() > at_s + self.packets[0].at_s - self.period_s)
    }

    /// When the next packet is ready; `None` after the last.
    pub(super) fn due_s(&self) -> Option<f64> {
        match self.in_script() {
            Some((at_s, ..)) => self.packets.get(self.next).map(|p| at_s + p.at_s),
            None => Some(self.standing_s()),
        }
    }

    /// Takes the packet that is due.
    pub(super) fn take(&mut self) -> Vec<u8> {
        let first_us = u32_at(&self.packets[0].bytes, 4);
        let (mut bytes, clock_us, count) = if let Some((_, moved_us, moved)) = self.in_script() {
            let bytes = self.packets[self.next].bytes.clone();
            let (clock, count) = (u32_at(&bytes, 4), self.next as u16);
            self.next += 1;
            (bytes, clock.wrapping_add(moved_us), count.wrapping_add(moved))
        } else {
            let bytes = self.packets[self.stood as usize % STANDING].bytes.clone();
            let clock = (f64::from(self.stood) * self.period_us).round() as u32;
            self.stood += 1;
            (bytes, first_us.wrapping_add(clock), (self.stood - 1) as u16)
        };
        bytes[2..4].copy_from_slice(&count.to_le_bytes());
        bytes[4..8].copy_from_slice(&clock_us.to_le_bytes());
        bytes
    }
}

/// A link to the host, seen from the strap.
#[derive(Debug)]
pub(super) struct Link {
    pub(super) handle: u16,
    pub(super) server: Server,
    pub(super) interval_s: f64,
    pub(super) timeout_s: f64,
    pub(super) next_event_s: f64,
    /// Out of range since.
    pub(super) silent_since_s: Option<f64>,
    /// Packets with the time at which they became ready.
    queue: VecDeque<(f64, Vec<u8>)>,
    /// Of the packet before, 10 µs.
    age_10us: u16,
    /// It was said that the strap streams, and the connection interval was asked for.
    pub(super) announced: bool,
}

impl Link {
    pub(super) fn new(handle: u16, server: Server, interval_s: f64, timeout_s: f64, now_s: f64) -> Self {
        Self {
            handle,
            server,
            interval_s,
            timeout_s,
            next_event_s: now_s + interval_s,
            silent_since_s: None,
            queue: VecDeque::new(),
            age_10us: EVENT_AGE_UNKNOWN,
            announced: false,
        }
    }

    /// A packet has become ready: it is stamped and waits for a connection event.
    pub(super) fn queue(&mut self, ready_s: f64, mut packet: Vec<u8>) {
        if !self.server.streams() || self.silent_since_s.is_some() {
            self.age_10us = EVENT_AGE_UNKNOWN;
            return;
        }
        packet[10..12].copy_from_slice(&self.age_10us.to_le_bytes());
        let mut event_s = self.next_event_s;
        while event_s - self.interval_s >= ready_s {
            event_s -= self.interval_s;
        }
        while event_s < ready_s {
            event_s += self.interval_s;
        }
        self.age_10us = ((event_s - ready_s + READY_AFTER_S) * 1e5).round() as u16;
        if self.queue.len() < QUEUE {
            self.queue.push_back((ready_s, packet));
        }
    }

    /// The packets that the connection events until now carry. A packet that was not ready at an
    /// event waits for the next one, however late this is asked: its stamp names that one.
    pub(super) fn events(&mut self, now_s: f64) -> Vec<Vec<u8>> {
        let mut carried = Vec::new();
        while self.next_event_s <= now_s {
            while self.queue.front().is_some_and(|(ready_s, _)| *ready_s <= self.next_event_s) {
                carried.extend(self.queue.pop_front().map(|(_, packet)| packet));
            }
            self.next_event_s += self.interval_s;
        }
        if self.silent_since_s.is_some() {
            carried.clear();
        }
        carried
    }
}

/// A strap.
#[derive(Debug)]
pub(super) struct Strap {
    pub(super) role: Role,
    /// As on the air: least significant byte first.
    pub(super) address: [u8; 6],
    pub(super) name: String,
    pub(super) sensor: Sensor,
    pub(super) in_range: bool,
    pub(super) link: Option<Link>,
}

impl Strap {
    pub(super) fn new(role: Role, packets: Vec<Ready>) -> Result<Self, String> {
        let mut address = [0; 6];
        for (byte, text) in address.iter_mut().rev().zip(scenario::address(role).split(':')) {
            *byte = u8::from_str_radix(text, 16).map_err(|e| e.to_string())?;
        }
        let name = format!("strap {}", role.index() + 1);
        Ok(Self { role, address, name, sensor: Sensor::new(packets)?, in_range: true, link: None })
    }

    /// Its attributes.
    pub(super) fn server(&self) -> Server {
        Server::new(&self.name, scenario::BATTERY_PERCENT[self.role.index()])
    }

    /// Is it connected, subscribed to and started?
    pub(super) fn streams(&self) -> bool {
        self.link.as_ref().is_some_and(|l| l.silent_since_s.is_none() && l.server.streams())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sensor() -> Sensor {
        let packet = |k: u32| {
            let mut bytes = vec![0x11, 1];
            bytes.extend((k as u16).to_le_bytes());
            bytes.extend((5_000_000 + k * 19_000).to_le_bytes());
            bytes.extend([0; 16]);
            Ready { at_s: 0.004 + f64::from(k) * 0.0191, bytes }
        };
        Sensor::new((0..200).map(packet).collect()).unwrap()
    }

    /// However late the loop comes round, a packet goes with the event that the stamp in its
    /// successor names.
    #[test]
    fn stamps_name_the_event_that_carries_the_packet() {
        let mut server = Server::new("strap", 81);
        server.stream_for_test();
        let mut link = Link::new(0x40, server, 0.015, 1.0, 0.0);
        let (mut now_s, mut ready_s, mut carried, mut events) = (0.0, 0.004, Vec::new(), Vec::new());
        for k in 0..200_u8 {
            while ready_s <= now_s {
                let mut packet = vec![0; 12];
                packet[2..10].copy_from_slice(&f64::to_le_bytes(ready_s));
                link.queue(ready_s, packet);
                ready_s += 0.019_23;
            }
            let before_s = link.next_event_s;
            for packet in link.events(now_s) {
                carried.push(packet);
                events.push((before_s, now_s));
            }
            now_s += 0.001 * f64::from(k % 7);
        }
        assert!(carried.len() > 20);
        for (i, pair) in carried.windows(2).enumerate() {
            let ready_s = f64::from_le_bytes(pair[0][2..10].try_into().unwrap());
            let age = u16::from_le_bytes([pair[1][10], pair[1][11]]);
            let event_s = ready_s - READY_AFTER_S + f64::from(age) * 1e-5;
            let (from_s, to_s) = events[i];
            assert!((from_s - 2e-5..=to_s + 2e-5).contains(&event_s), "{event_s} not in {from_s}..{to_s}");
        }
    }

    /// Time and count of a strap never go back and its clock keeps its rate, whenever the
    /// script begins.
    #[test]
    fn the_clock_goes_on_through_the_start_of_the_script() {
        for start_s in [1.0, 1.234, 2.5, 7.77] {
            let mut sensor = sensor();
            let (mut before, mut taken) = (None::<(f64, u32, u16)>, 0);
            while let Some(due_s) = sensor.due_s() {
                if due_s > start_s - 0.3 && sensor.started.is_none() {
                    sensor.start(start_s);
                }
                let bytes = sensor.take();
                let this = (due_s, u32_at(&bytes, 4), u16::from_le_bytes([bytes[2], bytes[3]]));
                if let Some(before) = before {
                    let (gap_s, gap_us) = (this.0 - before.0, f64::from(this.1 - before.1));
                    assert!((gap_us - gap_s * 19_000.0 / 0.0191).abs() < 2.0, "{before:?} {this:?}");
                    let packets = this.2 - before.2;
                    let whole = (1..=2).contains(&packets) && gap_s < 0.0191 * f64::from(packets) + 1e-6;
                    assert!(whole, "{before:?} {this:?}");
                    taken += 1;
                }
                before = Some(this);
            }
            assert!(taken > 200);
        }
    }
}
