//! What of session folders is intact, and what was saved.

use crate::integrity::{self, HoleKind};
use crate::words::integrity as words;
use peakorder_protocol::Role;
use peakorder_protocol::trouble::TroubleNote;
use serde::Serialize;
use std::collections::BTreeMap;

/// Schema of [`Verify`].
pub const VERIFY: &str = "peakorder.verify/1";
/// Schema of [`Salvage`].
pub const SALVAGE: &str = "peakorder.salvage/1";

/// Session folders, looked through.
#[derive(Debug, Serialize)]
pub struct Verify {
    schema: &'static str,
    sessions: Vec<Health>,
}

impl Verify {
    /// The folders in the order given.
    pub fn of(folders: &[integrity::Health]) -> Self {
        Self { schema: VERIFY, sessions: folders.iter().map(Into::into).collect() }
    }
}

/// What was saved of a session folder.
#[derive(Debug, Serialize)]
pub struct Salvage {
    schema: &'static str,
    into: String,
    records: u64,
    assumed: Vec<String>,
    from: Health,
}

impl From<&integrity::Salvaged> for Salvage {
    fn from(done: &integrity::Salvaged) -> Self {
        Self {
            schema: SALVAGE,
            into: done.into.display().to_string(),
            records: done.records,
            assumed: done.assumed.iter().map(words::assumption).collect(),
            from: (&done.health).into(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Health {
    folder: String,
    whole: bool,
    recording: Option<Recording>,
    recording_problem: Option<String>,
    session_problem: Option<String>,
    troubles: Vec<TroubleNote>,
    swings: usize,
    curves: usize,
    files: Vec<ComputedFile>,
    remarks_problems: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Recording {
    seconds: f64,
    frames: u64,
    straps: BTreeMap<Role, Strap>,
    holes: Vec<Hole>,
}

#[derive(Debug, Serialize)]
struct Strap {
    notifications: u64,
    missing_s: f64,
}

#[derive(Debug, Serialize)]
struct Hole {
    kind: &'static str,
    offset: u64,
    bytes: u64,
    from_s: f64,
    to_s: Option<f64>,
    missing_s: BTreeMap<Role, f64>,
    text: String,
}

#[derive(Debug, Serialize)]
struct ComputedFile {
    file: String,
    missing: bool,
    text: String,
}

impl From<&integrity::Health> for Health {
    fn from(h: &integrity::Health) -> Self {
        let file = |problem: &integrity::FileProblem| ComputedFile {
            file: problem.path.display().to_string(),
            missing: problem.damage.is_none(),
            text: words::file(problem),
        };
        Self {
            folder: h.folder.display().to_string(),
            whole: h.is_whole(),
            recording: h.log.as_ref().ok().map(Into::into),
            recording_problem: h.log_problem(),
            session_problem: h.session.as_ref().err().map(ToString::to_string),
            troubles: h.session.as_ref().map_or_else(|_| Vec::new(), |s| s.troubles.clone()),
            swings: h.swings.len(),
            curves: h.curves.len(),
            files: h.files.iter().map(file).collect(),
            remarks_problems: h.remarks.clone(),
        }
    }
}

impl From<&integrity::LogHealth> for Recording {
    fn from(log: &integrity::LogHealth) -> Self {
        let strap =
            |s: &integrity::StrapHealth| Strap { notifications: s.notifications, missing_s: s.missing_s };
        let hole = |h: &integrity::Hole| Hole {
            kind: match h.kind {
                HoleKind::Damage => "damage",
                HoleKind::Gap => "gap",
                HoleKind::KnownGap => "known-gap",
                HoleKind::TornEnd => "torn-end",
                HoleKind::Header => "header",
            },
            offset: h.offset,
            bytes: h.bytes,
            from_s: h.from_s,
            to_s: h.to_s,
            missing_s: h.missing_s.clone(),
            text: words::hole(h),
        };
        Self {
            seconds: log.seconds,
            frames: log.frames,
            straps: log.straps.iter().map(|(role, s)| (*role, strap(s))).collect(),
            holes: log.holes.iter().map(hole).collect(),
        }
    }
}
