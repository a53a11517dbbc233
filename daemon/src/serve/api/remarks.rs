//! What the coach says of swings.

use super::error::{ErrorBody, Failure};
use super::extract::{Body, Path};
use crate::serve::Hall;
use crate::serve::remarks::{self, TargetAsked};
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
    State(hall): State<Arc<Hall>>,
    Path(id): Path<String>,
    Body(what): Body<What>,
) -> Result<(StatusCode, Json<Remark>), Failure> {
    let remark = remarks::add(&hall, &id, what).await?;
    Ok((StatusCode::CREATED, Json(remark)))
}

/// Takes back the last remark that is not taken back yet.
#[utoipa::path(post, path = "/sessions/{id}/undo", params(("id" = String, Path, description = "session's id")),
    responses((status = 200, body = Remark, description = "the remark that took it back"),
        (status = 404, body = ErrorBody), (status = 409, body = ErrorBody, description = "there is none")))]
pub(super) async fn undo(
    State(hall): State<Arc<Hall>>,
    Path(id): Path<String>,
) -> Result<Json<Remark>, Failure> {
    remarks::undo(&hall, &id).await.map(Json)
}

/// Sets the drill target of the running lesson, from the player's own baseline.
#[utoipa::path(put, path = "/lesson/target", request_body = TargetAsked,
    responses((status = 200, body = Remark, description = "the remark with the target"),
        (status = 409, body = ErrorBody), (status = 422, body = ErrorBody)))]
pub(super) async fn set_target(
    State(hall): State<Arc<Hall>>,
    Body(asked): Body<TargetAsked>,
) -> Result<Json<Remark>, Failure> {
    remarks::set_target(&hall, asked).await.map(Json)
}

/// Ends the drill target of the running lesson.
#[utoipa::path(delete, path = "/lesson/target",
    responses((status = 200, body = Remark), (status = 409, body = ErrorBody)))]
pub(super) async fn end_target(State(hall): State<Arc<Hall>>) -> Result<Json<Remark>, Failure> {
    remarks::end_target(&hall).await.map(Json)
}
