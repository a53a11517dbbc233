//! What putting straps on anew can do to the mean of a session.
//!
//! Within a wearing a strap sits where it sits: swing against swing is the strap's to judge. Against another day the
//! skin below it counts as well. Swing files state the bone's uncertainty, of which most belongs to the player
//! and is the same every day; so the skin's part counts no further than session means of one player are
//! known to differ between days.

use crate::measure::{Group, Measure, Unit};
use crate::stats::lessons::{Scatter, SessionMean, Shared, stated_factor};
use crate::stats::{LEVEL, Mixture, line, rms};
use crate::summary::{MeasureSummary, squared};
use crate::trend::ENOUGH;

/// What differences of means show beyond all that is computed of a shift, cm: change of the lever while
/// the skin slides, of posture between blocks (found on real swings of one golfer).
pub(crate) const SHIFT_FLOOR_CM: f64 = 0.3;

/// Measures whose stated standard deviations have one source, so that what a player's sessions say of one holds for the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Turns and tilts: seat, and skin that follows the bone.
    Angles,
    /// Speeds.
    Speeds,
    /// Instants and durations.
    Times,
    /// Where the hips go.
    Shift,
}

impl Kind {
    /// All.
    pub const ALL: [Self; 4] = [Self::Angles, Self::Speeds, Self::Times, Self::Shift];

    /// That of a measure.
    pub const fn of(measure: Measure) -> Self {
        match measure.group() {
            Group::Turn | Group::Separation | Group::Posture | Group::Backswing | Group::Arm => Self::Angles,
            Group::Speed => Self::Speeds,
            Group::Timing | Group::Tempo => Self::Times,
            Group::Shift => Self::Shift,
        }
    }

    /// In a sentence.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Angles => "angles",
            Self::Speeds => "speeds",
            Self::Times => "times",
            Self::Shift => "shift of the hips",
        }
    }
}

/// Standard deviation between days of a player's session means, in the measure's unit; `None` where no figure
/// is known. Own judgement, within typical errors of 1.4 to 5.3 deg published for trunk angles with
/// markers or sensors applied anew (Johnson et al. 2012, J Athl Train 47:52; Bagheri et al. 2018, Ann
/// Rehabil Med 42:239) and reliabilities of golfers' speeds between sessions that leave 6 to 11 %.
fn between_days(summary: &MeasureSummary) -> Option<f64> {
    let measure = summary.measure;
    match (measure.group(), measure.unit()) {
        (Group::Turn, _) => Some(2.5),
        (Group::Separation | Group::Posture, _) => Some(3.5),
        (Group::Speed, _) => Some(0.06 * summary.sample.mean.abs()),
        (Group::Arm | Group::Backswing, Unit::Degrees) => Some(5.0),
        // 2.5 deg of turn and 5 deg of the arm, over the 150 deg of both and the 100 deg of the arm in space.
        (Group::Backswing, Unit::Percent) => Some(3.0),
        (Group::Backswing, _) => Some(0.05),
        (Group::Timing | Group::Tempo | Group::Arm | Group::Shift, _) => None,
    }
}

/// Standard uncertainty that wearing the straps anew leaves in a session's mean, in the measure's unit: their
/// seat, or the skin where that is more. More swings do not average it away.
pub fn worn_anew_sd(summary: &MeasureSummary) -> Option<f64> {
    let seat = summary.measuring_sd.filter(|_| summary.measure.group().depends_on_seat());
    let skin = summary.skin_sd().map(|skin| between_days(summary).map_or(skin, |days| skin.min(days)));
    // The lever of the hips, and how it is found, are of one wearing.
    if let Some(shared) = &summary.shared {
        return Some((squared(shared) + SHIFT_FLOOR_CM.powi(2)).sqrt());
    }
    match (seat, skin) {
        (Some(seat), Some(skin)) => Some(seat.max(skin)),
        (one, other) => one.or(other),
    }
}

/// One measure in a player's sessions, as far as they have it: day and summary.
pub struct InSessions<'a> {
    /// Which.
    pub measure: Measure,
    /// Day after the first session, and the block's summary.
    pub sessions: Vec<(f64, &'a MeasureSummary)>,
}

/// What a session shares, for each measure: the stated figure, brought nearer to what the sessions show, together with the other
/// measures of its kind.
pub fn shared_in(measures: &[InSessions<'_>]) -> Vec<Shared> {
    let told: Vec<(Kind, Scatter, f64)> = measures
        .iter()
        .map(|m| {
            let (days, means): (Vec<f64>, Vec<SessionMean>) =
                m.sessions.iter().filter_map(|(day, s)| Some((*day, s.session_mean()?))).unzip();
            let sds: Vec<f64> = m.sessions.iter().filter_map(|(_, s)| worn_anew_sd(s)).collect();
            (Kind::of(m.measure), about_line(&days, &means), rms(&sds).unwrap_or(0.0))
        })
        .collect();
    let factors = Kind::ALL.map(|kind| {
        let alike: Vec<(Scatter, f64)> = told.iter().filter(|t| t.0 == kind).map(|t| (t.1, t.2)).collect();
        (kind, stated_factor(&alike))
    });
    told.into_iter()
        .map(|(kind, scatter, stated_sd)| {
            let factor = factors.iter().find(|f| f.0 == kind).and_then(|f| f.1);
            Shared { stated_sd, factor, scatter }
        })
        .collect()
}

/// How far session means scatter: about a line from [`ENOUGH`] on, for what a player changed steadily is no scatter.
fn about_line(days: &[f64], means: &[SessionMean]) -> Scatter {
    let scatter = Scatter::of(&[means]);
    let y: Vec<f64> = means.iter().map(|m| m.mean).collect();
    match line(days, &y, LEVEL).filter(|_| y.len() >= ENOUGH) {
        None => scatter,
        Some(line) => {
            let squares =
                days.iter().zip(&y).map(|(x, y)| (y - line.intercept - line.slope * x).powi(2)).sum();
            Scatter { squares, df: line.df, ..scatter }
        }
    }
}

/// Half-width of the 95 % interval of a session's mean, with what the session shares.
pub fn half_width(own: SessionMean, shared: &Shared) -> Option<f64> {
    let (variance, df) = shared.variance();
    let (low, high) = Mixture::student(own.mean, (variance + own.variance).sqrt(), df)?.interval(LEVEL)?;
    Some((high - low) / 2.0)
}
