//! What is withheld from a swing and why, and what to do about it, in words.

use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{ClockDoubt, Note, Quality, Reason, Withheld, Withholding};
use serde::Serialize;

/// Something withheld, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct WithheldWords {
    /// The key of what is withheld, as in the swing file.
    pub key: String,
    /// What is withheld.
    pub what: String,
    /// Why, and what to do about it.
    pub why: String,
}

impl From<&Withheld> for WithheldWords {
    fn from(withheld: &Withheld) -> Self {
        Self { key: withheld.what.key(), what: what(&withheld.what), why: why(&withheld.why) }
    }
}

/// All that is said of a swing's quality.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct QualityWords {
    /// What is withheld.
    pub withheld: Vec<WithheldWords>,
    /// Things to know that withhold nothing.
    pub notes: Vec<String>,
}

impl From<&Quality> for QualityWords {
    fn from(quality: &Quality) -> Self {
        Self {
            withheld: quality.withheld.iter().map(WithheldWords::from).collect(),
            notes: quality.notes.iter().map(note).collect(),
        }
    }
}

/// `pelvis angles withheld: …`.
pub fn withheld(withheld: &Withheld) -> String {
    format!("{} withheld: {}", what(&withheld.what), why(&withheld.why))
}

/// What is withheld.
pub fn what(what: &Withholding) -> String {
    match what {
        Withholding::Segment(role) => role.label().into(),
        Withholding::Angles(role) => format!("{role} angles"),
        Withholding::Peak(role) => format!("{role} peak"),
        Withholding::Sequence => "sequence".into(),
        Withholding::BackswingShares => "turn and lift in the backswing".into(),
        Withholding::ArmAcross => "how far the arm was drawn across the chest".into(),
        Withholding::ChestPerArm => "chest per arm".into(),
        Withholding::ArmAgainstThorax => "arm raised from the chest and across it at the top".into(),
        Withholding::HipShift => "shift of the hips".into(),
        Withholding::HipShiftAtImpact => "shift of the hips at impact, for means".into(),
        Withholding::Other(key) => key.clone(),
    }
}

/// Why, and what to do about it.
pub fn why(why: &Reason) -> String {
    match why {
        Reason::TooFewSamples => {
            "the strap sent too few samples during the swing; bring the receiver closer or change its battery".into()
        }
        Reason::NotCalibrated => {
            "the strap is not calibrated: do still, bow and arm raise; its peak is of the resultant speed instead".into()
        }
        Reason::CalibrationStale => "the calibration has gone stale: repeat still, bow and arm raise".into(),
        Reason::Slipped { moved_deg } => format!(
            "the strap seems to have slipped: gravity at address moved by {moved_deg:.0} deg; tighten it and calibrate again"
        ),
        Reason::SamplesLostAtPeak => "samples were lost at its peak; bring the receiver closer".into(),
        Reason::ImpactUncertain { impact_sd_ms } => format!(
            "impact is known to ± {:.0} ms only, and the peak lies close to it; wear the arm strap and bring the receiver closer",
            Z95 * impact_sd_ms
        ),
        Reason::RangeLimitAtPeak => {
            "the sensor was at its limit at the peak; set a larger range in the strap's profile".into()
        }
        Reason::ClockSettling => {
            "a strap's clock is still settling; wait five seconds after it connects".into()
        }
        Reason::HeadingNotFound => heading("cannot be found from this swing"),
        Reason::HeadingUncertain { heading_sd_deg } => {
            heading(&format!("is known to ±{:.0} deg only (95 %)", Z95 * heading_sd_deg))
        }
        Reason::NoTurnAway { towards_deg } => format!(
            "at the top the chest was turned {towards_deg:.0} deg towards the target; make a backswing that turns away from it"
        ),
        Reason::ArmHangs { angle_deg } => format!(
            "at address the arm hangs only {angle_deg:.0} deg off the chest's long axis, and so points nowhere in particular; bring the hands further away from the body if that is wanted"
        ),
        Reason::ArmAngle { angle_deg } => format!(
            "the arm points {angle_deg:.0} deg from where it did at address, and only 45 to 160 deg can be compared with the chest; make a fuller swing if that is wanted"
        ),
        Reason::ShareUncertain { share_sd } => format!(
            "the share is known to ±{:.0} % only (95 %); make a fuller or faster swing",
            196.0 * share_sd
        ),
        Reason::AddressShort { still_s } => format!(
            "the hips stood still for {still_s:.1} s only before the swing, and half a second more is needed to tell \
             a shift; wait a second at address"
        ),
        Reason::AddressMoves { moves_cm_s } => format!(
            "the hips moved by {moves_cm_s:.1} cm/s at address, so there is no place that a shift counts from; wait a \
             second at address, still"
        ),
        Reason::SamplesLostOnTheWay => {
            "samples were lost on the way from address to there; bring the receiver closer".into()
        }
        Reason::RangeLimitOnTheWay => {
            "the sensor was at its limit on the way from address to there; set a larger range in the strap's profile"
                .into()
        }
        Reason::NotQuietAfter => {
            "the hips did not come to rest soon after the ball; hold the finish for a second".into()
        }
        Reason::GyroBiasUncertain { bias_sd_dps } => format!(
            "the gyroscope's rest is known to ±{:.2} deg/s only (95 %); stand still for three seconds before the swing",
            Z95 * bias_sd_dps
        ),
        Reason::OtherVersion => OTHER_VERSION.into(),
    }
}

const OTHER_VERSION: &str = "recorded by another version; replay the session to read it";

fn heading(how: &str) -> String {
    format!(
        "the arm's heading against the chest {how}; the shoulder has to be moved briskly, so make a fuller or faster swing"
    )
}

/// Something to know that withholds nothing.
pub fn note(note: &Note) -> String {
    match note {
        Note::AddressMoved { role, moved_deg } => format!(
            "{role}: gravity at address is {moved_deg:.0} deg from where it was after the calibration; if this is no other posture or club, the strap has shifted and its angles are off by as much: calibrate again"
        ),
        Note::ClockUncertain { role, clock_sd_ms, doubt } => {
            format!("{role}: time known to {clock_sd_ms:.1} ms only: {}", clock_doubt(*doubt))
        }
        Note::OtherVersion => format!("a note was {OTHER_VERSION}"),
    }
}

/// Why a strap's time is not known well.
pub const fn clock_doubt(doubt: ClockDoubt) -> &'static str {
    match doubt {
        ClockDoubt::NoTimes => "the strap sends neither a counter nor a time stamp",
        ClockDoubt::SlowBeat => "packet period and connection interval beat too slowly to be told apart",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::assert_distinct;
    use peakorder_protocol::Role;

    #[test]
    fn everything_withheld_has_its_own_words_and_no_key() {
        let all: Vec<String> = Withholding::all().iter().map(what).collect();
        assert_distinct(&all);
        for words in all {
            assert!(!words.contains(['_', '.']), "{words}");
        }
    }

    #[test]
    fn every_reason_says_what_to_do() {
        let reasons = [
            Reason::TooFewSamples,
            Reason::NotCalibrated,
            Reason::CalibrationStale,
            Reason::Slipped { moved_deg: 17.2 },
            Reason::SamplesLostAtPeak,
            Reason::RangeLimitAtPeak,
            Reason::ClockSettling,
            Reason::HeadingNotFound,
            Reason::HeadingUncertain { heading_sd_deg: 10.0 },
            Reason::NoTurnAway { towards_deg: 2.0 },
            Reason::ArmHangs { angle_deg: 9.0 },
            Reason::ArmAngle { angle_deg: 31.0 },
            Reason::ShareUncertain { share_sd: 0.06 },
            Reason::ImpactUncertain { impact_sd_ms: 31.0 },
            Reason::OtherVersion,
            Reason::AddressShort { still_s: 0.4 },
            Reason::AddressMoves { moves_cm_s: 1.7 },
            Reason::SamplesLostOnTheWay,
            Reason::RangeLimitOnTheWay,
            Reason::NotQuietAfter,
            Reason::GyroBiasUncertain { bias_sd_dps: 0.2 },
        ];
        let mut all: Vec<String> = reasons.iter().map(why).collect();
        let to_do = [
            "bring",
            "do still",
            "repeat",
            "tighten",
            "set",
            "wait",
            "make",
            "begin",
            "replay",
            "hold",
            "stand still",
        ];
        for sentence in &all {
            assert!(to_do.iter().any(|word| sentence.contains(word)), "{sentence}");
        }
        assert!(all[3].contains("17 deg") && all[8].contains("±20 deg"), "{all:?}");
        assert!(all[12].contains("±12 %"), "{}", all[12]);
        let clock = |doubt| Note::ClockUncertain { role: Role::Thorax, clock_sd_ms: 6.04, doubt };
        let notes = [
            Note::AddressMoved { role: Role::Pelvis, moved_deg: 9.0 },
            clock(ClockDoubt::NoTimes),
            clock(ClockDoubt::SlowBeat),
            Note::OtherVersion,
        ];
        let notes = notes.each_ref().map(note);
        assert!(notes[1].starts_with("thorax: time known to 6.0 ms only: "), "{}", notes[1]);
        all.extend(notes);
        assert_distinct(&all);
    }
}
