//! Why nothing was exported. The message says what to do.

use crate::library::FindError;
use crate::load::LoadError;
use peakorder_tables::WriteError;
use std::io;
use std::path::{Path, PathBuf};

/// Why nothing was exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// No session was found where they were said to be.
    #[error(transparent)]
    Find(#[from] FindError),
    /// None of the sessions can be read; this is the first one's trouble.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// Something is there already.
    #[error("{} is already there; name a new folder, for an export replaces nothing", .0.display())]
    Exists(PathBuf),
    /// The file system refuses.
    #[error("{}: {why}; nothing was written", path.display())]
    Io {
        /// What was being read or written.
        path: PathBuf,
        /// The reason.
        why: io::Error,
    },
    /// A table cannot be written.
    #[error("{0}; nothing was written")]
    Write(#[from] WriteError),
    /// A MCAP file cannot be written.
    #[error("{}: {why}; nothing was written", path.display())]
    Mcap {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: mcap::McapError,
    },
    /// Files for import are of one session.
    #[error("files for import are of one session, and here are {0}; name one session folder")]
    SeveralForImport(usize),
    /// Of what was asked for there is nothing.
    #[error("{0}; nothing was written")]
    Nothing(String),
}

impl ExportError {
    pub(super) fn io(path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |why| Self::Io { path, why }
    }
}
