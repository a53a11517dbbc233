//! The coach's remarks.

use super::description::schema;
use super::extract::{Body, Path, on_disk};
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::remarks::TargetRequest;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use peakorder_analysis::measure::Measure;
use peakorder_protocol::remark::{CHOSEN_LIMIT, LABEL_LIMIT, LABELS_LIMIT, Remark, TEXT_LIMIT, What};
use serde_json::json;
use std::sync::Arc;
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// A remark to add, as the description has it; the endpoint reads it as [`What`].
struct NewRemark;

impl PartialSchema for NewRemark {
    fn schema() -> RefOr<Schema> {
        let what = |word: &str| json!({ "type": "string", "enum": [word] });
        let number = json!({ "type": "integer", "minimum": 1, "maximum": u32::MAX });
        let text = json!({ "type": "string", "maxLength": TEXT_LIMIT });
        let keys: Vec<String> = Measure::ALL.into_iter().map(Measure::key).collect();
        schema(json!({
            "description": "A remark to add.",
            "oneOf": [
                {
                    "type": "object", "required": ["what", "swing", "labels"],
                    "description": "What the ball did. Replaces the swing's earlier labels; an empty list removes them.",
                    "properties": {
                        "what": what("outcome"),
                        "swing": number,
                        "labels": {
                            "type": "array", "maxItems": LABELS_LIMIT,
                            "items": { "type": "string", "maxLength": LABEL_LIMIT },
                        },
                    },
                },
                {
                    "type": "object", "required": ["what", "swing", "text"],
                    "description": "A note of a swing: replaces its earlier note, an empty text removes it.",
                    "properties": { "what": what("note"), "swing": number, "text": text },
                },
                {
                    "type": "object", "required": ["what", "text"],
                    "description": "A note of the lesson: added to the others.",
                    "properties": {
                        "what": what("note"),
                        "swing": { "type": "null" },
                        "text": { "type": "string", "minLength": 1, "maxLength": TEXT_LIMIT, "pattern": "\\S" },
                    },
                },
                {
                    "type": "object", "required": ["what", "swing", "excluded"],
                    "description": "Leaves a swing out of every summary, or takes it in again. Its files stay.",
                    "properties": {
                        "what": what("exclude"),
                        "swing": number,
                        "excluded": { "type": "boolean" },
                        "reason": text,
                    },
                },
                {
                    "type": "object", "required": ["what", "block", "every_swing"],
                    "description": "Every swing of a block hits a ball: then those count of which the straps could not tell.",
                    "properties": {
                        "what": what("balls"),
                        "block": text,
                        "every_swing": { "type": "boolean", "enum": [true] },
                        "without_ball": { "type": "boolean", "enum": [false] },
                    },
                },
                {
                    "type": "object", "required": ["what", "block", "every_swing"],
                    "description": "A block is without a ball: then its swings without a strike count, and no others. Or, of neither, nothing is said.",
                    "properties": {
                        "what": what("balls"),
                        "block": text,
                        "every_swing": { "type": "boolean", "enum": [false] },
                        "without_ball": { "type": "boolean" },
                    },
                },
                {
                    "type": "object", "required": ["what", "block", "name"],
                    "description": "Gives a block another name; its swings and what is said of it go with it.",
                    "properties": {
                        "what": what("rename"),
                        "block": text,
                        "name": {
                            "type": "string", "minLength": 1, "maxLength": LABEL_LIMIT,
                            "pattern": r"^[^\u0000-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u001f\u007f-\u009f]*$",
                        },
                    },
                },
                {
                    "type": "object", "required": ["what", "swing"],
                    "description": "Whether one swing hit a ball, whatever the straps felt; null takes that away.",
                    "properties": {
                        "what": what("ball"),
                        "swing": number,
                        "struck": { "type": ["boolean", "null"] },
                    },
                },
                {
                    "type": "object", "required": ["what", "measures"],
                    "description": "What the lesson is about, from now on; an empty list ends it. These numbers get the verdicts.",
                    "properties": {
                        "what": what("chosen"),
                        "measures": {
                            "type": "array", "maxItems": CHOSEN_LIMIT,
                            "items": {
                                "type": "object", "required": ["measure"],
                                "properties": {
                                    "measure": { "type": "string", "enum": keys, "description": "See /measures; one that stands there twice counts once, as at first." },
                                    "matters": {
                                        "type": ["number", "null"], "exclusiveMinimum": 0,
                                        "description": "Smallest change that matters, in the measure's unit.",
                                    },
                                },
                            },
                        },
                    },
                },
                {
                    "type": "object", "required": ["what", "text"],
                    "description": "What the player is to practise until the next lesson: replaces the text before, an empty one removes it.",
                    "properties": { "what": what("practise"), "text": text },
                },
                {
                    "type": "object", "required": ["what", "id"],
                    "description": "Takes back the remark of that id. It cannot itself be taken back.",
                    "properties": { "what": what("undo"), "id": { "type": "integer", "minimum": 0, "maximum": u32::MAX } },
                },
            ],
        }))
    }
}

impl ToSchema for NewRemark {}

/// Adds a remark to a session, running or past: the ball's outcome, a note, a swing to be
/// left out. `what` is `outcome` (`swing`, `labels`), `note` (`swing` or absent, `text`),
/// `exclude` (`swing`, `excluded`, `reason`), `ball` (`swing`, `struck`), `balls` (`block`, `every_swing`,
/// `without_ball`), `rename` (`block`, `name`), `chosen` (`measures`), `practise` (`text`) or `undo` (`id`).
#[utoipa::path(post, path = "/sessions/{id}/remarks", operation_id = "add_remark", request_body = NewRemark,
    params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255)),
    responses((status = 201, body = Remark, description = "the remark with its id"),
        (status = 409, description = "the remark to take back is not there, or is taken back")))]
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
#[utoipa::path(post, path = "/sessions/{id}/undo", operation_id = "undo_remark", params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255)),
    responses((status = 200, body = Remark, description = "the remark that took it back"),
        (status = 409, description = "there is none")))]
pub(super) async fn undo(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
) -> Result<Json<Remark>, ApiError> {
    let writer = Arc::clone(&app.remarks);
    on_disk(move || writer.undo(&id)).await.map(Json)
}

/// Sets the drill target of the running lesson, from the player's own baseline.
#[utoipa::path(put, path = "/lesson/target", request_body = TargetRequest,
    responses((status = 200, body = Remark, description = "the remark with the target"),
        (status = 409, description = "no lesson is running, or there is no baseline yet")))]
pub(super) async fn set_target(
    State(app): State<Arc<AppState>>,
    Body(request): Body<TargetRequest>,
) -> Result<Json<Remark>, ApiError> {
    let writer = Arc::clone(&app.remarks);
    on_disk(move || writer.set_target(&request)).await.map(Json)
}

/// Ends the drill target of the running lesson.
#[utoipa::path(delete, path = "/lesson/target",
    responses((status = 200, body = Remark), (status = 409, description = "no lesson is running")))]
pub(super) async fn end_target(State(app): State<Arc<AppState>>) -> Result<Json<Remark>, ApiError> {
    let writer = Arc::clone(&app.remarks);
    on_disk(move || writer.end_target()).await.map(Json)
}
