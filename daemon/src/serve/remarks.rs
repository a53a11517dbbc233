//! Remarks on their way to disk, then to the hub.

use super::AppState;
use super::api::error::ApiError;
use super::past_lesson;
use axum::http::StatusCode;
use peakorder_analysis::measure::Measure;
use peakorder_analysis::target;
use peakorder_protocol::remark::{Remark, RemarkError, RemarkFile, What};
use serde::Deserialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// One number for a drill.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct TargetRequest {
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

impl From<RemarkError> for ApiError {
    fn from(e: RemarkError) -> Self {
        match e {
            RemarkError::Refused(text) => Self::bad(text),
            other => Self::ours(other.to_string()),
        }
    }
}

fn no_lesson() -> ApiError {
    ApiError::new(StatusCode::CONFLICT, "no lesson is running; start one first")
}

/// Changes the remarks of session `id` and shows what came of it.
async fn change<T: Send + 'static>(
    app: &Arc<AppState>,
    id: &str,
    work: impl FnOnce(&RemarkFile, f64) -> Result<T, ApiError> + Send + 'static,
) -> Result<T, ApiError> {
    let app = Arc::clone(app);
    let id = id.to_owned();
    super::api::on_disk(move || -> Result<T, ApiError> {
        let (dir, _) = app.library.open_session(&id)?;
        // One at a time, so that the hub never goes back to an older state.
        let _one = app.remarking.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let live = app.hub.with_lesson(|l| (l.state.id() == id).then(|| l.now_ns() as f64 * 1e-9)).flatten();
        let t_s = match live {
            Some(t_s) => t_s,
            None => past_lesson::end_s(&dir)?,
        };
        let file = RemarkFile::of(dir.path());
        let done = work(&file, t_s)?;
        if live.is_some() {
            let remarks = file.read().map_err(ApiError::from)?.fold();
            app.hub.remarked(&id, remarks);
        }
        Ok(done)
    })
    .await
}

/// Adds a remark.
pub(super) async fn add(app: &Arc<AppState>, id: &str, what: What) -> Result<Remark, ApiError> {
    if matches!(what, What::Target { .. }) {
        return Err(ApiError::bad("a target is set with PUT /lesson/target"));
    }
    change(app, id, move |file, t_s| Ok(file.append(t_s, what)?)).await
}

/// Takes back the last remark.
pub(super) async fn undo(app: &Arc<AppState>, id: &str) -> Result<Remark, ApiError> {
    change(app, id, |file, t_s| {
        file.undo_last(t_s)?
            .ok_or_else(|| ApiError::new(StatusCode::CONFLICT, "there is no remark to take back"))
    })
    .await
}

/// Sets the drill target of the running lesson.
pub(super) async fn set_target(app: &Arc<AppState>, asked: TargetRequest) -> Result<Remark, ApiError> {
    let measure = Measure::from_key(&asked.measure)
        .ok_or_else(|| ApiError::bad(format!("there is no measure '{}'; see /measures", asked.measure)))?;
    let (id, baseline) = app
        .hub
        .with_lesson(|l| (l.state.id().to_owned(), l.state.baseline_measure(measure)))
        .ok_or_else(no_lesson)?;
    let made = match (asked.change, asked.value) {
        (Some(change), None) => {
            let baseline = baseline.ok_or_else(|| {
                ApiError::new(
                    StatusCode::CONFLICT,
                    "there is no baseline of this measure yet; record a baseline block, or give a value",
                )
            })?;
            target::about(measure, &baseline, change, asked.margin, &asked.block)
        }
        (None, Some(value)) => {
            target::fixed(measure, value, !asked.at_most, baseline.as_ref(), asked.margin, &asked.block)
        }
        _ => return Err(ApiError::bad("give either a change from the baseline or a value")),
    };
    let what = What::Target { target: Some(made.map_err(|e| ApiError::bad(e.to_string()))?) };
    change(app, &id, move |file, t_s| Ok(file.append(t_s, what)?)).await
}

/// Ends the drill target of the running lesson.
pub(super) async fn end_target(app: &Arc<AppState>) -> Result<Remark, ApiError> {
    let id = app.hub.running().ok_or_else(no_lesson)?;
    change(app, &id, |file, t_s| Ok(file.append(t_s, What::Target { target: None })?)).await
}
