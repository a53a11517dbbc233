//! Where an import is made: in a folder beside its target, which gives way only to a whole session.

use anyhow::{Context as _, bail};
use peakorder_protocol::files::private_dir;
use peakorder_protocol::session::{
    LOG_FILE, MOBILITY_FILE, SESSION_FILE, SWINGS_DIR, SessionDir, SessionError,
};
use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

/// Locked as long as an import is at work in the folder.
const LOCK_FILE: &str = "import.lock";

/// A session being made beside the folder that it is for.
pub(super) struct ImportFolder {
    target: PathBuf,
    work: PathBuf,
    aside: PathBuf,
    lock: File,
}

impl ImportFolder {
    /// For a session in `out`. What a killed import left is replaced; a folder in which another
    /// import is at work, or that is somebody's own, is not touched.
    pub(super) fn new(out: &Path, force: bool) -> anyhow::Result<Self> {
        // A link is followed, so that what it points to is replaced and not the link.
        let target = out.canonicalize().unwrap_or_else(|_| out.to_owned());
        if !force && target.read_dir().is_ok_and(|mut d| d.next().is_some()) {
            return Err(SessionError::Exists(target).into());
        }
        if holds_a_session(&target) && std::env::current_dir().is_ok_and(|here| here.starts_with(&target)) {
            bail!(
                "{} is the folder you are in and would be replaced; go to another and try again",
                target.display()
            );
        }
        let work = beside(&target, "importing");
        let aside = beside(&target, "replaced");
        if aside.exists() {
            bail!(
                "{} holds the session that an earlier import to {} was about to replace when it was broken off; \
                 keep or remove it, then try again",
                aside.display(),
                target.display()
            );
        }
        if work.exists() && !(work.is_dir() && is_ours(&work)?) {
            bail!(
                "{} is in the way, and no import made it; remove or rename it and try again",
                work.display()
            );
        }
        private_dir(&work).with_context(|| work.display().to_string())?;
        let lock_path = work.join(LOCK_FILE);
        let lock = lock(&lock_path).with_context(|| lock_path.display().to_string())?;
        let Some(lock) = lock else {
            bail!(
                "{} is in the way: another import to {} is at work; wait for it",
                work.display(),
                target.display()
            );
        };
        clear(&work).with_context(|| work.display().to_string())?;
        Ok(Self { target, work, aside, lock })
    }

    /// The folder the session is made in.
    pub(super) fn session(&self) -> Result<SessionDir, SessionError> {
        // What is in it is the lock, and nothing of a session.
        SessionDir::create(&self.work, true)
    }

    /// Nothing is left of the work; the target stays as it is.
    pub(super) fn give_up(self) {
        drop(self.lock);
        if let Err(error) = std::fs::remove_dir_all(&self.work) {
            tracing::warn!(%error, "{} could not be removed.", self.work.display());
        }
    }

    /// Puts the finished session in the place of the target. At every moment the old session
    /// or the new one is whole on disk: the old one goes aside, the new one comes in, and only
    /// then is the old one deleted. What is in the folder and is not the session's stays there.
    pub(super) fn finish(self) -> anyhow::Result<()> {
        let Self { target, work, aside, lock } = self;
        drop(lock);
        let lock_path = work.join(LOCK_FILE);
        std::fs::remove_file(&lock_path).with_context(|| lock_path.display().to_string())?;
        let rename =
            |from: &Path, to: &Path| std::fs::rename(from, to).with_context(|| to.display().to_string());
        if !target.exists() {
            return rename(&work, &target);
        }
        if !holds_a_session(&target) {
            move_files(&work, &target)?;
            return std::fs::remove_dir_all(&work).with_context(|| work.display().to_string());
        }
        rename(&target, &aside)?;
        if let Err(error) = rename(&work, &target) {
            rename(&aside, &target)?;
            return Err(error);
        }
        SessionDir::create(&aside, true)?;
        move_files(&aside, &target)?;
        std::fs::remove_dir_all(&aside).with_context(|| aside.display().to_string())
    }
}

/// Takes the lock; `None` if another program has it.
fn lock(path: &Path) -> std::io::Result<Option<File>> {
    let file = peakorder_protocol::files::open_private(
        path,
        OpenOptions::new().read(true).write(true).create(true).truncate(false),
    )?;
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => Ok(None),
        // Some file systems cannot lock; the import itself is none the worse for it.
        _ => Ok(Some(file)),
    }
}

/// Whether the folder holds nothing but what an import makes.
fn is_ours(work: &Path) -> anyhow::Result<bool> {
    let names = |folder: &Path| -> anyhow::Result<Vec<(String, bool)>> {
        let mut all = Vec::new();
        for entry in folder.read_dir().with_context(|| folder.display().to_string())? {
            let entry = entry.with_context(|| folder.display().to_string())?;
            let name = entry.file_name().to_string_lossy().into_owned();
            let is_dir = entry.file_type().with_context(|| entry.path().display().to_string())?.is_dir();
            all.push((name, is_dir));
        }
        Ok(all)
    };
    let files = [LOCK_FILE, SESSION_FILE, LOG_FILE, MOBILITY_FILE];
    let is_file = |name: &str| files.contains(&name.strip_suffix(".part").unwrap_or(name));
    let is_swing = |name: &str| {
        let name = name.strip_suffix(".part").unwrap_or(name);
        name.rsplit_once('.').is_some_and(|(number, extension)| {
            number.bytes().all(|b| b.is_ascii_digit()) && ["json", "curves"].contains(&extension)
        })
    };
    for (name, is_dir) in names(work)? {
        let ours = if is_dir {
            name == SWINGS_DIR && names(&work.join(&name))?.iter().all(|(n, dir)| !dir && is_swing(n))
        } else {
            is_file(&name)
        };
        if !ours {
            return Ok(false);
        }
    }
    Ok(true)
}

/// Removes everything but the lock.
fn clear(work: &Path) -> std::io::Result<()> {
    for entry in work.read_dir()? {
        let entry = entry?;
        if entry.file_name() == LOCK_FILE {
            continue;
        }
        if entry.file_type()?.is_dir() {
            std::fs::remove_dir_all(entry.path())?;
        } else {
            std::fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

/// Moves every file below `from` to its place below `to`; what else is there stays.
fn move_files(from: &Path, to: &Path) -> anyhow::Result<()> {
    std::fs::create_dir_all(to).with_context(|| to.display().to_string())?;
    for entry in std::fs::read_dir(from).with_context(|| from.display().to_string())? {
        let path = entry.with_context(|| from.display().to_string())?.path();
        let place = to.join(path.file_name().unwrap_or_default());
        if path.is_dir() {
            move_files(&path, &place)?;
        } else {
            std::fs::rename(&path, &place).with_context(|| place.display().to_string())?;
        }
    }
    Ok(())
}

fn holds_a_session(folder: &Path) -> bool {
    [SESSION_FILE, LOG_FILE, MOBILITY_FILE, SWINGS_DIR].iter().any(|name| folder.join(name).exists())
}

fn beside(target: &Path, what: &str) -> PathBuf {
    let mut name = target.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{what}"));
    target.with_file_name(name)
}
