//! Raw first: records are on disk before they are interpreted.

use peakorder_protocol::log::{LogError, LogWriter, Record};
use std::path::Path;
use std::time::{Duration, Instant};

/// At most this much can be lost to a power cut.
pub const SYNC_EVERY: Duration = Duration::from_millis(250);

/// Writes a session's log and syncs it in time.
pub struct Recorder {
    log: LogWriter,
    synced: Instant,
    dirty: bool,
}

impl Recorder {
    /// Creates the log; an existing one is never overwritten.
    pub fn create(path: &Path) -> Result<Self, LogError> {
        Ok(Self { log: LogWriter::create(path)?, synced: Instant::now(), dirty: false })
    }

    /// Appends `records` and syncs if it is time.
    pub fn append(&mut self, records: &[Record]) -> Result<(), LogError> {
        self.log.append(records)?;
        self.dirty = true;
        self.sync_if_due()
    }

    /// Syncs if anything waits for longer than [`SYNC_EVERY`]; called on a timer as well, so
    /// that silence after a packet does not leave it unsynced.
    pub fn sync_if_due(&mut self) -> Result<(), LogError> {
        if self.dirty && self.synced.elapsed() >= SYNC_EVERY {
            self.log.sync()?;
            self.synced = Instant::now();
            self.dirty = false;
        }
        Ok(())
    }

    /// Syncs and closes.
    pub fn finish(self) -> Result<(), LogError> {
        self.log.finish().map(drop)
    }
}
