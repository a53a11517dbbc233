//! Session folders of the library.

use super::catalogue::Reading;
use super::{Library, LibraryError, PlayerCard};
use crate::serve::told_folders::from_library;
use peakorder_analysis::library::query::Query;
use peakorder_analysis::library::{Head, Row};
use peakorder_analysis::load::{Loaded, load};
use peakorder_protocol::session::{SESSION_FILE, Session, SessionDir};
use serde::Serialize;
use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::Arc;

/// So often an answer is made anew because sessions in it changed meanwhile.
const ROUNDS: usize = 3;

/// One line of the list of sessions.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct SessionRow {
    /// Id: the folder's name.
    pub id: String,
    /// Start, RFC 3339 UTC.
    pub started_utc: String,
    /// Id of the player; absent when the library has no such player.
    pub player_id: Option<String>,
    /// Name of the player, as the library has it now.
    pub player: String,
    /// What the player worked on then.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub goal: String,
    /// Labels of the blocks that have swings, in order.
    pub blocks: Vec<String>,
    /// Number of swings.
    pub swings: usize,
    /// The scenario is invented.
    pub invented: bool,
    /// It is being recorded now.
    pub running: bool,
    /// What could not be read.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub problems: Vec<String>,
}

/// A part of the list of sessions.
#[derive(Debug)]
pub struct Page {
    /// Latest first.
    pub rows: Vec<SessionRow>,
    /// How many there are altogether.
    pub total: usize,
    /// Where the next part begins; `None` at the end.
    pub next: Option<Cursor>,
    /// How far the sessions are read, if not all are.
    pub reading: Option<Reading>,
}

/// A place in the list: after this session.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cursor {
    /// Its start.
    pub started_utc: String,
    /// Its id.
    pub id: String,
}

/// Which part of the list.
#[derive(Debug, Clone, Default)]
pub struct Part {
    /// At most so many.
    pub limit: usize,
    /// This session only.
    pub only: Option<String>,
    /// Those after this place.
    pub before: Option<Cursor>,
}

/// Players by what a session says of them.
struct Cards<'a> {
    by_id: HashMap<&'a str, &'a PlayerCard>,
    by_name: HashMap<String, &'a PlayerCard>,
}

impl<'a> Cards<'a> {
    fn of(players: &'a [PlayerCard]) -> Self {
        let mut by_name = HashMap::new();
        for card in players {
            by_name.entry(card.about.name.trim().to_lowercase()).or_insert(card);
        }
        Self { by_id: players.iter().map(|c| (c.id.as_str(), c)).collect(), by_name }
    }

    /// As [`Library::recorded_player`].
    fn of_session(&self, head: &Head) -> Option<&'a PlayerCard> {
        match &head.player.id {
            Some(id) => self.by_id.get(id.as_str()).copied(),
            None => self.by_name.get(&head.player.name.trim().to_lowercase()).copied(),
        }
    }
}

impl Library {
    /// Names and folders of all sessions; links are not followed.
    fn folders(&self) -> Result<Vec<(String, PathBuf)>, LibraryError> {
        let entries = std::fs::read_dir(&self.sessions).map_err(LibraryError::at(&self.sessions))?;
        Ok(entries
            .filter_map(|entry| {
                let entry = entry.ok()?;
                if !entry.file_type().ok()?.is_dir() {
                    return None;
                }
                let name = entry.file_name().to_str()?.to_owned();
                (!name.starts_with(super::forget::FORGOTTEN)).then(|| (name, entry.path()))
            })
            .collect())
    }

    /// The folder of the session with that id. The id is compared with folder names, never joined to a path.
    pub fn folder(&self, id: &str) -> Result<PathBuf, LibraryError> {
        let is_session = |path: &PathBuf| {
            path.symlink_metadata().is_ok_and(|m| m.is_dir()) && path.join(SESSION_FILE).is_file()
        };
        // The index has names of folders as they were.
        if let Some(path) = self.catalogue.row(id).map(|row| self.sessions.join(&row.name)).filter(is_session)
        {
            return Ok(path);
        }
        self.folders()?
            .into_iter()
            .find_map(|(name, path)| (name == id && is_session(&path)).then_some(path))
            .ok_or(LibraryError::NoSession)
    }

    /// Folder and `session.toml` of a session.
    pub fn open_session(&self, id: &str) -> Result<(SessionDir, Session), LibraryError> {
        Ok(SessionDir::open(&self.folder(id)?)?)
    }

    /// A session's swings, or those of one of its blocks.
    pub fn load(&self, id: &str, block: Option<&str>) -> Result<Loaded, LibraryError> {
        let folder = self.folder(id)?;
        let mut loaded = load(folder.to_str().ok_or_else(|| LibraryError::PathNotUtf8(folder.clone()))?)?;
        if let Some(block) = block {
            if !loaded.blocks.iter().any(|b| b == block) {
                return Err(LibraryError::NoBlock { session: id.to_owned(), blocks: loaded.blocks });
            }
            loaded.swings.retain(|s| s.block == block);
            loaded.block = Some(block.to_owned());
        }
        Ok(loaded)
    }

    /// Folder for a new session; `id` was made by this program.
    pub fn new_session(&self, id: &str) -> Result<SessionDir, LibraryError> {
        let dir = SessionDir::create(&self.sessions.join(id), false)?;
        self.session_changed(id);
        Ok(dir)
    }

    /// This program changed the session `id`, whose name it made or found.
    pub fn session_changed(&self, id: &str) {
        self.catalogue.touched(id);
    }

    /// A part of the sessions that `query` finds, latest first. `running` is the one being recorded.
    pub fn sessions(&self, query: &Query, part: &Part, running: Option<&str>) -> Result<Page, LibraryError> {
        let players = self.players()?;
        let cards = Cards::of(&players);
        let (mut sorted, reading) = self.catalogue.sessions();
        let mut round = 1;
        loop {
            let found: Vec<&Arc<Row>> = sorted
                .iter()
                .filter(|row| part.only.as_ref().is_none_or(|only| row.name == *only))
                .filter(|row| finds(query, &cards, row))
                .collect();
            let after = part.before.as_ref().map_or(0, |cursor| {
                found.partition_point(|row| row.head().is_some_and(|h| place(&row.name, h) >= *cursor))
            });
            let shown: Vec<Arc<Row>> =
                found[after..].iter().take(part.limit).map(|row| Arc::clone(row)).collect();
            if round < ROUNDS && self.catalogue.changed(&shown) {
                round += 1;
                sorted = self.catalogue.sorted();
                continue;
            }
            let is_more = after + shown.len() < found.len();
            let rows: Vec<SessionRow> =
                shown.iter().filter_map(|row| self.told(row, &cards, running)).collect();
            let next = rows
                .last()
                .filter(|_| is_more)
                .map(|row| Cursor { started_utc: row.started_utc.clone(), id: row.id.clone() });
            return Ok(Page { rows, total: found.len(), next, reading });
        }
    }

    fn told(&self, row: &Row, cards: &Cards<'_>, running: Option<&str>) -> Option<SessionRow> {
        let head = row.head()?;
        let card = cards.of_session(head);
        let folder = self.sessions.join(&row.name).display().to_string();
        let problem = |text: &String| from_library(&Row::text(text, &folder), &self.folder);
        Some(SessionRow {
            id: row.name.clone(),
            started_utc: head.started_utc.clone(),
            player_id: card.map(|c| c.id.clone()),
            player: card.map_or_else(|| head.player.name.clone(), |c| c.about.name.clone()),
            goal: head.player.goal.clone(),
            blocks: head.blocks.iter().map(|b| b.label.clone()).collect(),
            swings: head.swings as usize,
            invented: head.invented,
            running: Some(row.name.as_str()) == running,
            problems: head.problems.iter().map(problem).collect(),
        })
    }

    /// All sessions of the player who is called `player` (id, or name of sessions without one), latest first, at most
    /// `limit`, with the folder of each. Waits until all sessions are read.
    pub(in crate::serve) fn of_player(
        &self,
        player: &str,
        limit: usize,
    ) -> Result<Vec<KnownSession>, LibraryError> {
        let players = self.players()?;
        let cards = Cards::of(&players);
        let mut sorted = self.catalogue.whole();
        for round in 1.. {
            let of: Vec<KnownSession> = sorted
                .iter()
                .filter_map(|row| {
                    let head = row.head()?;
                    let card = cards.of_session(head);
                    let key = card.map_or(head.player.name.as_str(), |c| c.id.as_str());
                    (key == player).then(|| KnownSession {
                        name: card.map_or_else(|| head.player.name.clone(), |c| c.about.name.clone()),
                        folder: self.sessions.join(&row.name),
                        row: Arc::clone(row),
                    })
                })
                .take(limit)
                .collect();
            let rows: Vec<Arc<Row>> = of.iter().map(|s| Arc::clone(&s.row)).collect();
            if round >= ROUNDS || !self.catalogue.changed(&rows) {
                return Ok(of);
            }
            sorted = self.catalogue.sorted();
        }
        Ok(Vec::new())
    }

    /// Whose the session `id` is, as [`Library::of_player`] asks for it; `None` if nobody is named.
    pub(in crate::serve) fn player_of(&self, loaded: &Loaded) -> Result<Option<String>, LibraryError> {
        let players = self.players()?;
        let recorded = &loaded.session.player;
        let card = Self::recorded_player(&players, recorded);
        let name = Some(recorded.name.clone()).filter(|n| !n.is_empty());
        Ok(card.map(|c| c.id.clone()).or(name))
    }
}

/// A session of a player, not yet loaded.
pub(in crate::serve) struct KnownSession {
    /// The player's name now.
    pub(in crate::serve) name: String,
    /// Where it is.
    pub(in crate::serve) folder: PathBuf,
    /// What is known of it.
    pub(in crate::serve) row: Arc<Row>,
}

fn place(name: &str, head: &Head) -> Cursor {
    Cursor { started_utc: head.started_utc.clone(), id: name.to_owned() }
}

fn finds(query: &Query, cards: &Cards<'_>, row: &Row) -> bool {
    let Some(head) = row.head() else { return false };
    let card = cards.of_session(head);
    let name = card.map_or(head.player.name.as_str(), |c| c.about.name.as_str());
    query.finds(head, card.map(|c| c.id.as_str()), name)
}
