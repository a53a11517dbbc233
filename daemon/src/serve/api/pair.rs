//! How a device gets in.

use super::error::{ErrorBody, Failure};
use super::extract::{Body, Path, on_disk};
use crate::serve::Hall;
use crate::serve::door::Ends;
use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// A link from the terminal was opened.
pub(super) async fn link(
    State(hall): State<Arc<Hall>>,
    Extension(ends): Extension<Ends>,
    method: Method,
    Path(token): Path<String>,
) -> Result<Response, Failure> {
    // A look ahead must not use the link up.
    if method != Method::GET {
        return Err(Failure::new(StatusCode::METHOD_NOT_ALLOWED, "open the link"));
    }
    let cookie = on_disk(move || hall.door.passes.by_link(&token, ends.peer.ip())).await?;
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
    State(hall): State<Arc<Hall>>,
    Extension(ends): Extension<Ends>,
    Body(given): Body<Passcode>,
) -> Result<Response, Failure> {
    let cookie = on_disk(move || hall.door.passes.by_passcode(&given.passcode, ends.peer.ip())).await?;
    Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response())
}
