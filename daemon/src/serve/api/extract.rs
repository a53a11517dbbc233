//! Parts of a request, with this API's errors.

use super::error::ApiError;
use axum::Json;
use axum::extract::{self, FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use serde::de::DeserializeOwned;
use std::time::Duration;

/// Nothing that a page sends is larger than this.
pub(super) const BODY_LIMIT_BYTES: usize = 64 << 10;
/// A body must have come after this long.
const BODY_TIME: Duration = Duration::from_secs(10);

/// A JSON body.
pub(super) struct Body<T>(pub(super) T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Body<T> {
    type Rejection = ApiError;

    async fn from_request(request: Request, state: &S) -> Result<Self, ApiError> {
        // What is announced too large is not waited for.
        let announced =
            request.headers().get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse().ok());
        if announced.is_some_and(|bytes: u64| bytes > BODY_LIMIT_BYTES as u64) {
            return Err(ApiError::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                format!("the body is larger than {BODY_LIMIT_BYTES} bytes"),
            ));
        }
        let body = tokio::time::timeout(BODY_TIME, Json::from_request(request, state)).await;
        let Json(value) =
            body.map_err(|_| ApiError::new(StatusCode::REQUEST_TIMEOUT, "the body did not come in time"))??;
        Ok(Self(value))
    }
}

/// The query string.
pub(super) struct Query<T>(pub(super) T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Query<T> {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, ApiError> {
        let extract::Query(value) = extract::Query::from_request_parts(parts, state).await?;
        Ok(Self(value))
    }
}

/// Parts of the path.
pub(super) struct Path<T>(pub(super) T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Path<T> {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, ApiError> {
        let extract::Path(value) = extract::Path::from_request_parts(parts, state).await?;
        Ok(Self(value))
    }
}

/// Runs work that waits for the disk where it keeps nobody else from working.
pub(in crate::serve) async fn on_disk<T, E>(
    work: impl FnOnce() -> Result<T, E> + Send + 'static,
) -> Result<T, ApiError>
where
    T: Send + 'static,
    E: Into<ApiError> + Send + 'static,
{
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done.map_err(Into::into),
        Err(why) => {
            tracing::error!(%why, "Work for a request broke off.");
            Err(ApiError::ours("this failed inside peakorderd; the log says more (PEAKORDER_LOG=debug)"))
        }
    }
}
