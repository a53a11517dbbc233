//! What putting straps on anew can do to the mean of a session.
//!
//! Within a wearing a strap sits where it sits: swing against swing is the strap's to judge. Against another day the
//! skin below it counts as well. Swing files state the bone's uncertainty, of which most belongs to the player
//! and is the same every day; so the skin's part counts no further than session means of one player are
//! known to differ between days.

use crate::measure::{Group, Measure, Unit};
use crate::summary::{MeasureSummary, squared};

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
