//! The API's error answers. The only place that knows which status a domain error has.

use super::lesson::LessonError;
use super::library::{LibraryError, PlayerError};
use super::past_lesson::{MonthsError, PastLessonError};
use super::remarks::RemarksError;
use super::strap_setup::SetupError;
use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use peakorder_analysis::report::ReportError;
use peakorder_protocol::remark::{RemarkError, RemarkRefusal};
use peakorder_protocol::session::SessionError;
use serde_json::{Map, Value};

/// Shape of every error.
#[cfg(feature = "openapi")]
#[derive(Debug, serde::Serialize, utoipa::ToSchema)]
pub(super) struct ErrorBody {
    /// What is wrong, and what to do.
    pub error: String,
}

/// An error answer.
#[derive(Debug, Clone)]
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

    /// Nothing has that name.
    pub fn unknown(text: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, text)
    }

    /// The request cannot be used.
    pub fn bad(text: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, text)
    }

    /// The request is fine, but not now.
    pub fn conflict(text: impl Into<String>) -> Self {
        Self::new(StatusCode::CONFLICT, text)
    }

    /// Something failed in this program or on its disk.
    pub fn internal(text: impl Into<String>) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, text)
    }

    /// The same with its sentence changed; `None` where nothing changes.
    pub fn reworded(mut self, change: impl FnOnce(&str) -> Option<String>) -> Option<Self> {
        let Some(Value::String(text)) = self.body.get_mut("error") else { return None };
        *text = change(text)?;
        Some(self)
    }

    /// Adds a key to the body.
    #[must_use]
    pub fn with(mut self, key: &str, value: impl Into<Value>) -> Self {
        self.body.insert(key.into(), value.into());
        self
    }

    /// Asks the client to wait this many seconds.
    #[must_use]
    pub fn retry_after(mut self, seconds: u64) -> Self {
        self.retry_after_s = Some(seconds);
        self
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response {
        let mut response = (self.status, Json(&self.body)).into_response();
        if let Some(seconds) = self.retry_after_s {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        response.extensions_mut().insert(self);
        response
    }
}

impl From<LibraryError> for ApiError {
    fn from(e: LibraryError) -> Self {
        let text = e.to_string();
        match e {
            LibraryError::NoPlayer | LibraryError::NoSession | LibraryError::NoBlock { .. } => {
                Self::unknown(text)
            }
            LibraryError::Player(PlayerError::NameTaken(_)) => Self::conflict(text),
            LibraryError::Player(_) => Self::bad(text),
            LibraryError::Session(SessionError::BeingRecorded(_)) => {
                Self::conflict("a session of this player is being recorded by another program; end it first")
            }
            LibraryError::File { .. }
            | LibraryError::Session(_)
            | LibraryError::Load(_)
            | LibraryError::PathNotUtf8(_) => Self::internal(text),
        }
    }
}

impl From<LessonError> for ApiError {
    fn from(e: LessonError) -> Self {
        let text = e.to_string();
        match e {
            LessonError::AlreadyRunning(_)
            | LessonError::NoConsent(_)
            | LessonError::OfPlayer(_)
            | LessonError::OtherName(_)
            | LessonError::NoneRunning
            | LessonError::NoneInterrupted
            | LessonError::OtherStraps(_)
            | LessonError::StillClosing => Self::conflict(text),
            LessonError::Straps(_) => Self::new(StatusCode::SERVICE_UNAVAILABLE, text),
            LessonError::Engine(_) | LessonError::Failed => Self::internal(text),
            LessonError::Library(e) => e.into(),
        }
    }
}

impl From<SetupError> for ApiError {
    fn from(e: SetupError) -> Self {
        let text = e.to_string();
        match e {
            SetupError::Virtual
            | SetupError::LessonRuns
            | SetupError::NotFound(_)
            | SetupError::NotAssigned(_) => Self::conflict(text),
            SetupError::Refused(_) => Self::new(StatusCode::SERVICE_UNAVAILABLE, text),
        }
    }
}

impl From<PastLessonError> for ApiError {
    fn from(e: PastLessonError) -> Self {
        let text = e.to_string();
        match e {
            PastLessonError::Library(e) => e.into(),
            PastLessonError::Report(ReportError::SameBlock(_)) => Self::bad(text),
            PastLessonError::Report(ReportError::NoBlock { .. })
            | PastLessonError::NoCurves { .. }
            | PastLessonError::NoSwing { .. } => Self::unknown(text),
        }
    }
}

impl From<MonthsError> for ApiError {
    fn from(e: MonthsError) -> Self {
        match e {
            MonthsError::Library(e) => e.into(),
            // Another choice of the coach's, and the same request is answered.
            MonthsError::Kept(e) => Self::conflict(e.to_string()),
        }
    }
}

impl From<RemarksError> for ApiError {
    fn from(e: RemarksError) -> Self {
        let text = e.to_string();
        match e {
            RemarksError::NoLesson | RemarksError::NothingToUndo | RemarksError::NoBaseline => {
                Self::conflict(text)
            }
            RemarksError::UnknownMeasure(_) | RemarksError::ChangeOrValue | RemarksError::Target(_) => {
                Self::bad(text)
            }
            RemarksError::Library(e) => e.into(),
            RemarksError::Remark(e) => e.into(),
            RemarksError::Session(e) => e.into(),
        }
    }
}

impl From<RemarkError> for ApiError {
    fn from(e: RemarkError) -> Self {
        match e {
            RemarkError::Refused(
                why @ (RemarkRefusal::NoSuchRemark(_)
                | RemarkRefusal::TookBack(_)
                | RemarkRefusal::TakenBack(_)
                | RemarkRefusal::NoNumberLeft),
            ) => Self::conflict(why.to_string()),
            RemarkError::Refused(why) => Self::bad(why.to_string()),
            other => Self::internal(other.to_string()),
        }
    }
}

impl From<SessionError> for ApiError {
    fn from(e: SessionError) -> Self {
        Self::internal(e.to_string())
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
