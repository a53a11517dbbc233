//! What of a swing can be trusted, and why the rest is withheld.

use crate::role::Role;
use serde::de::IgnoredAny;
use serde::{Deserialize, Deserializer, Serialize};

/// What can be trusted and why not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Quality {
    /// Sequence timing is usable.
    pub usable: bool,
    /// Withheld numbers, each with the reason.
    pub withheld: Vec<Withheld>,
    /// Things to know that withhold nothing.
    #[serde(default, deserialize_with = "notes_of_any_version")]
    pub notes: Vec<Note>,
    /// Samples lost between takeaway and finish, all straps.
    pub lost_samples: u32,
    /// Samples at the sensor's range limit between takeaway and finish, all straps.
    pub clipped_samples: u32,
    /// Standard uncertainty of the straps' alignment to one another, milliseconds.
    pub clock_sd_ms: f64,
}

/// One withheld number or group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Withheld {
    /// What, e.g. `pelvis.angles`.
    #[cfg_attr(feature = "openapi", schema(value_type = String))]
    pub what: Withholding,
    /// Why: a key with its data beside it.
    #[serde(flatten)]
    pub why: Reason,
}

/// A number or group of numbers that can be withheld. In files a stable key.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(into = "String", from = "String")]
pub enum Withholding {
    /// Everything of a segment.
    Segment(Role),
    /// Turn, tilts and what is made of them.
    Angles(Role),
    /// Peak of the speed and what is made of it.
    Peak(Role),
    /// All orders and gaps.
    Sequence,
    /// What of the backswing was turn and what the arm did in the shoulder.
    BackswingShares,
    /// By how much the arm went across the chest since address.
    ArmAcross,
    /// Rotation of the chest per angle of the arm.
    ChestPerArm,
    /// How the lead arm lies against the thorax: raised and across the chest.
    ArmAgainstThorax,
    /// Shift of the hips.
    HipShift,
    /// Shift of the hips at impact, for means over blocks.
    HipShiftAtImpact,
    /// A key of another version.
    Other(String),
}

impl Withholding {
    /// The key in files.
    pub fn key(&self) -> String {
        match self {
            Self::Segment(role) => role.key().into(),
            Self::Angles(role) => format!("{}.angles", role.key()),
            Self::Peak(role) => format!("{}.peak", role.key()),
            Self::Sequence => "sequence".into(),
            Self::BackswingShares => {
                "backswing.turn_share, backswing.hips_share, backswing.arm_moved_deg, backswing.arm_raised_deg".into()
            }
            Self::ArmAcross => "backswing.arm_across_deg".into(),
            Self::ChestPerArm => "backswing.chest_per_arm".into(),
            Self::ArmAgainstThorax => "arm.elevation_top_deg, arm.across_chest_top_deg".into(),
            Self::HipShift => "hip_shift".into(),
            Self::HipShiftAtImpact => "hip_shift.impact_for_block_means".into(),
            Self::Other(key) => key.clone(),
        }
    }

    /// Everything that this version withholds.
    pub fn all() -> Vec<Self> {
        let of = |make: fn(Role) -> Self| Role::ALL.map(make);
        let mut all = vec![
            Self::Sequence,
            Self::BackswingShares,
            Self::ArmAcross,
            Self::ChestPerArm,
            Self::ArmAgainstThorax,
            Self::HipShift,
            Self::HipShiftAtImpact,
        ];
        all.extend(of(Self::Segment).into_iter().chain(of(Self::Angles)).chain(of(Self::Peak)));
        all
    }
}

impl From<Withholding> for String {
    fn from(what: Withholding) -> Self {
        what.key()
    }
}

impl From<String> for Withholding {
    fn from(key: String) -> Self {
        Self::all().into_iter().find(|what| what.key() == key).unwrap_or(Self::Other(key))
    }
}

/// Why something is withheld. A key keeps its data; what it needs more is a new key.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum Reason {
    /// The strap sent too few samples during the swing.
    TooFewSamples,
    /// The strap was not calibrated; its peak is of the resultant speed.
    NotCalibrated,
    /// The calibration is too old.
    CalibrationStale,
    /// The strap has slipped on the body.
    Slipped {
        /// Gravity at address is so far from where it was, degrees.
        moved_deg: f64,
    },
    /// Samples were lost at the peak.
    SamplesLostAtPeak,
    /// The sensor was at its range limit at the peak.
    RangeLimitAtPeak,
    /// Impact is not known well enough to tell a peak before it from a speed that still rises.
    ImpactUncertain {
        /// Standard uncertainty of impact, milliseconds.
        impact_sd_ms: f64,
    },
    /// A strap's clock was not settled.
    ClockSettling,
    /// The arm's heading against the chest cannot be found from this swing.
    HeadingNotFound,
    /// The arm's heading against the chest is not known well enough.
    HeadingUncertain {
        /// Its standard uncertainty, degrees.
        heading_sd_deg: f64,
    },
    /// The chest was turned towards the target at the top.
    NoTurnAway {
        /// So far towards the target since address, degrees.
        towards_deg: f64,
    },
    /// The arm hangs too nearly along the chest at address to say in which direction.
    ArmHangs {
        /// Its angle from hanging along the chest, degrees.
        angle_deg: f64,
    },
    /// The arm's two directions are too near to each other, or too nearly opposite, to take a
    /// rotation per angle of them.
    ArmAngle {
        /// The angle between them, degrees.
        angle_deg: f64,
    },
    /// The share is not known well enough.
    ShareUncertain {
        /// Its standard uncertainty.
        share_sd: f64,
    },
    /// The pelvis did not stand still long enough before the swing.
    AddressShort {
        /// It stood for so long, seconds.
        still_s: f64,
    },
    /// The hips moved along the ground at address.
    AddressMoves {
        /// So fast (RMS), centimetres per second.
        moves_cm_s: f64,
    },
    /// Samples were lost between address and the instant.
    SamplesLostOnTheWay,
    /// The sensor was at its range limit between address and the instant.
    RangeLimitOnTheWay,
    /// The pelvis did not come to rest within what was recorded after impact.
    NotQuietAfter,
    /// The gyroscope's bias is not known well enough.
    GyroBiasUncertain {
        /// Its standard uncertainty, degrees per second.
        bias_sd_dps: f64,
    },
    /// A reason of another version.
    #[serde(other)]
    OtherVersion,
}

/// Something to know that withholds nothing. A key keeps its data; what it needs more is a new key.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "note", rename_all = "kebab-case")]
pub enum Note {
    /// Gravity at address has moved since the calibration, less than a slipped strap's.
    AddressMoved {
        /// Strap.
        role: Role,
        /// So far, degrees.
        moved_deg: f64,
    },
    /// A strap's time is not known well.
    ClockUncertain {
        /// Strap.
        role: Role,
        /// Standard uncertainty, milliseconds.
        clock_sd_ms: f64,
        /// Why.
        doubt: ClockDoubt,
    },
    /// A note of another version.
    OtherVersion,
}

/// Why a strap's time is known to worse than 5 ms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "kebab-case")]
pub enum ClockDoubt {
    /// The strap sends neither a counter nor a time stamp.
    NoTimes,
    /// Packet period and connection interval beat too slowly to be told apart.
    SlowBeat,
}

/// Notes of another version may be sentences, or keys that this one does not know.
fn notes_of_any_version<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Note>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Stored {
        Known(Note),
        Other(IgnoredAny),
    }
    let stored = Vec::<Stored>::deserialize(from)?;
    Ok(stored
        .into_iter()
        .map(|stored| match stored {
            Stored::Known(note) => note,
            Stored::Other(IgnoredAny) => Note::OtherVersion,
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quality(withheld: &str, notes: &str) -> Quality {
        let text = format!(
            r#"{{"usable":true,"withheld":{withheld},"notes":{notes},"lost_samples":0,"clipped_samples":0,"clock_sd_ms":0.5}}"#
        );
        serde_json::from_str(&text).expect("opens")
    }

    #[test]
    fn a_reason_is_a_key_with_its_data_beside_it() {
        let withheld =
            Withheld { what: Withholding::Angles(Role::LeadArm), why: Reason::Slipped { moved_deg: 17.25 } };
        let json = serde_json::to_string(&withheld).expect("writes");
        assert_eq!(json, r#"{"what":"lead_arm.angles","why":"slipped","moved_deg":17.25}"#);
        let note = Note::ClockUncertain { role: Role::Pelvis, clock_sd_ms: 3.5, doubt: ClockDoubt::SlowBeat };
        let noted = serde_json::to_string(&note).expect("writes");
        assert_eq!(
            noted,
            r#"{"note":"clock-uncertain","role":"pelvis","clock_sd_ms":3.5,"doubt":"slow-beat"}"#
        );
        let quality = quality(&format!("[{json}]"), &format!("[{noted}]"));
        assert_eq!((quality.withheld, quality.notes), (vec![withheld], vec![note]));
    }

    #[test]
    fn every_key_comes_back() {
        for what in Withholding::all() {
            assert_eq!(Withholding::from(what.key()), what);
            assert!(!matches!(what, Withholding::Other(_)));
        }
    }

    #[test]
    fn what_another_version_wrote_still_opens() {
        let quality = quality(
            r#"[{"what":"sequence","why":"a strap's clock is still settling"},{"what":"pelvis.shift","why":"new","data":1}]"#,
            r#"["pelvis: time known to 6.1 ms only",{"note":"new","data":[1]}]"#,
        );
        assert_eq!(
            quality.withheld,
            [
                Withheld { what: Withholding::Sequence, why: Reason::OtherVersion },
                Withheld { what: Withholding::Other("pelvis.shift".into()), why: Reason::OtherVersion },
            ]
        );
        assert_eq!(quality.notes, [Note::OtherVersion; 2]);
    }
}
