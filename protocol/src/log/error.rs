//! What can go wrong with a log, and what a reader found in one.

use std::fmt;
use std::io;
use std::path::PathBuf;

/// Why a log could not be written or read.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// The file to be created is there already.
    #[error("{} already exists; a recording is never overwritten, name another folder", .0.display())]
    Exists(PathBuf),
    /// The file could not be created or opened.
    #[error("{}: {source}", path.display())]
    Open {
        /// File concerned.
        path: PathBuf,
        /// Cause.
        source: io::Error,
    },
    /// Writing failed; the log takes no more records.
    #[error("writing the recording failed at byte {offset}: {source}; what was written before is kept")]
    Write {
        /// Length of the log before the write that failed.
        offset: u64,
        /// Cause.
        source: io::Error,
    },
    /// An earlier write failed.
    #[error("the recording stopped at byte {offset} because a write failed ({reason})")]
    Failed {
        /// Length of the log before the write that failed.
        offset: u64,
        /// The earlier cause.
        reason: String,
    },
    /// A record does not fit a frame; nothing was written and the log stays usable.
    #[error("a record of {bytes} bytes does not fit a log frame (limit {limit} bytes)")]
    TooLarge {
        /// Encoded size of the record.
        bytes: usize,
        /// Largest size that fits.
        limit: usize,
    },
    /// Reading failed.
    #[error("reading the recording failed at byte {offset}: {source}")]
    Read {
        /// Where.
        offset: u64,
        /// Cause.
        source: io::Error,
    },
    /// The file is something else.
    #[error("this is not a recording log: it begins with {found:02x?}, not \"PEAKOLOG\"")]
    NotALog {
        /// The first bytes.
        found: Vec<u8>,
    },
    /// Written by a newer program.
    #[error(
        "the recording has format version {found}, this program reads up to {known}; update peakorder to open it"
    )]
    NewerVersion {
        /// Version in the file.
        found: u16,
        /// Newest version this program reads.
        known: u16,
    },
}

/// A place in a log where something was skipped or missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Byte offset in the file where it begins.
    pub offset: u64,
    /// Bytes skipped (0 for a gap in the numbering).
    pub bytes: u64,
    /// What it is.
    pub kind: FindingKind,
}

/// Kinds of finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FindingKind {
    /// The file ends inside a frame: the writer was killed or the power went.
    TornTail,
    /// A frame whose checksum does not match its bytes.
    BadCrc,
    /// Bytes that are no frame.
    Garbage,
    /// The file header is damaged; the frames were read nevertheless.
    DamagedHeader,
    /// The checksum is right but the content is not a batch of records.
    Undecodable,
    /// Frame numbers are missing.
    SequenceGap {
        /// Number that should have come.
        expected: u64,
        /// Number that came.
        found: u64,
    },
    /// A frame with a number that was passed already; its records were left out.
    Repeated {
        /// Lowest number that should have come.
        expected: u64,
        /// Number that came.
        found: u64,
    },
}

impl FindingKind {
    /// Whether recorded samples were lost after they were written. The torn end of a killed
    /// session and a gap in the numbering, which a full disk leaves, lack only what never was
    /// in the file.
    pub fn is_damage(self) -> bool {
        match self {
            Self::TornTail | Self::DamagedHeader | Self::SequenceGap { .. } => false,
            Self::BadCrc | Self::Garbage | Self::Undecodable | Self::Repeated { .. } => true,
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { offset, bytes, kind } = self;
        match kind {
            FindingKind::TornTail => {
                write!(f, "byte {offset}: the file ends inside a frame, {bytes} bytes left out")
            }
            FindingKind::BadCrc => {
                write!(f, "byte {offset}: damaged frame (wrong checksum), {bytes} bytes skipped")
            }
            FindingKind::Garbage => {
                write!(f, "byte {offset}: {bytes} bytes are not part of a recording, skipped")
            }
            FindingKind::DamagedHeader => {
                write!(f, "byte {offset}: the file header is damaged, frames read nevertheless")
            }
            FindingKind::Undecodable => {
                write!(f, "byte {offset}: frame of {bytes} bytes does not hold known records, skipped")
            }
            FindingKind::SequenceGap { expected, found } => {
                write!(
                    f,
                    "byte {offset}: {} frame(s) missing (number {found} follows, {expected} expected)",
                    found - expected
                )
            }
            FindingKind::Repeated { expected, found } => {
                write!(
                    f,
                    "byte {offset}: frame number {found} again ({expected} expected), {bytes} bytes left out"
                )
            }
        }
    }
}
