//! The lesson that is being recorded, noted so that it is found again after a kill or a power cut.

use super::{Library, LibraryError};
use crate::serve::toml_file;
use serde::{Deserialize, Serialize};
use std::io;
use std::path::PathBuf;

const FILE: &str = "running.toml";

/// What it takes to go on with a lesson, besides its session folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RunningNote {
    /// Session id.
    pub session: String,
    /// Label of the block that others are compared with.
    pub baseline_block: String,
    /// What virtual straps are drawn from; absent where straps are worn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed: Option<i64>,
}

impl Library {
    fn running_path(&self) -> PathBuf {
        self.folder.join(FILE)
    }

    /// Notes the lesson that begins.
    pub fn note_running(&self, note: &RunningNote) -> Result<(), LibraryError> {
        let path = self.running_path();
        toml_file::write(&path, note).map_err(LibraryError::at(&path))
    }

    /// The lesson that was never ended, if there is one.
    pub fn running_note(&self) -> Option<RunningNote> {
        let path = self.running_path();
        if !path.exists() {
            return None;
        }
        toml_file::read(&path)
            .inspect_err(|why| {
                tracing::warn!("{}: {why}; which lesson was interrupted is not known", path.display());
            })
            .ok()
    }

    /// The lesson has ended.
    pub fn clear_running(&self) -> Result<(), LibraryError> {
        let path = self.running_path();
        match std::fs::remove_file(&path) {
            Err(why) if why.kind() != io::ErrorKind::NotFound => Err(LibraryError::at(&path)(why)),
            _ => Ok(()),
        }
    }
}
