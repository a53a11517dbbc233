//! Straps before a lesson.

use super::extract::{Body, Path};
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::strap_setup::{SetupError, StrapSetup};
use axum::Json;
use axum::extract::State;
use peakorder_protocol::{Role, UnknownWord};
use serde::Deserialize;
use std::sync::Arc;

/// The straps, where they are worn, and what is being done with them. To be asked again while something is done.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/straps", operation_id = "strap_setup", responses((status = 200, body = StrapSetup))))]
pub(super) async fn view(State(app): State<Arc<AppState>>) -> Json<StrapSetup> {
    shown(&app).await
}

async fn shown(app: &Arc<AppState>) -> Json<StrapSetup> {
    let app = Arc::clone(app);
    // The configuration is read from the disk. It only fails if it panicked.
    Json(tokio::task::spawn_blocking(move || app.straps.view()).await.unwrap_or_default())
}

fn refuse_in_a_lesson(app: &AppState) -> Result<(), SetupError> {
    if app.hub.running().is_some() { Err(SetupError::LessonRuns) } else { Ok(()) }
}

/// Looks for straps on the air, for two minutes or until it is stopped.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/straps/scan", responses((status = 200, body = StrapSetup),
    (status = 409, description = "a lesson is running, or straps are virtual"),
    (status = 503, description = "the configuration cannot be read"))))]
pub(super) async fn scan(State(app): State<Arc<AppState>>) -> Result<Json<StrapSetup>, ApiError> {
    refuse_in_a_lesson(&app)?;
    app.straps.scan().await?;
    Ok(shown(&app).await)
}

/// Which straps to tell apart.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct Identify {
    /// The segments, in the order in which their straps are to be twisted.
    #[cfg_attr(feature = "openapi", schema(min_items = 1, max_items = 3))]
    roles: Vec<Role>,
}

/// Tells straps apart: each is to be twisted when its segment is named. Places change when all are found.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/straps/identify", request_body = Identify, responses((status = 200, body = StrapSetup),
    (status = 409, description = "a lesson is running, or straps are virtual"),
    (status = 503, description = "the configuration cannot be read"))))]
pub(super) async fn identify(
    State(app): State<Arc<AppState>>,
    Body(Identify { mut roles }): Body<Identify>,
) -> Result<Json<StrapSetup>, ApiError> {
    if roles.is_empty() || roles.len() > Role::ALL.len() {
        return Err(ApiError::bad("name one to three segments"));
    }
    refuse_in_a_lesson(&app)?;
    let mut seen = Vec::new();
    roles.retain(|role| {
        !seen.contains(role) && {
            seen.push(*role);
            true
        }
    });
    app.straps.identify(roles).await?;
    Ok(shown(&app).await)
}

/// Measures the signal of every strap that has a place: battery, rate, losses, noise. They must lie still.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/straps/check", responses((status = 200, body = StrapSetup),
    (status = 409, description = "a lesson is running, or straps are virtual"),
    (status = 503, description = "no strap has a place, or the configuration cannot be read"))))]
pub(super) async fn check(State(app): State<Arc<AppState>>) -> Result<Json<StrapSetup>, ApiError> {
    refuse_in_a_lesson(&app)?;
    app.straps.check().await?;
    Ok(shown(&app).await)
}

/// Stops what is being done with the straps.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/straps/stop", responses((status = 200, body = StrapSetup))))]
pub(super) async fn stop(State(app): State<Arc<AppState>>) -> Json<StrapSetup> {
    app.straps.stop().await;
    shown(&app).await
}

/// A strap that was found.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct Assign {
    /// Its id.
    #[cfg_attr(feature = "openapi", schema(max_length = 255))]
    id: String,
}

fn role(word: &str) -> Result<Role, ApiError> {
    word.parse().map_err(|why: UnknownWord| ApiError::unknown(why.to_string()))
}

/// Gives a strap that was found its place on a segment, in place of the one that was there.
#[cfg_attr(feature = "openapi", utoipa::path(put, path = "/straps/{role}", request_body = Assign, params(("role" = Role, Path, description = "the segment")),
    responses((status = 200, body = StrapSetup), (status = 404, description = "there is no such segment"),
    (status = 409, description = "a lesson is running, straps are virtual, or the strap was not found"),
    (status = 503, description = "the configuration cannot be read or written"))))]
pub(super) async fn assign(
    State(app): State<Arc<AppState>>,
    Path(word): Path<String>,
    Body(Assign { id }): Body<Assign>,
) -> Result<Json<StrapSetup>, ApiError> {
    let role = role(&word)?;
    refuse_in_a_lesson(&app)?;
    app.straps.assign(role, &id).await?;
    Ok(shown(&app).await)
}

/// Takes the strap of a segment away.
#[cfg_attr(feature = "openapi", utoipa::path(delete, path = "/straps/{role}", params(("role" = Role, Path, description = "the segment")),
    responses((status = 200, body = StrapSetup), (status = 404, description = "there is no such segment"),
    (status = 409, description = "a lesson is running, straps are virtual, or no strap is there"),
    (status = 503, description = "the configuration cannot be read or written"))))]
pub(super) async fn forget(
    State(app): State<Arc<AppState>>,
    Path(word): Path<String>,
) -> Result<Json<StrapSetup>, ApiError> {
    let role = role(&word)?;
    refuse_in_a_lesson(&app)?;
    app.straps.forget(role).await?;
    Ok(shown(&app).await)
}
