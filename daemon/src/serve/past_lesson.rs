//! Past lessons, read from their folders.

use super::hub::lesson_state::LessonState;
use super::hub::views::LessonView;
use super::library::{KnownSession, Library, LibraryError};
use crate::source::replay::Replay;
use nalgebra::{Quaternion, UnitQuaternion};
use peakorder_analysis::against::Against;
use peakorder_analysis::chosen::Family;
use peakorder_analysis::kept::{self, Kept, KeptError};
use peakorder_analysis::library::{Swings, load_known};
use peakorder_analysis::load::{Loaded, NoCurves};
use peakorder_analysis::parallel;
use peakorder_analysis::report::{self, Choice, ReportError};
use peakorder_analysis::trend::{self, Trend};
use peakorder_motion::angles::Cardan;
use peakorder_protocol::curves::SegmentCurves;
use peakorder_protocol::estimate::round;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::{SessionDir, SessionError};
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Handedness, Role};
use serde::Serialize;

pub(super) use peakorder_analysis::BASELINE;

/// Why a past lesson cannot be shown.
#[derive(Debug, thiserror::Error)]
pub(super) enum PastLessonError {
    /// The library does not have it.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// No report can be made of these blocks.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// The swing's curves cannot be read.
    #[error("swing {number} has no curves: {why}")]
    NoCurves { number: u32, why: NoCurves },
    /// The session has no such swing.
    #[error("there is no swing {number}")]
    NoSwing { number: u32 },
}

/// A past lesson as the page shows it.
pub(super) fn lesson(library: &Library, id: &str) -> Result<LessonView, LibraryError> {
    let loaded = library.load(id, None)?;
    let players = library.players()?;
    let player_id = Library::recorded_player(&players, &loaded.session.player).map(|p| p.id.clone());
    let mut state = LessonState::new(id, loaded.session.clone(), player_id, BASELINE).with_labels_in_force();
    for event in blocks(&loaded.dir, &loaded.remarks) {
        state.event(&event);
    }
    for check in loaded.mobility {
        state.event(&LiveEvent::Mobility { check: Box::new(check) });
    }
    let repetitions = loaded.repetitions.iter().map(|r| r.events.finish.t_s).fold(0.0, f64::max);
    let end_s = last_finish_s(&loaded.swings).max(repetitions);
    state.set_remarks(loaded.remarks);
    for repetition in loaded.repetitions {
        state.event(&LiveEvent::Repetition { repetition: Box::new(repetition) });
    }
    for swing in loaded.swings {
        state.add_swing(swing);
    }
    state.assess();
    Ok(state.view(end_s, Vec::new()))
}

fn last_finish_s(swings: &[Swing]) -> f64 {
    swings.iter().map(|s| s.events.finish.t_s).fold(0.0, f64::max)
}

/// Session time of the last swing's finish: the time of remarks that are made after the lesson.
pub(super) fn end_s(dir: &SessionDir) -> Result<f64, SessionError> {
    let last = dir.swing_numbers()?.pop();
    // A damaged swing file must not keep a remark from being written.
    Ok(last.and_then(|n| dir.read_numbered(n).ok()).map_or(0.0, |n| n.finish_s()))
}

/// The lesson as a page to take home.
pub(super) fn report(library: &Library, id: &str, choice: &Choice) -> Result<String, PastLessonError> {
    let loaded = library.load(id, None)?;
    let kept = lasted(library, id, &loaded)?;
    Ok(report::html(&loaded, choice, kept.as_ref())?)
}

/// So many lessons fit one picture.
const LESSONS: usize = 12;

/// What lasted of the player's earlier sessions; `None` where there are none, or it is not said what the lesson is about. A
/// session that cannot be read is passed over: it is told of where it is opened.
fn lasted(library: &Library, id: &str, loaded: &Loaded) -> Result<Option<Kept>, LibraryError> {
    let family = Family::of_remarks(&loaded.remarks);
    let Ok(taking) = kept::Taking::of(&family) else { return Ok(None) };
    let Some(player) = library.player_of(loaded)? else { return Ok(None) };
    let now = (loaded.session.started_utc.as_str(), id);
    let before = |s: &KnownSession| {
        s.row.name != id && s.row.head().is_some_and(|h| (h.started_utc.as_str(), s.row.name.as_str()) <= now)
    };
    let all = library.of_player(&player, usize::MAX)?;
    let earlier: Vec<&KnownSession> = all.iter().filter(|s| before(s)).take(LESSONS - 1).collect();
    let Some(latest) = earlier.first() else { return Ok(None) };
    let part = |s: &&KnownSession| Some(taking.part(&s.load(Swings::Ends(None))?));
    let mut parts: Vec<kept::Part> = parallel::each(&earlier, part).into_iter().rev().flatten().collect();
    parts.push(taking.part(loaded));
    Ok(Some(taking.kept(&latest.name, &[], parts)))
}

/// So many lessons are looked through over months, the latest.
const MONTHS: usize = 100;

/// That the library has a session of the player. What else is wrong with a request is said of players who are there.
pub(super) fn has_sessions(library: &Library, player: &str) -> Result<(), LibraryError> {
    library.of_player(player, 1)?.first().map(|_| ()).ok_or(LibraryError::NoSession)
}

/// A player's lessons over months, by the player's id or, of sessions without one, the name: what lasted, and the trend of
/// `block`. What cannot be read is named. `about` is asked for, or what was chosen last.
pub(super) fn months(
    library: &Library,
    player: &str,
    block: &str,
    about: Option<Family>,
) -> Result<(Kept, Trend), MonthsError> {
    // Newest first.
    let mut of = library.of_player(player, MONTHS)?;
    let name = of.first().ok_or(LibraryError::NoSession)?.name.clone();
    let family = about.unwrap_or_else(|| chosen_last(&of));
    let lasted = kept::Taking::of(&family)?;
    let followed = trend::Taking::of(block);
    of.reverse();
    let (mut kept_parts, mut trend_parts, mut left_out) = (Vec::new(), Vec::new(), Vec::new());
    let parts = parallel::each(&of, |session| {
        let loaded = session.load(Swings::Ends(Some(block)))?;
        Some((lasted.part(&loaded), followed.part(&loaded)))
    });
    for (session, parts) in of.iter().zip(parts) {
        match parts {
            Some((kept, trend)) => {
                kept_parts.push(kept);
                trend_parts.push(trend);
            }
            None => left_out.push(format!("{}: cannot be read; opening it says why", session.row.name)),
        }
    }
    let kept = lasted.kept(&name, &left_out, kept_parts);
    Ok((kept, followed.follow(&name, &left_out, trend_parts, &family)))
}

/// Why nothing is told over months.
#[derive(Debug, thiserror::Error)]
pub(super) enum MonthsError {
    /// The library does not have the player.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// It is not said what they are about.
    #[error(transparent)]
    Kept(#[from] KeptError),
}

/// What the latest session was about that was about something; `sessions` latest first.
fn chosen_last(sessions: &[KnownSession]) -> Family {
    let families = sessions.iter().filter_map(|s| {
        let read = SessionDir::at(&s.folder).remarks().read();
        Some(Family::of_remarks(&read.ok()?.fold()))
    });
    families.into_iter().find(|f| !matches!(f, Family::All)).unwrap_or(Family::All)
}

impl KnownSession {
    /// `None` where it cannot be read any more.
    fn load(&self, swings: Swings<'_>) -> Option<Loaded> {
        let head = self.row.head().filter(|h| h.loads)?;
        load_known(&self.folder, head, swings).ok()
    }
}

/// The blocks with their starts, which only the recording has, and the labels that are in force. Of a damaged recording, the
/// blocks that can be read.
fn blocks(dir: &SessionDir, remarks: &Remarks) -> Vec<LiveEvent> {
    let Ok(replay) = Replay::open(&dir.log_path()) else { return Vec::new() };
    replay
        .filter_map(|record| match record {
            Record::Mark(mark) if matches!(mark.kind, MarkKind::Block | MarkKind::Drill) => {
                let drill = mark.kind == MarkKind::Drill;
                let label = remarks.block(&mark.detail).to_owned();
                Some(LiveEvent::Block { t_s: mark.t_ns as f64 * 1e-9, label, drill })
            }
            _ => None,
        })
        .collect()
}

/// Curves of one swing on a uniform grid.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct CurvesView {
    /// Session clock of the first point, seconds.
    start_s: f64,
    /// Step, seconds.
    step_s: f64,
    /// One entry for each strap.
    segments: Vec<SegmentView>,
}

/// Curves of one segment; angles are empty when its strap was not calibrated.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
struct SegmentView {
    /// Where it is worn.
    role: Role,
    /// The speed whose peak is measured, degrees per second.
    speed_dps: Vec<f64>,
    /// Turn relative to address, degrees, positive towards the target.
    turn_deg: Vec<f64>,
    /// Lateral tilt, degrees, positive = trail side lower.
    lateral_deg: Vec<f64>,
    /// Flexion, degrees, positive = forward.
    flexion_deg: Vec<f64>,
    /// Segment → global (Y up), `[w, x, y, z]`, heading zero at address.
    orientation_wxyz: Vec<[f64; 4]>,
}

/// Far below what the sensors resolve.
const DECIMALS: i32 = 4;

fn all_rounded(values: &[f32]) -> Vec<f64> {
    values.iter().map(|v| round(f64::from(*v), DECIMALS)).collect()
}

fn segment(curves: &SegmentCurves, handedness: Handedness) -> SegmentView {
    let mut view = SegmentView {
        role: curves.role,
        speed_dps: all_rounded(&curves.speed_dps),
        turn_deg: all_rounded(&curves.turn_deg),
        lateral_deg: Vec::new(),
        flexion_deg: Vec::new(),
        orientation_wxyz: curves
            .orientation_wxyz
            .iter()
            .map(|q| q.map(|v| round(f64::from(v), DECIMALS)))
            .collect(),
    };
    // Without a calibration the orientation is the sensor's, and its tilts mean nothing.
    if !curves.turn_deg.is_empty() {
        for q in &curves.orientation_wxyz {
            let [w, x, y, z] = q.map(f64::from);
            let tilts =
                Cardan::from_quaternion(&UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z)))
                    .for_people(curves.role, handedness);
            view.lateral_deg.push(round(tilts.lateral_deg, DECIMALS));
            view.flexion_deg.push(round(tilts.flexion_deg, DECIMALS));
        }
    }
    view
}

/// Swing `number` against the baseline of its session.
pub(super) fn against(library: &Library, id: &str, number: u32) -> Result<Vec<Against>, PastLessonError> {
    let loaded = library.load(id, None)?;
    let mut state = LessonState::new(id, loaded.session, None, BASELINE);
    state.set_remarks(loaded.remarks);
    for swing in loaded.swings {
        state.add_swing(swing);
    }
    state.against(number).ok_or(PastLessonError::NoSwing { number })
}

/// The curves of swing `number`.
pub(super) fn curves(library: &Library, id: &str, number: u32) -> Result<CurvesView, PastLessonError> {
    let (dir, session) = library.open_session(id)?;
    let curves = peakorder_analysis::load::curves(&dir, number)
        .map_err(|why| PastLessonError::NoCurves { number, why })?;
    Ok(CurvesView {
        start_s: curves.start_s,
        step_s: curves.step_s,
        segments: curves.segments.iter().map(|s| segment(s, session.player.handedness)).collect(),
    })
}
