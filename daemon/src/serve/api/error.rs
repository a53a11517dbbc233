//! What the API answers when it cannot do what is asked.

use crate::serve::lesson::LessonError;
use crate::serve::library::LibraryError;
use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value};
use utoipa::ToSchema;

/// Shape of every error.
#[derive(Debug, serde::Serialize, ToSchema)]
pub struct ErrorBody {
    /// What is wrong, and what to do.
    pub error: String,
}

/// A refusal.
#[derive(Debug)]
pub struct ApiError {
    status: StatusCode,
    body: Map<String, Value>,
    retry_after_s: Option<u64>,
}

impl ApiError {
    /// `text` says what is wrong and what to do.
    pub fn new(status: StatusCode, text: impl Into<String>) -> Self {
        let mut body = Map::new();
        body.insert("error".into(), Value::String(text.into()));
        Self { status, body, retry_after_s: None }
    }

    /// There is none of that name.
    pub fn unknown(text: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, text)
    }

    /// What was sent cannot be used.
    pub fn bad(text: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, text)
    }

    /// Something of ours failed.
    pub fn ours(text: impl Into<String>) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, text)
    }

    /// One more key of the body.
    #[must_use]
    pub fn with(mut self, key: &str, value: impl Into<Value>) -> Self {
        self.body.insert(key.into(), value.into());
        self
    }

    /// Come again after this many seconds.
    #[must_use]
    pub fn retry_after(mut self, seconds: u64) -> Self {
        self.retry_after_s = Some(seconds);
        self
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response {
        let mut response = (self.status, Json(Value::Object(self.body))).into_response();
        if let Some(seconds) = self.retry_after_s {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        response
    }
}

impl From<LibraryError> for ApiError {
    fn from(e: LibraryError) -> Self {
        match e {
            LibraryError::Unknown(text) => Self::unknown(text),
            LibraryError::Refused(text) => Self::bad(text),
            LibraryError::Failed(text) => Self::ours(text),
        }
    }
}

impl From<LessonError> for ApiError {
    fn from(e: LessonError) -> Self {
        match e {
            LessonError::Conflict(text) => Self::new(StatusCode::CONFLICT, text),
            LessonError::Straps(text) => Self::new(StatusCode::SERVICE_UNAVAILABLE, text),
            LessonError::Library(e) => e.into(),
        }
    }
}

impl From<JsonRejection> for ApiError {
    fn from(e: JsonRejection) -> Self {
        Self::new(e.status(), e.body_text())
    }
}

impl From<QueryRejection> for ApiError {
    fn from(e: QueryRejection) -> Self {
        Self::new(e.status(), e.body_text())
    }
}

impl From<PathRejection> for ApiError {
    fn from(e: PathRejection) -> Self {
        Self::new(e.status(), e.body_text())
    }
}
