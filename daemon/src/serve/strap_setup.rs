//! Straps before a lesson, from the page: found, told apart by a twist, given their place, checked. The work is that of the
//! commands (`ble::finding`, `ble::identifying`, `ble::checking`); here is who does it, and what is shown of it.

use super::lesson::LessonSource;
use crate::ble::checking::{self, Progress};
use crate::ble::finding::{Heard, listen};
use crate::ble::identifying::{self, LOOK, Placed, Step};
use crate::ble::setup::Setup;
use crate::ble::signal::{Finding, Weight};
use crate::config::same_id;
use peakorder_analysis::words;
use peakorder_protocol::Role;
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{Mutex as AsyncMutex, watch};
use tokio::task::JoinHandle;

/// A scan from the page ends by itself after this long.
const SCAN: Duration = Duration::from_mins(2);
/// How long to wait for each twist.
const TWIST: Duration = Duration::from_secs(40);
/// How long the signal is measured.
const CHECK_S: f64 = 12.0;

/// Why something cannot be done with straps now.
#[derive(Debug, thiserror::Error)]
pub(super) enum SetupError {
    /// No straps belong to this program.
    #[error("peakorderd serves virtual straps; start it without --virtual to use straps")]
    Virtual,
    /// A lesson uses them.
    #[error("a lesson is running; end it first")]
    LessonRuns,
    /// The strap is not on the air, or fits no profile.
    #[error("strap {0} was not found; look for straps first")]
    NotFound(String),
    /// No strap is assigned there.
    #[error("no strap is assigned to the {0}")]
    NotAssigned(Role),
    /// Configuration or radio refuses; says why.
    #[error("{0:#}")]
    Refused(anyhow::Error),
}

/// What is being done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub(super) enum SetupWork {
    /// Nothing.
    #[default]
    Nothing,
    /// Straps are looked for.
    Scan,
    /// Straps are told apart.
    Identify,
    /// The signal is measured.
    Check,
}

/// A segment and the strap that is worn there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct StrapPlace {
    /// Where it is worn.
    role: Role,
    /// Its id; absent without a strap.
    id: Option<String>,
    /// Its name; may be empty.
    name: String,
}

/// Figures of one strap, measured at rest.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct StrapCheck {
    /// Where it is worn.
    role: Role,
    /// No problem was found.
    good: bool,
    /// Samples a second.
    rate_hz: Option<f64>,
    /// What its profile states.
    nominal_hz: f64,
    /// Share of samples that were lost, percent.
    lost_percent: Option<f64>,
    /// Battery level, percent.
    battery_percent: Option<u8>,
    /// Gyroscope noise at rest, degrees per second; absent if it never lay still.
    noise_dps: Option<f64>,
    /// What is to be said of it.
    findings: Vec<SetupFinding>,
}

/// What was found, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct SetupFinding {
    /// To be put right before the lesson.
    problem: bool,
    /// In words.
    text: String,
}

impl From<&Finding> for SetupFinding {
    fn from(f: &Finding) -> Self {
        Self { problem: f.weight == Weight::Problem, text: f.text.clone() }
    }
}

/// The straps before a lesson.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct StrapSetup {
    /// Straps belong to this program; without, only demo lessons can be played.
    available: bool,
    /// What is being done.
    doing: SetupWork,
    /// Every segment with its strap.
    places: Vec<StrapPlace>,
    /// Straps that were found, the nearest first.
    found: Vec<Heard>,
    /// Devices that were heard and fit no strap profile.
    other_devices: usize,
    /// The segment whose strap is to be twisted now.
    twist: Option<Role>,
    /// What happens, in words; the newest last.
    news: Vec<String>,
    /// Seconds of the check that are done, and of how many.
    measured_s: Option<[f64; 2]>,
    /// The figures of the last check.
    checks: Vec<StrapCheck>,
    /// What concerns several straps.
    together: Vec<SetupFinding>,
    /// The last check found no problem; absent before one.
    ready: Option<bool>,
    /// Why the last work ended early, and what to do.
    problem: Option<String>,
}

struct Work {
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

/// Does one thing at a time with the straps.
pub(super) struct SetupControl {
    config: Option<PathBuf>,
    view: Arc<Mutex<StrapSetup>>,
    work: AsyncMutex<Option<Work>>,
}

fn lock(view: &Mutex<StrapSetup>) -> MutexGuard<'_, StrapSetup> {
    view.lock().unwrap_or_else(PoisonError::into_inner)
}

/// So many lines of news are kept.
const NEWS: usize = 6;

fn told(view: &Mutex<StrapSetup>, text: String) {
    let news = &mut lock(view).news;
    if news.last() != Some(&text) {
        news.push(text);
    }
    let from = news.len().saturating_sub(NEWS);
    news.drain(..from);
}

async fn stopped(mut stop: watch::Receiver<bool>) {
    // An error means that nobody can stop it any more: it is stopped.
    let _ = stop.wait_for(|s| *s).await;
}

impl SetupControl {
    /// For lessons from `source`.
    pub(super) fn new(source: &LessonSource) -> Self {
        let config = match source {
            LessonSource::Straps(config) => Some(config.clone()),
            LessonSource::Virtual { .. } => None,
        };
        Self { config, view: Arc::default(), work: AsyncMutex::default() }
    }

    fn config(&self) -> Result<&Path, SetupError> {
        self.config.as_deref().ok_or(SetupError::Virtual)
    }

    fn load(&self) -> Result<Setup, SetupError> {
        Setup::load(self.config()?).map_err(SetupError::Refused)
    }

    /// How it stands.
    pub(super) fn view(&self) -> StrapSetup {
        let mut view = lock(&self.view).clone();
        view.available = self.config.is_some();
        view.places = match self.load() {
            Ok(setup) => places(&setup),
            Err(why) => {
                if self.config.is_some() {
                    view.problem = Some(why.to_string());
                }
                Vec::new()
            }
        };
        for strap in &mut view.found {
            strap.worn_on = view
                .places
                .iter()
                .find(|p| p.id.as_deref().is_some_and(|id| same_id(id, &strap.id)))
                .map(|p| p.role);
        }
        view
    }

    /// Stops what is being done, and waits for it.
    pub(super) async fn stop(&self) {
        if let Some(work) = self.work.lock().await.take() {
            work.stop.send_replace(true);
            // It only fails if it panicked, which has been reported.
            let _ = work.task.await;
        }
    }

    /// Looks for straps.
    pub(super) async fn scan(&self) -> Result<(), SetupError> {
        let setup = self.load()?;
        self.begin(SetupWork::Scan, move |view, stop| async move {
            let radio = setup.radio().await?;
            let shown = Arc::clone(&view);
            listen(&radio, &setup, SCAN, stopped(stop), move |all, _| {
                let mut found: Vec<Heard> =
                    all.values().map(|(h, _)| h).filter(|h| h.profile.is_some()).cloned().collect();
                found.sort_by_key(|h| (-h.rssi_dbm.unwrap_or(i16::MIN + 1), h.id.clone()));
                let mut shown = lock(&shown);
                shown.other_devices = all.len() - found.len();
                shown.found = found;
            })
            .await?;
            Ok(())
        })
        .await;
        Ok(())
    }

    /// Tells the straps worn at `roles` apart by a twist of each.
    pub(super) async fn identify(&self, roles: Vec<Role>) -> Result<(), SetupError> {
        let mut setup = self.load()?;
        self.begin(SetupWork::Identify, move |view, stop| async move {
            let radio = setup.radio().await?;
            told(&view, "Looking for straps.".into());
            let heard = listen(&radio, &setup, LOOK, stopped(stop.clone()), |_, _| {}).await?;
            told(&view, "Connecting.".into());
            let shown = Arc::clone(&view);
            let mut say = move |step| show(&shown, step);
            let stop = Box::pin(stopped(stop));
            let placed = identifying::identify(&radio, &setup, heard, &roles, TWIST, stop, &mut say).await?;
            for Placed { role, id, name, profile } in placed {
                setup.config.assign(role, &id, &name, &profile);
            }
            setup.config.save_straps(&setup.path)?;
            told(&view, "Every strap has its place.".into());
            Ok(())
        })
        .await;
        Ok(())
    }

    /// Measures the signal of the straps that have a place.
    pub(super) async fn check(&self) -> Result<(), SetupError> {
        let setup = self.load()?;
        let assigned = setup.assigned().map_err(SetupError::Refused)?;
        self.begin(SetupWork::Check, move |view, stop| async move {
            let radio = setup.radio().await?;
            told(&view, "Connecting. Lay the straps still on a table.".into());
            let shown = Arc::clone(&view);
            let say = move |progress| match progress {
                Progress::Measuring(seconds) => lock(&shown).measured_s = Some([seconds, CHECK_S]),
                Progress::Strap(role, what) => {
                    told(&shown, format!("{role}: {}", words::strap::event(&what)));
                }
            };
            let done =
                checking::check(&radio, &assigned, &setup.config, CHECK_S, stopped(stop.clone()), say).await;
            if *stop.borrow() {
                return Ok(());
            }
            let mut view = lock(&view);
            view.ready = Some(done.ready);
            view.together = done.together.iter().map(Into::into).collect();
            view.checks = done
                .straps
                .iter()
                .map(|(role, r)| StrapCheck {
                    role: *role,
                    good: r.findings.iter().all(|f| f.weight != Weight::Problem),
                    rate_hz: r.rate_hz,
                    nominal_hz: r.nominal_rate_hz,
                    lost_percent: r.lost_percent,
                    battery_percent: r.battery_percent,
                    noise_dps: r.still_gyro_sd_dps,
                    findings: r.findings.iter().map(Into::into).collect(),
                })
                .collect();
            Ok(())
        })
        .await;
        Ok(())
    }

    /// Gives the strap its place.
    pub(super) async fn assign(&self, role: Role, id: &str) -> Result<(), SetupError> {
        let mut setup = self.load()?;
        let found = lock(&self.view).found.iter().find(|h| same_id(&h.id, id)).cloned();
        let known = setup.config.straps.values().find(|s| same_id(&s.id, id)).cloned();
        let (name, profile) = match (found, known) {
            (Some(Heard { name, profile: Some(profile), .. }), _) => (name, profile),
            (_, Some(worn)) => (worn.name, worn.profile),
            _ => return Err(SetupError::NotFound(id.to_owned())),
        };
        // Nothing else may save the configuration meanwhile.
        self.stop().await;
        setup.config.assign(role, id, &name, &profile);
        setup.config.save_straps(&setup.path).map_err(|why| SetupError::Refused(why.into()))
    }

    /// Takes the strap of a segment away.
    pub(super) async fn forget(&self, role: Role) -> Result<(), SetupError> {
        self.stop().await;
        let mut setup = self.load()?;
        setup.config.straps.remove(&role).ok_or(SetupError::NotAssigned(role))?;
        setup.config.save_straps(&setup.path).map_err(|why| SetupError::Refused(why.into()))
    }

    /// Begins a work; what was going on ends first.
    async fn begin<W>(
        &self,
        doing: SetupWork,
        work: impl FnOnce(Arc<Mutex<StrapSetup>>, watch::Receiver<bool>) -> W + Send + 'static,
    ) where
        W: Future<Output = anyhow::Result<()>> + Send + 'static,
    {
        self.stop().await;
        let mut current = self.work.lock().await;
        let (stop, stopping) = watch::channel(false);
        {
            let mut view = lock(&self.view);
            view.doing = doing;
            (view.problem, view.twist, view.measured_s) = (None, None, None);
            view.news.clear();
            match doing {
                SetupWork::Scan => (view.found, view.other_devices) = (Vec::new(), 0),
                SetupWork::Check => {
                    (view.checks, view.together, view.ready) = (Vec::new(), Vec::new(), None);
                }
                SetupWork::Identify | SetupWork::Nothing => {}
            }
        }
        let view = Arc::clone(&self.view);
        let task = tokio::spawn(async move {
            let done = work(Arc::clone(&view), stopping.clone()).await;
            let mut view = lock(&view);
            view.doing = SetupWork::Nothing;
            (view.twist, view.measured_s) = (None, None);
            // What was stopped needs no explanation.
            view.problem = done.err().filter(|_| !*stopping.borrow()).map(|why| format!("{why:#}"));
        });
        *current = Some(Work { stop, task });
    }
}

/// Shows a step of telling straps apart.
fn show(view: &Mutex<StrapSetup>, step: Step) {
    match step {
        Step::Silent(ids) => told(view, format!("Nothing comes in from {}.", ids.join(", "))),
        Step::Twist(role) => lock(view).twist = Some(role),
        Step::Unclear { role, .. } => {
            told(
                view,
                format!("Two straps turned: twist only the one on the {role}, and keep the others still."),
            );
        }
        Step::Found(Placed { role, id, name, .. }) => {
            lock(view).twist = None;
            let strap = if name.is_empty() { id } else { name };
            told(view, format!("The {role} strap is {strap}."));
        }
        Step::Strap { id, text } => told(view, format!("{id}: {text}")),
    }
}

fn places(setup: &Setup) -> Vec<StrapPlace> {
    let assigned: &BTreeMap<Role, _> = &setup.config.straps;
    Role::ALL
        .into_iter()
        .map(|role| {
            let strap = assigned.get(&role);
            StrapPlace {
                role,
                id: strap.map(|s| s.id.clone()),
                name: strap.map_or_else(String::new, |s| s.name.clone()),
            }
        })
        .collect()
}
