//! Pairing a device.

use super::extract::{Body, Path, on_disk};
use crate::serve::access::Endpoints;
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use std::sync::Arc;

/// Pairs the device that opens a link from the terminal.
pub(super) async fn link(
    State(app): State<Arc<AppState>>,
    Extension(ends): Extension<Endpoints>,
    method: Method,
    Path(token): Path<String>,
) -> Result<Response, ApiError> {
    // A browser's look ahead (HEAD) must not use up the link.
    if method != Method::GET {
        return Err(ApiError::new(StatusCode::METHOD_NOT_ALLOWED, "open the link"));
    }
    let cookie = on_disk(move || app.access.pairing.redeem_link(&token, ends.peer.ip())).await?;
    let to = (header::LOCATION, HeaderValue::from_static("/"));
    Ok((StatusCode::SEE_OTHER, [to, (header::SET_COOKIE, cookie)]).into_response())
}

/// The passcode.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct Passcode {
    passcode: String,
}

/// Pairs the coach's device.
#[cfg_attr(feature = "openapi", utoipa::path(post, path = "/pair", request_body = Passcode,
    responses((status = 204, description = "paired; the cookie is set",
            headers(("Set-Cookie" = String, description = "what the device is known by from now on"))),
        (status = 403, description = "not the passcode, or there is none"),
        (status = 409, description = "no pairing is needed on this computer"),
        (status = 429, description = "too many wrong ones"))))]
pub(super) async fn passcode(
    State(app): State<Arc<AppState>>,
    Extension(ends): Extension<Endpoints>,
    Body(given): Body<Passcode>,
) -> Result<Response, ApiError> {
    let cookie = on_disk(move || app.access.pairing.redeem_passcode(&given.passcode, ends.peer.ip())).await?;
    Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response())
}
