//! Past lessons, read from their folders.

use super::api::error::ApiError;
use super::hub::lesson_state::LessonState;
use super::hub::views::LessonView;
use super::library::Library;
use crate::source::replay::Replay;
use nalgebra::{Quaternion, UnitQuaternion};
use peakorder_analysis::report::{self, Choice, ReportError};
use peakorder_motion::angles::Cardan;
use peakorder_protocol::curves::SegmentCurves;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Handedness, Role};
use serde::Serialize;
use utoipa::ToSchema;

/// Label that is taken for the baseline's where nobody said otherwise.
pub(super) const BASELINE: &str = "baseline";

/// A past lesson as the page shows it.
pub(super) fn lesson(library: &Library, id: &str) -> Result<LessonView, ApiError> {
    let loaded = library.load(id, None)?;
    let players = library.players()?;
    let player_id = Library::recorded_player(&players, &loaded.session.player).map(|p| p.id.clone());
    let mut state = LessonState::new(id, loaded.session.clone(), player_id, BASELINE);
    for event in blocks(&loaded.dir) {
        state.event(&event);
    }
    for check in loaded.mobility {
        state.event(&LiveEvent::Mobility { check: Box::new(check) });
    }
    let end_s = last_finish_s(&loaded.swings);
    state.set_remarks(loaded.remarks);
    state.add_swings(loaded.swings);
    Ok(state.view(end_s, Vec::new()))
}

fn last_finish_s(swings: &[Swing]) -> f64 {
    swings.iter().map(|s| s.events.finish.t_s).fold(0.0, f64::max)
}

/// Session time of the last swing's finish, for remarks that are made afterwards.
pub(super) fn end_s(dir: &SessionDir) -> Result<f64, ApiError> {
    let last = dir.swing_numbers().map_err(|e| ApiError::ours(e.to_string()))?.pop();
    // A damaged swing file must not keep a note from being written.
    Ok(last.and_then(|n| dir.read_swing(n).ok()).map_or(0.0, |s| last_finish_s(&[s])))
}

/// The lesson as a page to take home.
pub(super) fn report(library: &Library, id: &str, choice: &Choice) -> Result<String, ApiError> {
    let loaded = library.load(id, None)?;
    report::html(&loaded, choice).map_err(|e| match e {
        ReportError::NoBlock { .. } => ApiError::unknown(e.to_string()),
        ReportError::SameBlock(_) => ApiError::bad(e.to_string()),
    })
}

/// When blocks began stands in the recording only; without one (or with a damaged one)
/// there are as many as can be read.
fn blocks(dir: &SessionDir) -> Vec<LiveEvent> {
    let Ok(replay) = Replay::open(&dir.log_path()) else { return Vec::new() };
    replay
        .filter_map(|record| match record {
            Record::Mark(mark) if mark.kind == MarkKind::Block => {
                Some(LiveEvent::Block { t_s: mark.t_ns as f64 * 1e-9, label: mark.detail })
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
    /// One entry a strap.
    segments: Vec<SegmentView>,
}

/// Curves of one segment; angles are empty when its strap was not calibrated.
#[derive(Debug, Serialize, ToSchema)]
struct SegmentView {
    /// Where it is worn.
    role: Role,
    /// The speed that the peak is of, degrees per second.
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

/// Four digits after the point: below a hundredth of a degree in every curve.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

fn all_rounded(values: &[f32]) -> Vec<f64> {
    values.iter().map(|v| rounded(f64::from(*v))).collect()
}

fn segment(curves: &SegmentCurves, handedness: Handedness) -> SegmentView {
    let mut view = SegmentView {
        role: curves.role,
        speed_dps: all_rounded(&curves.speed_dps),
        turn_deg: all_rounded(&curves.turn_deg),
        lateral_deg: Vec::new(),
        flexion_deg: Vec::new(),
        orientation_wxyz: curves.orientation_wxyz.iter().map(|q| q.map(|v| rounded(f64::from(v)))).collect(),
    };
    // Without alignment the orientation is the sensor's, and its tilts mean nothing.
    if !curves.turn_deg.is_empty() {
        for q in &curves.orientation_wxyz {
            let [w, x, y, z] = q.map(f64::from);
            let tilts =
                Cardan::from_quaternion(&UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z)))
                    .for_people(curves.role, handedness);
            view.lateral_deg.push(rounded(tilts.lateral_deg));
            view.flexion_deg.push(rounded(tilts.flexion_deg));
        }
    }
    view
}

/// The curves of swing `number`.
pub(super) fn curves(library: &Library, id: &str, number: u32) -> Result<CurvesView, ApiError> {
    let (dir, session) = library.open_session(id)?;
    let loaded = peakorder_analysis::load::curves(&dir, number);
    let curves = loaded.map_err(|why| ApiError::unknown(format!("swing {number} has no curves: {why}")))?;
    Ok(CurvesView {
        start_s: curves.start_s,
        step_s: curves.step_s,
        segments: curves.segments.iter().map(|s| segment(s, session.player.handedness)).collect(),
    })
}
