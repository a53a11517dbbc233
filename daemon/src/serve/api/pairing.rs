//! How a device gets in.

use super::error::{ApiError, ErrorBody};
use super::extract::{Body, Path, on_disk};
use crate::serve::AppState;
use crate::serve::access::Endpoints;
use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// A link from the terminal was opened.
pub(super) async fn link(
    State(app): State<Arc<AppState>>,
    Extension(ends): Extension<Endpoints>,
    method: Method,
    Path(token): Path<String>,
) -> Result<Response, ApiError> {
    // A look ahead must not use the link up.
    if method != Method::GET {
        return Err(ApiError::new(StatusCode::METHOD_NOT_ALLOWED, "open the link"));
    }
    let cookie = on_disk(move || app.access.pairing.redeem_link(&token, ends.peer.ip())).await?;
    let to = (header::LOCATION, HeaderValue::from_static("/"));
    Ok((StatusCode::SEE_OTHER, [to, (header::SET_COOKIE, cookie)]).into_response())
}

/// The passcode.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct Passcode {
    passcode: String,
}

/// Lets the coach's device in.
#[utoipa::path(post, path = "/pair", request_body = Passcode,
    responses((status = 204, description = "let in; the cookie says so"), (status = 403, body = ErrorBody),
        (status = 429, body = ErrorBody, description = "too many wrong ones")))]
pub(super) async fn passcode(
    State(app): State<Arc<AppState>>,
    Extension(ends): Extension<Endpoints>,
    Body(given): Body<Passcode>,
) -> Result<Response, ApiError> {
    let cookie = on_disk(move || app.access.pairing.redeem_passcode(&given.passcode, ends.peer.ip())).await?;
    Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response())
}
