//! Which datasets a library's sessions went into, so that forgetting a player reaches them.
//!
//! `LIBRARY/datasets.txt` has one folder a line. A dataset keeps, for each player who was forgotten, an empty file in `forgotten/`
//! whose name is the SHA-256 of the player's id: no session of the player is added again, and copies of files that
//! come back are known.

use crate::hex::in_hex;
use peakorder_protocol::files::{Lasting, private_file, read_text, replace};
use sha2::{Digest as _, Sha256};
use std::fs::{self, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

/// The list's name in a library.
pub const DATASETS_FILE: &str = "datasets.txt";
/// The file that says what a dataset is.
pub const DATASET_FILE: &str = "dataset.json";
/// Folder of marks in a dataset.
const FORGOTTEN: &str = "forgotten";
const LIMIT_BYTES: u64 = 1 << 20;

/// Whether a folder is a library: it has players and sessions.
pub fn is_library(folder: &Path) -> bool {
    folder.join("players").is_dir() && folder.join("sessions").is_dir()
}

/// The datasets that sessions of the library went into.
pub fn datasets_of(library: &Path) -> io::Result<Vec<PathBuf>> {
    match read_text(&library.join(DATASETS_FILE), LIMIT_BYTES) {
        Ok(text) => Ok(text.lines().filter(|l| !l.trim().is_empty()).map(PathBuf::from).collect()),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        Err(e) => Err(e),
    }
}

/// Notes that sessions of the library go into a dataset.
pub fn note_dataset(library: &Path, dataset: &Path) -> io::Result<()> {
    let dataset = fs::canonicalize(dataset)?;
    let Some(text) = dataset.to_str().filter(|t| !t.contains('\n')) else {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "its path is not text of one line"));
    };
    let mut known = datasets_of(library)?;
    if known.contains(&dataset) {
        return Ok(());
    }
    known.push(PathBuf::from(text));
    let lines: String = known.iter().filter_map(|p| p.to_str()).flat_map(|p| [p, "\n"]).collect();
    replace(&library.join(DATASETS_FILE), lines.as_bytes(), Lasting::Synced)
}

/// The file that says that a player was forgotten in a dataset.
pub fn mark_of(dataset: &Path, player: &str) -> PathBuf {
    dataset.join(FORGOTTEN).join(in_hex(&Sha256::digest(player.as_bytes())))
}

/// Marks a player as forgotten. What the dataset has of the player is there until `peakorder dataset forget` or `compact` removes it.
pub fn mark(dataset: &Path, player: &str) -> io::Result<()> {
    if !dataset.join(DATASET_FILE).is_file() {
        return Err(io::Error::new(io::ErrorKind::NotFound, "there is no dataset any more"));
    }
    fs::create_dir_all(dataset.join(FORGOTTEN))?;
    let path = mark_of(dataset, player);
    private_file(&path, OpenOptions::new().write(true).create(true).truncate(false))?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_library_knows_its_datasets_once_each_and_a_dataset_whom_it_forgot() {
        let folder = tempfile::tempdir().unwrap();
        let (library, dataset) = (folder.path().join("library"), folder.path().join("data set"));
        for dir in [&library, &dataset] {
            fs::create_dir(dir).unwrap();
        }
        assert_eq!(datasets_of(&library).unwrap(), Vec::<PathBuf>::new());
        for _ in 0..2 {
            note_dataset(&library, &dataset).unwrap();
        }
        assert_eq!(datasets_of(&library).unwrap(), [fs::canonicalize(&dataset).unwrap()]);
        assert!(mark(&dataset, "abc").is_err(), "it is no dataset yet");
        fs::write(dataset.join(DATASET_FILE), "{}").unwrap();
        mark(&dataset, "abc").unwrap();
        // SHA-256 of "abc": FIPS 180-2, appendix B.1.
        let name = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert!(dataset.join("forgotten").join(name).is_file());
    }
}
