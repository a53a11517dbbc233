//! The mobility check, `peakorder.mobility/1`: trunk turns to both sides, arms crossed,
//! written to `mobility.json` of the session folder.
//!
//! Times are seconds on the session clock; every angle is in degrees. Here a turn is counted
//! from the start position and is positive to the side it belongs to, so left and right can
//! be set side by side; `swing_side` says which of them is towards the target in this
//! player's swing. A number that could not be measured is an absent key, and `repeat` says
//! why and what to do again.

use crate::document::{self, DocumentError};
use crate::role::{Handedness, Role};
use serde::de::IgnoredAny;
use serde::{Deserialize, Deserializer, Serialize};
use std::fmt;

/// Value of [`Mobility::schema`].
pub const SCHEMA: &str = "peakorder.mobility/1";

/// Turns to each side that a check asks for.
pub const REPETITIONS: usize = 3;

/// Printed with every angle of a check.
pub const METHOD: &str = "axial angle of a Y-X-Z decomposition in ISB axes (axial rotation, lateral tilt, \
flexion), relative to the still positions before and after the turn; pelvis and thorax at the instant of the \
thorax's largest turn; thorax on pelvis = thorax turn minus pelvis turn";

/// Printed with every check.
pub const CAUTION: &str = "Not a diagnosis. It shows how far this player turned today, as far as was \
comfortable; what limits a body, and what it should do, is for licensed practitioners to say. Stop on pain.";

/// All mobility checks of one session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mobility {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// Session id.
    pub session: String,
    /// Player's handedness.
    pub handedness: Handedness,
    /// How the angles are to be read ([`METHOD`]).
    pub method: String,
    /// What it is not ([`CAUTION`]).
    pub caution: String,
    /// The checks in the order they were made.
    pub checks: Vec<MobilityCheck>,
}

/// How the player was asked to turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum Posture {
    /// On a seat, pelvis kept still.
    Seated,
    /// On both feet, pelvis free to turn along.
    Standing,
}

impl Posture {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Seated, Self::Standing];

    /// `seated` or `standing`, as in the detail of a `turn-start` mark.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Seated => "seated",
            Self::Standing => "standing",
        }
    }

    /// The posture a mark's detail names.
    pub fn from_detail(detail: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|p| p.key().eq_ignore_ascii_case(detail.trim()))
    }
}

impl fmt::Display for Posture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.key())
    }
}

/// A side of the player.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// To the player's left.
    Left,
    /// To the player's right.
    Right,
}

impl Side {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Left, Self::Right];

    /// Sign of a turn to this side by the right-hand rule about the cranial axis.
    pub const fn sign(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }

    /// `left` or `right`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// What this side is in the swing: the lead side of a right-handed player is the left.
    pub const fn swing_side(self, handedness: Handedness) -> SwingSide {
        match (self, handedness) {
            (Self::Left, Handedness::Right) | (Self::Right, Handedness::Left) => SwingSide::Lead,
            (Self::Right, Handedness::Right) | (Self::Left, Handedness::Left) => SwingSide::Trail,
        }
    }
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.key())
    }
}

/// What a side of the player is in the swing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum SwingSide {
    /// Towards the target.
    Lead,
    /// Away from the target.
    Trail,
}

impl SwingSide {
    /// `lead` or `trail`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Lead => "lead",
            Self::Trail => "trail",
        }
    }
}

/// One check: the turns between a `turn-start` and a `turn-end` mark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct MobilityCheck {
    /// 1-based number in the session.
    pub number: u32,
    /// Seated or standing; absent when the mark did not say.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub posture: Option<Posture>,
    /// Session clock at its `turn-start` mark, seconds.
    pub start_s: f64,
    /// Session clock at its `turn-end` mark (or where the recording ended), seconds.
    pub end_s: f64,
    /// Done as asked: its numbers may be compared with another day's.
    pub ok: bool,
    /// What was not as asked and has to be repeated; empty when `ok`.
    #[serde(deserialize_with = "of_any_version")]
    pub repeat: Vec<NotAsAsked>,
    /// Things to know that spoil nothing.
    #[serde(default, deserialize_with = "of_any_version")]
    pub notes: Vec<MobilityNote>,
    /// Turns to the player's left.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub left: Option<SideTurns>,
    /// Turns to the player's right.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub right: Option<SideTurns>,
    /// Left against right: thorax.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub thorax_balance: Option<Balance>,
    /// Left against right: thorax on pelvis.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub thorax_on_pelvis_balance: Option<Balance>,
    /// What was taken out as drift.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub drift: Option<Drift>,
}

/// What was not as asked. A key keeps its data; what it needs more is a new key.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum NotAsAsked {
    /// The start mark says neither seated nor standing.
    PostureNotSaid,
    /// There is no end mark.
    EndNotMarked,
    /// There is no such strap.
    NoStrap {
        /// Where it would be worn.
        role: Role,
    },
    /// The strap is not calibrated.
    NotCalibrated {
        /// Strap.
        role: Role,
    },
    /// The strap's calibration is too old.
    CalibrationStale {
        /// Strap.
        role: Role,
        /// Age of the calibration, hours.
        age_h: f64,
    },
    /// The strap's clock started anew.
    Restarted {
        /// Strap.
        role: Role,
    },
    /// Samples are missing.
    SamplesMissing {
        /// Strap.
        role: Role,
        /// The longest hole, seconds.
        longest_s: f64,
    },
    /// The sensor was at its range limit.
    RangeLimit {
        /// Strap.
        role: Role,
        /// So many samples.
        samples: u32,
    },
    /// The start position was not held before the first turn.
    StartNotHeld,
    /// The player was not still after the last turn.
    EndNotHeld,
    /// The still positions could not be read.
    StillNotRead,
    /// No turn was seen.
    NoTurn {
        /// Largest turn of the thorax, degrees.
        largest_deg: f64,
    },
    /// Too few turns to one side.
    TooFewTurns {
        /// Side.
        side: Side,
        /// So many were seen.
        seen: u32,
    },
    /// A segment did not come back to where it began.
    NotReturned {
        /// Segment.
        role: Role,
        /// So far from it, degrees.
        left_over_deg: f64,
    },
    /// A strap drifts.
    Drifting {
        /// Strap.
        role: Role,
        /// Degrees per second.
        drift_dps: f64,
    },
    /// The pelvis turned along although seated.
    PelvisTurned {
        /// So far, degrees.
        pelvis_deg: f64,
    },
    /// A reason of another version.
    #[default]
    #[serde(other)]
    OtherVersion,
}

/// Something to know of a check that spoils nothing.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "note", rename_all = "kebab-case")]
pub enum MobilityNote {
    /// There is no pelvis strap.
    NoPelvisStrap,
    /// A note of another version.
    #[default]
    #[serde(other)]
    OtherVersion,
}

/// What is not a key of this version (earlier ones stored sentences) is the default.
fn of_any_version<'de, D: Deserializer<'de>, T: Deserialize<'de> + Default>(
    from: D,
) -> Result<Vec<T>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Stored<T> {
        Known(T),
        Other(IgnoredAny),
    }
    let stored = Vec::<Stored<T>>::deserialize(from)?;
    let known = |stored| match stored {
        Stored::Known(known) => known,
        Stored::Other(IgnoredAny) => T::default(),
    };
    Ok(stored.into_iter().map(known).collect())
}

/// The turns to one side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct SideTurns {
    /// What this side is in the player's swing.
    pub swing_side: SwingSide,
    /// Every turn to this side, in order of time.
    pub repetitions: Vec<Repetition>,
    /// The thorax's turns.
    pub thorax: TurnStatistics,
    /// The pelvis's turns at the same instants.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pelvis: Option<TurnStatistics>,
    /// Thorax turn minus pelvis turn at the same instants.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub thorax_on_pelvis: Option<TurnStatistics>,
    /// Share of the thorax's turn that the pelvis contributed: mean of pelvis / thorax over
    /// the repetitions (0.25 = a quarter). Negative when the pelvis went the other way.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pelvis_share: Option<Share>,
}

/// One turn to one side.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Repetition {
    /// Session clock at the thorax's largest turn, seconds.
    pub t_s: f64,
    /// Thorax turn, degrees.
    pub thorax_deg: f64,
    /// Standard measuring uncertainty of `thorax_deg`, degrees.
    pub thorax_sd_deg: f64,
    /// Pelvis turn at that instant, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pelvis_deg: Option<f64>,
    /// Standard measuring uncertainty of `pelvis_deg`, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pelvis_sd_deg: Option<f64>,
}

/// What the repetitions to one side come to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct TurnStatistics {
    /// Largest turn (the best repetition), degrees.
    pub largest_deg: f64,
    /// Standard uncertainty of `largest_deg`: measuring uncertainty and how much the largest
    /// of so many repetitions varies, degrees.
    pub largest_sd_deg: f64,
    /// Mean turn, degrees.
    pub mean_deg: f64,
    /// Standard uncertainty of `mean_deg`: spread / √n and measuring uncertainty (which the
    /// repetitions share, so that more of them do not average it away), degrees. A single
    /// repetition has no spread; then it is the measuring uncertainty alone.
    pub mean_sd_deg: f64,
    /// SD between the repetitions (n − 1), degrees; absent for a single one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub spread_deg: Option<f64>,
    /// Measuring uncertainty of one repetition (root mean square), degrees.
    pub measuring_sd_deg: f64,
}

/// A share of a turn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Share {
    /// The share, 0.25 = a quarter.
    pub share: f64,
    /// Its standard uncertainty.
    pub sd: f64,
}

/// Left against right, from the means of the repetitions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Balance {
    /// Left minus right, degrees. A start position that is itself turned by 1° makes 2° of it.
    pub left_minus_right_deg: f64,
    /// Standard uncertainty of `left_minus_right_deg`, degrees.
    pub left_minus_right_sd_deg: f64,
    /// Left minus right over the mean of both (0.1 = a tenth).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub share: Option<Share>,
    /// Left plus right, degrees: the whole range, whatever the start position was.
    pub range_deg: f64,
    /// Standard uncertainty of `range_deg`, degrees.
    pub range_sd_deg: f64,
}

/// What was taken out as drift: between two still positions at the start position the angle
/// is corrected in proportion to time so that both read zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Drift {
    /// Still positions used, the first and the last included.
    pub still_positions: u32,
    /// Mean drift of the thorax strap, degrees per second (right-hand rule, + = left).
    pub thorax_dps: f64,
    /// Largest difference taken out between two successive still positions of the thorax, degrees.
    pub thorax_largest_deg: f64,
    /// Mean drift of the pelvis strap, degrees per second.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pelvis_dps: Option<f64>,
    /// Largest difference taken out between two successive still positions of the pelvis, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pelvis_largest_deg: Option<f64>,
}

impl MobilityCheck {
    /// The turns to one side.
    pub fn side(&self, side: Side) -> Option<&SideTurns> {
        match side {
            Side::Left => self.left.as_ref(),
            Side::Right => self.right.as_ref(),
        }
    }
}

impl Mobility {
    /// An empty list of checks for a session.
    pub fn new(session: &str, handedness: Handedness) -> Self {
        Self {
            schema: SCHEMA.into(),
            session: session.into(),
            handedness,
            method: METHOD.into(),
            caution: CAUTION.into(),
            checks: Vec::new(),
        }
    }

    /// Reads the file's text. The checksum is checked first; files of earlier versions have none.
    pub fn from_json(text: &str) -> Result<Self, DocumentError> {
        document::check(text.as_bytes())?;
        // The schema is looked at first so that a newer file is called newer, not malformed.
        let value: serde_json::Value = serde_json::from_str(text)?;
        let found = value.get("schema").and_then(serde_json::Value::as_str).unwrap_or("missing");
        DocumentError::unless_schema(found, SCHEMA)?;
        Ok(serde_json::from_value(value)?)
    }

    /// The file's text: pretty-printed JSON with its checksum and a final newline.
    pub fn to_json(&self) -> String {
        let mut s =
            serde_json::to_string_pretty(self).expect("a check has only string keys and finite numbers");
        s.push('\n');
        document::seal(&mut s);
        s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(repeat: &str, notes: &str) -> MobilityCheck {
        let text = format!(
            r#"{{"number":1,"start_s":1.0,"end_s":2.0,"ok":false,"repeat":{repeat},"notes":{notes}}}"#
        );
        serde_json::from_str(&text).expect("opens")
    }

    #[test]
    fn what_was_not_as_asked_is_a_key_with_its_data_beside_it() {
        let why = NotAsAsked::TooFewTurns { side: Side::Left, seen: 2 };
        let json = serde_json::to_string(&why).expect("writes");
        assert_eq!(json, r#"{"why":"too-few-turns","side":"left","seen":2}"#);
        let note = serde_json::to_string(&MobilityNote::NoPelvisStrap).expect("writes");
        assert_eq!(note, r#"{"note":"no-pelvis-strap"}"#);
        let check = check(&format!("[{json}]"), &format!("[{note}]"));
        assert_eq!((check.repeat, check.notes), (vec![why], vec![MobilityNote::NoPelvisStrap]));
    }

    #[test]
    fn what_another_version_wrote_still_opens() {
        let check = check(r#"["2 of 3 turns to the left seen",{"why":"new","data":1}]"#, r#"["no strap"]"#);
        assert_eq!(check.repeat, [NotAsAsked::OtherVersion; 2]);
        assert_eq!(check.notes, [MobilityNote::OtherVersion]);
    }
}
