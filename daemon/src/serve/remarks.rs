//! Remarks on their way to disk, then to the board.

use super::Hall;
use super::api::error::Failure;
use super::past;
use axum::http::StatusCode;
use peakorder_analysis::measure::Measure;
use peakorder_analysis::target;
use peakorder_protocol::remark::{Remark, RemarkError, RemarkFile, What};
use serde::Deserialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// One number for a drill.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct TargetAsked {
    /// Key of the measure, see `/measures`.
    measure: String,
    /// Away from the baseline in the person's sense: + is more (further, faster, later).
    #[serde(default)]
    change: Option<f64>,
    /// Or a fixed value; for turns at the top its size.
    #[serde(default)]
    value: Option<f64>,
    /// With `value`: at most so much instead of at least.
    #[serde(default)]
    at_most: bool,
    /// The block it is for; empty = every block from now on.
    #[serde(default)]
    block: String,
    /// Short by no more than this is "nearly"; in the measure's unit.
    #[serde(default)]
    margin: Option<f64>,
}

impl From<RemarkError> for Failure {
    fn from(e: RemarkError) -> Self {
        match e {
            RemarkError::Refused(text) => Self::bad(text),
            other => Self::ours(other.to_string()),
        }
    }
}

fn no_lesson() -> Failure {
    Failure::new(StatusCode::CONFLICT, "no lesson is running; start one first")
}

/// Changes the remarks of session `id` and shows what came of it.
async fn change<T: Send + 'static>(
    hall: &Arc<Hall>,
    id: &str,
    work: impl FnOnce(&RemarkFile, f64) -> Result<T, Failure> + Send + 'static,
) -> Result<T, Failure> {
    let hall = Arc::clone(hall);
    let id = id.to_owned();
    super::api::on_disk(move || -> Result<T, Failure> {
        let (dir, _) = hall.library.open_session(&id)?;
        // One at a time, so that the board never goes back to an older state.
        let _one = hall.remarking.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let live = hall.board.with(|l| (l.book.id() == id).then(|| l.now_ns() as f64 * 1e-9)).flatten();
        let t_s = match live {
            Some(t_s) => t_s,
            None => past::end_s(&dir)?,
        };
        let file = RemarkFile::of(dir.path());
        let done = work(&file, t_s)?;
        if live.is_some() {
            let remarks = file.read().map_err(Failure::from)?.fold();
            hall.board.remarked(&id, remarks);
        }
        Ok(done)
    })
    .await
}

/// Adds a remark.
pub(super) async fn add(hall: &Arc<Hall>, id: &str, what: What) -> Result<Remark, Failure> {
    if matches!(what, What::Target { .. }) {
        return Err(Failure::bad("a target is set with PUT /lesson/target"));
    }
    change(hall, id, move |file, t_s| Ok(file.append(t_s, what)?)).await
}

/// Takes back the last remark.
pub(super) async fn undo(hall: &Arc<Hall>, id: &str) -> Result<Remark, Failure> {
    change(hall, id, |file, t_s| {
        file.undo_last(t_s)?
            .ok_or_else(|| Failure::new(StatusCode::CONFLICT, "there is no remark to take back"))
    })
    .await
}

/// Sets the drill target of the running lesson.
pub(super) async fn set_target(hall: &Arc<Hall>, asked: TargetAsked) -> Result<Remark, Failure> {
    let measure = Measure::from_key(&asked.measure)
        .ok_or_else(|| Failure::bad(format!("there is no measure '{}'; see /measures", asked.measure)))?;
    let (id, baseline) = hall
        .board
        .with(|l| (l.book.id().to_owned(), l.book.baseline_measure(measure)))
        .ok_or_else(no_lesson)?;
    let made = match (asked.change, asked.value) {
        (Some(change), None) => {
            let baseline = baseline.ok_or_else(|| {
                Failure::new(
                    StatusCode::CONFLICT,
                    "there is no baseline of this measure yet; record a baseline block, or give a value",
                )
            })?;
            target::about(measure, &baseline, change, asked.margin, &asked.block)
        }
        (None, Some(value)) => {
            target::fixed(measure, value, !asked.at_most, baseline.as_ref(), asked.margin, &asked.block)
        }
        _ => return Err(Failure::bad("give either a change from the baseline or a value")),
    };
    let what = What::Target { target: Some(made.map_err(|e| Failure::bad(e.to_string()))?) };
    change(hall, &id, move |file, t_s| Ok(file.append(t_s, what)?)).await
}

/// Ends the drill target of the running lesson.
pub(super) async fn end_target(hall: &Arc<Hall>) -> Result<Remark, Failure> {
    let id = hall.board.running().ok_or_else(no_lesson)?;
    change(hall, &id, |file, t_s| Ok(file.append(t_s, What::Target { target: None })?)).await
}
