//! What the coach says of swings.

use super::error::{ApiError, ErrorBody};
use super::extract::{Body, Path};
use crate::serve::AppState;
use crate::serve::remarks::{self, TargetRequest};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use peakorder_protocol::remark::{Remark, What};
use std::sync::Arc;

/// Adds a remark to a session, running or past: the ball's outcome, a note, a swing to be
/// left out. `what` is `outcome` (`swing`, `labels`), `note` (`swing` or absent, `text`),
/// `exclude` (`swing`, `excluded`, `reason`) or `undo` (`id`).
#[utoipa::path(post, path = "/sessions/{id}/remarks", request_body = What,
    params(("id" = String, Path, description = "session's id")),
    responses((status = 201, body = Remark, description = "the remark with its id"),
        (status = 404, body = ErrorBody), (status = 422, body = ErrorBody)))]
pub(super) async fn add(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Body(what): Body<What>,
) -> Result<(StatusCode, Json<Remark>), ApiError> {
    let remark = remarks::add(&app, &id, what).await?;
    Ok((StatusCode::CREATED, Json(remark)))
}

/// Takes back the last remark that is not taken back yet.
#[utoipa::path(post, path = "/sessions/{id}/undo", params(("id" = String, Path, description = "session's id")),
    responses((status = 200, body = Remark, description = "the remark that took it back"),
        (status = 404, body = ErrorBody), (status = 409, body = ErrorBody, description = "there is none")))]
pub(super) async fn undo(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
) -> Result<Json<Remark>, ApiError> {
    remarks::undo(&app, &id).await.map(Json)
}

/// Sets the drill target of the running lesson, from the player's own baseline.
#[utoipa::path(put, path = "/lesson/target", request_body = TargetRequest,
    responses((status = 200, body = Remark, description = "the remark with the target"),
        (status = 409, body = ErrorBody), (status = 422, body = ErrorBody)))]
pub(super) async fn set_target(
    State(app): State<Arc<AppState>>,
    Body(asked): Body<TargetRequest>,
) -> Result<Json<Remark>, ApiError> {
    remarks::set_target(&app, asked).await.map(Json)
}

/// Endpoints the drill target of the running lesson.
#[utoipa::path(delete, path = "/lesson/target",
    responses((status = 200, body = Remark), (status = 409, body = ErrorBody)))]
pub(super) async fn end_target(State(app): State<Arc<AppState>>) -> Result<Json<Remark>, ApiError> {
    remarks::end_target(&app).await.map(Json)
}
