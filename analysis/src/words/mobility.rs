//! What was not as asked in a mobility check, in words.

use peakorder_protocol::mobility::{MobilityCheck, MobilityNote, NotAsAsked, REPETITIONS};
use serde::Serialize;

/// All that is said of a mobility check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct MobilityWords {
    /// What was not as asked, and what to do about it.
    pub repeat: Vec<String>,
    /// Things to know that spoil nothing.
    pub notes: Vec<String>,
}

impl From<&MobilityCheck> for MobilityWords {
    fn from(check: &MobilityCheck) -> Self {
        Self {
            repeat: check.repeat.iter().map(not_as_asked).collect(),
            notes: check.notes.iter().map(note).collect(),
        }
    }
}

/// What was not as asked, and what to do about it.
pub fn not_as_asked(why: &NotAsAsked) -> String {
    let (what, to_do) = match why {
        NotAsAsked::PostureNotSaid => (
            "the start mark says neither seated nor standing, so it can be compared with no other day".into(),
            "say which with the mark",
        ),
        NotAsAsked::EndNotMarked => {
            ("the turns were not ended with a turn-end mark".into(), "mark the end after holding still")
        }
        NotAsAsked::NoStrap { role } => {
            return format!("there is no {role} strap; the turn is measured with a strap on the thorax");
        }
        NotAsAsked::NotCalibrated { role } => {
            (format!("the {role} strap is not calibrated"), "do the still position and the two bows")
        }
        NotAsAsked::CalibrationStale { role, age_h } => (
            format!("the calibration of the {role} strap is {age_h:.1} h old"),
            "repeat the still position and the two bows",
        ),
        NotAsAsked::Restarted { role } => {
            (format!("the {role} strap started anew meanwhile"), "check its battery")
        }
        NotAsAsked::SamplesMissing { role, longest_s } => (
            format!("{longest_s:.1} s of the {role} strap's samples are missing"),
            "come closer to the receiver",
        ),
        NotAsAsked::RangeLimit { role, samples } => (
            format!("the {role} strap was at the limit of its range ({samples} samples)"),
            "turn more slowly",
        ),
        NotAsAsked::StartNotHeld => (
            "the start position was not held".into(),
            "after the start mark face straight ahead and hold still for two seconds before the first turn",
        ),
        NotAsAsked::EndNotHeld => (
            "no stillness at the end".into(),
            "after the last turn come back to the start position and hold still for two seconds before the end mark",
        ),
        NotAsAsked::StillNotRead => (
            "the still positions could not be read".into(),
            "hold still before the first turn and after the last",
        ),
        NotAsAsked::NoTurn { largest_deg } => {
            return format!(
                "no turn was seen: the thorax turned {largest_deg:.0}° at most; arms crossed, turn left and right as far as is comfortable, three times each"
            );
        }
        NotAsAsked::TooFewTurns { side, seen } => {
            return format!(
                "{seen} of {REPETITIONS} turns to the {side} seen; repeat with {REPETITIONS} to each side, as far as is comfortable, back to the start position after each"
            );
        }
        NotAsAsked::NotReturned { role, left_over_deg } => (
            format!("the {role} ended {left_over_deg:.0}° from where it began, more than drift explains"),
            "come back to the start position before the end mark",
        ),
        NotAsAsked::Drifting { role, drift_dps } => (
            format!("the {role} strap is still drifting ({drift_dps:.1} deg/s)"),
            "keep it at rest for five seconds",
        ),
        NotAsAsked::PelvisTurned { pelvis_deg } => (
            format!("the pelvis turned along by {pelvis_deg:.0}° although seated"),
            "sit with both feet on the ground and the knees still",
        ),
        NotAsAsked::OtherVersion => return format!("it was not as asked; {OTHER_VERSION}"),
    };
    format!("{what}; {to_do}, then repeat the turns")
}

const OTHER_VERSION: &str = "recorded by another version: replay the session to read why";

/// Something to know that spoils nothing.
pub fn note(note: &MobilityNote) -> String {
    match note {
        MobilityNote::NoPelvisStrap => "no pelvis strap: what the pelvis contributed is not measured".into(),
        MobilityNote::OtherVersion => format!("there is a note; {OTHER_VERSION}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::assert_distinct;
    use peakorder_protocol::Role;
    use peakorder_protocol::mobility::Side;

    #[test]
    fn everything_that_was_not_as_asked_says_what_to_do() {
        let role = Role::Thorax;
        let all: Vec<String> = [
            NotAsAsked::PostureNotSaid,
            NotAsAsked::EndNotMarked,
            NotAsAsked::NoStrap { role },
            NotAsAsked::NotCalibrated { role },
            NotAsAsked::CalibrationStale { role, age_h: 2.51 },
            NotAsAsked::Restarted { role },
            NotAsAsked::SamplesMissing { role, longest_s: 1.447 },
            NotAsAsked::RangeLimit { role, samples: 7 },
            NotAsAsked::StartNotHeld,
            NotAsAsked::EndNotHeld,
            NotAsAsked::StillNotRead,
            NotAsAsked::NoTurn { largest_deg: 4.2 },
            NotAsAsked::TooFewTurns { side: Side::Right, seen: 2 },
            NotAsAsked::NotReturned { role, left_over_deg: 14.1 },
            NotAsAsked::Drifting { role, drift_dps: 1.62 },
            NotAsAsked::PelvisTurned { pelvis_deg: 21.2 },
            NotAsAsked::OtherVersion,
        ]
        .iter()
        .map(not_as_asked)
        .collect();
        assert_distinct(&all);
        for sentence in &all {
            let (_, to_do) = sentence.split_once("; ").expect("what to do");
            assert!(!to_do.is_empty());
        }
        assert!(all[4].contains("2.5 h old") && all[6].starts_with("1.4 s of"), "{all:?}");
        assert!(all[12].starts_with("2 of 3 turns to the right seen"), "{}", all[12]);
        assert!(all[15].contains("by 21°"), "{}", all[15]);
    }
}
