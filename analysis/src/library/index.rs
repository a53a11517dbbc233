//! What is known of every session folder of one place, kept from run to run.
//!
//! The folders are the truth. A row is what was read of one, with stamps that tell whether it changed since: a quick one,
//! looked at for all folders ([`look`]), and one of every swing file, looked at for the rows that are in an answer
//! ([`look_closely`]).

use super::FORGOTTEN;
use super::file::{self, IndexTrouble};
use super::row::Row;
use crate::parallel;
use std::collections::HashMap;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// From so many sessions on an index is kept on the disk: below, reading all takes some 0.2 s.
pub const MANY: usize = 200;

/// Rows by the names of their folders.
pub type Rows = HashMap<String, Arc<Row>>;

/// Told how many folders of how many were looked at.
pub type Progress<'a> = &'a (dyn Fn(usize, usize) + Sync);

/// The rows that were kept for `place`; none where there is no index or it cannot be used.
pub fn open(place: &Path) -> (Rows, Option<IndexTrouble>) {
    match file::read(place) {
        None => (Rows::new(), None),
        Some(Ok(rows)) => (rows.into_iter().map(|r| (r.name.clone(), Arc::new(r))).collect(), None),
        Some(Err(trouble)) => (Rows::new(), Some(trouble)),
    }
}

/// Whether an index is kept of `place`.
pub fn is_kept(place: &Path) -> bool {
    file::exists(place)
}

/// Keeps the rows for the next run, if they are many or were kept before.
pub fn keep(place: &Path, rows: &Rows) -> Result<(), IndexTrouble> {
    if rows.len() < MANY && !file::exists(place) {
        return Ok(());
    }
    let mut sorted: Vec<&Arc<Row>> = rows.values().collect();
    sorted.sort_unstable_by(|a, b| a.name.cmp(&b.name));
    file::write(place, sorted.into_iter())
}

/// As [`keep`], for good: if the new state cannot be written, the old one is removed.
pub fn forget(place: &Path, rows: &Rows) -> io::Result<()> {
    match keep(place, rows) {
        Ok(()) => file::remove_part(place),
        Err(_) => file::remove(place),
    }
}

/// What a look at the folders found.
#[derive(Debug, Default)]
pub struct Changes {
    /// Rows of folders that are new or changed.
    pub read: Vec<Arc<Row>>,
    /// Names of folders that are gone.
    pub gone: Vec<String>,
}

impl Changes {
    /// Whether nothing changed.
    pub fn is_empty(&self) -> bool {
        self.read.is_empty() && self.gone.is_empty()
    }

    /// Takes them into `rows`.
    pub fn apply(self, rows: &mut Rows) {
        for name in &self.gone {
            rows.remove(name);
        }
        rows.extend(self.read.into_iter().map(|row| (row.name.clone(), row)));
    }
}

/// Looks at every folder of `place`, the latest names first, and reads what is new or changed. `told` is called with each row
/// as it is read.
pub fn look(
    place: &Path,
    known: &Rows,
    progress: Progress<'_>,
    told: &(dyn Fn(&Arc<Row>) + Sync),
) -> io::Result<Changes> {
    let mut names = folders(place)?;
    // Sessions are named by their time: what is looked for first is the latest.
    names.sort_unstable_by(|a, b| b.cmp(a));
    let done = AtomicUsize::new(0);
    let read = parallel::each(&names, |name| {
        let fits = known.get(name).is_some_and(|row| row.fits(place));
        let row = (!fits).then(|| Arc::new(Row::read(place, name)));
        if let Some(row) = &row {
            told(row);
        }
        progress(done.fetch_add(1, Ordering::Relaxed) + 1, names.len());
        row
    });
    let there: std::collections::HashSet<&String> = names.iter().collect();
    let gone = known.keys().filter(|name| !there.contains(name)).cloned().collect();
    Ok(Changes { read: read.into_iter().flatten().collect(), gone })
}

/// Looks at every file of these sessions and reads those that changed.
pub fn look_closely(place: &Path, rows: &[Arc<Row>]) -> Changes {
    let mut changes = Changes::default();
    let looked = parallel::each(rows, |row| {
        if row.fits_in_depth(place) {
            return None;
        }
        Some(place.join(&row.name).is_dir().then(|| Arc::new(Row::read(place, &row.name))))
    });
    for (row, found) in rows.iter().zip(looked) {
        match found {
            None => {}
            Some(Some(read)) => changes.read.push(read),
            Some(None) => changes.gone.push(row.name.clone()),
        }
    }
    changes
}

/// Names of the folders in `place`. Links are not followed; names that are not UTF-8 are nobody's.
fn folders(place: &Path) -> io::Result<Vec<String>> {
    let mut names = Vec::new();
    for entry in std::fs::read_dir(place)? {
        let entry = entry?;
        if entry.file_type().is_ok_and(|t| t.is_dir())
            && let Ok(name) = entry.file_name().into_string()
            && !name.starts_with(FORGOTTEN)
        {
            names.push(name);
        }
    }
    Ok(names)
}
