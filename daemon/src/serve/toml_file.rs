//! Small TOML files of this program: read with a size limit, replaced as a whole.

use peakorder_protocol::files::{self, Lasting};
use peakorder_protocol::toml_line;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::path::Path;

/// A larger file is something else.
const LIMIT_BYTES: u64 = 64 << 10;

/// Why a file cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum TomlFileError {
    /// The file system refuses.
    #[error(transparent)]
    Io(#[from] std::io::Error),
    /// Not the TOML that is expected; says where.
    #[error("{0}")]
    Content(String),
    /// The value has no TOML form.
    #[error(transparent)]
    Value(#[from] toml::ser::Error),
}

/// Reads a file.
pub(super) fn read<T: DeserializeOwned>(path: &Path) -> Result<T, TomlFileError> {
    let text = files::read_text(path, LIMIT_BYTES)?;
    toml::from_str(&text).map_err(|e| TomlFileError::Content(toml_line::explain(&text, &e)))
}

/// Replaces a file; it is on the disk when this returns.
pub(super) fn write(path: &Path, value: &impl Serialize) -> Result<(), TomlFileError> {
    let text = toml::to_string_pretty(value)?;
    Ok(files::replace(path, text.as_bytes(), Lasting::Synced)?)
}
