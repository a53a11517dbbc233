//! The folder of an export appears whole or not at all: it is made beside its place and renamed.

use super::ExportError;
use peakorder_protocol::files::{private_dir, private_file};
use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Locked as long as an export is at work in the folder.
const LOCK_FILE: &str = "export.lock";
const ENDING: &str = ".part";

/// A folder being made; dropped, it is gone.
pub(super) struct Stage {
    target: PathBuf,
    work: TempDir,
    lock: File,
}

impl Stage {
    /// For `into`, where there must be nothing, or an empty folder. What exports to it that were killed left
    /// beside it is removed.
    pub(super) fn new(into: &Path) -> Result<Self, ExportError> {
        match fs::read_dir(into).map(|mut entries| entries.next().is_none()) {
            Ok(true) => {}
            Err(e) if e.kind() == io::ErrorKind::NotFound => {}
            Err(e) if e.kind() != io::ErrorKind::NotADirectory => return Err(ExportError::io(into)(e)),
            _ => return Err(ExportError::Exists(into.to_owned())),
        }
        let above = into.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let Some(name) = into.file_name() else { return Err(ExportError::Exists(into.to_owned())) };
        private_dir(above).map_err(ExportError::io(above))?;
        let prefix = format!(".{}.", name.to_string_lossy());
        remove_left(above, &prefix);
        let work = tempfile::Builder::new()
            .prefix(&prefix)
            .suffix(ENDING)
            .tempdir_in(above)
            .map_err(ExportError::io(above))?;
        let path = work.path().join(LOCK_FILE);
        let lock = private_file(&path, OpenOptions::new().write(true).create_new(true))
            .and_then(|file| file.lock().map(|()| file))
            .map_err(ExportError::io(&path))?;
        Ok(Self { target: into.to_owned(), work, lock })
    }

    /// Where the files go.
    pub(super) fn path(&self) -> &Path {
        self.work.path()
    }

    /// All is written: the folder gets its name.
    pub(super) fn finish(self) -> Result<(), ExportError> {
        let Self { target, work, lock } = self;
        let path = work.path().join(LOCK_FILE);
        drop(lock);
        fs::remove_file(&path).map_err(ExportError::io(&path))?;
        // Over an empty folder a rename is refused on some systems.
        match fs::remove_dir(&target) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(ExportError::io(&target)(e)),
            _ => {}
        }
        fs::rename(work.path(), &target).map_err(ExportError::io(&target))?;
        // It has another name now: there is nothing left to remove.
        let _ = work.keep();
        Ok(())
    }
}

/// Removes what exports left that were killed: folders with our name and a lock that nobody holds.
fn remove_left(above: &Path, prefix: &str) {
    let Ok(entries) = fs::read_dir(above) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let lock = entry.path().join(LOCK_FILE);
        let ours = name.starts_with(prefix) && name.ends_with(ENDING);
        if ours && File::open(lock).is_ok_and(|lock| lock.try_lock().is_ok()) {
            // What cannot be removed is in nobody's way.
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect()
    }

    #[test]
    fn a_folder_is_there_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let into = folder.path().join("out");
        let stage = Stage::new(&into).unwrap();
        fs::write(stage.path().join("a.csv"), "a").unwrap();
        assert!(!into.exists());
        drop(stage);
        assert!(names(folder.path()).is_empty(), "{:?}", names(folder.path()));

        let stage = Stage::new(&into).unwrap();
        fs::write(stage.path().join("a.csv"), "a").unwrap();
        stage.finish().unwrap();
        assert_eq!((names(folder.path()), names(&into)), (vec!["out".to_owned()], vec!["a.csv".to_owned()]));
        assert!(matches!(Stage::new(&into), Err(ExportError::Exists(_))));
        assert!(matches!(Stage::new(&into.join("a.csv")), Err(ExportError::Exists(_))), "a file");
    }

    #[test]
    fn what_a_killed_export_left_is_removed_and_one_at_work_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let into = folder.path().join("out");
        let Stage { work, lock, .. } = Stage::new(&into).unwrap();
        let left = work.keep();
        let other = Stage::new(&into).unwrap();
        assert!(left.exists(), "its lock is held");
        drop(lock);
        drop(Stage::new(&into).unwrap());
        assert!(!left.exists() && other.path().exists());
    }
}
