//! Files that `peakorderd import` takes: one of samples for each strap, and the marks.

use super::error::ExportError;
use super::rows::{self, MarkRow};
use super::tables::{Open, Written};
use peakorder_motion::samples::SampleRow;
use peakorder_protocol::Role;
use peakorder_protocol::files::{Lasting, replace};
use peakorder_tables::Format;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The marks' file.
pub(super) const MARKS_FILE: &str = "marks.csv";

/// A strap's file, and the option of import that takes it.
pub(super) fn strap_name(role: Role) -> String {
    role.key().replace('_', "-")
}

/// The files being written.
pub(super) struct ForImport {
    folder: PathBuf,
    straps: BTreeMap<Role, Open<SampleRow>>,
    marks: Vec<MarkRow>,
}

impl ForImport {
    /// In `folder`.
    pub(super) fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), straps: BTreeMap::new(), marks: Vec::new() }
    }

    /// Takes a sample.
    pub(super) fn sample(&mut self, row: &SampleRow) -> Result<(), ExportError> {
        if !self.straps.contains_key(&row.role) {
            let name = format!("{}.csv", strap_name(row.role));
            let file = Open::named(&self.folder, &name, rows::for_import(), Format::Csv)?;
            self.straps.insert(row.role, file);
        }
        match self.straps.get_mut(&row.role) {
            Some(file) => file.push(row),
            None => Ok(()),
        }
    }

    /// Takes a mark; a lesson has some dozens.
    pub(super) fn mark(&mut self, row: MarkRow) {
        self.marks.push(row);
    }

    /// Brings the files to the disk; returns the straps that there are.
    pub(super) fn finish(self, written: &mut Vec<Written>) -> Result<Vec<Role>, ExportError> {
        let roles = self.straps.keys().copied().collect();
        for file in self.straps.into_values() {
            written.push(file.finish()?);
        }
        let path = self.folder.join(MARKS_FILE);
        // Not by the tables' writer, which protects spreadsheets from labels that look like formulas: here a label
        // has to come back as it was.
        let failed = |e: csv::Error| ExportError::io(&path)(e.into());
        let mut table = csv::Writer::from_writer(Vec::new());
        table.write_record(["time_s", "mark", "detail"]).map_err(failed)?;
        for mark in &self.marks {
            let cells = [&format!("{:.9}", mark.t_s), mark.kind, mark.detail.as_deref().unwrap_or_default()];
            table.write_record(cells).map_err(failed)?;
        }
        let bytes = table.into_inner().map_err(|e| ExportError::io(&path)(e.into_error()))?;
        replace(&path, &bytes, Lasting::Synced).map_err(ExportError::io(&path))?;
        Ok(roles)
    }
}
