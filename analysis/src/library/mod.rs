//! Finding a player's sessions among folders.

mod chosen;
mod file;
pub mod index;
mod persons;
pub mod query;
mod row;
mod stamp;

use crate::load::{LoadError, Loaded};
use index::Progress;
use peakorder_protocol::session::SESSION_FILE;
use std::fmt;
use std::path::{Path, PathBuf};

pub use chosen::{Chosen, Swings, load_known, select};
pub use file::{INDEX_FILE, IndexTrouble, NotRead, NotWritten};
pub use row::{Block, Head, Holds, Row};
pub use stamp::{FileStamp, now_ns};

/// Folder of sessions inside a library.
const SESSIONS: &str = "sessions";
/// How the name of a session folder begins that is being removed.
pub const FORGOTTEN: &str = ".forgotten-";

/// Sessions of one player, earliest first.
#[derive(Debug)]
pub struct Found {
    /// The player's name.
    pub player: String,
    /// The sessions.
    pub sessions: Vec<Loaded>,
    /// Folders that could not be read, each with the reason.
    pub left_out: Vec<String>,
}

/// Why no sessions were found. The message says what to do.
#[derive(Debug)]
pub enum FindError {
    /// A name is not a folder.
    NoFolder(PathBuf),
    /// A folder could not be listed.
    Unreadable(PathBuf, std::io::Error),
    /// No session in any of them.
    NoSession(Vec<PathBuf>),
    /// Sessions of several players, and none was named; or none of the one named.
    Player {
        /// As asked for.
        asked: Option<String>,
        /// Those there are.
        players: Vec<String>,
    },
    /// None of the sessions can be read.
    Nothing(LoadError),
}

impl fmt::Display for FindError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let quoted = |names: &[String]| names.iter().map(|n| format!("'{n}'")).collect::<Vec<_>>().join(", ");
        match self {
            Self::NoFolder(path) => write!(
                f,
                "{}: no such folder; name session folders, or a folder that holds them",
                path.display()
            ),
            Self::Unreadable(path, e) => write!(f, "{}: {e}", path.display()),
            Self::NoSession(paths) => {
                let names: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
                write!(
                    f,
                    "{}: no session in it; name session folders, or a folder that holds them",
                    names.join(", ")
                )
            }
            Self::Player { asked: None, players } => {
                write!(f, "these are sessions of {}; say which with --player", quoted(players))
            }
            Self::Player { asked: Some(asked), players } => {
                write!(f, "no session of '{asked}'; there are those of {}", quoted(players))
            }
            Self::Nothing(e) => e.fmt(f),
        }
    }
}

impl std::error::Error for FindError {}

/// Sessions in `folders`: each a session itself, or a folder that holds sessions directly or
/// in its `sessions/`. A player is who has the id of a library, under whatever names; without
/// one, who has the name, without regard to case. All are loaded: [`select`] does with less.
pub fn find(folders: &[PathBuf], player: Option<&str>) -> Result<Found, FindError> {
    let nobody: Progress<'_> = &|_, _| {};
    Ok(select(folders, player, nobody)?.load_all())
}

/// Wall-clock start in seconds since 1970; 0 where the file's time cannot be read.
pub fn started_s(loaded: &Loaded) -> f64 {
    seconds(&loaded.session.started_utc)
}

fn seconds(started_utc: &str) -> f64 {
    started_utc.parse::<jiff::Timestamp>().map_or(0.0, |t| t.as_second() as f64)
}

/// Where sessions are.
enum Place {
    /// A session itself.
    Session(PathBuf),
    /// A folder that holds sessions.
    Of(PathBuf),
}

fn place(folder: &Path) -> Result<Place, FindError> {
    if !folder.is_dir() {
        return Err(FindError::NoFolder(folder.to_owned()));
    }
    if folder.join(SESSION_FILE).exists() {
        return Ok(Place::Session(folder.to_owned()));
    }
    let inner = folder.join(SESSIONS);
    Ok(Place::Of(if inner.is_dir() { inner } else { folder.to_owned() }))
}

/// The session folders in `folder`: itself, those that it holds, or those in its `sessions/`.
pub fn sessions_in(folder: &Path) -> Result<Vec<PathBuf>, FindError> {
    let of = match place(folder)? {
        Place::Session(path) => return Ok(vec![path]),
        Place::Of(of) => of,
    };
    let unreadable = |e| FindError::Unreadable(of.clone(), e);
    let mut found = Vec::new();
    for entry in std::fs::read_dir(&of).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let path = entry.path();
        if !entry.file_name().to_string_lossy().starts_with(FORGOTTEN) && path.join(SESSION_FILE).exists() {
            found.push(path);
        }
    }
    Ok(found)
}
