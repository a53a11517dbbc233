//! Starts, marks and ends lessons: source → engine → hub.

mod source;

pub use source::LessonSource;

use super::hub::lesson_state::LessonState;
use super::hub::{Hub, RunningLesson};
use super::library::{Kept, Library, LibraryError};
use crate::engine::{Engine, EngineError, Recording};
use crate::source::straps::{CLOSING, Request};
use peakorder_protocol::log::MarkKind;
use source::OpenSource;
use std::sync::{Arc, Mutex as StdMutex, MutexGuard, PoisonError};
use tokio::sync::{Mutex, mpsc, watch};

/// Why a lesson cannot be started, marked or ended.
#[derive(Debug, thiserror::Error)]
pub enum LessonError {
    /// Another lesson is running.
    #[error("lesson {0} is running; end it first")]
    AlreadyRunning(String),
    /// The player has not agreed to be recorded.
    #[error("{0} has not agreed to be recorded; ask, and note the consent with the player")]
    NoConsent(String),
    /// The player who is to be forgotten is being recorded.
    #[error("a lesson of {0} is running; end it first")]
    OfPlayer(String),
    /// What was typed is not the name of the player who is to be forgotten.
    #[error("the player's name is {0}; type it to forget this player")]
    OtherName(String),
    /// No lesson is running.
    #[error("no lesson is running; start one first")]
    NoneRunning,
    /// It failed inside this program.
    #[error("this failed inside peakorderd; the log says more (PEAKORDER_LOG=debug)")]
    Failed,
    /// The straps or files take long to close.
    #[error("the lesson is still being closed; look again soon")]
    StillClosing,
    /// The straps cannot be used; says why.
    #[error("{0:#}")]
    Straps(anyhow::Error),
    /// The recording cannot start.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// The library refuses.
    #[error(transparent)]
    Library(#[from] LibraryError),
}

fn lock<T>(events: &StdMutex<T>) -> MutexGuard<'_, T> {
    events.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The ends of a started lesson.
struct Handle {
    requests: mpsc::Sender<Request>,
    ended: watch::Receiver<bool>,
}

/// Starts and ends lessons, one at a time.
pub struct LessonControl {
    source: LessonSource,
    library: Arc<Library>,
    hub: Arc<Hub>,
    handle: Mutex<Option<Handle>>,
    /// No lesson begins while a player is being forgotten.
    beginning: Mutex<()>,
}

impl LessonControl {
    /// Lessons with samples from `source`, recorded into `library` and shown by `hub`.
    pub fn new(source: LessonSource, library: Arc<Library>, hub: Arc<Hub>) -> Self {
        Self { source, library, hub, handle: Mutex::new(None), beginning: Mutex::new(()) }
    }

    /// Starts a lesson of the player of that id; returns the session's id.
    pub async fn start(&self, player: &str, baseline_block: &str) -> Result<String, LessonError> {
        let _beginning = self.beginning.lock().await;
        let player = &self.on_library(player, Library::player).await?;
        let mut handle = self.handle.lock().await;
        if let Some(running) = self.hub.running() {
            return Err(LessonError::AlreadyRunning(running));
        }
        if !player.about.consent {
            return Err(LessonError::NoConsent(player.about.name.clone()));
        }
        let OpenSource { session, clock, waiting } = source::open(&self.source, player).await?;
        let id = session.id.clone();
        let dir = self.library.new_session(&id)?;
        let engine = Engine::new(dir, session, Recording::Live)?;
        let state = LessonState::new(&id, engine.session().clone(), Some(player.id.clone()), baseline_block);
        let events = Arc::new(StdMutex::new(engine.watch()));
        self.hub.begin(RunningLesson::new(state, clock).with_backlog(engine.backlog()));
        let flow = waiting.start();
        let (ended, watch_ended) = watch::channel(false);
        let hub = Arc::clone(&self.hub);
        let lesson = id.clone();
        let shown = Arc::clone(&hub);
        let seen = Arc::clone(&events);
        let recording =
            tokio::spawn(engine.run_watched(flow.batches, flow.stopped, move |records, computation| {
                shown.update(records, computation, &mut lock(&seen));
            }));
        tokio::spawn(async move {
            // Whatever fails in it, the lesson ends and the next can begin.
            let problem = match recording.await {
                Ok(outcome) => outcome.err().map(|why| why.to_string()),
                Err(why) => Some(why.to_string()),
            };
            let problem = problem.map(|why| {
                tracing::error!(%lesson, %why, "The recording stopped early.");
                format!("the recording stopped: {why}; what was recorded before is kept")
            });
            hub.end(&mut lock(&events), problem.as_deref());
            let _ = ended.send(true);
        });
        *handle = Some(Handle { requests: flow.requests, ended: watch_ended });
        Ok(id)
    }

    /// Work with the library on a thread that may block.
    async fn on_library<T: Send + 'static>(
        &self,
        player: &str,
        work: impl FnOnce(&Library, &str) -> Result<T, LibraryError> + Send + 'static,
    ) -> Result<T, LessonError> {
        let (library, player) = (Arc::clone(&self.library), player.to_owned());
        let done = tokio::task::spawn_blocking(move || work(&library, &player)).await;
        Ok(done.map_err(|_| LessonError::Failed)??)
    }

    /// Removes all that the library keeps of a player, whose `name` says that this one is meant.
    pub async fn forget(&self, player: &str, name: &str, also_by_name: bool) -> Result<Kept, LessonError> {
        let _beginning = self.beginning.lock().await;
        let kept = self.on_library(player, Library::kept).await?;
        if kept.name.trim() != name.trim() {
            return Err(LessonError::OtherName(kept.name));
        }
        let recorded = self.hub.with_lesson(|l| l.state.session().player.id.clone()).flatten();
        if recorded.is_some_and(|id| id == kept.id) {
            return Err(LessonError::OfPlayer(kept.name));
        }
        self.on_library(player, move |library, id| library.forget(id, also_by_name)).await
    }

    /// Marks the running lesson now; returns the time on the session clock, s.
    pub async fn mark(&self, kind: MarkKind, detail: &str) -> Result<f64, LessonError> {
        let t_ns = self.hub.with_lesson(|l| l.now_ns()).ok_or(LessonError::NoneRunning)?;
        let requests = self.handle.lock().await.as_ref().map(|s| s.requests.clone());
        let sent = match requests {
            Some(requests) => requests.send(Request::mark(t_ns, kind, detail)).await.is_ok(),
            None => false,
        };
        if sent { Ok(t_ns as f64 * 1e-9) } else { Err(LessonError::NoneRunning) }
    }

    /// Ends the running lesson and waits until its files are closed; returns its id.
    pub async fn end(&self) -> Result<String, LessonError> {
        let id = self.hub.running().ok_or(LessonError::NoneRunning)?;
        let Some(mut lesson) = self.handle.lock().await.take() else { return Err(LessonError::NoneRunning) };
        // An error means that it is ending by itself.
        let _ = lesson.requests.send(Request::Stop).await;
        // The engine stops waiting for straps after CLOSING; the rest is for closing its files.
        match tokio::time::timeout(CLOSING + CLOSING / 2, lesson.ended.wait_for(|e| *e)).await {
            Ok(_) => Ok(id),
            Err(_) => Err(LessonError::StillClosing),
        }
    }
}
