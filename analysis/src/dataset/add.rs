//! Adding sessions.

use super::files::{is_of_one_session, open, rewrite, session_file, write_rows};
use super::{Dataset, DatasetError, Monthly};
use crate::codes::Codes;
use crate::data::{self, Facts, FactsError, SessionRow};
use crate::hex::in_hex;
use crate::known_datasets::mark_of;
use crate::load::Loaded;
use peakorder_protocol::remark::RemarkError;
use peakorder_tables::{Cell, Table};
use sha2::{Digest as _, Sha256};
use std::collections::HashMap;
use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

/// How sessions are to be added.
#[derive(Default)]
pub struct Wanted<'a> {
    /// Name of the place where they were recorded; may be empty.
    pub bay: &'a str,
    /// Makes codes of names, for players without an id.
    pub codes: Option<&'a Codes>,
}

/// What became of a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Added {
    /// It is new.
    New,
    /// It was there and has changed: its rows were replaced.
    Replaced,
    /// It was there as it is.
    Unchanged,
}

/// Why a session was not added. The message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum AddError {
    /// It has no id for its player, or no start.
    #[error(transparent)]
    Facts(#[from] FactsError),
    /// Its remarks cannot be read.
    #[error(transparent)]
    Remarks(#[from] RemarkError),
    /// Its player was forgotten.
    #[error(
        "{session}: its player {player} was forgotten in this dataset; if the player has agreed anew, remove {}",
        mark.display()
    )]
    Forgotten {
        /// The session, as it was named.
        session: String,
        /// The player's id.
        player: String,
        /// The file that says so.
        mark: PathBuf,
    },
    /// A swing file of it cannot be read: the session would be there in part.
    #[error("{session}: {what}; make it anew with peakorderd replay, or add it as it is with --partly")]
    Damaged {
        /// The session, as it was named.
        session: String,
        /// The first trouble.
        what: String,
    },
    /// The dataset cannot be read or written.
    #[error(transparent)]
    Dataset(#[from] DatasetError),
}

/// A session's rows of all tables.
struct Rows {
    facts: Arc<Facts>,
    swings: Vec<data::SwingRow>,
    block_stats: Vec<data::BlockStat>,
    repetitions: Vec<data::RepetitionRow>,
    remarks: Vec<data::RemarkRow>,
    session: SessionRow,
}

impl Rows {
    fn of(loaded: &Loaded, wanted: &Wanted<'_>) -> Result<Self, AddError> {
        let facts = Arc::new(Facts::of(loaded, wanted.bay, wanted.codes)?);
        let remarks = loaded.dir.remarks().read()?;
        let mut rows = Self {
            swings: data::swing_rows(loaded, &facts),
            block_stats: data::block_stats(loaded, &facts),
            repetitions: data::repetition_rows(loaded, &facts),
            remarks: data::remark_rows(&remarks.remarks, &facts),
            session: data::session_row(loaded, &facts),
            facts,
        };
        rows.session.content = Some(rows.digest());
        Ok(rows)
    }

    /// Tells whether anything of the session changed.
    fn digest(&self) -> String {
        let mut digest = Sha256::new();
        digest_rows(&mut digest, &data::swings_table(), &self.swings);
        digest_rows(&mut digest, &data::block_stats_table(), &self.block_stats);
        digest_rows(&mut digest, &data::repetitions_table(), &self.repetitions);
        digest_rows(&mut digest, &data::remarks_table(), &self.remarks);
        digest_rows(&mut digest, &data::sessions_table(), std::slice::from_ref(&self.session));
        in_hex(&digest.finalize()[..16])
    }
}

fn digest_rows<R>(digest: &mut Sha256, table: &Table<R>, rows: &[R]) {
    let mut cells = Vec::new();
    for row in rows {
        table.row(row, &mut cells);
        for (cell, column) in cells.iter().zip(&table.schema().columns) {
            if *cell == Cell::None {
                continue;
            }
            digest.update(column.name.as_bytes());
            match cell {
                Cell::None => {}
                Cell::Real(x) => digest.update(x.to_bits().to_le_bytes()),
                Cell::Int(n) | Cell::Instant(n) => digest.update(n.to_le_bytes()),
                Cell::Flag(on) => digest.update([u8::from(*on)]),
                Cell::Text(text) => {
                    digest.update((text.len() as u64).to_le_bytes());
                    digest.update(text.as_bytes());
                }
                Cell::Date(day) => digest.update(day.to_le_bytes()),
            }
        }
        digest.update([0xff]);
    }
}

/// Adds sessions, one after the other, as long as it lives; other programs wait.
pub struct Adding<'a> {
    dataset: &'a Dataset,
    wanted: Wanted<'a>,
    /// Digests of the sessions in a month's compacted files.
    compacted: HashMap<String, HashMap<String, String>>,
    _writing: super::Writing,
}

impl Dataset {
    /// Begins to add sessions.
    pub fn adding<'a>(&'a self, wanted: Wanted<'a>) -> Result<Adding<'a>, DatasetError> {
        let writing = self.writing()?;
        self.write_measures()?;
        Ok(Adding { dataset: self, wanted, compacted: HashMap::new(), _writing: writing })
    }

    /// The file that says that a player was forgotten.
    pub(super) fn mark(&self, player: &str) -> PathBuf {
        mark_of(&self.folder, player)
    }
}

impl Adding<'_> {
    /// Adds a session, a whole one. One that is there is replaced if it has changed.
    pub fn add(&mut self, loaded: &Loaded) -> Result<Added, AddError> {
        let rows = Rows::of(loaded, &self.wanted)?;
        let facts = &rows.facts;
        let mark = self.dataset.mark(&facts.player);
        if mark.exists() {
            return Err(AddError::Forgotten { session: loaded.name(), player: facts.player.clone(), mark });
        }
        let content = rows.session.content.as_deref().unwrap_or_default();
        let in_compacted = self.in_compacted(&facts.month, &facts.session)?;
        let own = self.own(facts)?;
        if own.as_deref().or(in_compacted.as_deref()) == Some(content) {
            return Ok(Added::Unchanged);
        }
        self.write(&rows)?;
        // Only now: a program that is killed here leaves the session twice, which `compact` and the next `add` put right.
        if in_compacted.is_some() {
            self.take_out(&facts.month, &facts.session)?;
        }
        Ok(if own.is_some() || in_compacted.is_some() { Added::Replaced } else { Added::New })
    }

    /// The digest of a session that has its own file.
    fn own(&self, facts: &Facts) -> Result<Option<String>, DatasetError> {
        let path =
            self.dataset.month_folder(Monthly::Sessions, &facts.month).join(session_file(&facts.session));
        if !path.exists() {
            return Ok(None);
        }
        let mut found = None;
        open(&path, Monthly::Sessions)?.read(&["content"], |row| {
            found = Some(row[0].text().unwrap_or_default().to_owned());
        })?;
        Ok(found)
    }

    fn in_compacted(&mut self, month: &str, session: &str) -> Result<Option<String>, DatasetError> {
        if !self.compacted.contains_key(month) {
            let mut known = HashMap::new();
            for path in self.dataset.files(Monthly::Sessions, month)? {
                if is_of_one_session(&path) {
                    continue;
                }
                open(&path, Monthly::Sessions)?.read(&["session_id", "content"], |row| {
                    let text = |at: usize| row[at].text().unwrap_or_default().to_owned();
                    known.insert(text(0), text(1));
                })?;
            }
            self.compacted.insert(month.to_owned(), known);
        }
        Ok(self.compacted[month].get(session).cloned())
    }

    fn take_out(&mut self, month: &str, session: &str) -> Result<(), DatasetError> {
        for table in Monthly::ALL {
            for path in self.dataset.files(table, month)? {
                if !is_of_one_session(&path) {
                    rewrite(&path, table, |s, _| s != session)?;
                }
            }
        }
        if let Some(known) = self.compacted.get_mut(month) {
            known.remove(session);
        }
        Ok(())
    }

    fn write(&self, rows: &Rows) -> Result<(), DatasetError> {
        for table in Monthly::ALL {
            let folder = self.dataset.month_folder(table, &rows.facts.month);
            fs::create_dir_all(&folder).map_err(DatasetError::at(&folder))?;
            let path = folder.join(session_file(&rows.facts.session));
            match table {
                Monthly::BlockStats => write(&path, &data::block_stats_table(), &rows.block_stats)?,
                Monthly::Repetitions => write(&path, &data::repetitions_table(), &rows.repetitions)?,
                Monthly::Remarks => write(&path, &data::remarks_table(), &rows.remarks)?,
                Monthly::Swings => write(&path, &data::swings_table(), &rows.swings)?,
                Monthly::Sessions => {
                    write(&path, &data::sessions_table(), std::slice::from_ref(&rows.session))?;
                }
            }
        }
        Ok(())
    }
}

/// A table without rows is no file; one that was there goes.
fn write<R>(path: &std::path::Path, table: &Table<R>, rows: &[R]) -> Result<(), DatasetError> {
    if rows.is_empty() {
        return match fs::remove_file(path) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(DatasetError::at(path)(e)),
            _ => Ok(()),
        };
    }
    write_rows(path, table, rows)
}
