//! Writing a table's file: it is there whole or not at all.

use crate::csv_file::CsvRows;
use crate::parquet_file::ParquetRows;
use crate::{Cell, Schema};
use std::fs::File;
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// Kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Text, for everything.
    Csv,
    /// Apache Parquet, compressed, with types and units.
    Parquet,
}

impl Format {
    /// How names of such files end.
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Parquet => "parquet",
        }
    }
}

/// Why a table cannot be written.
#[derive(Debug, thiserror::Error)]
#[error("{}: cannot be written: {why}", path.display())]
pub struct WriteError {
    /// The file that it was to be.
    pub path: PathBuf,
    /// The reason.
    pub why: WriteReason,
}

/// What went wrong.
#[derive(Debug, thiserror::Error)]
pub enum WriteReason {
    /// The file system refuses.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// The same, while CSV was written.
    #[error(transparent)]
    Csv(#[from] csv::Error),
    /// The same, while Parquet was written.
    #[error(transparent)]
    Parquet(#[from] parquet::errors::ParquetError),
    /// A program's mistake: a row does not fit the columns.
    #[error("a row's cell for {0} is of another kind, or the row has another number of cells")]
    Row(String),
}

enum Rows {
    Csv(Box<CsvRows<BufWriter<File>>>),
    Parquet(Box<ParquetRows>),
}

/// Writes the rows of one file. Until [`Writer::finish`] it has another name (with a leading dot and `.part` in it), and is removed if
/// that is never called.
pub struct Writer {
    path: PathBuf,
    part: NamedTempFile,
    rows: Rows,
}

impl Writer {
    /// Begins `path`, which is replaced if it is there.
    pub fn create(path: &Path, schema: &Schema, format: Format) -> Result<Self, WriteError> {
        let failed = |why: WriteReason| WriteError { path: path.to_owned(), why };
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let part = tempfile::Builder::new()
            .prefix(&format!(".{name}."))
            .suffix(".part")
            .tempfile_in(folder)
            .map_err(|e| failed(e.into()))?;
        let file = part.as_file().try_clone().map_err(|e| failed(e.into()))?;
        let rows = match format {
            Format::Csv => {
                let file = BufWriter::with_capacity(1 << 16, file);
                Rows::Csv(Box::new(CsvRows::begin(file, schema).map_err(|e| failed(e.into()))?))
            }
            Format::Parquet => {
                Rows::Parquet(Box::new(ParquetRows::begin(file, schema).map_err(|e| failed(e.into()))?))
            }
        };
        Ok(Self { path: path.to_owned(), part, rows })
    }

    /// Adds a row: one cell for each column.
    pub fn push(&mut self, row: &[Cell<'_>]) -> Result<(), WriteError> {
        let done = match &mut self.rows {
            Rows::Csv(rows) => rows.push(row).map_err(WriteReason::from),
            Rows::Parquet(rows) => rows.push(row),
        };
        done.map_err(|why| WriteError { path: self.path.clone(), why })
    }

    /// Brings the file to the disk and gives it its name.
    pub fn finish(self) -> Result<(), WriteError> {
        let Self { path, part, rows } = self;
        let finish = || -> Result<(), WriteReason> {
            match rows {
                Rows::Csv(rows) => drop(rows.finish()?.into_inner().map_err(io::IntoInnerError::into_error)?),
                Rows::Parquet(rows) => rows.finish()?,
            }
            part.as_file().sync_all()?;
            part.persist(&path).map_err(|e| e.error)?;
            Ok(())
        };
        finish().map_err(|why| WriteError { path: path.clone(), why })
    }
}
