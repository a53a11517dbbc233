//! Session folders of the library.

use super::{Library, LibraryError};
use crate::serve::told_folders::from_library;
use peakorder_analysis::load::{Loaded, load};
use peakorder_protocol::remark::REMARKS_FILE;
use peakorder_protocol::session::{Player, SESSION_FILE, SWINGS_DIR, Session, SessionDir};
use serde::Serialize;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::SystemTime;
use utoipa::ToSchema;

/// One line of the list of sessions.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SessionRow {
    /// Id: the folder's name.
    pub id: String,
    /// Start, RFC 3339 UTC.
    pub started_utc: String,
    /// Id of the player; absent when the library has no such player.
    pub player_id: Option<String>,
    /// Name of the player, as the library has it now.
    pub player: String,
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

/// When a session's files were last written: a cached row is valid until that changes.
type Stamp = [Option<SystemTime>; 3];

/// What was read of a session: a row without the library's facts about its player.
#[derive(Clone)]
struct CachedRow {
    stamp: Stamp,
    recorded: Player,
    row: SessionRow,
}

/// Rows that were read earlier.
#[derive(Default)]
pub(super) struct RowCache(Mutex<HashMap<String, CachedRow>>);

impl RowCache {
    /// Leaves nothing of these sessions.
    pub(super) fn forget<'a>(&self, ids: impl Iterator<Item = &'a str>) {
        let mut known = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        ids.for_each(|id| drop(known.remove(id)));
    }
}

fn stamp(folder: &Path) -> Stamp {
    let changed = |name: &str| folder.join(name).metadata().and_then(|m| m.modified()).ok();
    // A remark may rename a block.
    [SESSION_FILE, SWINGS_DIR, REMARKS_FILE].map(changed)
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
        self.folders()?
            .into_iter()
            .find_map(|(name, path)| (name == id && path.join(SESSION_FILE).is_file()).then_some(path))
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
        Ok(SessionDir::create(&self.sessions.join(id), false)?)
    }

    /// All sessions, newest first. `running` is the one being recorded.
    pub fn sessions(
        &self,
        player: Option<&str>,
        running: Option<&str>,
    ) -> Result<Vec<SessionRow>, LibraryError> {
        let players = self.players()?;
        let mut known = self.rows.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let mut rows: Vec<SessionRow> = self
            .folders()?
            .into_iter()
            .filter_map(|(id, folder)| {
                let now = stamp(&folder);
                let read = match known.get(&id) {
                    Some(read) if read.stamp == now => read.clone(),
                    _ => {
                        let (recorded, row) = row(&id, &folder, &self.folder)?;
                        let read = CachedRow { stamp: now, recorded, row };
                        known.insert(id, read.clone());
                        read
                    }
                };
                let mut row = read.row;
                row.running = Some(row.id.as_str()) == running;
                if let Some(card) = Self::recorded_player(&players, &read.recorded) {
                    row.player_id = Some(card.id.clone());
                    row.player.clone_from(&card.about.name);
                }
                Some(row)
            })
            .collect();
        drop(known);
        rows.retain(|r| player.is_none_or(|p| r.player == p));
        rows.sort_by(|a, b| b.started_utc.cmp(&a.started_utc).then_with(|| b.id.cmp(&a.id)));
        Ok(rows)
    }
}

fn row(id: &str, folder: &Path, library: &Path) -> Option<(Player, SessionRow)> {
    let (_, session) = SessionDir::open(folder)
        .inspect_err(|why| tracing::warn!("{}: {why}; the session is left out", folder.display()))
        .ok()?;
    let loaded = folder.to_str().map(load);
    let told = |text: &str| from_library(text, library);
    let (blocks, swings, problems) = match loaded {
        Some(Ok(l)) => (l.blocks, l.swings.len(), l.problems.iter().map(|p| told(&p.text)).collect()),
        Some(Err(why)) => (Vec::new(), 0, vec![told(&why.to_string())]),
        None => (Vec::new(), 0, vec!["the path is not UTF-8".into()]),
    };
    let row = SessionRow {
        id: id.to_owned(),
        started_utc: session.started_utc,
        player_id: None,
        player: session.player.name.clone(),
        blocks,
        swings,
        invented: session.invented,
        running: false,
        problems,
    };
    Some((session.player, row))
}
