//! The library: players and sessions on disk.
//!
//! ```text
//! LIBRARY/players/<id>.toml      one player
//! LIBRARY/sessions/<id>/         one session folder
//! LIBRARY/devices.toml           devices that are paired (`access::paired_devices`)
//! ```
//!
//! Ids that come with a request are compared with the names that are there and never
//! become part of a path.

mod players;
mod sessions;

pub use players::{NewPlayer, PlayerCard};
pub use sessions::SessionRow;

use anyhow::Context as _;
use etcetera::BaseStrategy as _;
use peakorder_protocol::files::private_dir;
use peakorder_protocol::toml_line;
use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Why something is not to be had from the library.
#[derive(Debug, thiserror::Error)]
pub enum LibraryError {
    /// There is none of that id.
    #[error("{0}")]
    Unknown(String),
    /// What was asked for cannot be as it is.
    #[error("{0}")]
    Refused(String),
    /// Reading or writing failed.
    #[error("{0}")]
    Failed(String),
}

/// Players and sessions under one folder.
pub struct Library {
    players: PathBuf,
    sessions: PathBuf,
    /// One writer of player files at a time.
    writing: Mutex<()>,
    rows: sessions::RowCache,
}

/// The library's own files are small; anything larger is something else.
const FILE_LIMIT_BYTES: u64 = 64 << 10;

/// Reads a file of the library.
pub(super) fn read_toml<T: DeserializeOwned>(path: &Path) -> Result<T, String> {
    let size = path.metadata().map_err(|e| e.to_string())?.len();
    if size > FILE_LIMIT_BYTES {
        return Err(format!("{size} bytes, too large"));
    }
    let text = std::fs::read_to_string(path).map_err(|e| e.to_string())?;
    toml::from_str(&text).map_err(|e| toml_line::explain(&text, &e))
}

/// The platform's folder for this program's data.
pub fn default_folder() -> anyhow::Result<PathBuf> {
    let base = etcetera::choose_base_strategy().context("no data folder; name one with --library DIR")?;
    Ok(base.data_dir().join("peakorder"))
}

impl Library {
    /// Opens the library in `folder` and makes what is missing of it, readable by its
    /// owner only.
    pub fn open(folder: &Path) -> anyhow::Result<Self> {
        let library = Self {
            players: folder.join("players"),
            sessions: folder.join("sessions"),
            writing: Mutex::new(()),
            rows: sessions::RowCache::default(),
        };
        for dir in [folder, &library.players, &library.sessions] {
            private_dir(dir).with_context(|| dir.display().to_string())?;
        }
        Ok(library)
    }
}
