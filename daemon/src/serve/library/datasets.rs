//! Datasets that sessions of the library went into.

use super::Library;
use peakorder_analysis::known_datasets::{DATASET_FILE, datasets_of, mark};
use std::path::PathBuf;

impl Library {
    /// Those that are still there.
    pub(super) fn datasets(&self) -> Vec<PathBuf> {
        let known = datasets_of(&self.folder).unwrap_or_else(|why| {
            tracing::warn!(%why, "The library's list of datasets cannot be read; what they hold of a player stays.");
            Vec::new()
        });
        known.into_iter().filter(|d| d.join(DATASET_FILE).is_file()).collect()
    }

    /// Keeps the player's sessions from being added to a dataset again. The rows in them are Parquet, which this program does not
    /// write; who forgets is told the command that removes them.
    pub(super) fn mark_forgotten(&self, player: &str) {
        for dataset in self.datasets() {
            if let Err(why) = mark(&dataset, player) {
                tracing::warn!(dataset = %dataset.display(), %why, "The player could not be marked as forgotten in a dataset.");
            }
        }
    }
}
