//! One repetition of a drill: a turn of the trunk back and through, or back and home, without a ball.
//!
//! It is a numbered file of the session folder like a swing ([`crate::swing`]), of the same schema, with
//! `"kind": "repetition"`. It has turns and tilts where the thorax was furthest back and furthest through, and
//! neither impact nor peaks nor an order. Signs, units and the decomposition are those of the swing file.

use crate::document::{self, DocumentError};
use crate::role::{Handedness, Role};
use crate::swing::{Instant, NotFinite, Quality, SCHEMA, Swing, is_first, without_null};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Value of `kind` in the file.
pub const KIND: &str = "repetition";

/// One repetition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Repetition {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// Session id.
    pub session: String,
    /// 1-based number in the session, in one row with its swings.
    pub number: u32,
    /// Label of the drill block.
    pub block: String,
    /// Which wearing of the straps in this session.
    #[serde(skip_serializing_if = "is_first", default)]
    pub wearing: u32,
    /// Player's handedness.
    pub handedness: Handedness,
    /// Always `repetition`.
    pub kind: RepetitionKind,
    /// When it happened.
    pub events: RepetitionEvents,
    /// Angles of pelvis and thorax.
    pub segments: BTreeMap<Role, RepetitionSegment>,
    /// Thorax turn minus pelvis turn where the thorax was furthest back.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub separation: Option<RepetitionSeparation>,
    /// What of the thorax's turn back the pelvis turned.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pelvis_share: Option<PelvisShare>,
    /// Durations.
    pub tempo: RepetitionTempo,
    /// How angles are to be read ([`crate::swing::ANGLE_ORDER`]).
    pub angle_order: String,
    /// What the bones' uncertainties rest on ([`crate::swing::BONE_PRIOR`]).
    pub bone_prior: String,
    /// What can be trusted.
    pub quality: Quality,
}

/// What tells a repetition from a swing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum RepetitionKind {
    /// A repetition of a drill.
    Repetition,
}

/// The instants of a repetition.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct RepetitionEvents {
    /// The thorax (without its strap the pelvis) begins to turn away: 5 % of its fastest speed.
    pub takeaway: Instant,
    /// It is furthest back.
    pub top: Instant,
    /// It is furthest through; absent where it came back to where it began and no further.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub through: Option<Instant>,
    /// The turn forward is over: at rest, or turning back again.
    pub finish: Instant,
}

/// An angle at the instants of a repetition, degrees, each with the standard uncertainties of what the strap did and
/// of the bone below it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct RepetitionAngle {
    /// At address. Always 0 for turn.
    pub address: f64,
    /// Where the thorax is furthest back.
    pub top: f64,
    /// Standard uncertainty there.
    pub sd: f64,
    /// The same of the bone.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd: Option<f64>,
    /// Where the thorax is furthest through.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub through: Option<f64>,
    /// Standard uncertainty there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub through_sd: Option<f64>,
    /// The same of the bone.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub through_bone_sd: Option<f64>,
}

/// Angles of one segment. Absent where its strap is not calibrated.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct RepetitionSegment {
    /// Axial rotation relative to address, positive towards the target.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub turn_deg: Option<RepetitionAngle>,
    /// Lateral tilt, positive = trail side lower.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lateral_tilt_deg: Option<RepetitionAngle>,
    /// Flexion, positive = forward.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub flexion_deg: Option<RepetitionAngle>,
}

/// Thorax turn minus pelvis turn, degrees.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct RepetitionSeparation {
    /// Where the thorax is furthest back; negative = thorax turned further away than the pelvis.
    pub top_deg: f64,
    /// Standard uncertainty, degrees.
    pub sd_deg: f64,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd_deg: Option<f64>,
    /// [`crate::swing::SEPARATION_METHOD`].
    pub method: String,
}

/// Pelvis turn over thorax turn where the thorax is furthest back.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct PelvisShare {
    /// The share; 1 = all of it.
    pub top: f64,
    /// Standard uncertainty.
    pub sd: f64,
    /// The same of the bones.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd: Option<f64>,
}

/// Durations of a repetition, seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct RepetitionTempo {
    /// Takeaway to where the turn back ends (within 2 % of the furthest).
    pub back_s: f64,
    /// Standard uncertainty, seconds.
    pub back_sd_s: f64,
    /// How long it stayed there: within 2 % of the furthest, and at least 1°.
    pub hold_s: f64,
    /// Standard deviation of the thorax's turn while it was held, degrees: how steadily. Absent for less than 0.3 s.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hold_sway_deg: Option<f64>,
    /// From there to the furthest through, or home.
    pub forward_s: f64,
    /// Standard uncertainty, seconds.
    pub forward_sd_s: f64,
}

impl Repetition {
    /// Reads one repetition's file; the checksum is checked first.
    pub fn from_json(text: &str) -> Result<Self, DocumentError> {
        document::check(text.as_bytes())?;
        let repetition: Self = serde_json::from_str(text)?;
        DocumentError::unless_schema(&repetition.schema, SCHEMA)?;
        Ok(repetition)
    }

    /// The text of the file: pretty-printed JSON with its checksum and a final newline.
    pub fn to_json(&self) -> Result<String, NotFinite> {
        without_null(serde_json::to_string_pretty(self).expect("a repetition has only string keys"))
    }
}

/// What a numbered file of a session holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Numbered {
    /// A swing.
    Swing(Box<Swing>),
    /// A repetition of a drill.
    Repetition(Box<Repetition>),
}

impl Numbered {
    /// Reads a numbered file, whichever it is.
    pub fn from_json(text: &str) -> Result<Self, DocumentError> {
        if is_repetition(text) {
            Repetition::from_json(text).map(|r| Self::Repetition(Box::new(r)))
        } else {
            Swing::from_json(text).map(|s| Self::Swing(Box::new(s)))
        }
    }

    /// Its number in the session.
    pub fn number(&self) -> u32 {
        match self {
            Self::Swing(swing) => swing.number,
            Self::Repetition(repetition) => repetition.number,
        }
    }

    /// Id of its session.
    pub fn session(&self) -> &str {
        match self {
            Self::Swing(swing) => &swing.session,
            Self::Repetition(repetition) => &repetition.session,
        }
    }

    /// Label of its block.
    pub fn block(&self) -> &str {
        match self {
            Self::Swing(swing) => &swing.block,
            Self::Repetition(repetition) => &repetition.block,
        }
    }

    /// Session time at which it is over, s.
    pub fn finish_s(&self) -> f64 {
        match self {
            Self::Swing(swing) => swing.events.finish.t_s,
            Self::Repetition(repetition) => repetition.events.finish.t_s,
        }
    }
}

/// Whether the text of a numbered file says of itself that it is a repetition.
fn is_repetition(text: &str) -> bool {
    #[derive(Deserialize)]
    struct Kind {
        #[serde(default)]
        kind: String,
    }
    serde_json::from_str::<Kind>(text).is_ok_and(|k| k.kind == KIND)
}
