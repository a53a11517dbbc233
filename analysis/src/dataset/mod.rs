//! Many players' sessions as one open dataset of Parquet files, for any engine that reads them.
//!
//! ```text
//! DATASET/dataset.json                         which version of the layout this is
//! DATASET/TABLE/month=2026-11/*.parquet        swings, sessions, block_stats, repetitions, remarks; UTC month of the session's start
//! DATASET/measures/measures.parquet            the data dictionary
//! DATASET/forgotten/HASH                       an empty file for each player that must not come back
//! DATASET/dataset.lock                         locked by the program that writes
//! ```
//!
//! A session is a file `session-HASH.parquet` in each table, which appears whole; [`compact`](Dataset::compact) makes one file of a
//! month's. The dataset is made of session folders and can be made again from them. Its description for other
//! programs is `docs/dataset.md`.

mod add;
mod check;
mod compact;
mod files;
mod forget;

pub use add::{AddError, Added, Adding, Wanted};
pub use check::{Finding, Report};
pub use compact::Compacted;
pub use forget::Forgotten;

use crate::data::{self, SCHEMA};
use crate::known_datasets::DATASET_FILE;
use peakorder_protocol::files::{self as regular, Lasting, replace};
use peakorder_tables::{ReadError, Schema, WriteError};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

const DATASET_FILE_LIMIT_BYTES: u64 = 1 << 16;
const LOCK_FILE: &str = "dataset.lock";
/// How long another writer is waited for.
const PATIENCE: Duration = Duration::from_secs(20);

/// One of the tables that are kept by month.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Monthly {
    /// Statistics of blocks.
    BlockStats,
    /// Repetitions of drills.
    Repetitions,
    /// Remarks.
    Remarks,
    /// Swings.
    Swings,
    /// Sessions: the last to be written, so that a session that is here is whole.
    Sessions,
}

impl Monthly {
    /// In the order in which a session's files are written.
    pub const ALL: [Self; 5] =
        [Self::BlockStats, Self::Repetitions, Self::Remarks, Self::Swings, Self::Sessions];

    /// Name of the table and of its folder.
    pub const fn key(self) -> &'static str {
        match self {
            Self::BlockStats => "block_stats",
            Self::Repetitions => "repetitions",
            Self::Remarks => "remarks",
            Self::Swings => "swings",
            Self::Sessions => "sessions",
        }
    }

    /// Its columns.
    pub fn schema(self) -> Schema {
        match self {
            Self::BlockStats => data::block_stats_table().schema().clone(),
            Self::Repetitions => data::repetitions_table().schema().clone(),
            Self::Remarks => data::remarks_table().schema().clone(),
            Self::Swings => data::swings_table().schema().clone(),
            Self::Sessions => data::sessions_table().schema().clone(),
        }
    }
}

/// Why a dataset cannot be read or written. The message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum DatasetError {
    /// A file cannot be read or written.
    #[error("{}: {why}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// The reason.
        why: io::Error,
    },
    /// There is none.
    #[error(
        "{}: no dataset there ({DATASET_FILE} is missing); peakorder dataset add makes one in a folder that is empty or not there", .0.display()
    )]
    None(PathBuf),
    /// The folder holds something else.
    #[error("{}: the folder is not empty and holds no dataset; name an empty one, or one that is not there", .0.display())]
    NotEmpty(PathBuf),
    /// It is of another version.
    #[error("{}: the dataset is {found}, and this program knows {SCHEMA}; use the program of that version, or make it anew from the sessions", path.display())]
    Version {
        /// The dataset.
        path: PathBuf,
        /// What it says it is.
        found: String,
    },
    /// Another program writes to it.
    #[error("{}: another program is writing to the dataset; wait until it is done, and give the command again", .0.display())]
    Busy(PathBuf),
    /// One of its files cannot be read.
    #[error("{0}; move it out of the dataset, and add its sessions again")]
    File(#[from] ReadError),
    /// One of its files is of another table or version.
    #[error("{}: holds {found}, not {wanted}; move it out of the dataset", path.display())]
    Schema {
        /// The file.
        path: PathBuf,
        /// What it says it holds.
        found: String,
        /// What belongs there.
        wanted: String,
    },
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl DatasetError {
    fn at(path: &Path) -> impl FnOnce(io::Error) -> Self + use<'_> {
        move |why| Self::Io { path: path.to_owned(), why }
    }
}

/// A dataset on disk.
pub struct Dataset {
    folder: PathBuf,
}

/// Held by who writes.
struct Writing(#[allow(dead_code, reason = "the lock is the file's")] File);

impl Dataset {
    /// Opens a dataset.
    pub fn open(folder: &Path) -> Result<Self, DatasetError> {
        let path = folder.join(DATASET_FILE);
        let bytes = match regular::read(&path, DATASET_FILE_LIMIT_BYTES) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => {
                return Err(DatasetError::None(folder.to_owned()));
            }
            bytes => bytes.map_err(DatasetError::at(&path))?,
        };
        let said: serde_json::Value = serde_json::from_slice(&bytes)
            .map_err(|e| DatasetError::Io { path: path.clone(), why: e.into() })?;
        match said["schema"].as_str() {
            Some(SCHEMA) => Ok(Self { folder: folder.to_owned() }),
            other => Err(DatasetError::Version {
                path: folder.to_owned(),
                found: other.unwrap_or("of no version").to_owned(),
            }),
        }
    }

    /// Opens a dataset; makes one where there is an empty folder or none.
    pub fn open_or_make(folder: &Path) -> Result<Self, DatasetError> {
        match Self::open(folder) {
            Err(DatasetError::None(_)) => {}
            opened => return opened,
        }
        match fs::read_dir(folder) {
            Ok(mut entries) => {
                if entries.next().is_some() {
                    return Err(DatasetError::NotEmpty(folder.to_owned()));
                }
            }
            Err(e) if e.kind() == io::ErrorKind::NotFound => {
                fs::create_dir_all(folder).map_err(DatasetError::at(folder))?;
            }
            Err(e) => return Err(DatasetError::at(folder)(e)),
        }
        let dataset = Self { folder: folder.to_owned() };
        dataset.write_measures()?;
        let path = folder.join(DATASET_FILE);
        let text = format!("{{ \"schema\": \"{SCHEMA}\" }}\n");
        replace(&path, text.as_bytes(), Lasting::Synced).map_err(DatasetError::at(&path))?;
        Ok(dataset)
    }

    /// Where it is.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The data dictionary, which a newer program may know more of.
    fn write_measures(&self) -> Result<(), DatasetError> {
        let folder = self.folder.join("measures");
        fs::create_dir_all(&folder).map_err(DatasetError::at(&folder))?;
        files::write_rows(&folder.join("measures.parquet"), &data::measures_table(), &data::measure_rows())
    }

    /// Waits until no other program writes, and keeps others from it.
    fn writing(&self) -> Result<Writing, DatasetError> {
        let path = self.folder.join(LOCK_FILE);
        let mut options = OpenOptions::new();
        options.write(true).create(true).truncate(false);
        let file = regular::open_regular(&path, &mut options).map_err(DatasetError::at(&path))?;
        let until = Instant::now() + PATIENCE;
        loop {
            match file.try_lock() {
                Ok(()) => return Ok(Writing(file)),
                // Some file systems cannot lock; the dataset is none the worse for it.
                Err(TryLockError::Error(e)) if e.kind() == io::ErrorKind::Unsupported => {
                    return Ok(Writing(file));
                }
                Err(TryLockError::Error(e)) => return Err(DatasetError::at(&path)(e)),
                Err(TryLockError::WouldBlock) if Instant::now() < until => {
                    std::thread::sleep(Duration::from_millis(50));
                }
                Err(TryLockError::WouldBlock) => return Err(DatasetError::Busy(self.folder.clone())),
            }
        }
    }

    fn month_folder(&self, table: Monthly, month: &str) -> PathBuf {
        self.folder.join(table.key()).join(format!("month={month}"))
    }

    /// The months that a table has, earliest first.
    fn months(&self, table: Monthly) -> Result<Vec<String>, DatasetError> {
        let folder = self.folder.join(table.key());
        let mut months = Vec::new();
        for name in files::names(&folder)? {
            if let Some(month) = name.strip_prefix("month=") {
                months.push(month.to_owned());
            }
        }
        months.sort_unstable();
        Ok(months)
    }

    /// Its Parquet files of a table and month, by name.
    fn files(&self, table: Monthly, month: &str) -> Result<Vec<PathBuf>, DatasetError> {
        let folder = self.month_folder(table, month);
        let mut found: Vec<PathBuf> = files::names(&folder)?
            .into_iter()
            .filter(|n| files::is_parquet(n) && !n.starts_with('.'))
            .map(|n| folder.join(n))
            .collect();
        found.sort_unstable();
        Ok(found)
    }

    /// All its Parquet files of a table.
    pub fn all_files(&self, table: Monthly) -> Result<Vec<PathBuf>, DatasetError> {
        let mut all = Vec::new();
        for month in self.months(table)? {
            all.extend(self.files(table, &month)?);
        }
        Ok(all)
    }
}
