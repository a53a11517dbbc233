//! Where a lesson's records come from.

use super::LessonError;
use crate::ble::radio::Radio;
use crate::ble::setup::{Setup, now_id};
use crate::ble::straps::{SessionClock, StrapTarget, Straps};
use crate::engine::BATCHES;
use crate::serve::hub::LessonClock;
use crate::serve::library::PlayerCard;
use crate::source::pace::{Speed, play, play_from};
use crate::source::straps::{CLOSING, LiveSource, Request};
use peakorder_protocol::log::{Mark, Record, StrapEvent, StrapEventKind};
use peakorder_protocol::session::{Player, Session, Strap};
use peakorder_protocol::{Handedness, Role};
use peakorder_virtual_straps::Script;
use peakorder_virtual_straps::virtual_session;
use std::path::{Path, PathBuf};
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
    /// What virtual straps are drawn from.
    pub(super) seed: Option<u64>,
    pub(super) waiting: Waiting,
}

/// A source that sends nothing yet.
pub(super) enum Waiting {
    Straps {
        radio: Radio,
        worn: Vec<(Role, StrapTarget)>,
        clock: SessionClock,
    },
    Virtual {
        script: Box<Script>,
        speed: Speed,
        /// It goes on behind these session times, nanoseconds: the last record that there is, and the first to come.
        after: Option<(u64, u64)>,
    },
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
            let (setup, worn, radio) = straps(config).await?;
            let roles: Vec<Role> = worn.iter().map(|(role, _)| *role).collect();
            let session = setup.session(&roles, player.player(), toml::Table::new());
            let clock = SessionClock::start();
            let waiting = Waiting::Straps { radio, worn, clock };
            Ok(OpenSource { session, clock: LessonClock::Wall(clock), seed: None, waiting })
        }
        LessonSource::Virtual { seed, speed } => {
            Ok(invented(*seed, *speed, player.about.handedness, player.player()))
        }
    }
}

/// A lesson of virtual straps.
pub(super) fn invented(seed: u64, speed: Speed, handedness: Handedness, player: Player) -> OpenSource {
    let script = Script::lesson_of(seed, handedness);
    let now = jiff::ZonedDateTime::now();
    let session = virtual_session(&script, &now_id(&now), player, &now.timestamp().to_string());
    let waiting = Waiting::Virtual { script: Box::new(script), speed, after: None };
    OpenSource { session, clock: LessonClock::LatestRecord, seed: Some(seed), waiting }
}

async fn straps(config: &Path) -> Result<(Setup, Vec<(Role, StrapTarget)>, Radio), LessonError> {
    let setup = Setup::load(config).map_err(LessonError::Straps)?;
    let worn = setup.assigned().map_err(LessonError::Straps)?;
    let radio = setup.radio().await.map_err(LessonError::Straps)?;
    Ok((setup, worn, radio))
}

/// A source with which an interrupted lesson can go on, once its time is known.
pub(super) enum Again {
    Straps { radio: Radio, worn: Vec<(Role, StrapTarget)> },
    Virtual { script: Box<Script>, speed: Speed },
}

/// Opens the source of `session` again; `seed` is what virtual straps were drawn from. Straps must be the same as before.
pub(super) async fn again(
    source: &LessonSource,
    session: &Session,
    seed: Option<u64>,
) -> Result<Again, LessonError> {
    if let Some(seed) = seed {
        let script = Box::new(Script::lesson_of(seed, session.player.handedness));
        return Ok(Again::Virtual { script, speed: source.virtual_speed() });
    }
    let LessonSource::Straps(config) = source else {
        return Err(LessonError::OtherStraps(
            "it was recorded with straps, and peakorderd serves virtual ones",
        ));
    };
    let (setup, worn, radio) = straps(config).await?;
    let roles: Vec<Role> = worn.iter().map(|(role, _)| *role).collect();
    let now = setup.session(&roles, session.player.clone(), toml::Table::new());
    let same = |(a, b): ((&Role, &Strap), (&Role, &Strap))| {
        (a.0, &a.1.name, &a.1.profile_toml) == (b.0, &b.1.name, &b.1.profile_toml)
    };
    if now.straps.len() != session.straps.len() || !now.straps.iter().zip(&session.straps).all(same) {
        return Err(LessonError::OtherStraps("the straps are not the ones that it was recorded with"));
    }
    Ok(Again::Straps { radio, worn })
}

impl Again {
    /// The source, to go on at session time `from_ns` behind `last_ns`.
    pub(super) fn at(self, last_ns: u64, from_ns: u64) -> (LessonClock, Waiting) {
        match self {
            Self::Straps { radio, worn } => {
                let clock = SessionClock::going_on(from_ns);
                (LessonClock::Wall(clock), Waiting::Straps { radio, worn, clock })
            }
            Self::Virtual { script, speed } => {
                let waiting = Waiting::Virtual { script, speed, after: Some((last_ns, from_ns)) };
                (LessonClock::LatestRecord, waiting)
            }
        }
    }
}

impl LessonSource {
    /// How fast virtual straps play.
    pub(super) fn virtual_speed(&self) -> Speed {
        match self {
            Self::Straps(_) => Speed::Times(1.0),
            Self::Virtual { speed, .. } => *speed,
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
            Self::Virtual { script, speed, after } => play_script(*script, speed, after, asked, to),
        };
        Flow { batches, requests, stopped }
    }
}

/// What virtual straps send from session time `from_ns` on; of marks what comes behind `last_ns`, for nobody makes them again.
fn later(records: impl Iterator<Item = Record>, last_ns: u64, from_ns: u64) -> impl Iterator<Item = Record> {
    records.filter_map(move |record| match record {
        Record::Mark(mark) if mark.t_ns > last_ns => {
            Some(Record::Mark(Mark { t_ns: mark.t_ns.max(from_ns), ..mark }))
        }
        record => (record.t_ns() >= from_ns).then_some(record),
    })
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
    after: Option<(u64, u64)>,
    mut asked: mpsc::Receiver<Request>,
    to: mpsc::Sender<Vec<Record>>,
) -> Stopped {
    let marks = to.downgrade();
    tokio::task::spawn_blocking(move || {
        let connected = script.straps().roles.clone();
        let records = script.session().records();
        let Some((last_ns, from_ns)) = after else { return play(records, speed, &to, |_| {}) };
        let connected = connected.into_iter().map(move |role| {
            Record::Strap(StrapEvent { t_ns: from_ns, role, what: StrapEventKind::CONNECTED })
        });
        let records = connected.chain(later(records, last_ns, from_ns));
        play_from(from_ns as f64 * 1e-9, records, speed, &to, |_| {});
    });
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
