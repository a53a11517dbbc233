//! A log, read through: what each strap sent, and where something is missing.

use peakorder_protocol::Role;
use peakorder_protocol::log::{Finding, FindingKind, LogError, LogReader, Record};
use peakorder_protocol::trouble::{Trouble, TroubleNote};
use std::collections::BTreeMap;
use std::path::Path;

/// A log as far as it can be read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LogHealth {
    /// Frames that are whole.
    pub frames: u64,
    /// Session time of the last record, seconds.
    pub seconds: f64,
    /// Straps that sent something.
    pub straps: BTreeMap<Role, StrapHealth>,
    /// Places where something is missing, in order.
    pub holes: Vec<Hole>,
}

/// One strap's part of a log.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct StrapHealth {
    /// Notifications that are there.
    pub notifications: u64,
    /// Time that is missing in all holes, seconds.
    pub missing_s: f64,
}

/// A place where something is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Hole {
    /// What made it.
    pub kind: HoleKind,
    /// Byte of the log where it begins.
    pub offset: u64,
    /// Bytes that are no use.
    pub bytes: u64,
    /// Session time of the last record before it, seconds.
    pub from_s: f64,
    /// Session time of the first record after it, seconds; `None` at the end of the log.
    pub to_s: Option<f64>,
    /// Time that is missing of each strap, seconds. At the end of the log by the number of bytes.
    pub missing_s: BTreeMap<Role, f64>,
}

/// What made a hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HoleKind {
    /// Bytes were changed, lost or put in after they were written.
    Damage,
    /// Frame numbers are missing, and the session does not say why.
    Gap,
    /// Frame numbers are missing, as the session says: the disk was full, or this is what was
    /// saved of a damaged log.
    KnownGap,
    /// The log ends inside a frame: the program was killed, or the power went.
    TornEnd,
    /// The file header alone; no record is missing.
    Header,
}

impl Hole {
    /// Time that is missing of the strap that lost most, seconds.
    pub fn longest_s(&self) -> f64 {
        self.missing_s.values().copied().fold(0.0, f64::max)
    }
}

/// What the reader found before a frame, as one hole without its times.
pub(super) fn hole_of(findings: &[Finding], from_s: f64, to_s: Option<f64>) -> Option<Hole> {
    let first = findings.first()?;
    let any = |wanted: fn(&FindingKind) -> bool| findings.iter().any(|f| wanted(&f.kind));
    let kind = if any(|k| k.is_damage()) {
        HoleKind::Damage
    } else if any(|k| matches!(k, FindingKind::SequenceGap { .. })) {
        HoleKind::Gap
    } else if any(|k| *k == FindingKind::TornTail) {
        HoleKind::TornEnd
    } else {
        HoleKind::Header
    };
    let bytes = findings.iter().map(|f| f.bytes).sum();
    Some(Hole { kind, offset: first.offset, bytes, from_s, to_s, missing_s: BTreeMap::new() })
}

/// What is remembered of a strap while the log is read.
#[derive(Default)]
struct Heard {
    last_ns: Option<u64>,
    /// Holes since then.
    holes: Vec<usize>,
    /// Times between notifications, nanoseconds.
    intervals: Vec<u64>,
    /// Time over each hole, nanoseconds.
    over: Vec<(usize, u64)>,
    notifications: u64,
}

impl LogHealth {
    /// What a copy of this log lacks and its session does not tell of yet.
    pub fn losses(&self) -> impl Iterator<Item = TroubleNote> {
        let new = self.holes.iter().filter(|h| !matches!(h.kind, HoleKind::KnownGap | HoleKind::Header));
        new.map(|hole| TroubleNote {
            t_ms: (hole.from_s * 1e3) as u64,
            what: Trouble::PartLost { missing_ms: (hole.longest_s() * 1e3).round() as u64 },
        })
    }

    /// Reads the log at `path` through. `known_gaps` of its gaps are noted in the session.
    pub fn of(path: &Path, known_gaps: usize) -> Result<Self, LogError> {
        let mut reader = LogReader::open(path)?;
        let mut health = Self::default();
        let mut heard: BTreeMap<Role, Heard> = BTreeMap::new();
        let (mut batch, mut seen, mut newest_ns) = (Vec::new(), 0, 0);
        loop {
            let more = reader.next_batch(&mut batch)?;
            let found = &reader.findings()[seen..];
            seen += found.len();
            let to_s = batch.first().map(|r| seconds(r.t_ns()));
            if let Some(hole) = hole_of(found, seconds(newest_ns), to_s) {
                for strap in heard.values_mut() {
                    strap.holes.push(health.holes.len());
                }
                health.holes.push(hole);
            }
            if !more {
                break;
            }
            health.frames += 1;
            for record in &batch {
                newest_ns = newest_ns.max(record.t_ns());
                if let Record::Arrival(arrival) = record {
                    heard.entry(arrival.role).or_default().take(arrival.t_ns);
                }
            }
        }
        health.seconds = seconds(newest_ns);
        let bytes_read = reader.offset() - health.holes.iter().map(|h| h.bytes).sum::<u64>();
        health.count(heard, bytes_read);
        let gaps = health.holes.iter().filter(|h| h.kind == HoleKind::Gap).count();
        if gaps <= known_gaps {
            for hole in health.holes.iter_mut().filter(|h| h.kind == HoleKind::Gap) {
                hole.kind = HoleKind::KnownGap;
            }
        }
        Ok(health)
    }

    /// Sums up what each strap lacks.
    fn count(&mut self, heard: BTreeMap<Role, Heard>, bytes_read: u64) {
        for (role, heard) in heard {
            let usual = heard.usual_ns();
            for (hole, over_ns) in heard.over {
                let missing = seconds(over_ns.saturating_sub(usual));
                *self.holes[hole].missing_s.entry(role).or_default() += missing;
            }
            // What ends with the log is measured by its bytes, of which the straps share all.
            if let Some(last) = self.holes.last_mut().filter(|h| h.to_s.is_none()) {
                let about = last.bytes as f64 * self.seconds / bytes_read.max(1) as f64;
                last.missing_s.insert(role, about);
            }
            let missing_s = self.holes.iter().filter_map(|h| h.missing_s.get(&role)).sum();
            self.straps.insert(role, StrapHealth { notifications: heard.notifications, missing_s });
        }
    }
}

impl Heard {
    fn take(&mut self, t_ns: u64) {
        if let Some(last) = self.last_ns {
            let over = t_ns.saturating_sub(last);
            match self.holes.first() {
                None => self.intervals.push(over),
                // Holes without a notification between them cannot be told apart.
                Some(first) => self.over.push((*first, over)),
            }
        }
        self.holes.clear();
        self.last_ns = Some(t_ns);
        self.notifications += 1;
    }

    /// The mean, because notifications come in clumps, of which a median sees one.
    fn usual_ns(&self) -> u64 {
        self.intervals.iter().sum::<u64>().checked_div(self.intervals.len() as u64).unwrap_or(0)
    }
}

fn seconds(ns: u64) -> f64 {
    ns as f64 * 1e-9
}
