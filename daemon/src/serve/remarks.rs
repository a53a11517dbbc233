//! The coach's remarks: written to disk, then shown in the running lesson.

use super::hub::Hub;
use super::library::{Library, LibraryError};
use super::past_lesson;
use peakorder_analysis::measure::Measure;
use peakorder_analysis::summary::summarise_measure;
use peakorder_analysis::target::{self, TargetError};
use peakorder_protocol::remark::{Remark, RemarkError, RemarkFile, Target, What};
use peakorder_protocol::session::SessionError;
use serde::Deserialize;
use std::sync::{Arc, Mutex, PoisonError};

/// One number for a drill.
#[derive(Debug, Deserialize)]
pub(super) struct TargetRequest {
    /// Key of the measure, see `/measures`.
    measure: String,
    /// Difference from the baseline in the person's sense: + is more (further, faster, later).
    #[serde(default)]
    change: Option<f64>,
    /// Or a fixed value; for turns at the top its size.
    #[serde(default)]
    value: Option<f64>,
    /// With `value`: at most this much instead of at least.
    #[serde(default)]
    at_most: bool,
    /// The block it is for; empty = every block from now on.
    #[serde(default)]
    block: String,
    /// Short by no more than this is "nearly"; in the measure's unit.
    #[serde(default)]
    margin: Option<f64>,
}

/// Why a remark is not written.
#[derive(Debug, thiserror::Error)]
pub enum RemarksError {
    /// A target needs a running lesson.
    #[error("no lesson is running; start one first")]
    NoLesson,
    /// No remark is left.
    #[error("there is no remark to take back")]
    NothingToUndo,
    /// No measure has that key.
    #[error("there is no measure '{0}'; see /measures")]
    UnknownMeasure(String),
    /// A change needs a baseline to start from.
    #[error("there is no baseline of this measure yet; record a baseline block, or give a value")]
    NoBaseline,
    /// Both or neither were given.
    #[error("give either a change from the baseline or a value")]
    ChangeOrValue,
    /// The numbers make no target.
    #[error(transparent)]
    Target(#[from] TargetError),
    /// The library does not have the session.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The session's folder cannot be read.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The file of remarks refuses.
    #[error(transparent)]
    Remark(#[from] RemarkError),
}

/// Writes remarks, one at a time.
pub(super) struct RemarkWriter {
    hub: Arc<Hub>,
    library: Arc<Library>,
    /// Held while a remark is written and shown, so that the hub never goes back to older remarks.
    writing: Mutex<()>,
}

impl RemarkWriter {
    /// Writes into the sessions of `library` and shows the running one's remarks on `hub`.
    pub(super) fn new(hub: Arc<Hub>, library: Arc<Library>) -> Self {
        Self { hub, library, writing: Mutex::new(()) }
    }

    /// Changes the remarks of session `id`.
    fn change<T>(
        &self,
        id: &str,
        work: impl FnOnce(&RemarkFile, f64) -> Result<T, RemarksError>,
    ) -> Result<T, RemarksError> {
        let (dir, _) = self.library.open_session(id)?;
        let _one = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let live = self.hub.with_session(id, |l| l.now_ns() as f64 * 1e-9);
        let t_s = match live {
            Some(t_s) => t_s,
            None => past_lesson::end_s(&dir)?,
        };
        let file = RemarkFile::of(dir.path());
        let done = work(&file, t_s)?;
        // It may have renamed a block.
        self.library.session_changed(id);
        if live.is_some() {
            self.hub.set_remarks(id, file.read()?.fold());
        }
        Ok(done)
    }

    /// Adds a remark.
    pub(super) fn add(&self, id: &str, what: What) -> Result<Remark, RemarksError> {
        self.change(id, |file, t_s| Ok(file.append(t_s, what)?))
    }

    /// Takes back the last remark.
    pub(super) fn undo(&self, id: &str) -> Result<Remark, RemarksError> {
        self.change(id, |file, t_s| file.undo_last(t_s)?.ok_or(RemarksError::NothingToUndo))
    }

    /// Sets the drill target of the running lesson.
    pub(super) fn set_target(&self, request: &TargetRequest) -> Result<Remark, RemarksError> {
        let measure = Measure::from_key(&request.measure)
            .ok_or_else(|| RemarksError::UnknownMeasure(request.measure.clone()))?;
        let (id, baseline) = self
            .hub
            .with_lesson(|l| (l.state.id().to_owned(), l.state.baseline()))
            .ok_or(RemarksError::NoLesson)?;
        let baseline = summarise_measure(measure, &baseline.iter().map(AsRef::as_ref).collect::<Vec<_>>());
        let TargetRequest { change, value, at_most, block, margin, .. } = request;
        let target = match (*change, *value) {
            (Some(change), None) => {
                let baseline = baseline.ok_or(RemarksError::NoBaseline)?;
                target::about(measure, &baseline, change, *margin, block)
            }
            (None, Some(value)) => target::fixed(measure, value, !at_most, baseline.as_ref(), *margin, block),
            _ => return Err(RemarksError::ChangeOrValue),
        };
        self.write_target(&id, Some(target?))
    }

    /// Ends the drill target of the running lesson.
    pub(super) fn end_target(&self) -> Result<Remark, RemarksError> {
        let id = self.hub.running().ok_or(RemarksError::NoLesson)?;
        self.write_target(&id, None)
    }

    fn write_target(&self, id: &str, target: Option<Target>) -> Result<Remark, RemarksError> {
        self.change(id, |file, t_s| Ok(file.append(t_s, What::Target { target })?))
    }
}
