//! The API: JSON over HTTP below `/api/v1`, events as a stream.

mod description;
mod extract;
mod lesson;
mod measures;
mod pairing;
mod playback;
mod players;
mod remarks;
mod session_list;
mod sessions;
mod state;
mod strap_setup;
mod streams;

use super::api_error::ApiError;
use super::app_state::AppState;
use super::metrics;
use super::page;
use axum::Json;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::routing::get;
use description::Description;
pub(super) use description::{line, schema};
use extract::BODY_LIMIT_BYTES;
use std::sync::Arc;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// All routes, and their description.
fn described() -> (Router<Arc<AppState>>, utoipa::openapi::OpenApi) {
    let api = OpenApiRouter::new()
        .routes(routes!(state::state))
        .routes(routes!(state::set_viewers))
        .routes(routes!(streams::events))
        .routes(routes!(streams::pose))
        .routes(routes!(streams::reach))
        .routes(routes!(players::list, players::add))
        .routes(routes!(players::change, players::forget))
        .routes(routes!(players::kept))
        .routes(routes!(lesson::start))
        .routes(routes!(lesson::end))
        .routes(routes!(lesson::go_on))
        .routes(routes!(lesson::leave))
        .routes(routes!(lesson::demo))
        .routes(routes!(lesson::mark))
        .routes(routes!(strap_setup::view))
        .routes(routes!(strap_setup::scan))
        .routes(routes!(strap_setup::identify))
        .routes(routes!(strap_setup::check))
        .routes(routes!(strap_setup::stop))
        .routes(routes!(strap_setup::assign, strap_setup::forget))
        .routes(routes!(remarks::set_target, remarks::end_target))
        .routes(routes!(measures::measures))
        .routes(routes!(measures::designs))
        .routes(routes!(session_list::list))
        .routes(routes!(sessions::session))
        .routes(routes!(sessions::curves))
        .routes(routes!(sessions::swings))
        .routes(routes!(sessions::against))
        .routes(routes!(sessions::compare))
        .routes(routes!(sessions::report))
        .routes(routes!(sessions::months))
        .routes(routes!(remarks::add))
        .routes(routes!(remarks::undo))
        .routes(routes!(playback::play))
        .routes(routes!(pairing::passcode));
    let (router, api) =
        OpenApiRouter::with_openapi(Description::openapi()).nest("/api/v1", api).split_for_parts();
    (router, description::complete(api))
}

/// The description of the API as JSON.
pub fn openapi() -> utoipa::openapi::OpenApi {
    described().1
}

/// The API and the page.
pub fn router(app: Arc<AppState>) -> Router {
    let (api, description) = described();
    api.route("/api/v1/openapi.json", get(move || async move { Json(description) }))
        .route("/metrics", get(metrics::metrics))
        .route("/pair/{token}", get(pairing::link))
        // Only where the method is known: others are told which methods there are.
        .route_layer(axum::middleware::from_fn(super::access::check_type))
        .fallback(page::file)
        .method_not_allowed_fallback(|| async {
            ApiError::new(StatusCode::METHOD_NOT_ALLOWED, "this address does not take that method")
        })
        .layer(DefaultBodyLimit::max(BODY_LIMIT_BYTES))
        .layer(axum::middleware::from_fn_with_state(Arc::clone(&app), super::told_folders::hide_folders))
        .layer(axum::middleware::from_fn_with_state(Arc::clone(&app), super::viewers::check_viewer))
        .layer(axum::middleware::from_fn_with_state(Arc::clone(&app.access), super::access::check_access))
        .layer(axum::middleware::from_fn(super::compressed::compress))
        .with_state(app)
}
