//! A CSV file's lines, of whatever system, in bounded memory; and what a file is instead of CSV.

use super::ImportError;
use peakorder_protocol::text::excerpt;
use std::io::{self, Cursor, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// A line (or a quoted cell over several) may have so many bytes.
const LINE_LIMIT_BYTES: u64 = 1 << 20;
/// Bytes asked from the file at a time.
const BUFFER_BYTES: usize = 1 << 16;
/// The first bytes, by which a file is judged.
const HEAD_BYTES: u64 = 4096;

/// Rows of a CSV file with a header.
pub(super) struct Table<R: Read> {
    path: PathBuf,
    reader: csv::Reader<Lines<R>>,
    /// Bytes that may be read before the current line must have ended.
    allowed: Arc<AtomicU64>,
    header: Vec<String>,
    /// The first line below the header as it stands, for hints.
    first_line: String,
}

impl<R: Read> Table<R> {
    /// Reads the header. `ragged`: rows may be shorter or longer than it.
    pub(super) fn new(path: &Path, mut input: R, ragged: bool) -> Result<Self, ImportError> {
        let mut head = Vec::new();
        input
            .by_ref()
            .take(HEAD_BYTES)
            .read_to_end(&mut head)
            .map_err(|source| ImportError::Io { path: path.to_owned(), source })?;
        let content = |problem: String| ImportError::Content { path: path.to_owned(), line: None, problem };
        if let Some(problem) = not_csv(&head) {
            return Err(content(problem.into()));
        }
        let first_line = second_line(&head);
        let allowed = Arc::new(AtomicU64::new(0));
        let lines = Lines {
            newline_is_cr: !head.contains(&b'\n'),
            head: Cursor::new(head),
            input,
            given: 0,
            allowed: Arc::clone(&allowed),
        };
        let reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .flexible(ragged)
            .buffer_capacity(BUFFER_BYTES)
            .from_reader(lines);
        let mut table = Self { path: path.to_owned(), reader, allowed, header: Vec::new(), first_line };
        table.allow_a_line();
        let header = table.reader.byte_headers().cloned().map_err(|e| table.failed(&e, 1))?;
        table.header = header.iter().map(|name| String::from_utf8_lossy(name).into_owned()).collect();
        Ok(table)
    }

    /// The columns' names.
    pub(super) fn header(&self) -> &[String] {
        &self.header
    }

    /// Reads the next row; false at the end of the file.
    pub(super) fn next(&mut self, row: &mut csv::ByteRecord) -> Result<bool, ImportError> {
        self.allow_a_line();
        let line = self.reader.position().line();
        self.reader.read_byte_record(row).map_err(|e| self.failed(&e, line))
    }

    /// Bytes read so far.
    pub(super) fn bytes_read(&self) -> u64 {
        self.reader.position().byte()
    }

    /// Why the columns looked for are not in the header, if it can be told, and what to do.
    pub(super) fn header_hint(&self, wanted: &[&str]) -> Option<String> {
        let joined = self.header.join(",");
        let has = |separator: char| joined.contains(separator);
        let decimal_commas = || {
            let commas = self.first_line.split([';', '\t']).filter(|v| has_decimal_comma(v.trim())).count();
            if commas > 0 { ", and the numbers have decimal commas" } else { "" }
        };
        let separated = |by: &str| {
            format!(
                "the values are separated by {by}{}; export with commas between values and points in numbers",
                decimal_commas()
            )
        };
        if has(';') {
            return Some(separated("semicolons"));
        }
        if has('\t') {
            return Some(separated("tabs"));
        }
        let same = |a: &str, b: &str| a.trim().to_lowercase() == b;
        let (found, name) = self
            .header
            .iter()
            .find_map(|have| Some((have, wanted.iter().find(|w| have != *w && same(have, w))?)))?;
        Some(format!("the column {} is to be named {name}, in small letters; rename it", excerpt(found)))
    }

    fn allow_a_line(&self) {
        let consumed = self.reader.position().byte();
        self.allowed.store(consumed + LINE_LIMIT_BYTES + BUFFER_BYTES as u64, Ordering::Relaxed);
    }

    fn failed(&self, error: &csv::Error, began: u64) -> ImportError {
        let at = error.position().map(csv::Position::line);
        let content =
            |line, problem| ImportError::Content { path: self.path.clone(), line: Some(line), problem };
        match error.kind() {
            csv::ErrorKind::UnequalLengths { expected_len, len, .. } => content(
                at.unwrap_or(began),
                format!(
                    "this line has {len} values, the header names {expected_len}; {}",
                    if len > expected_len {
                        "if its numbers have decimal commas, export them with decimal points, else repair the line"
                    } else {
                        "the file may be cut short or mixed up: export it again"
                    }
                ),
            ),
            csv::ErrorKind::Io(source) if is_endless(source) => content(
                began,
                format!(
                    "a line or a quoted value begins near here and does not end within {LINE_LIMIT_BYTES} bytes; the file is damaged or is not CSV"
                ),
            ),
            csv::ErrorKind::Io(source) => ImportError::Io {
                path: self.path.clone(),
                source: io::Error::new(source.kind(), source.to_string()),
            },
            _ => content(at.unwrap_or(began), error.to_string()),
        }
    }
}

/// What a file is instead of CSV by its first bytes, and what to do.
fn not_csv(head: &[u8]) -> Option<&'static str> {
    let zeros: usize = head.iter().map(|b| usize::from(*b == 0)).sum();
    if head.starts_with(&[0xff, 0xfe]) || head.starts_with(&[0xfe, 0xff]) {
        return Some("this is UTF-16 text; save it as UTF-8");
    }
    if head.starts_with(b"PK\x03\x04") {
        return Some("this is a workbook or an archive; save its table as CSV in UTF-8");
    }
    if head.starts_with(&[0x1f, 0x8b]) {
        return Some("this is compressed with gzip; unpack it first");
    }
    match zeros {
        0 => None,
        // Every second byte of Latin text in UTF-16 is zero.
        _ if zeros * 3 > head.len() && zeros * 3 < head.len() * 2 => {
            Some("this looks like UTF-16 text; save it as UTF-8")
        }
        _ => Some("this is not text; name a CSV file in UTF-8"),
    }
}

/// The second line of the head; empty if there is none.
fn second_line(head: &[u8]) -> String {
    String::from_utf8_lossy(head)
        .split(['\n', '\r'])
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .nth(1)
        .unwrap_or_default()
        .to_owned()
}

/// `0,01`: a number if the comma were a point.
pub(super) fn has_decimal_comma(value: &str) -> bool {
    value.matches(',').count() == 1 && value.replace(',', ".").parse::<f64>().is_ok()
}

/// A line is longer than any of a table of samples.
#[derive(Debug, thiserror::Error)]
#[error("a line does not end")]
struct Endless;

fn is_endless(error: &io::Error) -> bool {
    error.get_ref().and_then(|cause| cause.downcast_ref::<Endless>()).is_some()
}

/// The file with `\n` at the end of each line, whatever it has itself: the reader of the table counts
/// lines by it. Not more is given than is allowed, so that nothing without end is kept in memory.
struct Lines<R> {
    head: Cursor<Vec<u8>>,
    input: R,
    /// Lines end in a carriage return alone.
    newline_is_cr: bool,
    given: u64,
    allowed: Arc<AtomicU64>,
}

impl<R: Read> Read for Lines<R> {
    fn read(&mut self, to: &mut [u8]) -> io::Result<usize> {
        let left = self.allowed.load(Ordering::Relaxed).saturating_sub(self.given);
        if left == 0 && !to.is_empty() {
            return Err(io::Error::new(io::ErrorKind::InvalidData, Endless));
        }
        let room = to.len().min(usize::try_from(left).unwrap_or(usize::MAX));
        let to = &mut to[..room];
        loop {
            let mut read = self.head.read(to)?;
            if read == 0 {
                read = self.input.read(to)?;
            }
            if read == 0 {
                return Ok(0);
            }
            let kept = if self.newline_is_cr {
                to[..read].iter_mut().filter(|b| **b == b'\r').for_each(|b| *b = b'\n');
                read
            } else {
                without_cr(&mut to[..read])
            };
            if kept > 0 {
                self.given += kept as u64;
                return Ok(kept);
            }
        }
    }
}

/// Moves what is no carriage return to the front; returns how many bytes that is.
fn without_cr(bytes: &mut [u8]) -> usize {
    if !bytes.contains(&b'\r') {
        return bytes.len();
    }
    let mut kept = 0;
    for i in 0..bytes.len() {
        if bytes[i] != b'\r' {
            bytes[kept] = bytes[i];
            kept += 1;
        }
    }
    kept
}
