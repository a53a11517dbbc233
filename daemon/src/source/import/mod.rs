//! CSV files of any logger → records, as if recorded live.
//!
//! Columns are named and may stand in any order: `time_s`, `gyro_{x,y,z}_{dps|rad_s}`,
//! `accel_{x,y,z}_{g|m_s2}`. Files are read side by side in order of time, so memory does
//! not grow with their size.

mod audit;
mod columns;
mod digest;
mod marks;
mod samples;
mod table;

pub use digest::{FileHash, hash, session_id};
pub use marks::{marks_from, read_marks};
pub use samples::SampleFile;

use peakorder_protocol::Role;
use peakorder_protocol::import_warning::ImportWarning;
use peakorder_protocol::log::{Arrival, Mark, Record};
use peakorder_protocol::packet::common_clock::{self, Sample};
use std::collections::VecDeque;
use std::path::PathBuf;

/// Why a file could not be imported; every message says where and what to do.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// The file could not be opened or read.
    #[error("{}: {source}", path.display())]
    Io {
        /// File.
        path: PathBuf,
        /// Cause.
        source: std::io::Error,
    },
    /// The file's content is not what was promised.
    #[error("{}{}: {problem}", path.display(), line.map(|n| format!(", line {n}")).unwrap_or_default())]
    Content {
        /// File.
        path: PathBuf,
        /// Line, 1-based.
        line: Option<u64>,
        /// What is wrong and what to do.
        problem: String,
    },
    /// Two straps were not recorded at the same time.
    #[error(
        "the {first} file ({first_from:.3} to {first_to:.3} s) and the {second} file ({second_from:.3} to \
         {second_to:.3} s) do not overlap in time; put both on one common clock"
    )]
    NoOverlap {
        /// Strap that ends first.
        first: Role,
        /// Its first time, s.
        first_from: f64,
        /// Its last time, s.
        first_to: f64,
        /// Strap that begins later.
        second: Role,
        /// Its first time, s.
        second_from: f64,
        /// Its last time, s.
        second_to: f64,
    },
}

/// Rows of one strap handed over at once.
const BLOCK: usize = 16;
/// … or after this much time, s.
const BLOCK_S: f64 = 0.05;
/// Times up to this are taken to be session seconds as they are; beyond, they are wall-clock
/// seconds and the first sample becomes 0.
const SESSION_TIME_MAX_S: f64 = 1e6;

/// Merges sample files and marks into records.
pub struct Import {
    files: Vec<SampleFile>,
    /// Samples of each file not handed over yet.
    blocks: Vec<Vec<Sample>>,
    marks: VecDeque<(f64, Mark)>,
    shift_s: f64,
    error: Option<ImportError>,
}

impl Import {
    /// Opens the files' first samples. `marks` carry times of the same clock.
    pub fn new(files: Vec<SampleFile>, marks: Vec<(f64, Mark)>) -> Self {
        let first_s = files.iter().map(SampleFile::first_s).fold(f64::INFINITY, f64::min);
        let shift_s = if (0.0..SESSION_TIME_MAX_S).contains(&first_s) { 0.0 } else { first_s };
        Self {
            blocks: vec![Vec::with_capacity(BLOCK); files.len()],
            files,
            marks: marks.into(),
            shift_s,
            error: None,
        }
    }

    /// What was taken off every time to begin the session at 0, s.
    pub fn shift_s(&self) -> f64 {
        self.shift_s
    }

    /// Why the import broke off, if it did.
    pub fn take_error(&mut self) -> Option<ImportError> {
        self.error.take()
    }

    /// Bytes read so far, all files.
    pub fn bytes_read(&self) -> u64 {
        self.files.iter().map(SampleFile::bytes_read).sum()
    }

    /// Things to tell the user once everything was read.
    pub fn notices(&self) -> Vec<String> {
        self.files.iter().filter_map(SampleFile::notice).collect()
    }

    /// What is suspicious about the files, once everything was read.
    pub fn warnings(&self) -> Vec<ImportWarning> {
        self.files.iter().flat_map(SampleFile::warnings).collect()
    }

    fn step(&mut self) -> Result<Option<Record>, ImportError> {
        loop {
            // The strap whose next row is earliest.
            let next = (0..self.files.len())
                .filter_map(|i| self.files[i].peek_s().map(|t| (t, i)))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let Some((t_s, i)) = next else { return Ok(self.drain()) };
            // A block waits for no more than its time, so that marks and other straps' samples
            // come at their place.
            let due = self
                .blocks
                .iter()
                .position(|b| b.first().is_some_and(|s| t_s - self.shift_s - s.t_ns as f64 * 1e-9 > BLOCK_S));
            if let Some(j) = due {
                return Ok(Some(self.block(j)));
            }
            if self.marks.front().is_some_and(|(m, _)| *m <= t_s) {
                return Ok(self.next_mark());
            }
            self.check_overlap(t_s, i)?;
            let row = self.files[i].take()?;
            if let Some(row) = row {
                self.blocks[i].push(Sample {
                    t_ns: ((row.t_s - self.shift_s) * 1e9).round() as i64,
                    gyro_rad_s: row.gyro_rad_s.map(|v| v as f32),
                    acc_m_s2: row.acc_m_s2.map(|v| v as f32),
                });
                if self.blocks[i].len() >= BLOCK {
                    return Ok(Some(self.block(i)));
                }
            }
        }
    }

    /// A file that has ended before another has begun shares no time with it.
    fn check_overlap(&self, t_s: f64, i: usize) -> Result<(), ImportError> {
        if self.files[i].first_s() < t_s {
            return Ok(());
        }
        match self.files.iter().find(|f| f.peek_s().is_none() && f.last_s() < t_s) {
            Some(ended) => Err(ImportError::NoOverlap {
                first: ended.role(),
                first_from: ended.first_s(),
                first_to: ended.last_s(),
                second: self.files[i].role(),
                second_from: t_s,
                second_to: t_s,
            }),
            None => Ok(()),
        }
    }

    fn block(&mut self, i: usize) -> Record {
        let bytes = common_clock::encode(&self.blocks[i]);
        let t_ns = self.blocks[i].last().map_or(0, |s| s.t_ns.max(0) as u64);
        self.blocks[i].clear();
        Record::Arrival(Arrival { t_ns, role: self.files[i].role(), channel: 0, bytes })
    }

    fn next_mark(&mut self) -> Option<Record> {
        let (t_s, mut mark) = self.marks.pop_front()?;
        mark.t_ns = ((t_s - self.shift_s).max(0.0) * 1e9).round() as u64;
        Some(Record::Mark(mark))
    }

    fn drain(&mut self) -> Option<Record> {
        if let Some(i) = self.blocks.iter().position(|b| !b.is_empty()) {
            return Some(self.block(i));
        }
        self.next_mark()
    }
}

impl Iterator for Import {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        if self.error.is_some() {
            return None;
        }
        self.step().unwrap_or_else(|error| {
            self.error = Some(error);
            None
        })
    }
}
