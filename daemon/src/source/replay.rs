//! A recorded session's records.

use peakorder_protocol::log::{Finding, LogError, LogPosition, LogReader, Record};
use std::fs::File;
use std::path::Path;

/// Reads a log record by record. Damage is skipped and kept as findings.
pub struct Replay {
    reader: LogReader<File>,
    batch: std::vec::IntoIter<Record>,
    error: Option<LogError>,
}

impl Replay {
    /// Opens the log at `path`.
    pub fn open(path: &Path) -> Result<Self, LogError> {
        Ok(Self { reader: LogReader::open(path)?, batch: Vec::new().into_iter(), error: None })
    }

    /// Places where the log is damaged.
    pub fn findings(&self) -> &[Finding] {
        self.reader.findings()
    }

    /// Where a writer goes on; complete after the end was reached.
    pub fn end(&self) -> LogPosition {
        self.reader.end()
    }

    /// Byte offset reached.
    pub fn offset(&self) -> u64 {
        self.reader.offset()
    }

    /// Why reading stopped early, if it did.
    pub fn take_error(&mut self) -> Option<LogError> {
        self.error.take()
    }
}

impl Iterator for Replay {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        loop {
            if let Some(record) = self.batch.next() {
                return Some(record);
            }
            let mut batch = Vec::new();
            match self.reader.next_batch(&mut batch) {
                Ok(true) => self.batch = batch.into_iter(),
                Ok(false) => return None,
                Err(error) => {
                    self.error = Some(error);
                    return None;
                }
            }
        }
    }
}
