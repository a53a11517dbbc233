//! What the coach says of swings: ball outcomes, notes, swings left out, drill targets.
//!
//! `remarks.jsonl` of the session folder is append-only: one JSON object a line, flushed to
//! disk before it counts. Nothing in it is ever changed; a later line replaces an earlier
//! one, and [`What::Undo`] takes one back. The recording and the swing files stay as they
//! are, so a replay neither needs nor touches it.

mod ball;
mod fold;
mod words;

pub use ball::{Ball, Standing};
pub use fold::{ChosenSet, Last, LessonNote, Remarks, SwingRemarks, TargetSet};

use crate::files;
use crate::whole_number;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

/// The remarks' file name inside a session folder.
pub const REMARKS_FILE: &str = "remarks.jsonl";

/// A lesson makes a few hundred lines; anything this large is not ours.
const FILE_LIMIT_BYTES: u64 = 8 << 20;
/// Longest note or reason, characters: a page of text.
pub const TEXT_LIMIT: usize = 4000;
/// Longest outcome label, characters: it has to fit beside a swing.
pub const LABEL_LIMIT: usize = 60;
/// Most outcome labels of one swing.
pub const LABELS_LIMIT: usize = 12;
/// Most measures that a lesson may be about: each more makes every verdict weaker.
pub const CHOSEN_LIMIT: usize = 5;

/// One line of the file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Remark {
    /// 1-based and consecutive.
    pub id: u32,
    /// Session clock, seconds; for a remark made after the lesson its end or later.
    pub t_s: f64,
    /// What is said.
    #[serde(flatten)]
    pub what: What,
}

/// What a remark says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum What {
    /// What the ball did. Replaces the swing's earlier labels; an empty list removes them.
    Outcome {
        /// Number of the swing.
        #[serde(deserialize_with = "whole_number::required")]
        swing: u32,
        /// In the coach's words.
        labels: Vec<String>,
    },
    /// A note. Of a swing: replaces its earlier note, an empty text removes it. Of the
    /// lesson (no swing): added to the others.
    Note {
        /// Number of the swing; absent for a note of the lesson.
        #[serde(
            default,
            skip_serializing_if = "Option::is_none",
            deserialize_with = "whole_number::optional"
        )]
        swing: Option<u32>,
        /// In the coach's words.
        text: String,
    },
    /// Leaves a swing out of every summary, or takes it in again. Its files stay.
    Exclude {
        /// Number of the swing.
        #[serde(deserialize_with = "whole_number::required")]
        swing: u32,
        /// Left out from now on?
        excluded: bool,
        /// Why, in the coach's words.
        #[serde(default)]
        reason: String,
    },
    /// Of a block: every swing hits a ball, and then those count of which the straps could not tell; or it is
    /// without a ball, and then its swings without a strike count; or neither is said.
    Balls {
        /// The block's label.
        block: String,
        /// Every swing hits a ball?
        every_swing: bool,
        /// No swing is meant to hit one? Not together with `every_swing`.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        without_ball: bool,
    },
    /// Gives a block another name, from its first swing to its last. What is said of it so far goes with it; a block
    /// that has the new name already becomes one with it.
    Rename {
        /// The block's label, as it is now.
        block: String,
        /// Its new label: not empty.
        name: String,
    },
    /// Of one swing, whether it hit a ball, whatever the straps felt. Replaces what was said before.
    Ball {
        /// Number of the swing.
        #[serde(deserialize_with = "whole_number::required")]
        swing: u32,
        /// It hit a ball, or none; absent: as the straps and the block say.
        #[serde(default)]
        struck: Option<bool>,
    },
    /// Sets the drill target from this moment on; `None` ends it.
    Target {
        /// The target.
        target: Option<Target>,
    },
    /// Which measures the lesson is about, from this moment on; replaces an earlier choice, an empty list ends it.
    Chosen {
        /// One to five.
        measures: Vec<ChosenMeasure>,
    },
    /// What the player is to practise until the next lesson. Replaces the text before; an empty one removes it.
    Practise {
        /// In the coach's words.
        text: String,
    },
    /// Takes back an earlier remark. It cannot itself be taken back.
    Undo {
        /// Id of that remark. Its key is `undone` in the file, where `id` is the line's own;
        /// a request may say `id`.
        #[serde(rename = "undone", alias = "id", deserialize_with = "whole_number::required")]
        id: u32,
    },
}

/// A measure that a lesson is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct ChosenMeasure {
    /// Key of the measure, e.g. `pelvis_turn_top_deg`; ends in its unit.
    pub measure: String,
    /// Smallest change that matters, in that unit, above 0; absent where the coach names none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matters: Option<f64>,
}

/// Which side of the value counts as met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// The value or more.
    AtLeast,
    /// The value or less.
    AtMost,
}

/// One number for a drill, set by the coach from the player's own baseline.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Target {
    /// Key of the measure, e.g. `pelvis_turn_top_deg`; ends in its unit.
    pub measure: String,
    /// Which side of `value` counts as met. In the measure's own sign: "turns 48° back
    /// or more" is `at_most` −48.
    pub bound: Bound,
    /// In the measure's unit and sign.
    pub value: f64,
    /// Missed by no more than this is "nearly"; in the measure's unit, not negative.
    pub margin: f64,
    /// The block it is for; empty = every block from its moment on.
    #[serde(default)]
    pub block: String,
    /// The baseline's mean it was set from, in the measure's unit and sign.
    #[serde(default)]
    pub baseline_mean: Option<f64>,
    /// Said plainly, e.g. "pelvis turn at top: 43° back or more (baseline + 8°)".
    pub words: String,
}

/// Why remarks could not be read or written. The message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum RemarkError {
    /// I/O failed.
    #[error("{}: {source}", path.display())]
    Io {
        /// File concerned.
        path: PathBuf,
        /// Cause.
        source: io::Error,
    },
    /// The remark itself is not acceptable.
    #[error(transparent)]
    Refused(#[from] RemarkRefusal),
    /// It has no form as JSON.
    #[error("the remark cannot be written: {0}")]
    Unwritable(serde_json::Error),
}

/// Why a remark is not acceptable.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RemarkRefusal {
    /// Its time is none of the session.
    #[error("a remark at {0} s is not on the session clock, which starts at 0")]
    Time(f64),
    /// The file holds the largest number.
    #[error("no number is left for another remark in this session; begin another session")]
    NoNumberLeft,
    /// Nothing to take back.
    #[error("there is no remark {0} to take back")]
    NoSuchRemark(u32),
    /// An undo cannot be undone.
    #[error("remark {0} took another one back; make that remark again instead")]
    TookBack(u32),
    /// It was taken back before.
    #[error("remark {0} is already taken back")]
    TakenBack(u32),
    /// No swing has this number.
    #[error("swings are numbered from 1")]
    SwingZero,
    /// A block cannot be both.
    #[error("a block in which every swing hits a ball is not without a ball; say one of them")]
    BothBalls,
    /// A block's new label cannot be shown.
    #[error("a block's new label is one line and not empty")]
    BlockName,
    /// Too many labels for one swing.
    #[error("{0} outcome labels for one swing; give at most {LABELS_LIMIT}")]
    Labels(usize),
    /// A note of the lesson says nothing.
    #[error("a note of the lesson needs a text")]
    EmptyNote,
    /// A text is too long.
    #[error("{what} of {length} characters is too long; write at most {limit}")]
    TooLong {
        /// Which text, e.g. `a note`.
        what: &'static str,
        /// Characters.
        length: usize,
        /// At most so many.
        limit: usize,
    },
    /// A target is of no measure.
    #[error("a target or a choice needs the key of its measure")]
    NoMeasure,
    /// A target's value or the mean it was set from is no number.
    #[error("a target's value must be a number")]
    Value,
    /// More measures chosen than a lesson may be about.
    #[error("a lesson is about {CHOSEN_LIMIT} measures at most, not {0}; choose those that matter most")]
    TooManyChosen(usize),
    /// A smallest change is not above 0, or no number.
    #[error("a smallest change that matters must be above 0, not {0}")]
    Matters(f64),
    /// A target's margin is negative or no number.
    #[error("a target's margin must be 0 or more, not {0}")]
    Margin(f64),
}

/// What was read from the file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ReadRemarks {
    /// The remarks, in order of the lines.
    pub remarks: Vec<Remark>,
    /// Lines that could not be read, each named with what was done about it.
    pub notices: Vec<String>,
}

impl ReadRemarks {
    /// The state they come to.
    pub fn fold(&self) -> Remarks {
        Remarks::fold(&self.remarks)
    }

    fn next_id(&self) -> Option<u32> {
        self.remarks.iter().map(|r| r.id).max().unwrap_or(0).checked_add(1)
    }
}

/// The remarks of one session. Every call opens the file anew, so that several holders
/// never work from a stale copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RemarkFile {
    path: PathBuf,
}

impl RemarkFile {
    /// The remarks of the session folder `dir`; the file need not exist.
    pub fn of(dir: &Path) -> Self {
        Self { path: dir.join(REMARKS_FILE) }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads all remarks; none when there is no file. A line that cannot be read is left
    /// out with a notice.
    pub fn read(&self) -> Result<ReadRemarks, RemarkError> {
        match files::open(&self.path) {
            Ok(mut file) => Ok(parse(&self.bytes(&mut file)?, &self.path).0),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(ReadRemarks::default()),
            Err(e) => Err(self.io(e)),
        }
    }

    /// Adds a remark and returns it once it is on the disk. A torn last line (a crash while
    /// writing) is cut off first, for the next line would run into it. The file is locked
    /// meanwhile, so two writers cannot give the same id.
    pub fn append(&self, t_s: f64, what: What) -> Result<Remark, RemarkError> {
        // As it was said: what is too long or too many is not made to fit.
        what.check()?;
        let what = what.tidy();
        if !(t_s.is_finite() && t_s >= 0.0) {
            return Err(RemarkRefusal::Time(t_s).into());
        }
        let mut options = fs::OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let mut file = files::open_private(&self.path, &mut options).map_err(|e| self.io(e))?;
        file.lock().map_err(|e| self.io(e))?;
        let (read, end) = parse(&self.bytes(&mut file)?, &self.path);
        if let What::Undo { id } = what {
            read.can_undo(id)?;
        }
        let id = read.next_id().ok_or(RemarkRefusal::NoNumberLeft)?;
        let remark = Remark { id, t_s, what };
        let mut line = serde_json::to_string(&remark).map_err(RemarkError::Unwritable)?;
        line.push('\n');
        if end.unterminated {
            line.insert(0, '\n');
        }
        file.set_len(end.good_bytes).map_err(|e| self.io(e))?;
        file.seek(SeekFrom::Start(end.good_bytes)).map_err(|e| self.io(e))?;
        file.write_all(line.as_bytes()).map_err(|e| self.io(e))?;
        file.sync_data().map_err(|e| self.io(e))?;
        Ok(remark)
    }

    /// Takes back the last remark that is not taken back yet; `None` when there is none.
    pub fn undo_last(&self, t_s: f64) -> Result<Option<Remark>, RemarkError> {
        match self.read()?.fold().last {
            Some(last) => self.append(t_s, What::Undo { id: last.id }).map(Some),
            None => Ok(None),
        }
    }

    /// Copies the remarks, if there are any, into another session.
    pub fn copy_to(&self, other: &Self) -> Result<(), RemarkError> {
        match files::read(&self.path, FILE_LIMIT_BYTES) {
            Ok(bytes) => files::replace(&other.path, &bytes, files::Lasting::Synced).map_err(|e| other.io(e)),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(()),
            Err(e) => Err(self.io(e)),
        }
    }

    fn bytes(&self, file: &mut File) -> Result<Vec<u8>, RemarkError> {
        files::read_open(file, FILE_LIMIT_BYTES).map_err(|e| self.io(e))
    }

    fn io(&self, source: io::Error) -> RemarkError {
        RemarkError::Io { path: self.path.clone(), source }
    }
}

/// Where the next line goes.
struct End {
    /// Bytes to keep.
    good_bytes: u64,
    /// What is kept does not end in a newline.
    unterminated: bool,
}

fn parse(bytes: &[u8], path: &Path) -> (ReadRemarks, End) {
    let mut read = ReadRemarks::default();
    let mut seen = BTreeSet::new();
    let mut end = End { good_bytes: bytes.len() as u64, unterminated: false };
    let mut at = 0;
    for (index, line) in bytes.split_inclusive(|&b| b == b'\n').enumerate() {
        let start = at;
        at += line.len();
        let terminated = line.ends_with(b"\n");
        if line.trim_ascii().is_empty() {
            continue;
        }
        let place = format!("{}, line {}", path.display(), index + 1);
        match serde_json::from_slice::<Remark>(line) {
            Ok(remark) if !seen.insert(remark.id) => {
                read.notices.push(format!("{place}: a second remark {}, left out", remark.id));
            }
            Ok(remark) => read.remarks.push(remark),
            Err(_) if !terminated => {
                read.notices.push(format!(
                    "{place}: cut off while it was written, left out; make that remark again if it is missed"
                ));
                end.good_bytes = start as u64;
                return (read, end);
            }
            Err(e) => read.notices.push(format!(
                "{place}: left out, it cannot be read ({e}); a newer peakorder may be able to"
            )),
        }
        end.unterminated = !terminated;
    }
    (read, end)
}

impl ReadRemarks {
    fn can_undo(&self, id: u32) -> Result<(), RemarkRefusal> {
        let Some(remark) = self.remarks.iter().find(|r| r.id == id) else {
            return Err(RemarkRefusal::NoSuchRemark(id));
        };
        if matches!(remark.what, What::Undo { .. }) {
            return Err(RemarkRefusal::TookBack(id));
        }
        if self.remarks.iter().any(|r| matches!(r.what, What::Undo { id: undone } if undone == id)) {
            return Err(RemarkRefusal::TakenBack(id));
        }
        Ok(())
    }
}

impl What {
    /// Without blanks around texts, without empty or repeated labels.
    fn tidy(self) -> Self {
        let trim = |text: &str| text.trim().to_owned();
        match self {
            Self::Outcome { swing, labels } => {
                let mut kept: Vec<String> = Vec::new();
                for label in labels.iter().map(|l| trim(l)).filter(|l| !l.is_empty()) {
                    if !kept.contains(&label) {
                        kept.push(label);
                    }
                }
                Self::Outcome { swing, labels: kept }
            }
            Self::Note { swing, text } => Self::Note { swing, text: trim(&text) },
            Self::Practise { text } => Self::Practise { text: trim(&text) },
            Self::Rename { block, name } => Self::Rename { block, name: trim(&name) },
            Self::Exclude { swing, excluded, reason } => {
                Self::Exclude { swing, excluded, reason: trim(&reason) }
            }
            Self::Chosen { measures } => {
                let mut kept: Vec<ChosenMeasure> = Vec::new();
                for one in measures {
                    if kept.iter().all(|k| k.measure != one.measure) {
                        kept.push(one);
                    }
                }
                Self::Chosen { measures: kept }
            }
            other => other,
        }
    }

    /// Whether it can be written.
    pub fn check(&self) -> Result<(), RemarkRefusal> {
        match self {
            Self::Outcome { swing, labels } => {
                known_swing(*swing)?;
                if labels.len() > LABELS_LIMIT {
                    return Err(RemarkRefusal::Labels(labels.len()));
                }
                labels.iter().try_for_each(|l| short_text("an outcome label", l, LABEL_LIMIT))
            }
            Self::Note { swing: Some(swing), text } => {
                known_swing(*swing)?;
                short_text("a note", text, TEXT_LIMIT)
            }
            Self::Note { swing: None, text } if text.trim().is_empty() => Err(RemarkRefusal::EmptyNote),
            Self::Note { swing: None, text } => short_text("a note", text, TEXT_LIMIT),
            Self::Practise { text } => short_text("what to practise", text, TEXT_LIMIT),
            Self::Exclude { swing, reason, .. } => {
                known_swing(*swing)?;
                short_text("a reason", reason, TEXT_LIMIT)
            }
            Self::Balls { every_swing: true, without_ball: true, .. } => Err(RemarkRefusal::BothBalls),
            Self::Balls { block, .. } => short_text("a block's label", block, TEXT_LIMIT),
            Self::Rename { name, .. } if name.trim().is_empty() || name.chars().any(char::is_control) => {
                Err(RemarkRefusal::BlockName)
            }
            Self::Rename { block, name } => {
                short_text("a block's label", block, TEXT_LIMIT)?;
                short_text("a block's label", name, LABEL_LIMIT)
            }
            Self::Ball { swing, .. } => known_swing(*swing),
            Self::Target { target: Some(target) } => target.check(),
            Self::Chosen { measures } => chosen(measures),
            Self::Target { target: None } | Self::Undo { .. } => Ok(()),
        }
    }
}

impl Target {
    fn check(&self) -> Result<(), RemarkRefusal> {
        short_text("a measure's key", &self.measure, LABEL_LIMIT)?;
        short_text("a block's label", &self.block, TEXT_LIMIT)?;
        short_text("a target's words", &self.words, TEXT_LIMIT)?;
        if self.measure.is_empty() {
            return Err(RemarkRefusal::NoMeasure);
        }
        if !self.value.is_finite() || self.baseline_mean.is_some_and(|b| !b.is_finite()) {
            return Err(RemarkRefusal::Value);
        }
        if !(self.margin.is_finite() && self.margin >= 0.0) {
            return Err(RemarkRefusal::Margin(self.margin));
        }
        Ok(())
    }
}

fn chosen(measures: &[ChosenMeasure]) -> Result<(), RemarkRefusal> {
    if measures.len() > CHOSEN_LIMIT {
        return Err(RemarkRefusal::TooManyChosen(measures.len()));
    }
    for one in measures {
        short_text("a measure's key", &one.measure, LABEL_LIMIT)?;
        if one.measure.is_empty() {
            return Err(RemarkRefusal::NoMeasure);
        }
        if let Some(matters) = one.matters.filter(|m| !(m.is_finite() && *m > 0.0)) {
            return Err(RemarkRefusal::Matters(matters));
        }
    }
    Ok(())
}

fn known_swing(number: u32) -> Result<(), RemarkRefusal> {
    if number == 0 { Err(RemarkRefusal::SwingZero) } else { Ok(()) }
}

fn short_text(what: &'static str, text: &str, limit: usize) -> Result<(), RemarkRefusal> {
    let length = text.chars().count();
    if length > limit {
        return Err(RemarkRefusal::TooLong { what, length, limit });
    }
    Ok(())
}
