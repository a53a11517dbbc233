//! Players.

use super::error::{ApiError, ErrorBody};
use super::extract::{Body, Path, on_disk};
use crate::serve::AppState;
use crate::serve::library::{NewPlayer, PlayerCard};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use std::sync::Arc;

/// All players.
#[utoipa::path(get, path = "/players", responses((status = 200, body = Vec<PlayerCard>)))]
pub(super) async fn list(State(app): State<Arc<AppState>>) -> Result<Json<Vec<PlayerCard>>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || library.players()).await.map(Json)
}

/// Adds a player.
#[utoipa::path(post, path = "/players", request_body = NewPlayer,
    responses((status = 201, body = PlayerCard), (status = 422, body = ErrorBody)))]
pub(super) async fn add(
    State(app): State<Arc<AppState>>,
    Body(player): Body<NewPlayer>,
) -> Result<(StatusCode, Json<PlayerCard>), ApiError> {
    let library = Arc::clone(&app.library);
    let card = on_disk(move || library.add_player(player)).await?;
    Ok((StatusCode::CREATED, Json(card)))
}

/// Replaces what is known of a player.
#[utoipa::path(put, path = "/players/{id}", request_body = NewPlayer,
    params(("id" = String, Path, description = "player's id")),
    responses((status = 200, body = PlayerCard), (status = 404, body = ErrorBody)))]
pub(super) async fn change(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Body(player): Body<NewPlayer>,
) -> Result<Json<PlayerCard>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || library.change_player(&id, player)).await.map(Json)
}
