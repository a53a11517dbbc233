//! Tables being written.

use super::error::ExportError;
use super::what::What;
use peakorder_tables::{Cell, Format, Schema, Table, Writer};
use std::path::Path;

/// A finished file.
pub(super) struct Written {
    /// Its name in the folder.
    pub(super) name: String,
    /// Its columns.
    pub(super) schema: Schema,
    /// So many rows.
    pub(super) rows: u64,
}

/// A table and the file that its rows go to.
pub(super) struct Open<R> {
    name: String,
    table: Table<R>,
    writer: Writer,
    rows: u64,
}

impl<R> Open<R> {
    /// `what` in `folder`.
    pub(super) fn new(
        folder: &Path,
        what: What,
        table: Table<R>,
        format: Format,
    ) -> Result<Self, ExportError> {
        Self::named(folder, &format!("{}.{}", what.key(), format.ending()), table, format)
    }

    /// A file of that name in `folder`.
    pub(super) fn named(
        folder: &Path,
        name: &str,
        table: Table<R>,
        format: Format,
    ) -> Result<Self, ExportError> {
        let writer = Writer::create(&folder.join(name), table.schema(), format)?;
        Ok(Self { name: name.to_owned(), table, writer, rows: 0 })
    }

    /// Adds a row.
    pub(super) fn push(&mut self, row: &R) -> Result<(), ExportError> {
        let mut cells: Vec<Cell<'_>> = Vec::with_capacity(self.table.schema().columns.len());
        self.table.row(row, &mut cells);
        self.writer.push(&cells)?;
        self.rows += 1;
        Ok(())
    }

    /// Brings the file to the disk.
    pub(super) fn finish(self) -> Result<Written, ExportError> {
        self.writer.finish()?;
        Ok(Written { name: self.name, schema: self.table.schema().clone(), rows: self.rows })
    }
}
