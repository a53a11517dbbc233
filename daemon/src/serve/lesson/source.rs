//! Where a lesson's records come from.

use super::LessonError;
use crate::ble::radio::Radio;
use crate::ble::setup::{Setup, now_id};
use crate::ble::straps::{SessionClock, StrapTarget, Straps};
use crate::engine::BATCHES;
use crate::serve::hub::LessonClock;
use crate::serve::library::PlayerCard;
use crate::source::pace::{Speed, play};
use crate::source::straps::{CLOSING, LiveSource, Request};
use peakorder_protocol::Role;
use peakorder_protocol::log::Record;
use peakorder_protocol::session::Session;
use peakorder_virtual_straps::Script;
use peakorder_virtual_straps::virtual_session;
use std::path::PathBuf;
use std::pin::Pin;
use tokio::sync::{mpsc, oneshot};

/// Where lessons get their samples.
#[derive(Debug, Clone)]
pub enum LessonSource {
    /// The straps that this configuration file assigns.
    Straps(PathBuf),
    /// Virtual straps: an invented lesson drawn from `seed`.
    Virtual {
        /// The same number gives the same lesson.
        seed: u64,
        /// How fast time goes by.
        speed: Speed,
    },
}

/// Requests that may wait; each is handled at once.
const REQUESTS: usize = 16;

/// A source that has been opened.
pub(super) struct OpenSource {
    pub(super) session: Session,
    pub(super) clock: LessonClock,
    pub(super) waiting: Waiting,
}

/// A source that sends nothing yet.
pub(super) enum Waiting {
    Straps { radio: Radio, worn: Vec<(Role, StrapTarget)>, clock: SessionClock },
    Virtual { script: Box<Script>, speed: Speed },
}

/// The records of a started source.
pub(super) struct Flow {
    pub(super) batches: mpsc::Receiver<Vec<Record>>,
    pub(super) requests: mpsc::Sender<Request>,
    /// Done when the engine must not wait for more records.
    pub(super) stopped: Stopped,
}

/// Connects to the radio or draws the script.
pub(super) async fn open(source: &LessonSource, player: &PlayerCard) -> Result<OpenSource, LessonError> {
    match source {
        LessonSource::Straps(config) => {
            let setup = Setup::load(config).map_err(LessonError::Straps)?;
            let worn = setup.assigned().map_err(LessonError::Straps)?;
            let radio = setup.radio().await.map_err(LessonError::Straps)?;
            let roles: Vec<Role> = worn.iter().map(|(role, _)| *role).collect();
            let session = setup.session(&roles, player.player(), toml::Table::new());
            let clock = SessionClock::start();
            Ok(OpenSource {
                session,
                clock: LessonClock::Wall(clock),
                waiting: Waiting::Straps { radio, worn, clock },
            })
        }
        LessonSource::Virtual { seed, speed } => {
            let script = Script::lesson_of(*seed, player.about.handedness);
            let now = jiff::ZonedDateTime::now();
            let session =
                virtual_session(&script, &now_id(&now), player.player(), &now.timestamp().to_string());
            let waiting = Waiting::Virtual { script: Box::new(script), speed: *speed };
            Ok(OpenSource { session, clock: LessonClock::LatestRecord, waiting })
        }
    }
}

impl Waiting {
    /// Starts the source.
    pub(super) fn start(self) -> Flow {
        let (to, batches) = mpsc::channel(BATCHES);
        let (requests, asked) = mpsc::channel(REQUESTS);
        let stopped = match self {
            Self::Straps { radio, worn, clock } => {
                // The hub takes the straps' status from the pipeline.
                let live = LiveSource::new(worn.iter().map(|(role, _)| *role).collect());
                let straps = Straps::start(&radio, worn.into_iter().map(|(_, w)| w).collect(), clock);
                let (stopped, stopping) = oneshot::channel();
                tokio::spawn(live.run(straps, asked, to, stopped));
                after_closing_time(stopping)
            }
            Self::Virtual { script, speed } => play_script(*script, speed, asked, to),
        };
        Flow { batches, requests, stopped }
    }
}

type Stopped = Pin<Box<dyn Future<Output = ()> + Send>>;

/// The engine ends after the source's last record. A strap that does not disconnect must not
/// keep the session open, so it waits only for [`CLOSING`] after the stop.
fn after_closing_time(stopping: oneshot::Receiver<()>) -> Stopped {
    Box::pin(async move {
        if stopping.await.is_err() {
            std::future::pending::<()>().await;
        }
        tokio::time::sleep(CLOSING).await;
    })
}

/// Plays the script on a thread of its own; marks are added as they come.
fn play_script(
    script: Script,
    speed: Speed,
    mut asked: mpsc::Receiver<Request>,
    to: mpsc::Sender<Vec<Record>>,
) -> Stopped {
    let marks = to.downgrade();
    tokio::task::spawn_blocking(move || play(script.session().records(), speed, &to, |_| {}));
    let (stop, stopped) = oneshot::channel::<()>();
    tokio::spawn(async move {
        while let Some(request) = asked.recv().await {
            match request {
                Request::Stop => break,
                Request::Mark(mark) => {
                    let Some(to) = marks.upgrade() else { return };
                    if to.send(vec![Record::Mark(mark)]).await.is_err() {
                        return;
                    }
                }
            }
        }
        let _ = stop.send(());
    });
    Box::pin(async move {
        if stopped.await.is_err() {
            std::future::pending::<()>().await;
        }
    })
}
