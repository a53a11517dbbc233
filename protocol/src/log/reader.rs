//! Reading a log, whole or damaged.

use super::frame::{self, FILE_HEADER_LEN, FILE_MAGIC, FRAME_HEADER_LEN, FRAME_MAGIC, FileHeader};
use super::{Finding, FindingKind, LogError, LogPosition, Record, wire};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Bytes asked from the input at a time.
const CHUNK: usize = 256 << 10;

/// Streams the records of a log in constant memory.
#[derive(Debug)]
pub struct LogReader<R: Read> {
    input: R,
    /// Bytes read and not yet done with, from `pos` on.
    buf: Vec<u8>,
    pos: usize,
    /// File offset of `buf[0]`.
    base: u64,
    at_end: bool,
    next_sequence: u64,
    /// Where the bytes being skipped began, and what they seem to be.
    skipping: Option<(u64, FindingKind)>,
    findings: Vec<Finding>,
    /// End of the last frame that was taken, or of the file header.
    end_bytes: u64,
}

impl LogReader<File> {
    /// Opens the log at `path`.
    pub fn open(path: &Path) -> Result<Self, LogError> {
        let file =
            crate::files::open(path).map_err(|source| LogError::Open { path: path.to_owned(), source })?;
        Self::new(file)
    }
}

impl<R: Read> LogReader<R> {
    /// Reads and checks the file header. A file that is empty or ends inside the header is
    /// a log whose writer was killed at once: no records and a [`FindingKind::TornTail`].
    pub fn new(input: R) -> Result<Self, LogError> {
        let mut log = Self {
            input,
            buf: Vec::new(),
            pos: 0,
            base: 0,
            at_end: false,
            next_sequence: 0,
            skipping: None,
            findings: Vec::new(),
            end_bytes: 0,
        };
        log.fill(FILE_HEADER_LEN)?;
        match log.buf.first_chunk::<FILE_HEADER_LEN>().map(frame::judge_file_header) {
            Some(FileHeader::Whole { version }) if version <= frame::VERSION => {}
            Some(FileHeader::Whole { version }) => {
                return Err(LogError::NewerVersion { found: version, known: frame::VERSION });
            }
            Some(FileHeader::Damaged) => log.find(0, FILE_HEADER_LEN as u64, FindingKind::DamagedHeader),
            None if log.buf.iter().zip(FILE_MAGIC).all(|(a, b)| *a == b) => {
                log.find(0, log.buf.len() as u64, FindingKind::TornTail);
            }
            Some(FileHeader::Foreign) | None => {
                return Err(LogError::NotALog {
                    found: log.buf[..log.buf.len().min(FILE_MAGIC.len())].to_vec(),
                });
            }
        }
        log.pos = log.buf.len().min(FILE_HEADER_LEN);
        log.end_bytes = log.pos as u64;
        Ok(log)
    }

    /// Replaces the content of `out` by the next frame's records, reusing its buffers.
    /// `Ok(false)`, with `out` empty, at the end of the log.
    pub fn next_batch(&mut self, out: &mut Vec<Record>) -> Result<bool, LogError> {
        loop {
            let available = self.fill(FRAME_HEADER_LEN)?;
            if available == 0 {
                self.end_skipping(None);
                out.clear();
                return Ok(false);
            }
            let Some(header) = self.header_here() else { continue };
            if self.fill(header.total)? < header.total {
                // Either the file ends here or the length is damaged: whole frames may follow.
                self.skip(FindingKind::TornTail);
                continue;
            }
            let offset = self.offset();
            let bytes = &self.buf[self.pos..self.pos + header.total];
            if !header.matches(bytes) {
                self.skip(FindingKind::BadCrc);
                continue;
            }
            if header.version > frame::PAYLOAD_VERSION {
                return Err(LogError::NewerVersion { found: header.version.into(), known: frame::VERSION });
            }
            let whole = wire::decode_batch(header.version, &bytes[FRAME_HEADER_LEN..], out).is_some();
            self.end_skipping(Some(FindingKind::BadCrc));
            self.pos += header.total;
            self.end_bytes = self.offset();
            let (expected, found) = (self.next_sequence, header.sequence);
            if found < expected {
                self.find(offset, header.total as u64, FindingKind::Repeated { expected, found });
                continue;
            }
            if found > expected {
                self.find(offset, 0, FindingKind::SequenceGap { expected, found });
            }
            self.next_sequence = found.saturating_add(1);
            if !whole {
                self.find(offset, header.total as u64, FindingKind::Undecodable);
            } else if !out.is_empty() {
                return Ok(true);
            }
        }
    }

    /// What was skipped or missing so far, in file order; complete after the end was reached.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// Where a writer goes on: behind the last whole frame; complete after the end was reached.
    pub fn end(&self) -> LogPosition {
        LogPosition { len_bytes: self.end_bytes, next_sequence: self.next_sequence }
    }

    /// Byte offset up to which the log was read, for progress displays.
    pub fn offset(&self) -> u64 {
        self.base + self.pos as u64
    }

    /// The frame header at the current position; otherwise skips what is there.
    fn header_here(&mut self) -> Option<frame::FrameHeader> {
        let here = &self.buf[self.pos..];
        let begins = here.iter().zip(FRAME_MAGIC).all(|(a, b)| *a == b);
        match here.first_chunk().map(frame::parse) {
            Some(Some(header)) => return Some(header),
            // The magic with an impossible length is a damaged frame; without it, no frame.
            Some(None) => self.skip(if begins { FindingKind::BadCrc } else { FindingKind::Garbage }),
            None => {
                self.skip(if begins { FindingKind::TornTail } else { FindingKind::Garbage });
                // Too short for a frame, and the end of the file.
                self.pos = self.buf.len();
            }
        }
        None
    }

    /// Gives up the current position and moves to the next place a frame may begin.
    fn skip(&mut self, kind: FindingKind) {
        let offset = self.offset();
        self.skipping.get_or_insert((offset, kind));
        let rest = &self.buf[self.pos + 1..];
        self.pos += 1 + rest.iter().position(|&b| b == FRAME_MAGIC[0]).unwrap_or(rest.len());
    }

    /// Reports the bytes skipped before the current position. With a whole frame after
    /// them they are not the file's torn end; `instead` says what they are then.
    fn end_skipping(&mut self, instead: Option<FindingKind>) {
        if let Some((from, mut kind)) = self.skipping.take() {
            if kind == FindingKind::TornTail {
                kind = instead.unwrap_or(kind);
            }
            self.find(from, self.offset() - from, kind);
        }
    }

    fn find(&mut self, offset: u64, bytes: u64, kind: FindingKind) {
        self.findings.push(Finding { offset, bytes, kind });
    }

    /// Makes at least `want` bytes available if the input has them; returns how many are.
    fn fill(&mut self, want: usize) -> Result<usize, LogError> {
        let available = self.buf.len() - self.pos;
        if available >= want || self.at_end {
            return Ok(available);
        }
        self.buf.drain(..self.pos);
        self.base += self.pos as u64;
        self.pos = 0;
        let ask = (want - available).max(CHUNK);
        let got = self
            .input
            .by_ref()
            .take(ask as u64)
            .read_to_end(&mut self.buf)
            .map_err(|source| LogError::Read { offset: self.base + self.buf.len() as u64, source })?;
        self.at_end = got < ask;
        Ok(self.buf.len())
    }
}
