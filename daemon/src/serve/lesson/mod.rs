//! A lesson: straps (or virtual ones) → engine → hub.

mod source;

pub use source::LessonSource;

use super::hub::lesson_state::LessonState;
use super::hub::{Hub, RunningLesson};
use super::library::{Library, LibraryError, PlayerCard};
use crate::engine::Engine;
use crate::source::straps::{CLOSING, Request};
use peakorder_protocol::log::MarkKind;
use source::Source;
use std::sync::Arc;
use tokio::sync::{Mutex, mpsc, watch};

/// Why a lesson could not be started, marked or ended.
#[derive(Debug, thiserror::Error)]
pub enum LessonError {
    /// Not now.
    #[error("{0}")]
    Conflict(String),
    /// The straps cannot be used.
    #[error("{0}")]
    Straps(String),
    /// The library refused.
    #[error(transparent)]
    Library(#[from] LibraryError),
}

/// A lesson that was started.
struct Started {
    requests: mpsc::Sender<Request>,
    ended: watch::Receiver<bool>,
}

/// Starts and ends lessons, one at a time.
pub struct LessonControl {
    source: LessonSource,
    library: Arc<Library>,
    hub: Arc<Hub>,
    started: Mutex<Option<Started>>,
}

impl LessonControl {
    /// LessonControl of this kind, recorded into `library` and shown on `hub`.
    pub fn new(source: LessonSource, library: Arc<Library>, hub: Arc<Hub>) -> Self {
        Self { source, library, hub, started: Mutex::new(None) }
    }

    /// Starts a lesson; returns the session's id.
    pub async fn start(&self, player: &PlayerCard, baseline_block: &str) -> Result<String, LessonError> {
        let mut started = self.started.lock().await;
        if let Some(running) = self.hub.running() {
            return Err(LessonError::Conflict(format!("lesson {running} is running; end it first")));
        }
        if !player.about.consent {
            return Err(LessonError::Conflict(format!(
                "{} has not agreed to be recorded; ask, and note the consent with the player",
                player.about.name
            )));
        }
        let Source { session, clock, flow } = source::open(&self.source, player).await?;
        let id = session.id.clone();
        let dir = self.library.new_session(&id)?;
        let broken =
            |e: crate::engine::EngineError| LessonError::Library(LibraryError::Failed(e.to_string()));
        let engine = Engine::new(dir, session, true).map_err(broken)?;
        let state = LessonState::new(&id, engine.session().clone(), Some(player.id.clone()), baseline_block);
        let mut events = engine.watch();
        self.hub.begin(RunningLesson::new(state, clock));
        let flow = flow.start();
        let (ended, watch_ended) = watch::channel(false);
        let hub = Arc::clone(&self.hub);
        let lesson = id.clone();
        let gone = flow.gone;
        tokio::spawn(async move {
            let outcome = engine
                .run_watched(flow.batches, gone, |records, engine| hub.update(records, engine, &mut events))
                .await;
            let problem = outcome.err().map(|why| {
                tracing::error!(%lesson, %why, "The lesson broke off.");
                format!("the recording broke off: {why}; what was recorded before is kept")
            });
            hub.end(&mut events, problem.as_deref());
            let _ = ended.send(true);
        });
        *started = Some(Started { requests: flow.requests, ended: watch_ended });
        Ok(id)
    }

    /// Puts a mark on the running lesson's clock, now.
    pub async fn mark(&self, kind: MarkKind, detail: &str) -> Result<f64, LessonError> {
        let t_ns = self.hub.with_lesson(|l| l.now_ns()).ok_or_else(none_running)?;
        let requests = self.started.lock().await.as_ref().map(|s| s.requests.clone());
        let sent = match requests {
            Some(requests) => requests.send(Request::mark(t_ns, kind, detail)).await.is_ok(),
            None => false,
        };
        if sent { Ok(t_ns as f64 * 1e-9) } else { Err(none_running()) }
    }

    /// Endpoints the running lesson and waits until its files are closed; returns its id.
    pub async fn end(&self) -> Result<String, LessonError> {
        let id = self.hub.running().ok_or_else(none_running)?;
        let Some(mut lesson) = self.started.lock().await.take() else { return Err(none_running()) };
        // An error means that it is ending by itself.
        let _ = lesson.requests.send(Request::Stop).await;
        // The engine gives up on straps that do not let go after CLOSING; a little more is for its files.
        match tokio::time::timeout(CLOSING + CLOSING / 2, lesson.ended.wait_for(|e| *e)).await {
            Ok(_) => Ok(id),
            Err(_) => Err(LessonError::Conflict("the lesson is still being closed; look again soon".into())),
        }
    }
}

fn none_running() -> LessonError {
    LessonError::Conflict("no lesson is running; start one first".into())
}
