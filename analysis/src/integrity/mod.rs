//! What of a session folder is intact, what is lost, and saving what is left.

mod log;
mod salvage;

pub use log::{Hole, HoleKind, LogHealth, StrapHealth};
pub use salvage::{Assumption, SalvageError, Salvaged, Wanted, salvage};

use crate::load;
use peakorder_protocol::log::LogError;
use peakorder_protocol::repetition::Numbered;
use peakorder_protocol::session::{Session, SessionDir, SessionError};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Swing numbers above the highest that are looked for one by one.
const NUMBERS: u32 = 100_000;

/// A session folder, looked through.
#[derive(Debug)]
pub struct Health {
    /// The folder.
    pub folder: PathBuf,
    /// Its `session.toml`.
    pub session: Result<Session, SessionError>,
    /// Its recording.
    pub log: Result<LogHealth, LogError>,
    /// Swings whose numbers can be read.
    pub swings: Vec<u32>,
    /// Swings whose curves can be read.
    pub curves: Vec<u32>,
    /// Whether there are mobility checks that can be read.
    pub mobility: bool,
    /// Computed files that are missing or damaged; a replay makes them.
    pub files: Vec<FileProblem>,
    /// Remarks that cannot be read, in words.
    pub remarks: Vec<String>,
}

/// A computed file that is missing or damaged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileProblem {
    /// The file.
    pub path: PathBuf,
    /// What is the matter with it; `None` when it is not there.
    pub damage: Option<String>,
}

impl Health {
    /// Looks through `folder`. Fails only where that is no folder, or one that is being recorded
    /// into: what it holds changes meanwhile.
    pub fn of(folder: &Path) -> Result<Self, SessionError> {
        if !folder.is_dir() {
            return Err(SessionError::NotASession(folder.to_owned()));
        }
        let dir = SessionDir::at(folder);
        dir.refuse_if_recording()?;
        let session = SessionDir::open(folder).map(|(_, session)| session);
        let known_gaps = session.as_ref().map_or(0, Session::known_gaps);
        let log = LogHealth::of(&dir.log_path(), known_gaps);
        let mut files = Vec::new();
        let (swings, curves) = computed(&dir, session.as_ref().ok(), &mut files)?;
        let mobility = match dir.read_mobility() {
            Ok(found) => found.is_some(),
            Err(e) => {
                files.push(FileProblem { path: dir.mobility_path(), damage: Some(e.to_string()) });
                false
            }
        };
        let remarks = match dir.remarks().read() {
            Ok(read) => read.notices,
            Err(e) => vec![e.to_string()],
        };
        Ok(Self { folder: folder.to_owned(), session, log, swings, curves, mobility, files, remarks })
    }

    /// Nothing is missing or damaged, and nothing was when the session was recorded or saved.
    pub fn is_whole(&self) -> bool {
        self.session.as_ref().is_ok_and(|session| session.known_gaps() == 0)
            && self.log.as_ref().is_ok_and(|log| log.holes.is_empty())
            && self.files.is_empty()
            && self.remarks.is_empty()
    }

    /// Why the recording cannot be read at all, with its name.
    pub fn log_problem(&self) -> Option<String> {
        match self.log.as_ref().err()? {
            // This one names the file itself.
            e @ LogError::Open { .. } => Some(e.to_string()),
            e => Some(format!("{}: {e}", SessionDir::at(&self.folder).log_path().display())),
        }
    }

    /// Whether a part of the recording is damaged, so that what is left is worth saving.
    pub fn needs_salvage(&self) -> bool {
        self.session.is_err()
            || self.log.as_ref().is_ok_and(|log| log.holes.iter().any(|h| h.kind != HoleKind::KnownGap))
    }
}

/// Swings and curves that can be read; what cannot goes into `files`.
fn computed(
    dir: &SessionDir,
    session: Option<&Session>,
    files: &mut Vec<FileProblem>,
) -> Result<(Vec<u32>, Vec<u32>), SessionError> {
    let there = dir.swing_numbers()?;
    let highest = there.last().copied().unwrap_or(0).min(NUMBERS);
    let numbers: BTreeSet<u32> = there.iter().copied().chain(1..=highest).collect();
    let (mut swings, mut curves) = (Vec::new(), Vec::new());
    for number in numbers {
        let path = dir.swing_path(number);
        let read = load::read_numbered(dir, number);
        let has_curves = !matches!(read, Ok(Numbered::Repetition(_)));
        if there.binary_search(&number).is_err() {
            files.push(FileProblem { path, damage: None });
        } else {
            match read {
                Ok(read) if session.is_some_and(|s| s.id != read.session()) => {
                    let damage = format!(
                        "{}: of another session ({}); peakorderd replay makes it anew",
                        path.display(),
                        read.session()
                    );
                    files.push(FileProblem { path, damage: Some(damage) });
                }
                Ok(_) => swings.push(number),
                Err(problem) => files.push(FileProblem { path, damage: Some(problem.text) }),
            }
        }
        if !has_curves {
            continue;
        }
        match load::curves(dir, number) {
            Ok(_) => curves.push(number),
            Err(e) => {
                let missing = matches!(e.reason, load::NoCurvesReason::NoFile);
                let damage = (!missing).then(|| e.to_string());
                files.push(FileProblem { path: e.path, damage });
            }
        }
    }
    Ok((swings, curves))
}
