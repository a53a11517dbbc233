//! The library: players and sessions on disk.
//!
//! ```text
//! LIBRARY/players/<id>.toml      one player
//! LIBRARY/sessions/<id>/         one session folder
//! LIBRARY/sessions/.peakorder-index  what is known of many sessions; can be made again from them
//! LIBRARY/in-use.lock          locked by the program that serves the library
//! LIBRARY/running.toml           the lesson that is being recorded; left behind by a kill
//! LIBRARY/devices.toml           paired devices (`access::paired_devices`)
//! ```
//!
//! An id in a request is compared with the names on disk and never becomes part of a path.

mod catalogue;
mod consent;
mod datasets;
mod export;
mod forget;
pub(super) mod players;
mod running;
mod sessions;

pub use catalogue::Reading;
pub use consent::{ConsentEntry, ConsentTo};
pub use export::{ExportError, Exported};
pub use forget::{Kept, KeptSession, Person};
pub use players::{NewPlayer, PlayerCard, PlayerError};
pub use running::RunningNote;
pub(in crate::serve) use sessions::KnownSession;
pub use sessions::{Cursor, Page, Part, SessionRow};

use super::toml_file::TomlFileError;
use crate::config::Config;
use anyhow::{Context as _, bail};
use catalogue::Catalogue;
use etcetera::BaseStrategy as _;
use peakorder_analysis::load::LoadError;
use peakorder_protocol::files::{open_private, private_dir};
use peakorder_protocol::session::SessionError;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// Why the library cannot do what is asked.
#[derive(Debug, thiserror::Error)]
pub enum LibraryError {
    /// No player has that id.
    #[error("there is no such player; read the list again")]
    NoPlayer,
    /// No session has that id.
    #[error("there is no such session; read the list again")]
    NoSession,
    /// No block of the session has that label.
    #[error("session {session} has no such block; it has {}", .blocks.join(", "))]
    NoBlock {
        /// The session.
        session: String,
        /// The blocks that it has.
        blocks: Vec<String>,
    },
    /// What was said of a player cannot be stored.
    #[error(transparent)]
    Player(#[from] PlayerError),
    /// A file of the library cannot be read or written.
    #[error("{}: {why}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: TomlFileError,
    },
    /// A session's folder cannot be read or made.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// A session's swings cannot be read.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// The path of a session cannot be named.
    #[error("{}: the path is not UTF-8; move the library", .0.display())]
    PathNotUtf8(PathBuf),
}

impl LibraryError {
    /// For use with `map_err`: something failed at `path`.
    fn at<E: Into<TomlFileError>>(path: &Path) -> impl FnOnce(E) -> Self + use<'_, E> {
        move |why| Self::File { path: path.to_owned(), why: why.into() }
    }
}

/// Players and sessions under one folder.
pub struct Library {
    folder: PathBuf,
    players: PathBuf,
    sessions: PathBuf,
    /// One writer of player files at a time.
    writing: Mutex<()>,
    catalogue: Arc<Catalogue>,
    cards: players::CardCache,
    /// Locked as long as the library is open for writing: two programs would overwrite each other's files.
    _lock: Option<File>,
}

/// Where the library is if the command line does not say: where `config` has it, in the folder for what the program writes, or
/// else the platform's folder for this program's data.
pub fn default_folder(config: &Config) -> anyhow::Result<PathBuf> {
    if let Some(folder) = &config.serve.library {
        return Ok(folder.clone());
    }
    if let Some(state) = config.state_folder() {
        return Ok(state.join("library"));
    }
    let base = etcetera::choose_base_strategy().context("no data folder; name one with --library DIR")?;
    Ok(base.data_dir().join("peakorder"))
}

fn unusable(folder: &Path) -> String {
    format!(
        "{}: the library cannot be written; give the folder to the user that peakorderd runs as, or name another \
         with --library DIR",
        folder.display()
    )
}

/// Locks the library in `folder` for this program.
fn lock(folder: &Path) -> anyhow::Result<File> {
    let path = folder.join("in-use.lock");
    let file =
        open_private(&path, OpenOptions::new().write(true).create(true).truncate(false)).map_err(|why| {
            match why.kind() {
                ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
                    anyhow::Error::new(why).context(unusable(folder))
                }
                _ => anyhow::Error::new(why).context(path.display().to_string()),
            }
        })?;
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => bail!(
            "{}: another peakorderd serves this library; end it, or name another with --library DIR",
            folder.display()
        ),
        // Some file systems cannot lock. The library itself is none the worse for it.
        Ok(()) | Err(TryLockError::Error(_)) => Ok(file),
    }
}

impl Library {
    /// Opens the library in `folder`. Folders that are missing are made, readable only by
    /// their owner.
    pub fn open(folder: &Path) -> anyhow::Result<Self> {
        // Whole, so that it can be told from the rest of a message.
        let folder = &std::path::absolute(folder).with_context(|| folder.display().to_string())?;
        private_dir(folder).with_context(|| unusable(folder))?;
        let library = Self {
            _lock: Some(lock(folder)?),
            folder: folder.clone(),
            players: folder.join("players"),
            sessions: folder.join("sessions"),
            writing: Mutex::new(()),
            catalogue: Catalogue::of(&folder.join("sessions")),
            cards: players::CardCache::default(),
        };
        for dir in [&library.players, &library.sessions] {
            private_dir(dir).with_context(|| unusable(dir))?;
        }
        if let Err(why) = library.clear_forgotten() {
            tracing::warn!(%why, "A session that was to be forgotten is still there.");
        }
        Ok(library)
    }

    /// Opens a library that is there, to read it; another program may serve it meanwhile.
    pub fn look(folder: &Path) -> anyhow::Result<Self> {
        let folder = &std::path::absolute(folder).with_context(|| folder.display().to_string())?;
        let library = Self {
            _lock: None,
            folder: folder.clone(),
            players: folder.join("players"),
            sessions: folder.join("sessions"),
            writing: Mutex::new(()),
            catalogue: Catalogue::of(&folder.join("sessions")),
            cards: players::CardCache::default(),
        };
        if !(library.players.is_dir() && library.sessions.is_dir()) {
            bail!(
                "{}: no library there; name the folder that peakorderd serve uses with --library DIR",
                folder.display()
            );
        }
        Ok(library)
    }

    /// Begins to look at the sessions, so that the first list need not wait for it.
    pub fn begin_reading(&self) {
        self.catalogue.begin();
    }

    /// Where the library is.
    pub(super) fn folder_path(&self) -> &Path {
        &self.folder
    }
}
