//! The API: JSON over HTTP below `/api/v1`, events as a stream.

#[cfg(feature = "openapi")]
pub(super) mod description;
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
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{StatusCode, header};
use axum::routing::get;
use extract::BODY_LIMIT_BYTES;
use std::sync::Arc;

/// Makes of the routes, each with its method, path below `/api/v1` and handler, the router and what the description is held against.
macro_rules! routes {
    ($($method:ident $path:literal $module:ident::$handler:ident,)*) => {
        fn routes() -> Router<Arc<AppState>> {
            Router::new()$(.route($path, axum::routing::$method($module::$handler)))*
        }

        /// Methods and paths.
        #[cfg(feature = "openapi")]
        pub(super) const ROUTES: &[(&str, &str)] = &[$((stringify!($method), $path)),*];

        /// What the handlers say of themselves.
        #[cfg(feature = "openapi")]
        #[derive(utoipa::OpenApi)]
        #[openapi(paths($($module::$handler),*))]
        pub(super) struct Handlers;
    };
}

routes! {
    get "/state" state::state,
    put "/viewers" state::set_viewers,
    get "/events" streams::events,
    get "/pose" streams::pose,
    get "/reach" streams::reach,
    get "/players" players::list,
    post "/players" players::add,
    put "/players/{id}" players::change,
    delete "/players/{id}" players::forget,
    get "/players/{id}/kept" players::kept,
    post "/lesson" lesson::start,
    post "/lesson/end" lesson::end,
    post "/lesson/continue" lesson::go_on,
    post "/lesson/leave" lesson::leave,
    post "/demo" lesson::demo,
    post "/lesson/mark" lesson::mark,
    get "/straps" strap_setup::view,
    post "/straps/scan" strap_setup::scan,
    post "/straps/identify" strap_setup::identify,
    post "/straps/check" strap_setup::check,
    post "/straps/stop" strap_setup::stop,
    put "/straps/{role}" strap_setup::assign,
    delete "/straps/{role}" strap_setup::forget,
    put "/lesson/target" remarks::set_target,
    delete "/lesson/target" remarks::end_target,
    get "/measures" measures::measures,
    get "/designs" measures::designs,
    get "/sessions" session_list::list,
    get "/sessions/{id}" sessions::session,
    get "/sessions/{id}/swings/{n}/curves" sessions::curves,
    get "/sessions/{id}/swings" sessions::swings,
    get "/sessions/{id}/swings/{n}/against" sessions::against,
    get "/compare" sessions::compare,
    get "/sessions/{id}/report" sessions::report,
    get "/months" sessions::months,
    post "/sessions/{id}/remarks" remarks::add,
    post "/sessions/{id}/undo" remarks::undo,
    get "/sessions/{id}/play" playback::play,
    post "/pair" pairing::passcode,
}

/// The description of the API as JSON. It is made by `tests/tests/api/description.rs` of the handlers themselves and kept as a file,
/// so that what makes it is no part of the first build.
const DESCRIPTION: &str = include_str!("openapi.json");

/// The description of the API, made anew.
#[cfg(feature = "openapi")]
pub fn openapi() -> utoipa::openapi::OpenApi {
    description::complete()
}

/// The API and the page.
pub fn router(app: Arc<AppState>) -> Router {
    let description = || async { ([(header::CONTENT_TYPE, "application/json")], DESCRIPTION) };
    Router::new()
        .nest("/api/v1", routes())
        .route("/api/v1/openapi.json", get(description))
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
