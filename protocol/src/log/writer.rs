//! Appending to a log.

use super::frame::{self, FRAME_HEADER_LEN, PAYLOAD_LIMIT};
use super::{LogError, Record, wire};
use crate::files::{self, private_file};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Seek as _, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;

/// Where a log is written to. A trait so that tests can make it fail.
pub trait Store: Write {
    /// Makes what was written survive a power cut.
    fn sync(&mut self) -> io::Result<()>;

    /// Cuts off what was written after the first `length` bytes.
    fn cut(&mut self, length: u64) -> io::Result<()>;
}

/// Syncs a store from another thread, so that writing goes on meanwhile.
pub trait Syncer: Send + Sync {
    /// Makes what was written before the call survive a power cut.
    fn sync(&self) -> io::Result<()>;
}

/// A store that can be synced from another thread.
pub trait SharedStore: Store {
    /// A second hand on the same store.
    fn syncer(&self) -> io::Result<Arc<dyn Syncer>>;
}

impl Syncer for File {
    fn sync(&self) -> io::Result<()> {
        self.sync_data()
    }
}

impl SharedStore for File {
    fn syncer(&self) -> io::Result<Arc<dyn Syncer>> {
        Ok(Arc::new(self.try_clone()?))
    }
}

impl Store for File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.set_len(length)?;
        self.seek(SeekFrom::Start(length)).map(drop)
    }
}

/// A place between two frames of a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct LogPosition {
    pub(super) len_bytes: u64,
    pub(super) next_sequence: u64,
}

/// Appends frames to a log. It keeps no time: the caller syncs (every 0.25 s).
#[derive(Debug)]
pub struct LogWriter<S: Store = File> {
    store: S,
    len_bytes: u64,
    next_sequence: u64,
    /// Why the log takes no more records.
    failed: Option<String>,
    /// Kept between calls so that a running session allocates nothing.
    buffer: Vec<u8>,
}

impl LogWriter<File> {
    /// Creates `path`, readable by its owner only, and writes the file header.
    /// An existing file is refused. The file stays locked until the writer is dropped, so
    /// that others can tell that it is being recorded (see [`is_being_written`]).
    pub fn create(path: &Path) -> Result<Self, LogError> {
        let file = private_file(path, OpenOptions::new().write(true).create_new(true)).map_err(|source| {
            if source.kind() == io::ErrorKind::AlreadyExists {
                LogError::Exists(path.to_owned())
            } else {
                LogError::Open { path: path.to_owned(), source }
            }
        })?;
        // Some file systems cannot lock. The log itself is none the worse for it.
        let _ = file.try_lock();
        let mut log = Self::new(file)?;
        log.sync()?;
        sync_folder_of(path);
        Ok(log)
    }

    /// Goes on with the log at `path` behind `end`, where a reader found its last whole frame: what a kill left after it
    /// is cut off, and readers find a gap in the frames' numbers. Refused while another writer has it.
    pub fn reopen(path: &Path, end: LogPosition) -> Result<Self, LogError> {
        let open = |source| LogError::Open { path: path.to_owned(), source };
        let file = files::open_regular(path, OpenOptions::new().write(true)).map_err(open)?;
        if let Err(TryLockError::WouldBlock) = file.try_lock() {
            return Err(open(io::ErrorKind::ResourceBusy.into()));
        }
        // A kill while the file header was written leaves nothing to go on with.
        if end.len_bytes < frame::FILE_HEADER_LEN as u64 {
            file.set_len(0).map_err(open)?;
            let mut log = Self::new(file)?;
            log.sync()?;
            return Ok(log);
        }
        let mut log = Self { store: file, len_bytes: 0, next_sequence: 0, failed: None, buffer: Vec::new() };
        log.resume_at(end)?;
        log.mark_gap();
        Ok(log)
    }
}

/// Whether a writer of this or another program has the log at `path` open.
pub fn is_being_written(path: &Path) -> bool {
    files::open(path).is_ok_and(|file| matches!(file.try_lock_shared(), Err(TryLockError::WouldBlock)))
}

impl<S: Store> LogWriter<S> {
    /// Writes the file header to an empty store.
    pub fn new(store: S) -> Result<Self, LogError> {
        let mut log = Self { store, len_bytes: 0, next_sequence: 0, failed: None, buffer: Vec::new() };
        log.buffer.extend_from_slice(&frame::file_header());
        log.write_buffer()?;
        Ok(log)
    }

    /// Appends the records as one frame (more only when they exceed a frame's limit), each
    /// frame with one write. After an error other than [`LogError::TooLarge`] the log
    /// refuses all further records until [`LogWriter::resume`].
    pub fn append(&mut self, records: &[Record]) -> Result<(), LogError> {
        self.refuse_if_failed()?;
        const LIMIT: usize = PAYLOAD_LIMIT - wire::COUNT_LEN;
        // Checked for all before the first is written: nothing or everything.
        if let Some(bytes) = records.iter().map(wire::record_len).find(|&n| n > LIMIT) {
            return Err(LogError::TooLarge { bytes, limit: LIMIT });
        }
        let before = (self.len_bytes, self.next_sequence);
        let result = self.append_frames(records, LIMIT);
        if result.is_err() {
            // After `resume` the same records can be appended again.
            (self.len_bytes, self.next_sequence) = before;
        }
        result
    }

    fn append_frames(&mut self, records: &[Record], limit: usize) -> Result<(), LogError> {
        let mut rest = records;
        while !rest.is_empty() {
            let mut length = 0;
            let fits = rest
                .iter()
                .take_while(|r| {
                    length += wire::record_len(r);
                    length <= limit
                })
                .count();
            let (batch, later) = rest.split_at(fits);
            self.append_frame(batch)?;
            rest = later;
        }
        Ok(())
    }

    fn append_frame(&mut self, batch: &[Record]) -> Result<(), LogError> {
        self.buffer.clear();
        self.buffer.resize(FRAME_HEADER_LEN, 0);
        wire::encode_batch(batch, &mut self.buffer);
        frame::seal(&mut self.buffer, self.next_sequence);
        self.write_buffer()?;
        self.next_sequence += 1;
        Ok(())
    }

    /// Makes everything appended so far survive a power cut.
    pub fn sync(&mut self) -> Result<(), LogError> {
        self.refuse_if_failed()?;
        let result = self.store.flush().and_then(|()| self.store.sync());
        self.note(result)
    }

    /// Where the log stands.
    pub fn position(&self) -> LogPosition {
        LogPosition { len_bytes: self.len_bytes, next_sequence: self.next_sequence }
    }

    /// Takes records again after a failed write: cuts off what it may have left.
    pub fn resume(&mut self) -> Result<(), LogError> {
        self.resume_at(self.position())
    }

    /// Takes records again after a failed write or sync: cuts off what came after `position`, an
    /// earlier [`position`](Self::position) of this log, and goes on from there.
    pub fn resume_at(&mut self, position: LogPosition) -> Result<(), LogError> {
        let result = self.store.cut(position.len_bytes);
        self.note(result)?;
        (self.len_bytes, self.next_sequence) = (position.len_bytes, position.next_sequence);
        self.failed = None;
        Ok(())
    }

    /// Records were lost here: readers will find a gap in the frames' numbers.
    pub fn mark_gap(&mut self) {
        self.next_sequence += 1;
    }

    /// Bytes written so far.
    pub fn len_bytes(&self) -> u64 {
        self.len_bytes
    }

    /// A second hand on the store, which syncs it from another thread.
    pub fn syncer(&self) -> io::Result<Arc<dyn Syncer>>
    where
        S: SharedStore,
    {
        self.store.syncer()
    }

    /// Syncs and hands the store back.
    pub fn finish(mut self) -> Result<S, LogError> {
        self.sync()?;
        Ok(self.store)
    }

    fn write_buffer(&mut self) -> Result<(), LogError> {
        let result = self.store.write_all(&self.buffer);
        self.note(result)?;
        self.len_bytes += self.buffer.len() as u64;
        Ok(())
    }

    /// A failed write may have left half a frame, and a failed sync may have dropped pages
    /// that were taken as written: what comes after either cannot be vouched for.
    fn note(&mut self, result: io::Result<()>) -> Result<(), LogError> {
        result.map_err(|source| {
            self.failed = Some(source.to_string());
            LogError::Write { offset: self.len_bytes, source }
        })
    }

    fn refuse_if_failed(&self) -> Result<(), LogError> {
        match &self.failed {
            Some(reason) => Err(LogError::Failed { offset: self.len_bytes, reason: reason.clone() }),
            None => Ok(()),
        }
    }
}

/// Makes the new file's name survive a power cut. Best effort: some file systems cannot
/// sync a folder, and the log itself is none the worse for it.
#[cfg(unix)]
fn sync_folder_of(path: &Path) {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if let Ok(folder) = File::open(folder) {
        folder.sync_all().unwrap_or(());
    }
}

#[cfg(not(unix))]
fn sync_folder_of(_: &Path) {}
