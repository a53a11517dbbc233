//! Forgetting a player.

use super::files::{rewrite, whose};
use super::{Dataset, DatasetError, Monthly};
use crate::known_datasets::mark;

/// What was removed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Forgotten {
    /// The player's id.
    pub player: String,
    /// Sessions that are gone.
    pub sessions: usize,
    /// Rows that are gone, over all tables.
    pub rows: usize,
    /// Files that were written anew or removed.
    pub files: usize,
}

impl Dataset {
    /// Marks a player as forgotten, by id, and removes every row of the player's. A copy of the player's files that comes back is known by the
    /// mark, which holds a hash of the id and nothing else.
    pub fn forget(&self, player: &str) -> Result<Forgotten, DatasetError> {
        let _writing = self.writing()?;
        mark(&self.folder, player).map_err(DatasetError::at(&self.folder))?;
        self.remove_rows(player)
    }

    fn remove_rows(&self, player: &str) -> Result<Forgotten, DatasetError> {
        let mut gone = Forgotten { player: player.to_owned(), sessions: 0, rows: 0, files: 0 };
        for table in Monthly::ALL {
            for path in self.all_files(table)? {
                let theirs = whose(&path, table)?.iter().filter(|w| w.1 == player).count();
                if theirs == 0 {
                    continue;
                }
                let rewritten = rewrite(&path, table, |_, p| p != player)?;
                gone.rows += rewritten.removed;
                gone.files += 1;
                if table == Monthly::Sessions {
                    gone.sessions += theirs;
                }
            }
        }
        Ok(gone)
    }

    /// Ids of all players who have rows in it.
    pub fn players(&self) -> Result<Vec<String>, DatasetError> {
        let mut players = Vec::new();
        for path in self.all_files(Monthly::Sessions)? {
            players.extend(whose(&path, Monthly::Sessions)?.into_iter().map(|w| w.1));
        }
        players.sort_unstable();
        players.dedup();
        Ok(players)
    }
}
