//! Players.

use super::extract::{Body, Path, on_disk};
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::library::{Kept, NewPlayer, PlayerCard};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use std::sync::Arc;

/// All players.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/players", operation_id = "players", responses((status = 200, body = Vec<PlayerCard>))))]
pub(super) async fn list(State(app): State<Arc<AppState>>) -> Result<Json<Vec<PlayerCard>>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || library.players()).await.map(Json)
}

/// Adds a player.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/players", operation_id = "add_player", request_body = NewPlayer,
    responses((status = 201, body = PlayerCard), (status = 409, description = "another player has the name"))))]
pub(super) async fn add(
    State(app): State<Arc<AppState>>,
    Body(player): Body<NewPlayer>,
) -> Result<(StatusCode, Json<PlayerCard>), ApiError> {
    let library = Arc::clone(&app.library);
    let card = on_disk(move || library.add_player(player)).await?;
    Ok((StatusCode::CREATED, Json(card)))
}

/// Changes a player.
#[cfg_attr(feature = "openapi", utoipa::path(put, path = "/players/{id}", operation_id = "change_player", request_body = NewPlayer,
    params(("id" = String, Path, description = "player's id", min_length = 1, max_length = 255)),
    responses((status = 200, body = PlayerCard), (status = 409, description = "another player has the name"))))]
pub(super) async fn change(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Body(player): Body<NewPlayer>,
) -> Result<Json<PlayerCard>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || library.change_player(&id, player)).await.map(Json)
}

/// What the library keeps of a player, which is what `DELETE` removes. Recordings elsewhere, exports
/// and backups are not known to it.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/players/{id}/kept", operation_id = "kept_of_player",
    params(("id" = String, Path, description = "player's id", min_length = 1, max_length = 255)),
    responses((status = 200, body = Kept))))]
pub(super) async fn kept(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
) -> Result<Json<Kept>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || library.kept(&id)).await.map(Json)
}

/// Whom to forget.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct Forget {
    /// The player's name, as the library has it: says that this player is meant.
    name: String,
    /// Also the sessions that have the player's name and no id.
    #[serde(default)]
    also_by_name: bool,
}

/// Removes a player's card and sessions for good; answers with what was removed (`perhaps` only if asked for).
#[cfg_attr(feature = "openapi", utoipa::path(delete, path = "/players/{id}", operation_id = "forget_player", request_body = Forget,
    params(("id" = String, Path, description = "player's id", min_length = 1, max_length = 255)),
    responses((status = 200, body = Kept), (status = 409, description = "the name is not the player's, or the player is being recorded"))))]
pub(super) async fn forget(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Body(forget): Body<Forget>,
) -> Result<Json<Kept>, ApiError> {
    Ok(Json(app.lessons.forget(&id, &forget.name, forget.also_by_name).await?))
}
