//! Raw first: records are on disk before they are interpreted.

use peakorder_protocol::log::{LogError, LogWriter, Record, Store};
use peakorder_protocol::trouble::Trouble;
use std::collections::VecDeque;
use std::fs::File;
use std::path::Path;
use std::time::{Duration, Instant};

/// At most this much can be lost to a power cut.
pub const SYNC_EVERY: Duration = Duration::from_millis(250);
/// A disk that refused a write is tried again this often.
const RETRY_EVERY: Duration = Duration::from_millis(250);
/// Records that wait for the disk, by a rough count of their bytes: half an hour of three straps.
const WAITING_BYTES: usize = 64 << 20;
/// What a record takes besides its packet, roughly.
const OVERHEAD_BYTES: usize = 64;

/// Writes a session's log and syncs it in time. It survives a disk that is full for a while:
/// records wait in memory and are written when there is room.
pub struct Recorder<S: Store = File> {
    log: LogWriter<S>,
    synced: Instant,
    dirty: bool,
    waiting: Option<Waiting>,
    room_bytes: usize,
}

/// What waits while the disk refuses writes.
struct Waiting {
    records: VecDeque<Record>,
    bytes: usize,
    tried: Instant,
    dropped: u64,
    /// Session time of the first and the last dropped record, nanoseconds.
    dropped_ns: Option<(u64, u64)>,
}

impl Recorder {
    /// Creates the log; an existing one is never overwritten.
    pub fn create(path: &Path, now: Instant) -> Result<Self, LogError> {
        Ok(Self::new(LogWriter::create(path)?, now))
    }
}

impl<S: Store> Recorder<S> {
    /// Records into `log`.
    pub fn new(log: LogWriter<S>, now: Instant) -> Self {
        Self { log, synced: now, dirty: false, waiting: None, room_bytes: WAITING_BYTES }
    }

    /// Appends `records` and syncs if it is time. Returns what changed: the disk has begun to
    /// refuse writes, or takes them again.
    pub fn append(&mut self, records: &[Record], now: Instant) -> Option<Trouble> {
        if let Some(waiting) = &mut self.waiting {
            waiting.push(records, self.room_bytes);
            return self.sync_if_due(now);
        }
        match self.write(records) {
            Ok(()) => {
                self.dirty = true;
                self.sync_if_due(now)
            }
            Err(error) => Some(self.wait(records, &error, now)),
        }
    }

    /// Syncs if anything waits for longer than [`SYNC_EVERY`], and tries a disk again that
    /// refused a write. Called on a timer as well, so that silence after a packet does not
    /// leave it unsynced.
    pub fn sync_if_due(&mut self, now: Instant) -> Option<Trouble> {
        if let Some(waiting) = &mut self.waiting {
            if now.duration_since(waiting.tried) < RETRY_EVERY {
                return None;
            }
            waiting.tried = now;
            return self.write_waiting(now).ok();
        }
        if self.dirty && now.duration_since(self.synced) >= SYNC_EVERY {
            if let Err(error) = self.log.sync() {
                return Some(self.wait(&[], &error, now));
            }
            self.synced = now;
            self.dirty = false;
        }
        None
    }

    /// Writes what still waits, syncs and closes.
    pub fn finish(mut self, now: Instant) -> Result<S, LogError> {
        if self.waiting.is_some() {
            self.write_waiting(now)?;
        }
        self.log.finish()
    }

    /// Appends to the log. A record that no frame can hold is left out, the others are kept.
    fn write(&mut self, records: &[Record]) -> Result<(), LogError> {
        match self.log.append(records) {
            Err(LogError::TooLarge { .. }) => {
                records.iter().try_for_each(|record| match self.log.append(std::slice::from_ref(record)) {
                    Err(error @ LogError::TooLarge { .. }) => {
                        tracing::error!(%error, "A record was left out.");
                        Ok(())
                    }
                    result => result,
                })
            }
            result => result,
        }
    }

    fn wait(&mut self, records: &[Record], error: &LogError, now: Instant) -> Trouble {
        let mut waiting =
            Waiting { records: VecDeque::new(), bytes: 0, tried: now, dropped: 0, dropped_ns: None };
        waiting.push(records, self.room_bytes);
        self.waiting = Some(waiting);
        let why = match error {
            LogError::Write { source, .. } => source.to_string(),
            other => other.to_string(),
        };
        Trouble::NotRecording { why }
    }

    /// Writes what waits. As long as that fails, it goes on waiting.
    fn write_waiting(&mut self, now: Instant) -> Result<Trouble, LogError> {
        self.log.resume()?;
        // One after the other, so that a disk which fills up again keeps what it has.
        while let Some(record) = self.waiting.as_ref().and_then(|w| w.records.front()).cloned() {
            self.write(std::slice::from_ref(&record))?;
            if let Some(waiting) = &mut self.waiting {
                waiting.bytes -= size(&record);
                waiting.records.pop_front();
            }
        }
        self.log.sync()?;
        self.synced = now;
        self.dirty = false;
        let (dropped, missing) = self.waiting.take().map_or((0, None), |w| (w.dropped, w.dropped_ns));
        if dropped > 0 {
            self.log.mark_gap();
        }
        let missing_ms = missing.map_or(0, |(first, last)| last.saturating_sub(first) / 1_000_000);
        Ok(Trouble::RecordingAgain { dropped, missing_ms })
    }
}

impl Waiting {
    /// Takes records; without room the newest are dropped, so that what is kept has one gap.
    fn push(&mut self, records: &[Record], room_bytes: usize) {
        for record in records {
            let bytes = size(record);
            // Once something was dropped, all that follows is: a gap, not holes.
            if self.dropped > 0 || self.bytes + bytes > room_bytes {
                self.dropped += 1;
                let t_ns = record.t_ns();
                self.dropped_ns = Some(self.dropped_ns.map_or((t_ns, t_ns), |(first, _)| (first, t_ns)));
            } else {
                self.bytes += bytes;
                self.records.push_back(record.clone());
            }
        }
    }
}

fn size(record: &Record) -> usize {
    OVERHEAD_BYTES
        + match record {
            Record::Arrival(arrival) => arrival.bytes.len(),
            Record::Mark(mark) => mark.detail.len(),
            Record::Strap(_) => 0,
        }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::Role;
    use peakorder_protocol::log::{Arrival, FindingKind, LogReader};
    use std::io::{self, Write};
    use std::sync::{Arc, Mutex};

    /// A disk with `room` bytes. A write that does not fit leaves what fits, as a real one does.
    #[derive(Clone)]
    struct Disk(Arc<Mutex<State>>);

    struct State {
        bytes: Vec<u8>,
        room: usize,
        sync_fails: bool,
    }

    impl Disk {
        fn with_room(room: usize) -> Self {
            Self(Arc::new(Mutex::new(State { bytes: Vec::new(), room, sync_fails: false })))
        }

        fn change(&self, f: impl FnOnce(&mut State)) {
            f(&mut self.0.lock().unwrap());
        }

        fn read(&self) -> (Vec<Record>, Vec<FindingKind>) {
            let bytes = self.0.lock().unwrap().bytes.clone();
            let mut log = LogReader::new(io::Cursor::new(bytes)).unwrap();
            let (mut batch, mut all) = (Vec::new(), Vec::new());
            while log.next_batch(&mut batch).unwrap() {
                all.append(&mut batch);
            }
            (all, log.findings().iter().map(|f| f.kind.clone()).collect())
        }
    }

    impl Write for Disk {
        fn write(&mut self, data: &[u8]) -> io::Result<usize> {
            let mut state = self.0.lock().unwrap();
            let fits = data.len().min(state.room - state.bytes.len());
            if fits == 0 && !data.is_empty() {
                return Err(io::ErrorKind::StorageFull.into());
            }
            state.bytes.extend_from_slice(&data[..fits]);
            Ok(fits)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    impl Store for Disk {
        fn sync(&mut self) -> io::Result<()> {
            if self.0.lock().unwrap().sync_fails {
                Err(io::Error::other("input/output error"))
            } else {
                Ok(())
            }
        }

        fn cut(&mut self, length: u64) -> io::Result<()> {
            self.0.lock().unwrap().bytes.truncate(length as usize);
            Ok(())
        }
    }

    fn arrival(i: u64) -> Record {
        Record::Arrival(Arrival {
            t_ns: i * 10_000_000,
            role: Role::Pelvis,
            channel: 0,
            bytes: vec![i as u8; 20],
        })
    }

    /// Appends arrivals 0..n, one every 10 ms; at `space_at` the disk gets room. Returns what
    /// was said, and the disk.
    fn session(n: u64, space_at: u64, room_bytes: usize) -> (Vec<Trouble>, Disk) {
        let disk = Disk::with_room(2_000);
        let start = Instant::now();
        let mut recorder = Recorder::new(LogWriter::new(disk.clone()).unwrap(), start);
        recorder.room_bytes = room_bytes;
        let mut told = Vec::new();
        for i in 0..n {
            if i == space_at {
                disk.change(|d| d.room = 10 << 20);
            }
            told.extend(recorder.append(&[arrival(i)], start + Duration::from_millis(10 * i)));
        }
        recorder.finish(start + Duration::from_millis(10 * n)).unwrap();
        (told, disk)
    }

    #[test]
    fn a_disk_that_is_full_for_a_while_loses_nothing() {
        let (told, disk) = session(500, 200, WAITING_BYTES);
        assert_eq!(
            told,
            [
                Trouble::NotRecording { why: io::Error::from(io::ErrorKind::StorageFull).to_string() },
                Trouble::RecordingAgain { dropped: 0, missing_ms: 0 }
            ]
        );
        assert_eq!(disk.read(), ((0..500).map(arrival).collect(), Vec::new()));
    }

    #[test]
    fn what_does_not_fit_the_memory_is_one_gap_that_readers_find() {
        let (told, disk) = session(500, 400, 100 * (OVERHEAD_BYTES + 20));
        let (records, findings) = disk.read();
        let [Trouble::NotRecording { .. }, Trouble::RecordingAgain { dropped, missing_ms }] = told[..] else {
            panic!("{told:?}")
        };
        assert_eq!(records.len() as u64 + dropped, 500);
        let gaps: Vec<u64> = records
            .windows(2)
            .map(|w| (w[1].t_ns() - w[0].t_ns()) / 10_000_000 - 1)
            .filter(|n| *n > 0)
            .collect();
        assert_eq!(gaps, [dropped], "one gap");
        assert_eq!(missing_ms, (dropped - 1) * 10);
        assert!(matches!(findings[..], [FindingKind::SequenceGap { .. }]), "{findings:?}");
    }

    #[test]
    fn a_failed_sync_is_told_and_tried_again() {
        let disk = Disk::with_room(1 << 20);
        let start = Instant::now();
        let mut recorder = Recorder::new(LogWriter::new(disk.clone()).unwrap(), start);
        disk.change(|d| d.sync_fails = true);
        assert_eq!(recorder.append(&[arrival(0)], start), None);
        let told = recorder.append(&[arrival(1)], start + SYNC_EVERY);
        assert_eq!(told, Some(Trouble::NotRecording { why: "input/output error".into() }));
        disk.change(|d| d.sync_fails = false);
        assert_eq!(recorder.sync_if_due(start + SYNC_EVERY + RETRY_EVERY / 2), None, "not yet");
        let told = recorder.sync_if_due(start + SYNC_EVERY + RETRY_EVERY);
        assert_eq!(told, Some(Trouble::RecordingAgain { dropped: 0, missing_ms: 0 }));
        recorder.finish(start + Duration::from_secs(1)).unwrap();
        assert_eq!(disk.read(), ((0..2).map(arrival).collect(), Vec::new()));
    }

    #[test]
    fn a_session_that_ends_while_the_disk_is_full_says_so() {
        let disk = Disk::with_room(200);
        let start = Instant::now();
        let mut recorder = Recorder::new(LogWriter::new(disk.clone()).unwrap(), start);
        let told: Vec<Trouble> = (0..9).filter_map(|i| recorder.append(&[arrival(i)], start)).collect();
        assert_eq!(told.len(), 1);
        assert!(recorder.finish(start).is_err());
        let (records, _) = disk.read();
        assert_eq!(
            records,
            (0..records.len() as u64).map(arrival).collect::<Vec<_>>(),
            "what fitted is kept"
        );
    }
}
