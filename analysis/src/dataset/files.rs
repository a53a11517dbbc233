//! Files of a dataset: their names, what is in them, and rewriting one.

use super::{DatasetError, Monthly};
use crate::hex::in_hex;
use peakorder_tables::{Cell, Column, Format, ParquetFile, ReadError, Schema, Table, Writer};
use sha2::{Digest as _, Sha256};
use std::io;
use std::path::{Path, PathBuf};

/// Names in a folder; none where it is not there.
pub(super) fn names(folder: &Path) -> Result<Vec<String>, DatasetError> {
    let entries = match std::fs::read_dir(folder) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries.map_err(DatasetError::at(folder))?,
    };
    let mut names = Vec::new();
    for entry in entries {
        let entry = entry.map_err(DatasetError::at(folder))?;
        if let Some(name) = entry.file_name().to_str() {
            names.push(name.to_owned());
        }
    }
    Ok(names)
}

/// Hexadecimal digits of SHA-256 of a text.
pub(super) fn hash(text: &str, digits: usize) -> String {
    let mut hex = in_hex(&Sha256::digest(text.as_bytes()));
    hex.truncate(digits);
    hex
}

/// File of one session: ids may have any characters.
pub(super) fn session_file(session: &str) -> String {
    format!("session-{}.parquet", hash(session, 16))
}

/// Whether a file is that of one session.
pub(super) fn is_of_one_session(path: &Path) -> bool {
    path.file_name().and_then(|n| n.to_str()).is_some_and(|n| n.starts_with("session-"))
}

/// Whether a file's name is that of a Parquet file.
pub(super) fn is_parquet(name: &str) -> bool {
    Path::new(name).extension().is_some_and(|e| e == "parquet")
}

/// Opens a file, which must be of that table.
pub(super) fn open(path: &Path, table: Monthly) -> Result<ParquetFile, DatasetError> {
    let file = ParquetFile::open(path)?;
    let wanted = crate::data::table_id(table.key());
    if file.schema().id != wanted {
        return Err(DatasetError::Schema { path: path.to_owned(), found: file.schema().id.clone(), wanted });
    }
    Ok(file)
}

/// Whose rows stand in a file: session and player, in the order in which they begin.
pub(super) fn whose(path: &Path, table: Monthly) -> Result<Vec<(String, String)>, DatasetError> {
    let mut found: Vec<(String, String)> = Vec::new();
    open(path, table)?.read(&["session_id", "player_id"], |row| {
        let (session, player) = (row[0].text().unwrap_or_default(), row[1].text().unwrap_or_default());
        if found.last().is_none_or(|l| l.0 != session) {
            found.push((session.to_owned(), player.to_owned()));
        }
    })?;
    Ok(found)
}

/// Copies the rows of `from` that are wanted, by session and player. A column that `from` lacks is empty, one that `schema` does not know is lost:
/// a later program's file is refused before (`version`).
pub(super) fn copy(
    from: &ParquetFile,
    schema: &Schema,
    to: &mut Writer,
    mut wanted: impl FnMut(&str, &str) -> bool,
) -> Result<usize, DatasetError> {
    let theirs: Vec<&str> = from.schema().columns.iter().map(|c| c.name.as_str()).collect();
    let places: Vec<Option<usize>> =
        schema.columns.iter().map(|c| theirs.iter().position(|t| *t == c.name)).collect();
    let place = |name: &str| theirs.iter().position(|t| *t == name);
    let (session, player) = (place("session_id"), place("player_id"));
    let mut copied = 0;
    let mut failed = None;
    from.read_all(|row| {
        let text = |at: Option<usize>| at.and_then(|at| row[at].text()).unwrap_or_default();
        if failed.is_some() || !wanted(text(session), text(player)) {
            return;
        }
        let cells: Vec<Cell<'_>> = places.iter().map(|at| at.map_or(Cell::None, |at| row[at])).collect();
        match to.push(&cells) {
            Ok(()) => copied += 1,
            Err(e) => failed = Some(e),
        }
    })?;
    failed.map_or(Ok(copied), |e| Err(e.into()))
}

/// Writes these rows as a file of their own.
pub(super) fn write_rows<R>(path: &Path, table: &Table<R>, rows: &[R]) -> Result<(), DatasetError> {
    let mut writer = Writer::create(path, table.schema(), Format::Parquet)?;
    let mut cells = Vec::new();
    for row in rows {
        table.row(row, &mut cells);
        writer.push(&cells)?;
    }
    Ok(writer.finish()?)
}

/// What rewriting a file came to.
pub(super) struct Rewritten {
    pub(super) removed: usize,
}

/// Writes a file anew without the rows that are not wanted; a file of which nothing is left goes.
pub(super) fn rewrite(
    path: &Path,
    table: Monthly,
    mut wanted: impl FnMut(&str, &str) -> bool,
) -> Result<Rewritten, DatasetError> {
    let file = open(path, table)?;
    let mut unwanted = 0;
    let mut all = 0;
    file.read(&["session_id", "player_id"], |row| {
        all += 1;
        let (session, player) = (row[0].text().unwrap_or_default(), row[1].text().unwrap_or_default());
        unwanted += usize::from(!wanted(session, player));
    })?;
    if unwanted == 0 {
        return Ok(Rewritten { removed: 0 });
    }
    if unwanted == all {
        std::fs::remove_file(path).map_err(DatasetError::at(path))?;
        return Ok(Rewritten { removed: unwanted });
    }
    // With its own columns, so that nothing of them is lost.
    let schema = file.schema().clone();
    let mut writer = Writer::create(path, &schema, Format::Parquet)?;
    copy(&file, &schema, &mut writer, wanted)?;
    writer.finish()?;
    Ok(Rewritten { removed: unwanted })
}

/// The columns that a month's one file gets: those of this program, and those that its files have besides (of a later program of the same
/// version).
pub(super) fn joined(table: Monthly, theirs: &[&Schema]) -> Schema {
    let mut schema = table.schema();
    for column in theirs.iter().flat_map(|s| &s.columns) {
        if schema.place(&column.name).is_none() {
            schema.columns.push(Column { required: false, ..column.clone() });
        }
    }
    // A file of an earlier program may lack a column that is always there now.
    for column in &mut schema.columns {
        column.required &= theirs.iter().all(|s| s.place(&column.name).is_some());
    }
    schema
}

/// The path of a file that cannot be read, if that is what went wrong.
pub(super) fn unreadable(error: &DatasetError) -> Option<&PathBuf> {
    match error {
        DatasetError::File(
            ReadError::Io { path, .. }
            | ReadError::Damaged { path, .. }
            | ReadError::Foreign { path }
            | ReadError::Column { path, .. }
            | ReadError::NoColumn { path, .. },
        )
        | DatasetError::Schema { path, .. } => Some(path),
        _ => None,
    }
}
