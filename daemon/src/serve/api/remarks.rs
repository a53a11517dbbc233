//! The coach's remarks.

use super::extract::{Body, Path, on_disk};
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::remarks::TargetRequest;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use peakorder_analysis::measure::Measure;
use peakorder_protocol::remark::{Remark, What};
use std::sync::Arc;

/// Adds a remark to a session, running or past: the ball's outcome, a note, a swing to be
/// left out. `what` is `outcome` (`swing`, `labels`), `note` (`swing` or absent, `text`),
/// `exclude` (`swing`, `excluded`, `reason`), `ball` (`swing`, `struck`), `balls` (`block`, `every_swing`,
/// `without_ball`), `rename` (`block`, `name`), `chosen` (`measures`), `practise` (`text`) or `undo` (`id`).
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/sessions/{id}/remarks", operation_id = "add_remark", request_body = super::description::NewRemark,
    params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255)),
    responses((status = 201, body = Remark, description = "the remark with its id"),
        (status = 409, description = "the remark to take back is not there, or is taken back"))))]
pub(super) async fn add(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Body(what): Body<What>,
) -> Result<(StatusCode, Json<Remark>), ApiError> {
    if matches!(what, What::Target { .. }) {
        return Err(ApiError::bad("a target is set with PUT /lesson/target"));
    }
    if let What::Chosen { measures } = &what
        && let Some(unknown) = measures.iter().find(|c| Measure::from_key(&c.measure).is_none())
    {
        return Err(ApiError::bad(format!("there is no measure '{}'; see /measures", unknown.measure)));
    }
    let writer = Arc::clone(&app.remarks);
    let remark = on_disk(move || writer.add(&id, what)).await?;
    Ok((StatusCode::CREATED, Json(remark)))
}

/// Takes back the newest remark that still counts.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/sessions/{id}/undo", operation_id = "undo_remark", params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255)),
    responses((status = 200, body = Remark, description = "the remark that took it back"),
        (status = 409, description = "there is none"))))]
pub(super) async fn undo(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
) -> Result<Json<Remark>, ApiError> {
    let writer = Arc::clone(&app.remarks);
    on_disk(move || writer.undo(&id)).await.map(Json)
}

/// Sets the drill target of the running lesson, from the player's own baseline.
#[cfg_attr(feature = "openapi", utoipa::path(put, path = "/lesson/target", request_body = TargetRequest,
    responses((status = 200, body = Remark, description = "the remark with the target"),
        (status = 409, description = "no lesson is running, or there is no baseline yet"))))]
pub(super) async fn set_target(
    State(app): State<Arc<AppState>>,
    Body(request): Body<TargetRequest>,
) -> Result<Json<Remark>, ApiError> {
    let writer = Arc::clone(&app.remarks);
    on_disk(move || writer.set_target(&request)).await.map(Json)
}

/// Ends the drill target of the running lesson.
#[cfg_attr(feature = "openapi", utoipa::path(delete, path = "/lesson/target",
    responses((status = 200, body = Remark), (status = 409, description = "no lesson is running"))))]
pub(super) async fn end_target(State(app): State<Arc<AppState>>) -> Result<Json<Remark>, ApiError> {
    let writer = Arc::clone(&app.remarks);
    on_disk(move || writer.end_target()).await.map(Json)
}
