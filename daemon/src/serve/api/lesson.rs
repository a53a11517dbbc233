//! The running lesson.

use super::extract::Body;
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::past_lesson::BASELINE;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use peakorder_protocol::UnknownWord;
use peakorder_protocol::log::MarkKind;
use peakorder_protocol::mobility::Posture;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Longest block label or note, characters.
pub(super) const DETAIL_LIMIT: usize = 1000;
pub(super) const LABEL_LIMIT: usize = 60;

/// A lesson to start.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct Start {
    /// Id of the player.
    player: String,
    /// Label of the block that others are compared with: one line.
    #[serde(default = "baseline")]
    #[cfg_attr(feature = "openapi", schema(max_length = 60, pattern = r"^[^\u0000-\u001f\u007f-\u009f]*$"))]
    baseline_block: String,
}

fn baseline() -> String {
    BASELINE.into()
}

/// A session's id.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct SessionId {
    session: String,
}

/// Starts a lesson.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/lesson", request_body = Start,
    responses((status = 201, body = SessionId), (status = 404, description = "there is no such player"),
        (status = 409, description = "one is running, or the player has not agreed to be recorded"),
        (status = 503, description = "the straps cannot be used"))))]
pub(super) async fn start(
    State(app): State<Arc<AppState>>,
    Body(start): Body<Start>,
) -> Result<(StatusCode, Json<SessionId>), ApiError> {
    check_label(&start.baseline_block)?;
    // A scan or a check holds the radio.
    app.straps.stop().await;
    let session = app.lessons.start(&start.player, &start.baseline_block).await?;
    Ok((StatusCode::CREATED, Json(SessionId { session })))
}

/// Plays the demo lesson: virtual straps on an invented player. All that it records is marked as invented.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/demo",
    responses((status = 201, body = SessionId), (status = 409, description = "a lesson is running"))))]
pub(super) async fn demo(
    State(app): State<Arc<AppState>>,
) -> Result<(StatusCode, Json<SessionId>), ApiError> {
    let session = app.lessons.demo().await?;
    Ok((StatusCode::CREATED, Json(SessionId { session })))
}

/// Continues the interrupted lesson: same session, same calibration, same target. The recording has a gap.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/lesson/continue", operation_id = "continue_lesson",
    responses((status = 200, body = SessionId),
        (status = 409, description = "none was interrupted, one is running, or the straps are others than before"),
        (status = 503, description = "the straps cannot be used"))))]
pub(super) async fn go_on(State(app): State<Arc<AppState>>) -> Result<Json<SessionId>, ApiError> {
    app.straps.stop().await;
    let session = app.lessons.go_on().await?;
    Ok(Json(SessionId { session }))
}

/// Takes the interrupted lesson as ended.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/lesson/leave",
    responses((status = 200, body = SessionId), (status = 409, description = "none was interrupted"))))]
pub(super) async fn leave(State(app): State<Arc<AppState>>) -> Result<Json<SessionId>, ApiError> {
    let session = app.lessons.leave().await?;
    Ok(Json(SessionId { session }))
}

/// Ends the running lesson.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/lesson/end",
    responses((status = 200, body = SessionId), (status = 409, description = "none is running"))))]
pub(super) async fn end(State(app): State<Arc<AppState>>) -> Result<Json<SessionId>, ApiError> {
    let session = app.lessons.end().await?;
    Ok(Json(SessionId { session }))
}

/// A mark at the present moment.
#[derive(Debug, Deserialize)]
pub(super) struct MarkNow {
    /// Kind of the mark.
    mark: String,
    /// A block's label, a note's text, `seated` or `standing` of a turn.
    #[serde(default)]
    detail: String,
}

/// When the mark is.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct Marked {
    /// Session clock, seconds.
    t_s: f64,
}

/// Marks the beginning or end of a guided movement, a block, a drill, a note, or that the straps were taken off and put on
/// again (`re-wear`; they are to be calibrated anew).
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/lesson/mark", request_body = MarkNow,
    responses((status = 200, body = Marked), (status = 409, description = "no lesson is running"))))]
pub(super) async fn mark(
    State(app): State<Arc<AppState>>,
    Body(mark): Body<MarkNow>,
) -> Result<Json<Marked>, ApiError> {
    let kind: MarkKind = mark.mark.parse().map_err(|e: UnknownWord| ApiError::bad(e.to_string()))?;
    let detail = mark.detail.trim();
    match kind {
        MarkKind::Block | MarkKind::Drill if detail.is_empty() => {
            return Err(ApiError::bad("a block needs a label"));
        }
        MarkKind::Block | MarkKind::Drill => check_label(detail)?,
        MarkKind::TurnStart if Posture::from_detail(detail).is_none() => {
            return Err(ApiError::bad("detail must say how the player turns: seated or standing"));
        }
        _ if detail.chars().count() > DETAIL_LIMIT => {
            return Err(ApiError::bad(format!("detail: at most {DETAIL_LIMIT} characters; shorten it")));
        }
        _ => {}
    }
    let t_s = app.lessons.mark(kind, detail).await?;
    Ok(Json(Marked { t_s }))
}

fn check_label(label: &str) -> Result<(), ApiError> {
    if label.chars().count() > LABEL_LIMIT || label.chars().any(char::is_control) {
        return Err(ApiError::bad(format!(
            "a block's label is one line of at most {LABEL_LIMIT} characters"
        )));
    }
    Ok(())
}
