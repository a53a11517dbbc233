//! The index as a file beside the session folders: `.peakorder-index`.
//!
//! A line that says the format, how many rows follow and their checksum; then one row a line, JSON. It is replaced as a
//! whole, so a reader sees one state or another, and two writers leave that of one of them. It can be removed at any time.

use super::row::Row;
use peakorder_protocol::document::checksum;
use peakorder_protocol::files::{self, Lasting, open_private};
use serde::{Deserialize, Serialize};
use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Name of the file. Hidden, so that `sessions/*` in a shell stays what it was.
pub const INDEX_FILE: &str = ".peakorder-index";
/// Locked while the file is replaced.
const LOCK_FILE: &str = ".peakorder-index.lock";
const FORMAT: &str = "peakorder.index/1";
/// A row has some 700 bytes; this is a library of half a million sessions.
const LIMIT_BYTES: u64 = 512 << 20;
/// Writing it takes some 20 ms. Who holds the lock for longer is stuck.
const PATIENCE: Duration = Duration::from_secs(1);

/// Why the index is not used, or not kept. The answers are right without it, and slow.
#[derive(Debug, thiserror::Error)]
pub enum IndexTrouble {
    /// It is there and cannot be read.
    #[error("{}: {why}; it is left aside, and the session folders are read instead", path.display())]
    NotRead {
        /// The file.
        path: PathBuf,
        /// Why.
        why: NotRead,
    },
    /// It cannot be written.
    #[error(
        "{}: {why}; the index of the sessions is not kept, so that the next look at them takes as long again",
        path.display()
    )]
    NotWritten {
        /// The file.
        path: PathBuf,
        /// Why.
        why: NotWritten,
    },
}

/// Why the file cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum NotRead {
    /// The system refuses.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// Not the bytes that were written.
    #[error("the index of the sessions is damaged")]
    Damaged,
    /// Of another version of this program.
    #[error("another version of peakorder wrote this index of the sessions")]
    Version,
}

/// Why the file cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum NotWritten {
    /// The system refuses.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// Another program holds the lock.
    #[error("another program is writing it")]
    Locked,
}

#[derive(Serialize, Deserialize)]
struct Heading {
    format: String,
    rows: usize,
    crc32c: u32,
}

/// What every version of the file begins with.
#[derive(Deserialize)]
struct AnyHeading {
    format: String,
}

/// The rows in the file of the folder `place`; `None` where there is no file.
pub(super) fn read(place: &Path) -> Option<Result<Vec<Row>, IndexTrouble>> {
    let path = place.join(INDEX_FILE);
    let bytes = match files::read(&path, LIMIT_BYTES) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return None,
        bytes => bytes,
    };
    let rows = bytes.map_err(NotRead::Io).and_then(|b| rows(&b));
    Some(rows.map_err(|why| IndexTrouble::NotRead { path, why }))
}

fn rows(bytes: &[u8]) -> Result<Vec<Row>, NotRead> {
    let end = bytes.iter().position(|b| *b == b'\n').ok_or(NotRead::Damaged)?;
    let (heading, body) = (&bytes[..end], &bytes[end + 1..]);
    let any: AnyHeading = serde_json::from_slice(heading).map_err(|_| NotRead::Damaged)?;
    if any.format != FORMAT {
        return Err(NotRead::Version);
    }
    let heading: Heading = serde_json::from_slice(heading).map_err(|_| NotRead::Damaged)?;
    if checksum(body) != heading.crc32c {
        return Err(NotRead::Damaged);
    }
    let rows: Result<Vec<Row>, _> = serde_json::Deserializer::from_slice(body).into_iter().collect();
    rows.ok().filter(|r| r.len() == heading.rows).ok_or(NotRead::Damaged)
}

/// Whether the file is there.
pub(super) fn exists(place: &Path) -> bool {
    place.join(INDEX_FILE).symlink_metadata().is_ok()
}

/// Replaces the file by `rows`, without those whose folder is gone by now: whoever removed it meant them gone.
pub(super) fn write<'a>(place: &Path, rows: impl Iterator<Item = &'a Arc<Row>>) -> Result<(), IndexTrouble> {
    let path = place.join(INDEX_FILE);
    write_to(place, &path, rows).map_err(|why| IndexTrouble::NotWritten { path, why })
}

fn write_to<'a>(
    place: &Path,
    path: &Path,
    rows: impl Iterator<Item = &'a Arc<Row>>,
) -> Result<(), NotWritten> {
    let _lock = lock(place)?;
    let mut body = Vec::new();
    let mut count = 0;
    for row in rows.filter(|row| place.join(&row.name).is_dir()) {
        serde_json::to_writer(&mut body, &**row).map_err(io::Error::from)?;
        body.push(b'\n');
        count += 1;
    }
    let heading = Heading { format: FORMAT.into(), rows: count, crc32c: checksum(&body) };
    let mut text = serde_json::to_vec(&heading).map_err(io::Error::from)?;
    text.push(b'\n');
    text.append(&mut body);
    Ok(files::replace(path, &text, Lasting::Recomputable)?)
}

fn lock(place: &Path) -> Result<File, NotWritten> {
    let file =
        open_private(&place.join(LOCK_FILE), OpenOptions::new().write(true).create(true).truncate(false))?;
    let begun = Instant::now();
    loop {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) if begun.elapsed() < PATIENCE => {
                std::thread::sleep(Duration::from_millis(20));
            }
            Err(TryLockError::WouldBlock) => return Err(NotWritten::Locked),
            // Some file systems cannot lock.
            Ok(()) | Err(TryLockError::Error(_)) => return Ok(file),
        }
    }
}

/// Removes what a writing that was broken off left.
pub(super) fn remove_part(place: &Path) -> io::Result<()> {
    remove_file(&place.join(format!("{INDEX_FILE}.part")))
}

/// Removes the file, and what a writing that was broken off left of it.
pub(super) fn remove(place: &Path) -> io::Result<()> {
    remove_part(place)?;
    remove_file(&place.join(INDEX_FILE))
}

fn remove_file(path: &Path) -> io::Result<()> {
    match std::fs::remove_file(path) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(e),
        _ => Ok(()),
    }
}
