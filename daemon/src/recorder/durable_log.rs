//! A log whose records are kept until a sync has covered them.

use super::{RETRY_EVERY, SYNC_EVERY};
use peakorder_protocol::log::{LogError, LogPosition, LogWriter, Record, Store};
use peakorder_protocol::trouble::Trouble;
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Instant;

/// Syncs that may run at the same time. A slow disk gets no more.
const SYNCS: usize = 16;
/// What a record takes besides its packet, roughly.
const OVERHEAD_BYTES: usize = 64;

/// Something to be written.
#[derive(Debug, Clone)]
pub(super) enum Item {
    Records(Arc<Vec<Record>>),
    /// Records that did not fit into memory: how many, and over which session time.
    Gap {
        dropped: u64,
        missing_ms: u64,
    },
}

/// A sync that has to be made. It covers all that was written before it was handed out.
#[derive(Debug, Clone, Copy)]
pub struct SyncTicket {
    /// Counts the failures: a sync that began before one covers nothing.
    attempt: u64,
    /// Items covered, counted from the first of the session.
    items: u64,
    position: LogPosition,
}

/// Writes at once, has syncs made in time, and keeps what no sync has covered. It keeps no clock
/// and starts no thread: whoever owns it tells the time and makes the syncs. So a test can.
#[derive(Debug)]
pub struct DurableLog<S: Store> {
    log: LogWriter<S>,
    /// What no finished sync covers, oldest first.
    kept: VecDeque<Item>,
    /// Items that are covered and gone.
    covered: u64,
    /// Items of `kept` that are in the file.
    written: usize,
    /// Where the log stood at the end of the last covered item.
    safe: LogPosition,
    attempt: u64,
    syncs_running: usize,
    /// Items that running and finished syncs cover.
    sync_begun: u64,
    last_sync: Option<Instant>,
    /// The disk refused at this time.
    refused: Option<Instant>,
    told: bool,
    dropped: u64,
    missing_ms: u64,
}

impl<S: Store> DurableLog<S> {
    /// Records into `log`.
    pub fn new(log: LogWriter<S>) -> Self {
        Self {
            safe: log.position(),
            log,
            kept: VecDeque::new(),
            covered: 0,
            written: 0,
            attempt: 0,
            syncs_running: 0,
            sync_begun: 0,
            last_sync: None,
            refused: None,
            told: false,
            dropped: 0,
            missing_ms: 0,
        }
    }

    /// Takes something and writes it, unless the disk refuses writes. Returns a trouble that
    /// has begun.
    pub(super) fn append(&mut self, item: Item, now: Instant) -> Option<Trouble> {
        self.kept.push_back(item);
        self.write(now)
    }

    /// Tries a disk again that refused, if it is time. To be called before [`Self::begin_sync`].
    pub(super) fn retry(&mut self, now: Instant) -> Option<Trouble> {
        if self.refused.is_none_or(|at| now.duration_since(at) < RETRY_EVERY) {
            return None;
        }
        // What the disk took and did not sync may be lost or half there.
        match self.log.resume_at(self.safe) {
            Ok(()) => {
                self.refused = None;
                self.written = 0;
                self.write(now)
            }
            Err(error) => self.refuse(&error, now),
        }
    }

    /// A sync that has to begin now. Whoever makes it hands the ticket back to [`Self::end_sync`].
    pub fn begin_sync(&mut self, now: Instant) -> Option<SyncTicket> {
        let due = self.last_sync.is_none_or(|at| now.duration_since(at) >= SYNC_EVERY);
        let items = self.covered + self.written as u64;
        if self.refused.is_some() || !due || self.syncs_running >= SYNCS || items == self.sync_begun {
            return None;
        }
        self.last_sync = Some(now);
        self.syncs_running += 1;
        self.sync_begun = items;
        Some(SyncTicket { attempt: self.attempt, items, position: self.log.position() })
    }

    /// A sync has ended. Returns the bytes of memory that it freed, and what changed: the disk
    /// refuses, or takes records again.
    pub fn end_sync(
        &mut self,
        ticket: &SyncTicket,
        result: std::io::Result<()>,
        now: Instant,
    ) -> (usize, Option<Trouble>) {
        self.syncs_running -= 1;
        // Also one that began before the last failure: it may have thrown away what was written since.
        if let Err(source) = result {
            let error = LogError::Write { offset: 0, source };
            return (0, self.refuse(&error, now));
        }
        // Only one of several syncs is told of a failure, so the others prove nothing.
        if ticket.attempt != self.attempt {
            return (0, None);
        }
        let mut freed = 0;
        // A later sync may have covered the same already.
        for _ in self.covered..ticket.items {
            freed += self.kept.pop_front().as_ref().map_or(0, size);
            self.written -= 1;
            self.covered += 1;
        }
        self.safe = self.safe.max(ticket.position);
        (freed, self.recording_again())
    }

    fn recording_again(&mut self) -> Option<Trouble> {
        if self.refused.is_some() || !(self.told || self.dropped > 0) {
            return None;
        }
        self.told = false;
        let (dropped, missing_ms) = (std::mem::take(&mut self.dropped), std::mem::take(&mut self.missing_ms));
        Some(Trouble::RecordingAgain { dropped, missing_ms })
    }

    /// Whether something waits for a sync or for the disk.
    pub(super) fn is_waiting(&self) -> bool {
        !self.kept.is_empty()
    }

    /// Bytes in the log.
    pub(super) fn len_bytes(&self) -> u64 {
        self.log.len_bytes()
    }

    /// Writes what waits, syncs and closes. Returns the log's length, and what changed with it.
    pub(super) fn finish(mut self) -> (Result<(S, u64), LogError>, Option<Trouble>) {
        if self.refused.is_some() {
            if let Err(error) = self.log.resume_at(self.safe) {
                return (Err(error), None);
            }
            self.written = 0;
            self.refused = None;
        }
        while let Some(item) = self.kept.get(self.written).cloned() {
            if let Err(error) = self.write_item(&item) {
                return (Err(error), None);
            }
            self.written += 1;
        }
        let again = self.recording_again();
        let length = self.log.len_bytes();
        match self.log.finish() {
            Ok(store) => (Ok((store, length)), again),
            Err(error) => (Err(error), None),
        }
    }

    fn write(&mut self, now: Instant) -> Option<Trouble> {
        while self.refused.is_none()
            && let Some(item) = self.kept.get(self.written).cloned()
        {
            match self.write_item(&item) {
                Ok(()) => self.written += 1,
                Err(error) => return self.refuse(&error, now),
            }
        }
        None
    }

    fn write_item(&mut self, item: &Item) -> Result<(), LogError> {
        match item {
            Item::Records(records) => write(&mut self.log, records),
            Item::Gap { dropped, missing_ms } => {
                self.log.mark_gap();
                self.dropped += dropped;
                self.missing_ms += missing_ms;
                Ok(())
            }
        }
    }

    /// The disk refused. It is said once, until it takes records again.
    fn refuse(&mut self, error: &LogError, now: Instant) -> Option<Trouble> {
        self.refused = Some(now);
        self.attempt += 1;
        self.sync_begun = self.covered;
        (self.dropped, self.missing_ms) = (0, 0);
        let why = match error {
            LogError::Write { source, .. } => source.to_string(),
            other => other.to_string(),
        };
        (!std::mem::replace(&mut self.told, true)).then_some(Trouble::NotRecording { why })
    }
}

/// Appends to the log. A record that no frame can hold is left out, the others are kept.
fn write<S: Store>(log: &mut LogWriter<S>, records: &[Record]) -> Result<(), LogError> {
    match log.append(records) {
        Err(LogError::TooLarge { .. }) => {
            records.iter().try_for_each(|record| match log.append(std::slice::from_ref(record)) {
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

/// Memory that an item takes, roughly.
pub(super) fn size(item: &Item) -> usize {
    match item {
        Item::Records(records) => records.iter().map(record_size).sum(),
        Item::Gap { .. } => OVERHEAD_BYTES,
    }
}

fn record_size(record: &Record) -> usize {
    OVERHEAD_BYTES
        + match record {
            Record::Arrival(arrival) => arrival.bytes.len(),
            Record::Mark(mark) => mark.detail.len(),
            Record::Strap(_) => 0,
        }
}

#[cfg(test)]
mod tests {
    use super::super::model::{Disk, arrival};
    use super::*;
    use std::io;
    use std::time::Duration;

    fn records(i: u64) -> Item {
        Item::Records(Arc::new(vec![arrival(i)]))
    }

    /// Makes the sync that is due, if one is.
    fn sync(log: &mut DurableLog<Disk>, disk: &mut Disk, now: Instant) -> Option<Trouble> {
        let ticket = log.begin_sync(now)?;
        log.end_sync(&ticket, disk.sync(), now).1
    }

    #[test]
    fn a_disk_that_is_full_for_a_while_loses_nothing() {
        let mut disk = Disk::with_room(2_000);
        let start = Instant::now();
        let mut log = DurableLog::new(LogWriter::new(disk.clone()).unwrap());
        let mut told = Vec::new();
        for i in 0..500 {
            if i == 200 {
                disk.change(|d| d.room = 10 << 20);
            }
            let now = start + Duration::from_millis(10 * i);
            told.extend(log.append(records(i), now));
            told.extend(log.retry(now));
            told.extend(sync(&mut log, &mut disk, now));
        }
        assert!(log.finish().0.is_ok());
        let why = io::Error::from(io::ErrorKind::StorageFull).to_string();
        assert_eq!(
            told,
            [Trouble::NotRecording { why }, Trouble::RecordingAgain { dropped: 0, missing_ms: 0 }]
        );
        assert_eq!(disk.read(), ((0..500).map(arrival).collect(), Vec::new()));
    }

    #[test]
    fn a_failed_sync_is_told_once_and_what_it_covered_is_written_again() {
        let mut disk = Disk::with_room(1 << 20);
        let start = Instant::now();
        let mut log = DurableLog::new(LogWriter::new(disk.clone()).unwrap());
        disk.change(|d| d.sync_fails = true);
        log.append(records(0), start);
        let why = "input/output error".to_owned();
        assert_eq!(sync(&mut log, &mut disk, start), Some(Trouble::NotRecording { why }));
        log.append(records(1), start);
        assert!(log.begin_sync(start + SYNC_EVERY).is_none(), "there is nothing to sync");
        log.retry(start + RETRY_EVERY);
        assert_eq!(sync(&mut log, &mut disk, start + RETRY_EVERY), None, "it is known");
        disk.change(|d| d.sync_fails = false);
        log.retry(start + RETRY_EVERY * 2);
        let told = sync(&mut log, &mut disk, start + RETRY_EVERY * 2);
        assert_eq!(told, Some(Trouble::RecordingAgain { dropped: 0, missing_ms: 0 }));
        assert!(!log.is_waiting());
        assert!(log.finish().0.is_ok());
        assert_eq!(disk.read(), ((0..2).map(arrival).collect(), Vec::new()));
    }

    #[test]
    fn a_session_that_ends_while_the_disk_is_full_says_so() {
        let disk = Disk::with_room(200);
        let start = Instant::now();
        let mut log = DurableLog::new(LogWriter::new(disk.clone()).unwrap());
        assert_eq!((0..9).filter_map(|i| log.append(records(i), start)).count(), 1);
        assert!(log.finish().0.is_err());
        let (kept, _) = disk.read();
        assert_eq!(kept, (0..kept.len() as u64).map(arrival).collect::<Vec<_>>(), "what fitted is kept");
    }
}
