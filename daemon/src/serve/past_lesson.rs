//! Past lessons, read from their folders.

use super::hub::lesson_state::LessonState;
use super::hub::views::LessonView;
use super::library::{Library, LibraryError, SessionRow};
use crate::source::replay::Replay;
use nalgebra::{Quaternion, UnitQuaternion};
use peakorder_analysis::against::Against;
use peakorder_analysis::chosen::Family;
use peakorder_analysis::kept::{Kept, kept};
use peakorder_analysis::library::Found;
use peakorder_analysis::load::{Loaded, NoCurves};
use peakorder_analysis::report::{self, Choice, ReportError};
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
use utoipa::ToSchema;

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
    if matches!(family, Family::All) {
        return Ok(None);
    }
    let rows = library.sessions(None, None)?;
    let Some(now) = rows.iter().find(|r| r.id == id) else { return Ok(None) };
    let same = |r: &&SessionRow| match (&r.player_id, &now.player_id) {
        (Some(a), Some(b)) => a == b,
        (None, None) => !now.player.is_empty() && r.player == now.player,
        _ => false,
    };
    // Newest first.
    let earlier: Vec<&SessionRow> = rows
        .iter()
        .filter(|r| r.id != id && (&r.started_utc, &r.id) <= (&now.started_utc, &now.id))
        .filter(same)
        .take(LESSONS - 1)
        .collect();
    if earlier.is_empty() {
        return Ok(None);
    }
    let mut sessions: Vec<Loaded> =
        earlier.into_iter().rev().filter_map(|r| library.load(&r.id, None).ok()).collect();
    sessions.push(loaded.clone());
    let found = Found { player: now.player.clone(), sessions, left_out: Vec::new() };
    Ok(kept(&found, &family).ok())
}

/// So many lessons are looked through over months, the latest.
const MONTHS: usize = 100;

/// All sessions of a player, earliest first, by the player's id or, of sessions without one, the name. What cannot be read is
/// named.
pub(super) fn all_of(library: &Library, player: &str) -> Result<Found, LibraryError> {
    let rows = library.sessions(None, None)?;
    // Newest first.
    let of: Vec<&SessionRow> =
        rows.iter().filter(|r| r.player_id.as_deref().unwrap_or(&r.player) == player).take(MONTHS).collect();
    let name = of.first().ok_or(LibraryError::NoSession)?.player.clone();
    let mut found = Found { player: name, sessions: Vec::new(), left_out: Vec::new() };
    for row in of.into_iter().rev() {
        match library.load(&row.id, None) {
            Ok(loaded) => found.sessions.push(loaded),
            Err(_) => found.left_out.push(format!("{}: cannot be read; opening it says why", row.id)),
        }
    }
    Ok(found)
}

/// What the latest session was about that was about something.
pub(super) fn chosen_last(found: &Found) -> Family {
    let families = found.sessions.iter().rev().map(|s| Family::of_remarks(&s.remarks));
    families.into_iter().find(|f| !matches!(f, Family::All)).unwrap_or(Family::All)
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
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CurvesView {
    /// Session clock of the first point, seconds.
    start_s: f64,
    /// Step, seconds.
    step_s: f64,
    /// One entry for each strap.
    segments: Vec<SegmentView>,
}

/// Curves of one segment; angles are empty when its strap was not calibrated.
#[derive(Debug, Serialize, ToSchema)]
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
