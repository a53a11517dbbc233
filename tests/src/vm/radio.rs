//! The radio: a simulated controller on `/dev/vhci` with the scenario's straps in its range.
//! The kernel and `bluetoothd` above it see an ordinary adapter.

use super::controller::{self, Wish};
use super::strap::{Link, Ready, Strap};
use super::trace::Trace;
use crate::files;
use peakorder_protocol::Role;
use peakorder_protocol::log::{
    Arrival, Disconnection, LogWriter, Mark, MarkKind, Record, StrapEvent, StrapEventKind,
};
use peakorder_protocol::packet::SERVICE_UUID;
use std::collections::{BTreeSet, VecDeque};
use std::fs::{File, OpenOptions};
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

/// Detail of the note in the played log that says that a strap streams.
pub const STREAMS: &str = "streams";
/// Detail of the mark in the played log at which the script begins.
pub const BEGINS: &str = "the script begins";

/// Straps advertise this often, seconds.
const ADVERTISING_S: f64 = 0.1;
/// From all straps streaming to the start of the script, seconds.
const BEFORE_SCRIPT_S: f64 = 0.5;
/// What a strap asks for: an interval of 11.25 to 15 ms in 1.25 ms, and a time-out of 1 s in
/// 10 ms.
const WANTED_INTERVAL: [u16; 2] = [9, 12];
const WANTED_TIMEOUT: u16 = 100;

fn seconds(units: u16, unit_ms: f64) -> f64 {
    f64::from(units) * unit_ms * 1e-3
}

struct Radio {
    host: File,
    played: LogWriter,
    trace: Trace,
    origin: Instant,
    straps: Vec<Strap>,
    scanning: bool,
    active: bool,
    next_advertisement_s: f64,
    /// The connection that the host waits for: peer (none: of the accept list), interval, time-out.
    pending: Option<(Option<[u8; 6]>, u16, u16)>,
    accepted: BTreeSet<[u8; 6]>,
    /// Script: what is still to happen besides packets, and when it began.
    script: VecDeque<Record>,
    began_s: Option<f64>,
}

/// Plays the script in the log at `script` for ever, writes what went over the radio to a log
/// at `played` and what passed between host and controller to `trace`, and the marks, when they are due, to standard output as they would be typed.
/// Ends with the process.
pub fn play(script: &Path, played: &Path, trace: &Path) -> Result<(), String> {
    let (records, findings) = files::records(script);
    if !findings.is_empty() {
        return Err(format!("{}: {findings:?}", script.display()));
    }
    let packets = |role: Role| {
        let mine = records.iter().filter_map(|r| match r {
            Record::Arrival(a) if a.role == role => {
                Some(Ready { at_s: a.t_ns as f64 * 1e-9, bytes: a.bytes.clone() })
            }
            _ => None,
        });
        Strap::new(role, mine.collect())
    };
    let straps = Role::ALL.into_iter().map(packets).collect::<Result<_, String>>()?;
    let vhci = Path::new("/dev/vhci");
    let failed = |e: std::io::Error| format!("{}: {e}", vhci.display());
    let host = OpenOptions::new().read(true).write(true).open(vhci).map_err(failed)?;
    let mut from_host = host.try_clone().map_err(failed)?;
    let (to, incoming) = mpsc::channel();
    std::thread::spawn(move || {
        let mut buffer = [0; 4096];
        while let Ok(n) = from_host.read(&mut buffer) {
            if to.send(buffer[..n].to_vec()).is_err() {
                return;
            }
        }
    });
    let mut radio = Radio {
        host,
        played: LogWriter::create(played).map_err(|e| e.to_string())?,
        trace: Trace::create(trace).map_err(|e| format!("{}: {e}", trace.display()))?,
        origin: Instant::now(),
        straps,
        scanning: false,
        active: false,
        next_advertisement_s: 0.0,
        pending: None,
        accepted: BTreeSet::new(),
        script: records.into_iter().filter(|r| !matches!(r, Record::Arrival(_))).collect(),
        began_s: None,
    };
    radio.send(&controller::create())?;
    loop {
        radio.due()?;
        let wait_s = radio.next_s() - radio.now_s();
        match incoming.recv_timeout(Duration::from_secs_f64(wait_s.clamp(0.0, 1.0))) {
            Ok(packet) => radio.host_sent(&packet)?,
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Err(format!("{} was closed", vhci.display())),
        }
    }
}

impl Radio {
    fn now_s(&self) -> f64 {
        self.origin.elapsed().as_secs_f64()
    }

    fn send(&mut self, packet: &[u8]) -> Result<(), String> {
        self.traced(true, packet)?;
        self.host.write_all(packet).map_err(|e| format!("/dev/vhci: {e}"))
    }

    fn traced(&mut self, received: bool, packet: &[u8]) -> Result<(), String> {
        let now_s = self.now_s();
        self.trace.packet(now_s, received, packet).map_err(|e| format!("the trace: {e}"))
    }

    fn write(&mut self, record: Record) -> Result<(), String> {
        self.played.append(&[record]).map_err(|e| e.to_string())
    }

    fn tell(&mut self, i: usize, what: StrapEventKind) -> Result<(), String> {
        let (role, t_ns) = (self.straps[i].role, (self.now_s() * 1e9) as u64);
        eprintln!("{:8.3} {role}: {what:?}", t_ns as f64 * 1e-9);
        self.write(Record::Strap(StrapEvent { t_ns, role, what }))
    }

    fn linked(&self, handle: u16) -> Option<usize> {
        self.straps.iter().position(|s| s.link.as_ref().is_some_and(|l| l.handle == handle))
    }

    fn link_down(&mut self, i: usize, reason: u8) -> Result<(), String> {
        let Some(link) = self.straps[i].link.take() else { return Ok(()) };
        self.send(&controller::disconnected(link.handle, reason))?;
        let reason = Disconnection::Other { why: format!("{reason:#04x}") };
        self.tell(i, StrapEventKind::Disconnected { reason })
    }

    fn host_sent(&mut self, packet: &[u8]) -> Result<(), String> {
        self.traced(false, packet)?;
        let (answers, wish) = controller::take(packet)?;
        for answer in answers {
            self.send(&answer)?;
        }
        match wish {
            None => Ok(()),
            Some(wish) => self.fulfil(wish),
        }
    }

    fn fulfil(&mut self, wish: Wish) -> Result<(), String> {
        match wish {
            Wish::Scan { on } => self.scanning = on,
            Wish::ActiveScan { active } => self.active = active,
            Wish::Connect { peer, interval, timeout } => self.pending = Some((peer, interval, timeout)),
            Wish::CancelConnect => {
                if self.pending.take().is_some() {
                    self.send(&controller::not_connected())?;
                }
            }
            Wish::AcceptListClear => self.accepted.clear(),
            Wish::AcceptListAdd(peer) => {
                self.accepted.insert(peer);
            }
            Wish::AcceptListRemove(peer) => {
                self.accepted.remove(&peer);
            }
            Wish::Update { handle, interval, timeout } => {
                if let Some(i) = self.linked(handle)
                    && let Some(link) = &mut self.straps[i].link
                {
                    link.interval_s = seconds(interval, 1.25);
                    link.timeout_s = seconds(timeout, 10.0);
                    self.send(&controller::updated(handle, interval, timeout))?;
                    let interval = Duration::from_micros(u64::from(interval) * 1250);
                    self.tell(i, StrapEventKind::Interval { interval })?;
                }
            }
            Wish::Disconnect { handle } => {
                if let Some(i) = self.linked(handle) {
                    // A peer out of range does not hear it: the time-out ends the link.
                    if self.straps[i].in_range {
                        self.link_down(i, controller::LOCAL_HOST)?;
                    }
                }
            }
            Wish::Data { handle, channel, bytes } => {
                if let Some(i) = self.linked(handle) {
                    self.strap_hears(i, channel, &bytes)?;
                }
            }
        }
        Ok(())
    }

    fn strap_hears(&mut self, i: usize, channel: u16, bytes: &[u8]) -> Result<(), String> {
        let strap = &mut self.straps[i];
        let Some(link) = strap.link.as_mut().filter(|l| l.silent_since_s.is_none()) else { return Ok(()) };
        let handle = link.handle;
        let answer = match channel {
            controller::ATTRIBUTES => link.server.answer(bytes),
            // Pairing is not supported.
            controller::SECURITY if bytes.first() == Some(&0x01) => Some(vec![0x05, 0x05]),
            _ => None,
        };
        let begins = link.server.streams() && !std::mem::replace(&mut link.announced, link.server.streams());
        if let Some(answer) = answer {
            self.send(&controller::data(handle, channel, &answer))?;
        }
        if begins {
            self.tell(i, StrapEventKind::Note { text: STREAMS.into() })?;
            // A central cannot choose the interval; the strap asks for it.
            let mut request = vec![0x12, 1, 8, 0];
            for number in [WANTED_INTERVAL[0], WANTED_INTERVAL[1], 0, WANTED_TIMEOUT] {
                request.extend(number.to_le_bytes());
            }
            self.send(&controller::data(handle, controller::SIGNALS, &request))?;
        }
        if self.began_s.is_none() && self.straps.iter().all(Strap::streams) {
            let at_s = self.now_s() + BEFORE_SCRIPT_S;
            self.began_s = Some(at_s);
            for strap in &mut self.straps {
                strap.sensor.start(at_s);
            }
            let begins = Mark { t_ns: (at_s * 1e9) as u64, kind: MarkKind::Note, detail: BEGINS.into() };
            self.write(Record::Mark(begins))?;
        }
        Ok(())
    }

    /// Everything that is due.
    fn due(&mut self) -> Result<(), String> {
        let now_s = self.now_s();
        while let (Some(began_s), Some(next)) = (self.began_s, self.script.front()) {
            if now_s < began_s + next.t_ns() as f64 * 1e-9 {
                break;
            }
            if let Some(record) = self.script.pop_front() {
                self.happens(record, now_s);
            }
        }
        for i in 0..self.straps.len() {
            self.strap_due(i, now_s)?;
        }
        if now_s >= self.next_advertisement_s {
            self.next_advertisement_s = now_s + ADVERTISING_S;
            self.advertise(now_s)?;
        }
        Ok(())
    }

    fn happens(&mut self, record: Record, now_s: f64) {
        match record {
            Record::Mark(mark) => {
                // A daemon that has ended hears no more marks.
                let line = format!("{} {}\n", mark.kind, mark.detail);
                let _ = std::io::stdout().write_all(line.as_bytes());
                if self.script.is_empty() {
                    let _ = std::io::stdout().write_all(b"stop\n");
                }
            }
            Record::Strap(event) => {
                for strap in self.straps.iter_mut().filter(|s| s.role == event.role) {
                    strap.in_range = event.what.is_connected();
                    eprintln!("{now_s:8.3} {}: in range: {}", event.role, strap.in_range);
                    if let Some(link) = strap.link.as_mut().filter(|_| !strap.in_range) {
                        link.silent_since_s = Some(now_s);
                    }
                }
            }
            Record::Arrival(_) => {}
        }
    }

    fn strap_due(&mut self, i: usize, now_s: f64) -> Result<(), String> {
        let strap = &mut self.straps[i];
        while let Some(due_s) = strap.sensor.due_s().filter(|d| *d <= now_s) {
            let packet = strap.sensor.take();
            if let Some(link) = &mut strap.link {
                link.queue(due_s, packet);
            }
        }
        let Some(link) = &mut strap.link else { return Ok(()) };
        let (role, handle) = (strap.role, link.handle);
        let packets = link.events(now_s);
        let gone = link.silent_since_s.is_some_and(|since_s| now_s >= since_s + link.timeout_s);
        let notifications: Vec<_> = packets
            .into_iter()
            .filter_map(|bytes| Some((link.server.notification(&bytes)?, bytes)))
            .collect();
        for (notification, bytes) in notifications {
            self.send(&controller::data(handle, controller::ATTRIBUTES, &notification))?;
            let t_ns = (self.now_s() * 1e9) as u64;
            self.write(Record::Arrival(Arrival { t_ns, role, channel: 0, bytes }))?;
        }
        if gone { self.link_down(i, controller::TIMEOUT) } else { Ok(()) }
    }

    fn advertise(&mut self, now_s: f64) -> Result<(), String> {
        self.trace.flush().map_err(|e| format!("the trace: {e}"))?;
        for i in 0..self.straps.len() {
            let strap = &self.straps[i];
            if strap.link.is_some() || !strap.in_range {
                continue;
            }
            let (address, name) = (strap.address, strap.name.clone());
            if self.scanning {
                // Flags: reachable, LE only. All 128-bit services.
                let data = [&[2, 0x01, 0x06, 17, 0x07][..], &super::att::long(SERVICE_UUID)].concat();
                let rssi_dbm = -60 - i as i8;
                self.send(&controller::heard(address, false, &data, rssi_dbm))?;
                if self.active {
                    let data = [&[name.len() as u8 + 1, 0x09][..], name.as_bytes()].concat();
                    self.send(&controller::heard(address, true, &data, rssi_dbm))?;
                }
            }
            if let Some((peer, interval, timeout)) = self.pending
                && peer.map_or_else(|| self.accepted.contains(&address), |p| p == address)
            {
                self.pending = None;
                let handle = 0x40 + i as u16;
                let server = self.straps[i].server();
                let (interval_s, timeout_s) = (seconds(interval, 1.25), seconds(timeout, 10.0));
                self.straps[i].link = Some(Link::new(handle, server, interval_s, timeout_s, now_s));
                self.send(&controller::connected(handle, address, interval, timeout))?;
                self.tell(i, StrapEventKind::CONNECTED)?;
            }
        }
        Ok(())
    }

    /// When something is due next.
    fn next_s(&self) -> f64 {
        let script = self.began_s.zip(self.script.front()).map(|(b, r)| b + r.t_ns() as f64 * 1e-9);
        let of_strap = |s: &Strap| {
            let event = s.link.as_ref().map(|l| l.next_event_s);
            s.sensor.due_s().into_iter().chain(event)
        };
        self.straps.iter().flat_map(of_strap).chain(script).fold(self.next_advertisement_s, f64::min)
    }
}
