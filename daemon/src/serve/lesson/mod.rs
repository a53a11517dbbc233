//! Starts, marks and ends lessons: source → engine → hub.

mod interrupted;
mod source;
mod when_ended;

pub use interrupted::{Interrupted, InterruptedView};
pub use source::LessonSource;
pub use when_ended::WhenEnded;

use super::hub::lesson_state::LessonState;
use super::hub::{Hub, RunningLesson};
use super::library::{Kept, Library, LibraryError, RunningNote};
use super::past_lesson::BASELINE;
use crate::engine::{Engine, EngineError, Recording, Resuming};
use crate::source::straps::{CLOSING, Request};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{Disconnection, MarkKind, Record, StrapEvent, StrapEventKind};
use peakorder_protocol::session::Player;
use source::{OpenSource, Waiting};
use std::sync::{Arc, Mutex as StdMutex, MutexGuard, PoisonError};
use tokio::sync::{Mutex, broadcast, mpsc, watch};

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
    /// No lesson was interrupted.
    #[error("no lesson was interrupted; start one")]
    NoneInterrupted,
    /// The interrupted lesson cannot go on with these straps; says why.
    #[error("the lesson cannot be continued: {0}; it is kept as it is, start a new one")]
    OtherStraps(&'static str),
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

fn lock<T>(shared: &StdMutex<T>) -> MutexGuard<'_, T> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
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
    /// No lesson begins while another does, or while a player is being forgotten.
    beginning: Mutex<()>,
    interrupted: StdMutex<Option<Interrupted>>,
    when_ended: WhenEnded,
}

/// The demo lesson is always the same.
const DEMO_SEED: u64 = 1;
/// Whose it is.
const DEMO_PLAYER: &str = "Demo player";

impl LessonControl {
    /// Lessons with samples from `source`, recorded into `library` and shown by `hub`.
    pub fn new(source: LessonSource, library: Arc<Library>, hub: Arc<Hub>, when_ended: WhenEnded) -> Self {
        let interrupted = StdMutex::new(Interrupted::find(&library));
        let (handle, beginning) = (Mutex::new(None), Mutex::new(()));
        Self { source, library, hub, handle, beginning, interrupted, when_ended }
    }

    /// Starts a lesson of the player of that id; returns the session's id.
    pub async fn start(&self, player: &str, baseline_block: &str) -> Result<String, LessonError> {
        let _beginning = self.beginning.lock().await;
        let player = &self.on_library(player, Library::player).await?;
        self.refuse_if_running()?;
        if !player.about.consent {
            return Err(LessonError::NoConsent(player.about.name.clone()));
        }
        let open = source::open(&self.source, player).await?;
        self.begin(open, Some(player.id.clone()), baseline_block).await
    }

    /// Starts the demo lesson of an invented player; returns the session's id.
    pub async fn demo(&self) -> Result<String, LessonError> {
        let _beginning = self.beginning.lock().await;
        self.refuse_if_running()?;
        let player = Player { name: DEMO_PLAYER.into(), ..Player::default() };
        let open = source::invented(DEMO_SEED, self.source.virtual_speed(), player.handedness, player);
        self.begin(open, None, BASELINE).await
    }

    fn refuse_if_running(&self) -> Result<(), LessonError> {
        self.hub.running().map_or(Ok(()), |running| Err(LessonError::AlreadyRunning(running)))
    }

    /// A new session begins.
    async fn begin(
        &self,
        open: OpenSource,
        player: Option<String>,
        baseline_block: &str,
    ) -> Result<String, LessonError> {
        let OpenSource { session, clock, seed, waiting } = open;
        let id = session.id.clone();
        let dir = self.library.new_session(&id)?;
        let engine = Engine::new(dir, session, Recording::Live)?;
        let note = RunningNote {
            session: id.clone(),
            baseline_block: baseline_block.into(),
            seed: seed.map(u64::cast_signed),
        };
        // Without the note the lesson is recorded as well; after a kill it could only be opened.
        if let Err(why) = self.library.note_running(&note) {
            tracing::warn!(%why, "The running lesson could not be noted.");
        }
        *lock(&self.interrupted) = None;
        let state = LessonState::new(&id, engine.session().clone(), player, baseline_block);
        let lesson = RunningLesson::new(state, clock);
        let events = engine.watch();
        self.run(id.clone(), engine, events, lesson, waiting).await;
        Ok(id)
    }

    /// The lesson that was interrupted, as the page shows it now.
    pub fn interrupted(&self) -> Option<InterruptedView> {
        lock(&self.interrupted).as_ref().map(Interrupted::view)
    }

    /// Takes the interrupted lesson as ended; returns its session's id.
    pub async fn leave(&self) -> Result<String, LessonError> {
        let _beginning = self.beginning.lock().await;
        let left = lock(&self.interrupted).take().ok_or(LessonError::NoneInterrupted)?;
        self.library.clear_running()?;
        self.hub.publish_interrupted_over();
        Ok(left.note.session)
    }

    /// Continues the interrupted lesson; returns its session's id.
    pub async fn go_on(&self) -> Result<String, LessonError> {
        let _beginning = self.beginning.lock().await;
        self.refuse_if_running()?;
        let lesson = lock(&self.interrupted).clone().ok_or(LessonError::NoneInterrupted)?;
        let note = lesson.note.clone();
        let opened = self.on_library(&note.session, Library::open_session).await;
        // Its player may have been forgotten meanwhile, and the session with the player.
        let (dir, session) = opened.map_err(|_| LessonError::NoneInterrupted)?;
        let players = Arc::clone(&self.library);
        let player = tokio::task::spawn_blocking(move || players.players())
            .await
            .map_err(|_| LessonError::Failed)??;
        let player = Library::recorded_player(&player, &session.player).cloned();
        if let Some(player) = player.as_ref().filter(|p| !p.about.consent) {
            return Err(LessonError::NoConsent(player.about.name.clone()));
        }
        let again = source::again(&self.source, &session, note.seed.map(i64::cast_unsigned)).await?;
        let computing = tokio::task::spawn_blocking(move || {
            let remarks = dir.remarks();
            let mut resuming = Resuming::open(dir, session.clone())?;
            let mut events = resuming.watch();
            let mut state =
                LessonState::new(&note.session, session, player.map(|p| p.id), &note.baseline_block);
            let last_ns = resuming.compute(|_, computation| {
                while let Ok(event) = events.try_recv() {
                    state.event(&event);
                    if matches!(event, LiveEvent::Calibration { .. }) {
                        state.set_calibration(&computation.session().calibration);
                    }
                }
            })?;
            match remarks.read() {
                Ok(read) => state.set_remarks(read.fold()),
                Err(why) => tracing::warn!(%why, "The remarks of the interrupted lesson cannot be read."),
            }
            state.interrupted();
            Ok::<_, EngineError>((resuming, state, last_ns))
        });
        let (resuming, state, last_ns) = computing.await.map_err(|_| LessonError::Failed)??;
        let from_ns = lesson.goes_on_ns(last_ns);
        let (clock, waiting) = again.at(last_ns, from_ns);
        let mut engine = resuming.record(from_ns)?;
        let events = engine.watch();
        // The links are gone: what is not told to the pipeline would look like one stream.
        let reason = Disconnection::NotKnown;
        let roles = engine.session().straps.keys();
        let gone: Vec<Record> = roles
            .map(|role| (*role, StrapEventKind::Disconnected { reason: reason.clone() }))
            .map(|(role, what)| Record::Strap(StrapEvent { t_ns: from_ns, role, what }))
            .collect();
        engine.push(&gone);
        *lock(&self.interrupted) = None;
        let id = lesson.note.session;
        let lesson = RunningLesson::new(state, clock).going_on(from_ns, engine.pipeline());
        self.run(id.clone(), engine, events, lesson, waiting).await;
        Ok(id)
    }

    /// Shows and records a lesson whose source waits, until it ends.
    async fn run(
        &self,
        id: String,
        engine: Engine,
        events: broadcast::Receiver<LiveEvent>,
        lesson: RunningLesson,
        waiting: Waiting,
    ) {
        // Whoever ends the lesson waits until it can be ended.
        let mut handle = self.handle.lock().await;
        let events = Arc::new(StdMutex::new(events));
        self.hub.begin(lesson.with_backlog(engine.backlog()).with_pulse(engine.pulse()));
        let flow = waiting.start();
        let (ended, watch_ended) = watch::channel(false);
        let (hub, library) = (Arc::clone(&self.hub), Arc::clone(&self.library));
        let when_ended = self.when_ended.clone();
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
                tracing::error!(lesson = %id, %why, "The recording stopped early.");
                format!("the recording stopped: {why}; what was recorded before is kept")
            });
            if let Err(why) = library.clear_running() {
                tracing::warn!(%why, "The lesson that ended is still noted as running.");
            }
            hub.end(&mut lock(&events), problem.as_deref());
            let _ = ended.send(true);
            match library.folder(&id) {
                Ok(session) => when_ended.start(&session),
                Err(why) => tracing::warn!(lesson = %id, %why, "The lesson that ended has no folder."),
            }
        });
        *handle = Some(Handle { requests: flow.requests, ended: watch_ended });
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
