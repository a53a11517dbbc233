//! A lesson that was being recorded when the program was broken off: by a kill, a crash, a power cut.

use crate::serve::hub::lesson_state::LessonState;
use crate::serve::library::{Library, RunningNote};
use crate::source::replay::Replay;
use jiff::Timestamp;
use peakorder_analysis::words;
use peakorder_motion::settings::Settings;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::session::{SessionDir, SourceKind};
use serde::Serialize;

/// A lesson that was left longer ago is over; own judgement.
const CONTINUE_WITHIN_S: f64 = 12.0 * 3600.0;
/// Session time that a lesson with virtual straps leaves out: nobody waits for an invented player.
pub(super) const VIRTUAL_GAP_NS: u64 = 2_000_000_000;

/// What is known of it.
#[derive(Debug, Clone)]
pub struct Interrupted {
    pub(super) note: RunningNote,
    player: String,
    started: Timestamp,
    /// Session time of its last record, nanoseconds.
    last_ns: u64,
    swings: usize,
    block: String,
    /// When the calibration that is oldest was made, on the session clock; `None` if a strap has none.
    calibrated_s: Option<f64>,
    calibration_valid_s: f64,
}

/// A lesson that was interrupted and can be continued.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct InterruptedView {
    /// Session id.
    session: String,
    /// Name of the player, as it was at the lesson.
    player: String,
    /// Start, RFC 3339 UTC.
    started_utc: String,
    /// Time of its last sample, RFC 3339 UTC.
    last_utc: String,
    /// Swings so far.
    swings: usize,
    /// Label of the block that was being swung; empty before the first.
    block: String,
    /// The calibration would still hold if the lesson were continued now.
    calibration_holds: bool,
    /// The same in words.
    calibration: String,
}

impl Interrupted {
    /// The lesson that the library was left with; `None` if there is none, or it is too long ago or cannot be read.
    pub(super) fn find(library: &Library) -> Option<Self> {
        let note = library.running_note()?;
        let found = Self::of(library, note.clone());
        if found.is_none() {
            tracing::warn!(
                session = note.session,
                "An interrupted lesson cannot be continued; it is kept as it is."
            );
        }
        found.filter(|lesson| lesson.left_s() <= CONTINUE_WITHIN_S)
    }

    fn of(library: &Library, note: RunningNote) -> Option<Self> {
        let (dir, session) = library.open_session(&note.session).ok()?;
        if (session.source == SourceKind::Virtual) != note.seed.is_some() {
            return None;
        }
        let started = session.started_utc.parse().ok()?;
        let settings: Settings = toml::Value::Table(session.settings.clone()).try_into().ok()?;
        let player = session.player.shown_name().to_owned();
        let mut state = LessonState::new(&note.session, session, None, &note.baseline_block);
        let last_ns = marks(&dir, &mut state)?;
        let swings = dir.swing_numbers().ok()?.len();
        Some(Self {
            note,
            player,
            started,
            last_ns,
            swings,
            block: state.block().to_owned(),
            calibrated_s: state.calibrated_since_s(),
            calibration_valid_s: settings.calibration_valid_s,
        })
    }

    /// Session time at which it goes on if it is continued now, nanoseconds: as much later as it is, but never back.
    pub(super) fn goes_on_ns(&self, last_ns: u64) -> u64 {
        const LEAST_NS: u64 = 1_000_000_000;
        if self.note.seed.is_some() {
            return last_ns + VIRTUAL_GAP_NS;
        }
        let since = Timestamp::now().as_nanosecond() - self.started.as_nanosecond();
        u64::try_from(since).unwrap_or(0).max(last_ns + LEAST_NS)
    }

    /// How long ago its last record was, s.
    fn left_s(&self) -> f64 {
        let since = Timestamp::now().as_nanosecond() - self.started.as_nanosecond();
        (since - i128::from(self.last_ns)) as f64 * 1e-9
    }

    /// As the page shows it now.
    pub fn view(&self) -> InterruptedView {
        let now_s = self.goes_on_ns(self.last_ns) as f64 * 1e-9;
        let age_s = self.calibrated_s.map(|at_s| now_s - at_s);
        let last = i64::try_from(self.last_ns)
            .ok()
            .and_then(|ns| self.started.checked_add(jiff::SignedDuration::from_nanos(ns)).ok());
        InterruptedView {
            session: self.note.session.clone(),
            player: self.player.clone(),
            started_utc: self.started.to_string(),
            last_utc: last.unwrap_or(self.started).to_string(),
            swings: self.swings,
            block: self.block.clone(),
            calibration_holds: age_s.is_some_and(|age_s| age_s <= self.calibration_valid_s),
            calibration: words::interrupted::calibration(age_s, self.calibration_valid_s),
        }
    }
}

/// Takes over the marks of the recording; returns the session time of its last record, nanoseconds.
fn marks(dir: &SessionDir, state: &mut LessonState) -> Option<u64> {
    let mut replay = Replay::open(&dir.log_path()).ok()?;
    let (mut last_ns, mut wearing) = (0, 0);
    for record in replay.by_ref() {
        last_ns = last_ns.max(record.t_ns());
        let Record::Mark(mark) = record else { continue };
        let t_s = mark.t_ns as f64 * 1e-9;
        match mark.kind {
            MarkKind::Block | MarkKind::Drill => {
                let drill = mark.kind == MarkKind::Drill;
                state.event(&LiveEvent::Block { t_s, label: mark.detail, drill });
            }
            MarkKind::ReWear => {
                wearing += 1;
                state.event(&LiveEvent::Wearing { t_s, wearing });
            }
            _ => {}
        }
    }
    replay.take_error().is_none().then_some(last_ns)
}
