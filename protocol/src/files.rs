//! Writing files that a reader, a crash or a power cut never sees half of.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// How long a file must outlive the writing of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lasting {
    /// On the disk before the call returns: it exists nowhere else.
    Synced,
    /// When the system gets to it: it can be computed again.
    Recomputable,
}

/// Replaces the file at `path` by `bytes`, whole or not at all: written beside it and
/// renamed. The file is readable by its owner only; what peakorder writes is about people.
pub fn replace(path: &Path, bytes: &[u8], lasting: Lasting) -> io::Result<()> {
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    let part = PathBuf::from(name);
    let mut file = private_file(&part, OpenOptions::new().write(true).create(true).truncate(true))?;
    file.write_all(bytes)?;
    if lasting == Lasting::Synced {
        file.sync_all()?;
    }
    drop(file);
    fs::rename(&part, path)?;
    if lasting == Lasting::Synced {
        sync_folder_of(path)?;
    }
    Ok(())
}

/// A rename lasts once its folder is on the disk; only Unix can be asked for that.
#[cfg(unix)]
fn sync_folder_of(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder_of(_: &Path) -> io::Result<()> {
    Ok(())
}

/// Creates a folder and those above it, for their owner only. Their names survive a power cut.
#[cfg(unix)]
pub fn private_dir(path: &Path) -> io::Result<()> {
    use std::os::unix::fs::DirBuilderExt as _;
    let new: Vec<&Path> = path.ancestors().take_while(|a| !a.as_os_str().is_empty() && !a.exists()).collect();
    fs::DirBuilder::new().recursive(true).mode(0o700).create(path)?;
    for folder in new {
        // Best effort: some file systems cannot sync a folder.
        sync_folder_of(folder).unwrap_or(());
    }
    Ok(())
}

/// Creates a folder and those above it.
#[cfg(not(unix))]
pub fn private_dir(path: &Path) -> io::Result<()> {
    fs::create_dir_all(path)
}

/// Opens `path` for writing, readable by its owner only.
#[cfg(unix)]
pub fn private_file(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    use std::os::unix::fs::OpenOptionsExt as _;
    options.mode(0o600).open(path)
}

/// Opens `path` for writing.
#[cfg(not(unix))]
pub fn private_file(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    options.open(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_an_error_leaves_the_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f");
        for lasting in [Lasting::Recomputable, Lasting::Synced] {
            replace(&path, b"old, and longer", lasting).unwrap();
            replace(&path, b"new", lasting).unwrap();
            assert_eq!(fs::read(&path).unwrap(), b"new");
            assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
        }
        // The place beside it is taken: nothing can be written there.
        fs::create_dir(folder.path().join("f.part")).unwrap();
        assert!(replace(&path, b"newer", Lasting::Synced).is_err());
        assert_eq!(fs::read(&path).unwrap(), b"new");
    }

    #[cfg(unix)]
    #[test]
    fn what_is_written_is_its_owners_only() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f");
        replace(&path, b"x", Lasting::Synced).unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    }
}
