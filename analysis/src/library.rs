//! Finding a player's sessions among folders.

use crate::load::{LoadError, Loaded, load};
use peakorder_protocol::session::SESSION_FILE;
use std::fmt;
use std::path::{Path, PathBuf};

/// Folder of sessions inside a library.
const SESSIONS: &str = "sessions";

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
/// one, who has the name, without regard to case.
pub fn find(folders: &[PathBuf], player: Option<&str>) -> Result<Found, FindError> {
    let mut paths: Vec<PathBuf> = Vec::new();
    for folder in folders {
        paths.extend(sessions_in(folder)?);
    }
    paths.sort();
    paths.dedup();
    if paths.is_empty() {
        return Err(FindError::NoSession(folders.to_vec()));
    }
    let mut sessions = Vec::new();
    let mut left_out = Vec::new();
    let mut first_error = None;
    for path in paths {
        match load(&path.display().to_string()) {
            Ok(loaded) => sessions.push(loaded),
            Err(e) => {
                left_out.push(e.to_string());
                first_error.get_or_insert(e);
            }
        }
    }
    sessions.sort_by(|a, b| {
        (started_s(a), &a.session.id)
            .partial_cmp(&(started_s(b), &b.session.id))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let mut persons = persons(sessions);
    let chosen = match (player, persons.len()) {
        (_, 0) => return Err(first_error.map_or(FindError::NoSession(folders.to_vec()), FindError::Nothing)),
        (None, 1) => Some(0),
        (None, _) => None,
        // Who is called so now comes before who once was.
        (Some(asked), _) => persons
            .iter()
            .position(|p| p.last().is_some_and(|l| l.session.player.named(asked)))
            .or_else(|| persons.iter().position(|p| p.iter().any(|l| l.session.player.named(asked)))),
    };
    let Some(chosen) = chosen else {
        let players = persons.iter().map(|p| name_of(p).to_owned()).collect();
        return Err(FindError::Player { asked: player.map(ToOwned::to_owned), players });
    };
    let sessions = persons.swap_remove(chosen);
    Ok(Found { player: name_of(&sessions).to_owned(), sessions, left_out })
}

/// Sessions of one person each, in the order in which they come.
fn persons(sessions: Vec<Loaded>) -> Vec<Vec<Loaded>> {
    // Those with an id first: a session without one goes to who has its name among them.
    let (with_id, without): (Vec<_>, Vec<_>) =
        sessions.into_iter().enumerate().partition(|(_, l)| l.session.player.id.is_some());
    let mut persons: Vec<Vec<(usize, Loaded)>> = Vec::new();
    for (at, loaded) in with_id.into_iter().chain(without) {
        let player = &loaded.session.player;
        match persons.iter_mut().find(|p| p.iter().any(|(_, l)| l.session.player.same_as(player))) {
            Some(person) => person.push((at, loaded)),
            None => persons.push(vec![(at, loaded)]),
        }
    }
    for person in &mut persons {
        person.sort_by_key(|(at, _)| *at);
    }
    persons.sort_by_key(|person| person[0].0);
    persons.into_iter().map(|person| person.into_iter().map(|(_, l)| l).collect()).collect()
}

/// Wall-clock start in seconds since 1970; 0 where the file's time cannot be read.
pub fn started_s(loaded: &Loaded) -> f64 {
    loaded.session.started_utc.parse::<jiff::Timestamp>().map_or(0.0, |t| t.as_second() as f64)
}

/// The name as the latest session writes it.
fn name_of(sessions: &[Loaded]) -> &str {
    sessions.last().map_or("", |l| l.session.player.name.trim())
}

/// The session folders in `folder`: itself, those that it holds, or those in its `sessions/`.
pub fn sessions_in(folder: &Path) -> Result<Vec<PathBuf>, FindError> {
    if !folder.is_dir() {
        return Err(FindError::NoFolder(folder.to_owned()));
    }
    if folder.join(SESSION_FILE).exists() {
        return Ok(vec![folder.to_owned()]);
    }
    let inner = folder.join(SESSIONS);
    let place = if inner.is_dir() { inner } else { folder.to_owned() };
    let unreadable = |e| FindError::Unreadable(place.clone(), e);
    let mut found = Vec::new();
    for entry in std::fs::read_dir(&place).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path.join(SESSION_FILE).exists() {
            found.push(path);
        }
    }
    Ok(found)
}
