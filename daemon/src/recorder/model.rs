//! A modelled disk: what is on it after a power cut, and what it refuses.

use peakorder_protocol::Role;
use peakorder_protocol::log::{Arrival, FindingKind, LogReader, Record, SharedStore, Store, Syncer};
use std::io::{self, Cursor, Write};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

/// A disk with a cache in front of it, as an operating system keeps one. Clones are the same disk.
#[derive(Debug, Clone)]
pub(super) struct Disk(Arc<Mutex<State>>);

#[derive(Debug)]
pub(super) struct State {
    /// What programs read.
    cache: Vec<u8>,
    /// What a power cut leaves.
    durable: Vec<u8>,
    /// The cache differs from the disk from here on, as far as the system knows.
    dirty_from: usize,
    /// A write beyond this many bytes is refused.
    pub(super) room: usize,
    pub(super) sync_fails: bool,
    /// How long a sync takes that is made by [`Syncer::sync`].
    pub(super) sync_takes: Duration,
}

/// What a sync that has begun will have brought to the disk.
pub(super) struct RunningSync {
    from: usize,
    bytes: Vec<u8>,
}

impl Disk {
    pub(super) fn with_room(room: usize) -> Self {
        Self(Arc::new(Mutex::new(State {
            cache: Vec::new(),
            durable: Vec::new(),
            dirty_from: 0,
            room,
            sync_fails: false,
            sync_takes: Duration::ZERO,
        })))
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap()
    }

    pub(super) fn change(&self, f: impl FnOnce(&mut State)) {
        f(&mut self.lock());
    }

    pub(super) fn begin_sync(&self) -> RunningSync {
        let state = self.lock();
        let from = state.dirty_from.min(state.cache.len());
        RunningSync { from, bytes: state.cache[from..].to_vec() }
    }

    /// The sync ends. A failed one leaves the system believing that all is written, as Linux does
    /// (Rebello et al. 2020, "Can Applications Recover from fsync Failures?").
    pub(super) fn end_sync(&self, sync: &RunningSync) -> io::Result<()> {
        let mut state = self.lock();
        if state.sync_fails {
            state.dirty_from = state.cache.len();
            return Err(io::Error::other("input/output error"));
        }
        let end = sync.from + sync.bytes.len();
        if state.durable.len() < end {
            state.durable.resize(end, 0);
        }
        state.durable[sync.from..end].copy_from_slice(&sync.bytes);
        Ok(())
    }

    /// What a power cut leaves now. Of each sector that no sync covers, `survives` tells whether
    /// it happens to be there; the last is torn.
    pub(super) fn after_power_cut(&self, mut survives: impl FnMut() -> bool) -> Vec<u8> {
        const SECTOR: usize = 512;
        let state = self.lock();
        let mut left = state.durable.clone();
        let mut at = left.len();
        while at < state.cache.len() && survives() {
            let end = (at + SECTOR).min(state.cache.len());
            if survives() {
                left.extend_from_slice(&state.cache[at..end]);
            } else {
                left.resize(end, 0);
            }
            at = end;
        }
        let torn = left.len().saturating_sub(left.len() % 7);
        left.truncate(torn.max(state.durable.len()));
        left
    }

    pub(super) fn read(&self) -> (Vec<Record>, Vec<FindingKind>) {
        read(self.lock().cache.clone())
    }
}

/// The records of a log, and what a reader finds wrong with it.
pub(super) fn read(bytes: Vec<u8>) -> (Vec<Record>, Vec<FindingKind>) {
    let mut log = LogReader::new(Cursor::new(bytes)).unwrap();
    let (mut batch, mut all) = (Vec::new(), Vec::new());
    while log.next_batch(&mut batch).unwrap() {
        all.append(&mut batch);
    }
    (all, log.findings().iter().map(|f| f.kind).collect())
}

impl Write for Disk {
    /// A write that does not fit leaves what fits, as a real one does.
    fn write(&mut self, data: &[u8]) -> io::Result<usize> {
        let mut state = self.lock();
        let fits = data.len().min(state.room.saturating_sub(state.cache.len()));
        if fits == 0 && !data.is_empty() {
            return Err(io::ErrorKind::StorageFull.into());
        }
        state.dirty_from = state.dirty_from.min(state.cache.len());
        state.cache.extend_from_slice(&data[..fits]);
        Ok(fits)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Store for Disk {
    fn sync(&mut self) -> io::Result<()> {
        Syncer::sync(self)
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        let mut state = self.lock();
        state.cache.truncate(length as usize);
        state.durable.truncate(length as usize);
        state.dirty_from = state.dirty_from.min(length as usize);
        Ok(())
    }
}

impl Syncer for Disk {
    fn sync(&self) -> io::Result<()> {
        let running = self.begin_sync();
        let takes = self.lock().sync_takes;
        std::thread::sleep(takes);
        self.end_sync(&running)
    }
}

impl SharedStore for Disk {
    fn syncer(&self) -> io::Result<Arc<dyn Syncer>> {
        Ok(Arc::new(self.clone()))
    }
}

/// Arrival number `i` of a strap that sends every 10 ms.
pub(super) fn arrival(i: u64) -> Record {
    Record::Arrival(Arrival {
        t_ns: i * 10_000_000,
        role: Role::Pelvis,
        channel: 0,
        bytes: vec![i as u8; 20],
    })
}
