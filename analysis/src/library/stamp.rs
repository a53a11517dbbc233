//! Whether a file changed since it was read, told without reading it.

use crate::hex::in_hex;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use std::fs::Metadata;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

/// A file written less than this before it was read may be written again without a new time: file systems count time in
/// steps, the coarsest in use (FAT) in two seconds.
const STEP_NS: i64 = 2_000_000_000;

/// Times and size of a file: when it was written, when anything of it changed (where the system knows), its bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct FileStamp(i64, i64, u64);

impl FileStamp {
    /// Of the file at `path`; `None` where there is none.
    pub fn of(path: &Path) -> Option<Self> {
        path.metadata().ok().map(|m| Self::from(&m))
    }

    /// Whether the file was written so shortly before `read_ns` (or after) that it may change without a new stamp.
    pub fn is_young(self, read_ns: i64) -> bool {
        (self.0 - read_ns).abs() < STEP_NS
    }
}

impl From<&Metadata> for FileStamp {
    fn from(meta: &Metadata) -> Self {
        let written = meta.modified().map_or(0, since_1970_ns);
        Self(written, changed_ns(meta), meta.len())
    }
}

/// A restored copy has the time and size of the file before it was damaged; this time it cannot have.
#[cfg(unix)]
fn changed_ns(meta: &Metadata) -> i64 {
    use std::os::unix::fs::MetadataExt as _;
    meta.ctime().saturating_mul(1_000_000_000).saturating_add(meta.ctime_nsec())
}

#[cfg(not(unix))]
fn changed_ns(_: &Metadata) -> i64 {
    0
}

fn since_1970_ns(time: SystemTime) -> i64 {
    match time.duration_since(UNIX_EPOCH) {
        Ok(after) => after.as_nanos() as i64,
        Err(before) => -(before.duration().as_nanos() as i64),
    }
}

/// The computer's time, as stamps count it.
pub fn now_ns() -> i64 {
    since_1970_ns(SystemTime::now())
}

/// Names and stamps of the `.json` files in a folder as one number, and whether one of them is young.
pub(crate) fn of_files(folder: &Path, read_ns: i64) -> (String, bool) {
    let mut files: Vec<(std::ffi::OsString, Option<FileStamp>)> = Vec::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.extension().is_some_and(|e| e == "json") {
            files.push((entry.file_name(), FileStamp::of(&path)));
        }
    }
    files.sort();
    let mut hash = Sha256::new();
    let mut young = false;
    for (name, stamp) in files {
        let FileStamp(written, changed, bytes) = stamp.unwrap_or(FileStamp(0, 0, 0));
        young |= stamp.is_some_and(|s| s.is_young(read_ns));
        hash.update(name.as_encoded_bytes());
        // No file name has a zero byte.
        hash.update([0]);
        hash.update(written.to_le_bytes());
        hash.update(changed.to_le_bytes());
        hash.update(bytes.to_le_bytes());
    }
    (in_hex(&hash.finalize()[..16]), young)
}
