//! What the library keeps of a player, and forgetting it.
//!
//! A session that goes is first renamed to `sessions/.forgotten-…`, which nobody takes for a
//! session, and then removed. The player's file goes last. So forgetting that was broken off is
//! finished by forgetting again; what was renamed by then is also removed when the library is opened.

use super::{Library, LibraryError, PlayerCard};
use crate::serve::random;
use peakorder_analysis::library::{Head, INDEX_FILE, Row};
use peakorder_protocol::files::read;
use peakorder_protocol::remark::REMARKS_FILE;
use peakorder_protocol::session::{SESSION_FILE, SessionDir};
use serde::Serialize;
use std::collections::HashSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

pub(super) use peakorder_analysis::library::FORGOTTEN;

/// A damaged `session.toml` is searched for the player's id, and remarks are counted, up to this length.
const SEARCHED_BYTES: u64 = 8 << 20;

/// What the library keeps of a player.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Kept {
    /// The player's id.
    pub id: String,
    /// The player's name.
    pub name: String,
    /// The library has the player's card: name, goal, limits, consent.
    pub card: bool,
    /// The player's sessions, earliest first.
    pub sessions: Vec<KeptSession>,
    /// Sessions that name no player's id and have the player's name: perhaps the player's.
    pub perhaps: Vec<KeptSession>,
    /// Folders among the sessions that cannot be read: whose they are is not known.
    pub unreadable: Vec<String>,
    /// Names of datasets that sessions of the library went into: rows of the player may be there, and stay until `peakorder dataset
    /// forget` removes them.
    pub datasets: Vec<String>,
    #[serde(skip)]
    pub(crate) dataset_folders: Vec<PathBuf>,
}

/// One session.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct KeptSession {
    /// Its folder's name.
    pub id: String,
    /// Start, RFC 3339 UTC; empty where the session file cannot be read.
    pub started_utc: String,
    /// Swing files.
    pub swings: usize,
    /// Lines of the coach's remarks.
    pub remarks: usize,
    /// All files together.
    pub bytes: u64,
    #[serde(skip)]
    pub(super) folder: PathBuf,
}

/// A player of whom the library keeps something.
#[derive(Debug, Clone)]
pub struct Person {
    /// Id.
    pub id: String,
    /// Name: the card's, or that of the latest session.
    pub name: String,
    /// The card, unless it is gone.
    pub card: Option<PlayerCard>,
}

/// Whose a session folder is.
enum Whose {
    Of(String),
    Named(String),
    Unknown,
}

/// A folder among the sessions.
struct Folder {
    kept: KeptSession,
    whose: Whose,
}

impl Library {
    /// Everybody of whom the library keeps a card or a session, by name.
    pub fn people(&self) -> Result<Vec<Person>, LibraryError> {
        self.people_in(&self.catalogue.all_now())
    }

    /// What the library keeps of everybody, by name.
    pub fn kept_of_all(&self) -> Result<Vec<(Person, Kept)>, LibraryError> {
        let rows = self.catalogue.all_now();
        let people = self.people_in(&rows)?;
        people.into_iter().map(|person| Ok((person.clone(), self.kept_in(&rows, person)?))).collect()
    }

    fn people_in(&self, rows: &[Arc<Row>]) -> Result<Vec<Person>, LibraryError> {
        let cards = self.players()?;
        let mut people: Vec<Person> = cards
            .into_iter()
            .map(|card| Person { id: card.id.clone(), name: card.about.name.clone(), card: Some(card) })
            .collect();
        let mut known: HashSet<String> = people.iter().map(|p| p.id.clone()).collect();
        let mut heads: Vec<&Head> = rows.iter().filter_map(|row| row.head()).collect();
        heads.sort_by(|a, b| b.started_utc.cmp(&a.started_utc));
        for player in heads.into_iter().map(|h| &h.player) {
            if let Some(id) = &player.id
                && known.insert(id.clone())
            {
                people.push(Person { id: id.clone(), name: player.name.clone(), card: None });
            }
        }
        people.sort_by(|a, b| a.name.cmp(&b.name).then_with(|| a.id.cmp(&b.id)));
        Ok(people)
    }

    /// What the library keeps of the player `id`.
    pub fn kept(&self, id: &str) -> Result<Kept, LibraryError> {
        let rows = self.catalogue.all_now();
        let person = self.people_in(&rows)?.into_iter().find(|p| p.id == id).ok_or(LibraryError::NoPlayer)?;
        self.kept_in(&rows, person)
    }

    fn kept_in(&self, rows: &[Arc<Row>], person: Person) -> Result<Kept, LibraryError> {
        let mut kept = Kept {
            card: person.card.is_some(),
            id: person.id,
            name: person.name,
            sessions: Vec::new(),
            perhaps: Vec::new(),
            unreadable: Vec::new(),
            datasets: Vec::new(),
            dataset_folders: self.datasets(),
        };
        kept.datasets.extend(kept.dataset_folders.iter().map(|d| name_of(d)));
        let same = |name: &str| name.trim().to_lowercase() == kept.name.trim().to_lowercase();
        let perhaps_theirs = |row: &Row| match row.head().map(|h| &h.player) {
            None => true,
            Some(player) => player.id.as_deref().map_or_else(|| same(&player.name), |id| id == kept.id),
        };
        let theirs: Vec<Folder> = rows
            .iter()
            .filter(|row| perhaps_theirs(row))
            .map(|row| folder(row.name.clone(), self.sessions.join(&row.name)))
            .collect();
        for folder in theirs.into_iter().chain(self.unnamed_folders()?) {
            match folder.whose {
                Whose::Of(id) if id == kept.id => kept.sessions.push(folder.kept),
                Whose::Named(name) if same(&name) => kept.perhaps.push(folder.kept),
                Whose::Of(_) | Whose::Named(_) => {}
                Whose::Unknown if names(&folder.kept.folder, &kept.id) => kept.sessions.push(folder.kept),
                Whose::Unknown => kept.unreadable.push(folder.kept.id),
            }
        }
        for list in [&mut kept.sessions, &mut kept.perhaps] {
            list.sort_by(|a, b| a.started_utc.cmp(&b.started_utc).then_with(|| a.id.cmp(&b.id)));
        }
        kept.unreadable.sort();
        Ok(kept)
    }

    /// Removes all that the library keeps of the player `id`; with `also_by_name` also the sessions
    /// that are perhaps the player's. Returns what was kept.
    pub fn forget(&self, id: &str, also_by_name: bool) -> Result<Kept, LibraryError> {
        let _writing = self.lock();
        let kept = self.kept(id)?;
        let going: Vec<&KeptSession> =
            kept.sessions.iter().chain(kept.perhaps.iter().filter(|_| also_by_name)).collect();
        for session in &going {
            SessionDir::at(&session.folder).refuse_if_recording()?;
        }
        self.mark_forgotten(id);
        for session in &going {
            let aside = self.sessions.join(format!("{FORGOTTEN}{}", random::hex(8)));
            fs::rename(&session.folder, &aside).map_err(LibraryError::at(&session.folder))?;
        }
        self.clear_forgotten()?;
        // The index names them, too. Without it all are read again.
        let index = self.sessions.join(INDEX_FILE);
        self.catalogue.forget(going.iter().map(|s| s.id.as_str())).map_err(LibraryError::at(&index))?;
        self.cards.forget(&kept.id);
        sync(&self.sessions);
        let card = self.players.join(format!("{}.toml", kept.id));
        let part = self.players.join(format!("{}.toml.part", kept.id));
        for file in [&part, &card] {
            match fs::remove_file(file) {
                Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(LibraryError::at(file)(e)),
                _ => {}
            }
        }
        sync(&self.players);
        Ok(kept)
    }

    /// Removes what an interrupted [`Library::forget`] had renamed.
    pub(super) fn clear_forgotten(&self) -> Result<(), LibraryError> {
        for entry in fs::read_dir(&self.sessions).map_err(LibraryError::at(&self.sessions))? {
            let entry = entry.map_err(LibraryError::at(&self.sessions))?;
            if entry.file_name().to_string_lossy().starts_with(FORGOTTEN) {
                fs::remove_dir_all(entry.path()).map_err(LibraryError::at(&entry.path()))?;
            }
        }
        Ok(())
    }

    /// Folders whose names the index cannot have; links are not followed.
    fn unnamed_folders(&self) -> Result<Vec<Folder>, LibraryError> {
        let mut folders = Vec::new();
        for entry in fs::read_dir(&self.sessions).map_err(LibraryError::at(&self.sessions))? {
            let entry = entry.map_err(LibraryError::at(&self.sessions))?;
            let id = entry.file_name().to_string_lossy().into_owned();
            let is_named = entry.file_name().to_str().is_some();
            if is_named || id.starts_with(FORGOTTEN) || !entry.file_type().is_ok_and(|t| t.is_dir()) {
                continue;
            }
            folders.push(folder(id, entry.path()));
        }
        Ok(folders)
    }
}

fn folder(id: String, path: PathBuf) -> Folder {
    let (started_utc, whose) = match SessionDir::open(&path) {
        Err(_) => (String::new(), Whose::Unknown),
        Ok((_, session)) => {
            let whose = match session.player.id {
                Some(id) => Whose::Of(id),
                None => Whose::Named(session.player.name),
            };
            (session.started_utc, whose)
        }
    };
    let kept = KeptSession {
        id,
        started_utc,
        swings: SessionDir::at(&path).swing_numbers().map_or(0, |n| n.len()),
        remarks: read(&path.join(REMARKS_FILE), SEARCHED_BYTES)
            .map_or(0, |b| b.split(|c| *c == b'\n').filter(|l| !l.is_empty()).count()),
        bytes: bytes_in(&path),
        folder: path,
    };
    Folder { kept, whose }
}

/// Whether the session file of a folder that cannot be read names the player `id`, as far as it is there.
fn names(folder: &Path, id: &str) -> bool {
    let quoted = format!("\"{id}\"");
    [SESSION_FILE.to_owned(), format!("{SESSION_FILE}.part")].iter().any(|name| {
        read(&folder.join(name), SEARCHED_BYTES)
            .is_ok_and(|bytes| bytes.windows(quoted.len()).any(|w| w == quoted.as_bytes()))
    })
}

/// Bytes of all files below a folder; links count as themselves.
fn bytes_in(folder: &Path) -> u64 {
    let Ok(entries) = fs::read_dir(folder) else { return 0 };
    entries
        .filter_map(Result::ok)
        .map(|entry| match entry.metadata() {
            Ok(meta) if meta.is_dir() => bytes_in(&entry.path()),
            Ok(meta) => meta.len(),
            Err(_) => 0,
        })
        .sum()
}

/// The last part of a path: what lies before it often names the computer's user.
fn name_of(folder: &Path) -> String {
    folder.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

/// Best effort: some file systems cannot sync a folder. After a power cut the files may be there again,
/// and forgetting again removes them.
fn sync(folder: &Path) {
    if let Err(why) = File::open(folder).and_then(|f| f.sync_all()) {
        tracing::debug!("{}: {why}", folder.display());
    }
}
