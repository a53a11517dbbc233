//! The recorder's own thread, and the queue in front of it.

use super::durable_log::{DurableLog, Item, SyncTicket, size};
use peakorder_protocol::log::{LogError, LogWriter, Record, SharedStore, Syncer};
use peakorder_protocol::trouble::Trouble;
use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Records that no sync has covered, by a rough count of their bytes: half an hour of three straps.
const LIVE_ROOM_BYTES: usize = 64 << 20;
/// The same for a source that can wait.
const PATIENT_ROOM_BYTES: usize = 8 << 20;

/// What happens to records when there is no room for them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhenFull {
    /// They are dropped and counted: straps do not wait.
    Drop,
    /// The source waits.
    Wait,
}

enum Message {
    Item(Item),
    Synced(SyncTicket, io::Result<()>),
    Finish,
}

/// How much waits to be safe on the disk. Shared with whoever shows it.
#[derive(Debug, Default)]
pub struct Backlog {
    state: Mutex<BacklogState>,
    freed: Condvar,
    /// Bytes of records in the log since it was opened.
    recorded_bytes: AtomicU64,
}

#[derive(Debug, Default)]
struct BacklogState {
    bytes: usize,
    /// The thread has ended: nothing will be freed.
    closed: bool,
}

impl Backlog {
    fn lock(&self) -> MutexGuard<'_, BacklogState> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Room for what waits, bytes.
    pub const ROOM_BYTES: usize = LIVE_ROOM_BYTES;

    /// Share of the room that is taken, 0 to 1 (and a little more).
    pub fn fill(&self) -> f64 {
        self.bytes() as f64 / Self::ROOM_BYTES as f64
    }

    /// Bytes that are taken, by a rough count.
    pub fn bytes(&self) -> usize {
        self.lock().bytes
    }

    /// Bytes of records that the log has got since it was opened. What a failing disk makes to be written again counts once.
    pub fn recorded_bytes(&self) -> u64 {
        self.recorded_bytes.load(Ordering::Relaxed)
    }

    fn add(&self, bytes: usize) {
        self.lock().bytes += bytes;
    }

    fn free(&self, bytes: usize) {
        let mut state = self.lock();
        state.bytes = state.bytes.saturating_sub(bytes);
        drop(state);
        self.freed.notify_all();
    }

    fn close(&self) {
        self.lock().closed = true;
        self.freed.notify_all();
    }

    fn wait_for(&self, room_bytes: usize) {
        let state = self.lock();
        let full = |s: &mut BacklogState| s.bytes > room_bytes && !s.closed;
        drop(self.freed.wait_while(state, full).unwrap_or_else(PoisonError::into_inner));
    }
}

/// Records that are dropped for want of room.
#[derive(Debug, Clone, Copy)]
struct Dropping {
    count: u64,
    first_ns: u64,
    last_ns: u64,
}

impl Dropping {
    fn item(&self) -> Item {
        let missing_ms = self.last_ns.saturating_sub(self.first_ns) / 1_000_000;
        Item::Gap { dropped: self.count, missing_ms }
    }
}

/// Why nothing is recorded after a fault of the program.
const BROKEN: &str = "the recorder broke down";

/// The error that it leaves.
pub(crate) fn broken() -> LogError {
    LogError::Write { offset: 0, source: io::Error::other(BROKEN) }
}

/// Writes a session's log on a thread of its own.
#[derive(Debug)]
pub struct Recorder {
    to: Sender<Message>,
    troubles: Receiver<Trouble>,
    backlog: Arc<Backlog>,
    when_full: WhenFull,
    room_bytes: usize,
    dropping: Option<Dropping>,
    /// The thread has ended before its time.
    broken: bool,
    thread: JoinHandle<(Result<(), LogError>, Option<Trouble>)>,
}

impl Recorder {
    /// Creates the log; an existing one is never overwritten.
    pub fn create(path: &Path, when_full: WhenFull) -> Result<Self, LogError> {
        let open = |source| LogError::Open { path: path.to_owned(), source };
        Self::start(LogWriter::create(path)?, when_full).map_err(open)
    }

    /// Records into `log`.
    pub fn start<S: SharedStore + Send + 'static>(
        log: LogWriter<S>,
        when_full: WhenFull,
    ) -> io::Result<Self> {
        let backlog = Arc::new(Backlog::default());
        let (to, messages) = channel();
        let (tell, troubles) = channel();
        let syncer = log.syncer()?;
        let begins = log.len_bytes();
        let worker =
            Worker { to_self: to.clone(), messages, tell, syncer, backlog: Arc::clone(&backlog), begins };
        let thread = thread::Builder::new().name("recorder".into()).spawn(move || worker.run(log))?;
        let room_bytes = match when_full {
            WhenFull::Drop => LIVE_ROOM_BYTES,
            WhenFull::Wait => PATIENT_ROOM_BYTES,
        };
        Ok(Self { to, troubles, backlog, when_full, room_bytes, dropping: None, broken: false, thread })
    }

    /// How much waits to be safe.
    pub fn backlog(&self) -> Arc<Backlog> {
        Arc::clone(&self.backlog)
    }

    /// Hands records over to be written. Returns at once, except for a source that can wait.
    pub fn push(&mut self, records: &Arc<Vec<Record>>) -> Option<Trouble> {
        if records.is_empty() {
            return None;
        }
        match self.when_full {
            WhenFull::Wait => self.backlog.wait_for(self.room_bytes),
            WhenFull::Drop if !self.has_room() => return self.drop(records),
            WhenFull::Drop => {}
        }
        let gap = self.dropping.take().and_then(|gap| self.send(gap.item()));
        self.send(Item::Records(Arc::clone(records))).or(gap)
    }

    /// Once something was dropped, all that follows is until half the room is free: one gap, not many.
    fn has_room(&self) -> bool {
        let room = if self.dropping.is_some() { self.room_bytes / 2 } else { self.room_bytes };
        self.backlog.lock().bytes <= room
    }

    fn drop(&mut self, records: &[Record]) -> Option<Trouble> {
        let (first, last) = (records.first()?.t_ns(), records.last()?.t_ns());
        let begins = self.dropping.is_none();
        let gap = self.dropping.get_or_insert(Dropping { count: 0, first_ns: first, last_ns: last });
        gap.count += records.len() as u64;
        gap.last_ns = last;
        begins.then_some(Trouble::NoRoomToWait)
    }

    /// Sends to the thread. It ends early only if it breaks down, which is told once.
    fn send(&mut self, item: Item) -> Option<Trouble> {
        if self.broken {
            return None;
        }
        self.backlog.add(size(&item));
        self.broken = self.to.send(Message::Item(item)).is_err();
        self.broken.then(|| Trouble::NotRecording { why: BROKEN.into() })
    }

    /// What has gone wrong or right since the last call.
    pub fn troubles(&self) -> impl Iterator<Item = Trouble> {
        self.troubles.try_iter()
    }

    /// Writes what still waits, syncs and closes. Returns what was not told yet.
    pub fn finish(mut self) -> (Result<(), LogError>, Vec<Trouble>) {
        if let Some(gap) = self.dropping.take() {
            self.send(gap.item());
        }
        let _ = self.to.send(Message::Finish);
        let (result, last) = self.thread.join().unwrap_or_else(|_| (Err(broken()), None));
        let told = self.troubles.try_iter().chain(last).collect();
        (result, told)
    }
}

/// What runs on the recorder's thread.
struct Worker {
    to_self: Sender<Message>,
    messages: Receiver<Message>,
    tell: Sender<Trouble>,
    syncer: Arc<dyn Syncer>,
    backlog: Arc<Backlog>,
    /// Bytes that the log had before.
    begins: u64,
}

/// A thread that waits for nothing looks up this often.
const IDLE: Duration = Duration::from_millis(250);
/// With something to be synced or written again, it looks up this often.
const BUSY: Duration = Duration::from_millis(20);

impl Worker {
    fn run<S: SharedStore>(self, log: LogWriter<S>) -> (Result<(), LogError>, Option<Trouble>) {
        let result = self.record(DurableLog::new(log));
        // Nobody must wait for room that nobody will make.
        self.backlog.close();
        result
    }

    fn record<S: SharedStore>(&self, mut log: DurableLog<S>) -> (Result<(), LogError>, Option<Trouble>) {
        loop {
            let timeout = if log.is_waiting() { BUSY } else { IDLE };
            let mut message = match self.messages.recv_timeout(timeout) {
                Ok(message) => Some(message),
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => return self.finish(log),
            };
            // What waits is written before the next sync begins.
            while let Some(next) = message {
                match next {
                    Message::Item(item) => self.tell(log.append(item, Instant::now())),
                    Message::Synced(ticket, result) => {
                        let (freed, trouble) = log.end_sync(&ticket, result, Instant::now());
                        self.backlog.free(freed);
                        self.tell(trouble);
                    }
                    Message::Finish => return self.finish(log),
                }
                message = self.messages.try_recv().ok();
            }
            self.tell(log.retry(Instant::now()));
            self.note_length(log.len_bytes());
            if let Some(ticket) = log.begin_sync(Instant::now()) {
                self.sync(ticket);
            }
        }
    }

    fn note_length(&self, bytes: u64) {
        self.backlog.recorded_bytes.fetch_max(bytes.saturating_sub(self.begins), Ordering::Relaxed);
    }

    fn finish<S: SharedStore>(&self, log: DurableLog<S>) -> (Result<(), LogError>, Option<Trouble>) {
        let (result, told) = log.finish();
        (result.map(|(_, length)| self.note_length(length)), told)
    }

    fn tell(&self, trouble: Option<Trouble>) {
        if let Some(trouble) = trouble {
            // Whoever listens may be gone; the log is written all the same.
            let _ = self.tell.send(trouble);
        }
    }

    /// Syncs on a thread of its own: writing goes on, and a slow sync does not delay the next.
    fn sync(&self, ticket: SyncTicket) {
        let (syncer, back) = (Arc::clone(&self.syncer), self.to_self.clone());
        let sync = move || {
            // An error means that the recorder has finished, with a sync of its own.
            let _ = back.send(Message::Synced(ticket, syncer.sync()));
        };
        if let Err(error) = thread::Builder::new().name("sync".into()).spawn(sync) {
            // Without a thread to be had it is done here.
            tracing::debug!(%error, "No thread for a sync.");
            let _ = self.to_self.send(Message::Synced(ticket, self.syncer.sync()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::SYNC_EVERY;
    use super::super::model::{Disk, arrival};
    use super::*;
    use peakorder_protocol::log::FindingKind;

    fn started(disk: &Disk) -> Recorder {
        Recorder::start(LogWriter::new(disk.clone()).unwrap(), WhenFull::Drop).unwrap()
    }

    fn batch(i: u64) -> Arc<Vec<Record>> {
        Arc::new(vec![arrival(i)])
    }

    #[test]
    fn a_slow_sync_delays_no_write_and_what_it_covers_is_freed() {
        let disk = Disk::with_room(1 << 20);
        disk.change(|d| d.sync_takes = Duration::from_millis(600));
        let mut recorder = started(&disk);
        let start = Instant::now();
        for i in 0..40 {
            recorder.push(&batch(i));
            thread::sleep(Duration::from_millis(10));
            let behind = i + 1 - disk.read().0.len() as u64;
            // A busy machine may let the thread wait a little; a sync would hold it for 60 records.
            assert!(behind < 30, "{behind} records behind after {:?}", start.elapsed());
        }
        assert!(recorder.backlog().fill() > 0.0, "nothing is safe yet");
        let due = Instant::now() + SYNC_EVERY + Duration::from_secs(20);
        while recorder.backlog().fill() > 0.0 {
            assert!(Instant::now() < due, "a sync frees what it covers");
            thread::sleep(Duration::from_millis(10));
        }
        assert!(recorder.finish().0.is_ok());
        assert_eq!(disk.read(), ((0..40).map(arrival).collect(), Vec::new()));
    }

    #[test]
    fn what_does_not_fit_the_memory_is_one_gap_that_readers_find() {
        let disk = Disk::with_room(1 << 20);
        disk.change(|d| d.sync_fails = true);
        let mut recorder = started(&disk);
        recorder.room_bytes = 100 * size(&Item::Records(batch(0)));
        let mut told: Vec<Trouble> = (0..300).filter_map(|i| recorder.push(&batch(i))).collect();
        assert_eq!(told, [Trouble::NoRoomToWait]);
        disk.change(|d| d.sync_fails = false);
        while recorder.backlog().fill() > 0.0 {
            thread::sleep(Duration::from_millis(10));
        }
        recorder.push(&batch(300));
        let (result, last) = recorder.finish();
        assert!(result.is_ok());
        told.extend(last);
        let (records, findings) = disk.read();
        let missing = 301 - records.len() as u64;
        let gap = Trouble::RecordingAgain { dropped: missing, missing_ms: (missing - 1) * 10 };
        assert_eq!(told.last(), Some(&gap), "{told:?}");
        assert!(matches!(findings[..], [FindingKind::SequenceGap { .. }]), "{findings:?}");
        let kept = records.len() as u64 - 1;
        assert_eq!(records, (0..kept).chain([300]).map(arrival).collect::<Vec<_>>(), "one gap");
    }

    #[test]
    fn a_source_that_can_wait_waits() {
        let disk = Disk::with_room(usize::MAX);
        disk.change(|d| d.sync_takes = Duration::from_millis(20));
        let log = LogWriter::new(disk.clone()).unwrap();
        let mut recorder = Recorder::start(log, WhenFull::Wait).unwrap();
        recorder.room_bytes = 10 * size(&Item::Records(batch(0)));
        let most = (0..100)
            .map(|i| {
                recorder.push(&batch(i));
                recorder.backlog.lock().bytes
            })
            .max();
        assert!(most <= Some(recorder.room_bytes + size(&Item::Records(batch(0)))), "{most:?}");
        assert!(recorder.finish().0.is_ok());
        assert_eq!(disk.read().0.len(), 100);
    }
}
