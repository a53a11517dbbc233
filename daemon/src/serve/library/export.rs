//! A player's card and sessions, copied out of the library.

use super::{Kept, KeptSession, Library, LibraryError};
use crate::serve::toml_file::{self, TomlFileError};
use peakorder_analysis::codes::Codes;
use peakorder_analysis::load::{LoadError, load};
use peakorder_analysis::{export, json};
use peakorder_protocol::files::{Lasting, open, private_dir, private_file, replace};
use peakorder_protocol::session::{SessionDir, SessionError};
use std::fs::{self, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

/// Why a player cannot be exported. The message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The folder is there.
    #[error("{} is already there; name a folder that is not", .0.display())]
    Exists(PathBuf),
    /// An export was broken off.
    #[error("{} was left by an export that was broken off; remove it first", .0.display())]
    BrokenOff(PathBuf),
    /// A file cannot be read or written.
    #[error("{}: {why}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: io::Error,
    },
    /// The card cannot be written.
    #[error("{}: {why}", path.display())]
    Card {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: TomlFileError,
    },
    /// A session is being recorded.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The library refuses.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// A session cannot be read, and without that its names cannot be replaced.
    #[error("{why}; without reading it no codes can be put in place of names")]
    Load {
        /// The reason.
        why: LoadError,
    },
    /// A table or document cannot be made.
    #[error("{id}: {why}")]
    Document {
        /// The session.
        id: String,
        /// The reason.
        why: String,
    },
}

/// What was exported.
#[derive(Debug, Clone)]
pub struct Exported {
    /// Sessions.
    pub sessions: usize,
    /// Sessions that perhaps are the player's and were left out.
    pub perhaps: usize,
}

fn at(path: &Path) -> impl FnOnce(io::Error) -> ExportError + '_ {
    move |why| ExportError::Io { path: path.to_owned(), why }
}

impl Library {
    /// Copies what the library keeps of the player `id` into the new folder `into`, whole or not at all.
    /// With `codes`: numbers only, and codes in place of names.
    pub fn export(&self, id: &str, into: &Path, codes: Option<&Codes>) -> Result<Exported, ExportError> {
        if into.symlink_metadata().is_ok() {
            return Err(ExportError::Exists(into.to_owned()));
        }
        let mut name = into.as_os_str().to_owned();
        name.push(".part");
        let part = PathBuf::from(name);
        if part.symlink_metadata().is_ok() {
            return Err(ExportError::BrokenOff(part));
        }
        let kept = self.kept(id)?;
        for session in &kept.sessions {
            SessionDir::at(&session.folder).refuse_if_recording()?;
        }
        private_dir(&part).map_err(at(&part))?;
        let made = match codes {
            None => self.copy_all(&kept, &part),
            Some(codes) => coded(&kept, &part, codes),
        }
        .and_then(|()| fs::rename(&part, into).map_err(at(into)));
        if made.is_err() {
            // Half an export is no use; if it cannot be removed, the next one says so.
            let _ = fs::remove_dir_all(&part);
        }
        made?;
        Ok(Exported { sessions: kept.sessions.len(), perhaps: kept.perhaps.len() })
    }

    fn copy_all(&self, kept: &Kept, into: &Path) -> Result<(), ExportError> {
        write(&into.join("README.txt"), READ_ME)?;
        if kept.card {
            let path = into.join("player.toml");
            let card = self.player(&kept.id)?;
            toml_file::write(&path, &card).map_err(|why| ExportError::Card { path, why })?;
        }
        for session in &kept.sessions {
            copy(&session.folder, &into.join("sessions").join(&session.id))?;
        }
        Ok(())
    }
}

/// Of every session the table and the document, as `peakorder export` and `peakorder show --json` write them.
fn coded(kept: &Kept, into: &Path, codes: &Codes) -> Result<(), ExportError> {
    write(&into.join("README.txt"), READ_ME_CODED)?;
    for KeptSession { id, folder, .. } in &kept.sessions {
        let spec = folder.to_str().ok_or_else(|| LibraryError::PathNotUtf8(folder.clone()))?;
        let mut loaded = load(spec).map_err(|why| ExportError::Load { why })?;
        codes.hide(&mut loaded);
        let failed = |why: String| ExportError::Document { id: id.clone(), why };
        let table = export::csv(&loaded).map_err(|e| failed(e.to_string()))?;
        let document =
            serde_json::to_string_pretty(&json::Show::from(&loaded)).map_err(|e| failed(e.to_string()))?;
        write(&into.join(format!("{}.csv", loaded.session.id)), &table)?;
        write(&into.join(format!("{}.json", loaded.session.id)), &document)?;
    }
    Ok(())
}

fn write(path: &Path, text: &str) -> Result<(), ExportError> {
    replace(path, text.as_bytes(), Lasting::Synced).map_err(at(path))
}

/// Copies a folder; links and what is no file are left out.
fn copy(from: &Path, to: &Path) -> Result<(), ExportError> {
    private_dir(to).map_err(at(to))?;
    for entry in fs::read_dir(from).map_err(at(from))? {
        let entry = entry.map_err(at(from))?;
        let (path, target) = (entry.path(), to.join(entry.file_name()));
        let kind = entry.file_type().map_err(at(&path))?;
        if kind.is_dir() {
            copy(&path, &target)?;
        } else if kind.is_file() {
            let mut source = open(&path).map_err(at(&path))?;
            let mut options = OpenOptions::new();
            let mut copied =
                private_file(&target, options.write(true).create_new(true)).map_err(at(&target))?;
            io::copy(&mut source, &mut copied).and_then(|_| copied.sync_all()).map_err(at(&target))?;
        }
    }
    Ok(())
}

const READ_ME: &str = "\
Everything that a library of peakorder keeps of one player.

player.toml              the player's card: name, side, goal, limits, and what was agreed to, when
sessions/ID/             one recorded lesson; each folder is whole and may be moved
  session.toml           when, of whom, with which straps, computed with what
  samples.log            the recording: everything that the straps sent, and the coach's marks
  swings/NNNN.json       the numbers of one swing
  swings/NNNN.curves     its curves
  mobility.json          mobility checks, if any were made
  remarks.jsonl          what the coach said of swings, if anything

The formats are described in docs/formats/ of peakorder's source, exactly enough to read the files
with another program. With peakorder itself: peakorder show sessions/ID

These files name the player and may hold words about the body: give them to nobody else.
";

const READ_ME_CODED: &str = "\
The numbers of one player's swings, with codes in place of names.

session-CODE.csv         every swing of a lesson, one row each, the unit in each column's name
session-CODE.json        the same with each block's summary (the document peakorder.show/1)

Left out: name, goal, limits, the coach's notes and all else that was typed, and the recordings, which hold
notes. Block labels other than baseline are codes. Dates are as they were: who knows when a lesson was
can tell whose it is.
";
