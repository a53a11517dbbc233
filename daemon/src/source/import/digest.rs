//! What tells one imported recording from another: a hash of its files.

use super::ImportError;
use peakorder_protocol::files;
use sha2::{Digest as _, Sha256};
use std::io::Read as _;
use std::path::Path;

/// SHA-256 of a file's bytes.
pub type FileHash = [u8; 32];

/// Hashes the file at `path`.
pub fn hash(path: &Path) -> Result<FileHash, ImportError> {
    let failed = |source| ImportError::Io { path: path.to_owned(), source };
    let mut file = files::open(path).map_err(failed)?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0; 1 << 16];
    loop {
        let n = file.read(&mut buffer).map_err(failed)?;
        if n == 0 {
            return Ok(hash.finalize().into());
        }
        hash.update(&buffer[..n]);
    }
}

/// A session's id by the files it is made of, each with what it was given as. The same files give
/// the same id, wherever they lie and whatever the session's folder is called.
pub fn session_id<'a>(parts: impl IntoIterator<Item = (&'a str, FileHash)>) -> String {
    use std::fmt::Write as _;
    let mut hash = Sha256::new();
    for (given_as, file) in parts {
        hash.update((given_as.len() as u64).to_le_bytes());
        hash.update(given_as);
        hash.update(file);
    }
    hash.finalize().iter().take(8).fold("import-".into(), |mut id, byte| {
        let _ = write!(id, "{byte:02x}");
        id
    })
}
