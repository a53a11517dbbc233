//! The per-swing file, `peakorder.swing/1`: one JSON object a swing, written to
//! `swings/NNNN.json` of the session folder.
//!
//! Times are seconds on the session clock; every other unit is in the field's name.
//! Turns are positive towards the target for right- and left-handed players alike and
//! are relative to the same segment's angle at this swing's own address. Angles are
//! decomposed axial → lateral → flexion (Y–X–Z in ISB axes; order after Baker R 2001,
//! Gait Posture 13:1–6). An absent segment is an absent key; a number that could not be
//! measured is an absent key too, and `quality.withheld` says why.

mod arm;
mod backswing;
mod hip_shift;
mod quality;

pub use arm::{ARM_METHOD, ArmUse};
pub use backswing::{BACKSWING_METHOD, Backswing};
pub use hip_shift::{HIP_SHIFT_METHOD, HipShift, HipShiftAt, ShiftTowardsTarget};
pub use quality::{ClockDoubt, Note, Quality, Reason, Withheld, Withholding};

use crate::document::{self, DocumentError};
use crate::role::{Handedness, Role};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};
use std::collections::BTreeMap;

/// Value of [`Swing::schema`].
pub const SCHEMA: &str = "peakorder.swing/1";

/// Printed with every angle.
pub const ANGLE_ORDER: &str = "Y-X-Z in ISB axes: axial rotation, lateral tilt, flexion; \
turn + = towards the target, lateral tilt + = trail side lower, flexion + = forward";

/// Printed with every uncertainty of the bone.
pub const BONE_PRIOR: &str = "a strap shows its own motion, not that of the bone below the skin; values are the \
strap's, and what is stated of the bone holds it without correcting them: the strap's uncertainty joined with mean \
and spread of what skin does, by the project's own judgement within published soft-tissue artefacts. The strap \
follows pelvis turn by 0.97 ± 0.05, thorax turn 0.95 ± 0.07, pelvis tilts 0.88 ± 0.08, thorax tilts 0.95 ± 0.07, and \
1 to 2° besides; upper arm 3°; speeds 5 %, times 5 ms";

/// Printed with every separation (X-factor).
pub const SEPARATION_METHOD: &str =
    "thorax turn minus pelvis turn, each the axial angle of a Y-X-Z decomposition relative to address";

/// One swing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Swing {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// Session id.
    pub session: String,
    /// 1-based number in the session.
    pub number: u32,
    /// Label of the block the swing belongs to; `""` before the first block.
    pub block: String,
    /// Which wearing of the straps in this session: 0 until they were taken off and put on again. How straps sit, and
    /// what comes of it, swings of one wearing share.
    #[serde(skip_serializing_if = "is_first", default)]
    pub wearing: u32,
    /// Player's handedness.
    pub handedness: Handedness,
    /// Strike or rehearsal.
    pub kind: SwingKind,
    /// When it happened.
    pub events: Events,
    /// Per-segment numbers, keyed `pelvis`, `thorax`, `lead_arm`.
    pub segments: BTreeMap<Role, Segment>,
    /// Kinematic sequence.
    pub sequence: Sequence,
    /// Thorax against pelvis.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub separation: Option<Separation>,
    /// Lead arm against thorax.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm: Option<ArmUse>,
    /// How far the hips moved towards or away from the target (pelvis strap only).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hip_shift: Option<HipShift>,
    /// What the backswing was made of: turn and lift.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub backswing: Option<Backswing>,
    /// Backswing and downswing durations.
    pub tempo: Tempo,
    /// How angles are to be read ([`ANGLE_ORDER`]).
    pub angle_order: String,
    /// What the bones' uncertainties rest on ([`BONE_PRIOR`]).
    #[serde(skip_serializing_if = "String::is_empty", default)]
    pub bone_prior: String,
    /// What can be trusted.
    pub quality: Quality,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands it on so")]
pub(crate) const fn is_first(wearing: &u32) -> bool {
    *wearing == 0
}

/// Was a ball (or the ground) struck?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum SwingKind {
    /// A strike was felt.
    Strike,
    /// Swing motion without a strike: left out of block statistics.
    Rehearsal,
    /// The straps that were worn, or what came of their samples, could not show whether there was a
    /// strike. Counts where the coach says whether it hit a ball, of this swing or of its block.
    Unsure,
}

impl SwingKind {
    /// `strike`, `rehearsal` or `unsure`, as in the file.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Strike => "strike",
            Self::Rehearsal => "rehearsal",
            Self::Unsure => "unsure",
        }
    }
}

/// An instant with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Instant {
    /// Session clock, seconds.
    pub t_s: f64,
    /// Standard uncertainty, milliseconds.
    pub sd_ms: f64,
    /// The same of the bone; absent where no strap's motion tells it (impact, finish).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd_ms: Option<f64>,
}

/// Impact with what it was recognised by.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Impact {
    /// Session clock, seconds. For a rehearsal: the estimated pass through the address position.
    pub t_s: f64,
    /// Standard uncertainty, milliseconds.
    pub sd_ms: f64,
    /// What it was recognised by.
    pub evidence: Evidence,
}

/// What an impact was recognised by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Evidence {
    /// Strike shock in the lead-arm strap's accelerometer.
    ArmShock,
    /// Strike shock in a trunk strap's accelerometer.
    TrunkShock,
    /// Estimated from the motion alone; a strike can be neither shown nor ruled out.
    Estimated,
    /// The straps would have shown a strike and did not: a rehearsal.
    None,
}

/// The instants of a swing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Events {
    /// The thorax (without its strap the pelvis) begins to turn away: 5 % of its fastest speed.
    pub takeaway: Instant,
    /// Reversal of the lead arm; of the thorax without an arm strap.
    pub top: Instant,
    /// Club meets ball.
    pub impact: Impact,
    /// Motion settled.
    pub finish: Instant,
}

/// What a segment's speed is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum SpeedKind {
    /// Component of angular velocity about the segment's own long axis (pelvis, thorax).
    Axial,
    /// Component perpendicular to the arm's long axis: roll left out (lead arm).
    Across,
    /// Magnitude of the angular-velocity vector: used where straps are not calibrated.
    Resultant,
}

impl SpeedKind {
    /// `axial`, `across` or `resultant`, as in the file.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Axial => "axial",
            Self::Across => "across",
            Self::Resultant => "resultant",
        }
    }

    /// One-line definition.
    pub const fn definition(self) -> &'static str {
        match self {
            Self::Axial => "component of angular velocity about the segment's own long axis",
            Self::Across => "component of angular velocity perpendicular to the arm's long axis",
            Self::Resultant => "magnitude of the angular-velocity vector",
        }
    }
}

/// Did the segment's speed peak before impact?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// A maximum between reversal and impact.
    Peak,
    /// The top of the speed reached impact: it was within 2 % of its largest there, or whether it had
    /// passed its top depends on the smoothing. Its time is a stretch that ends at impact.
    Held,
    /// Speed was still rising at impact, or at its top just there: there is no peak to time.
    #[serde(alias = "rising-at-impact")]
    Rising,
}

/// A segment's speed maximum between its own reversal and impact.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Peak {
    /// Session clock, seconds.
    pub t_s: f64,
    /// Positive before impact, milliseconds.
    pub before_impact_ms: f64,
    /// Half width of its 95 % band over 1.96, milliseconds. The band holds what other smoothings of the
    /// same speed (−3 dB at 10 to 26 Hz) say.
    pub sd_ms: f64,
    /// Standard uncertainty of the bone's peak, milliseconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd_ms: Option<f64>,
    /// How far the 95 % band reaches before and after `t_s`, milliseconds, where one side is longer.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub band_ms: Option<[f64; 2]>,
    /// From when to when, relative to `t_s`, the speed was within 2 % of its largest, milliseconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub within_2pct_ms: Option<[f64; 2]>,
    /// Speed there, degrees per second.
    pub speed_dps: f64,
    /// Its standard uncertainty, degrees per second.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_sd_dps: Option<f64>,
    /// Standard uncertainty of the bone's speed, degrees per second.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_bone_sd_dps: Option<f64>,
    /// Whether it is a peak at all.
    pub outcome: Outcome,
}

/// An angle at the swing's instants, degrees. Each has two standard uncertainties: of what the strap did, and
/// of the bone below it ([`BONE_PRIOR`]).
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct AngleSet {
    /// At the top.
    pub top: f64,
    /// At impact.
    pub impact: f64,
    /// At the extreme away from the target before the segment's own reversal
    /// (turn), or at that same instant (tilts).
    pub max_away: f64,
    /// At address. Always 0 for turn.
    pub address: f64,
    /// Standard uncertainty at the top, degrees.
    pub sd: f64,
    /// The same of the bone, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd: Option<f64>,
    /// Standard uncertainty at impact, degrees. It includes what the segment turns within the
    /// uncertainty of impact itself.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub impact_sd: Option<f64>,
    /// The same of the bone, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub impact_bone_sd: Option<f64>,
    /// Standard uncertainty at the extreme, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub max_away_sd: Option<f64>,
    /// The same of the bone, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub max_away_bone_sd: Option<f64>,
    /// Standard uncertainty at address, degrees. Absent for turn, which is zero there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub address_sd: Option<f64>,
    /// The same of the bone, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub address_bone_sd: Option<f64>,
    /// Standard uncertainty of impact minus address, degrees: what is wrong alike at both is
    /// not in it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub address_to_impact_sd: Option<f64>,
    /// The same of the bone, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub address_to_impact_bone_sd: Option<f64>,
}

/// Numbers of one segment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Segment {
    /// Which speed the peak is of.
    pub speed_kind: SpeedKind,
    /// Definition of that speed in words.
    pub speed_definition: String,
    /// When the segment's backswing began: 5 % of its fastest speed away from the target.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub onset: Option<Instant>,
    /// When the segment turned back towards the target.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub reversal: Option<Instant>,
    /// Speed maximum between reversal and impact.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub peak: Option<Peak>,
    /// The same for the magnitude of angular velocity, independent of how the strap is worn.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub resultant_peak: Option<Peak>,
    /// Speed at impact, degrees per second.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_at_impact_dps: Option<f64>,
    /// Its standard uncertainty, degrees per second.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_at_impact_sd_dps: Option<f64>,
    /// The same of the bone's speed, degrees per second.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_at_impact_bone_sd_dps: Option<f64>,
    /// Speed at impact as a share of the peak speed.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_kept_at_impact: Option<f64>,
    /// Its standard uncertainty: how far the speed changes within the uncertainty of impact.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_kept_sd: Option<f64>,
    /// The same of the bone.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_kept_bone_sd: Option<f64>,
    /// Axial rotation relative to address, positive towards the target.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub turn_deg: Option<AngleSet>,
    /// Lateral tilt, positive = trail side lower.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lateral_tilt_deg: Option<AngleSet>,
    /// Flexion, positive = forward.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub flexion_deg: Option<AngleSet>,
}

/// A pair of peaks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Gap {
    /// Segment whose peak is subtracted.
    pub from: Role,
    /// Segment whose peak is subtracted from.
    pub to: Role,
    /// `to` minus `from`: positive when `from` peaked first, milliseconds.
    pub gap_ms: f64,
    /// Standard uncertainty of the gap, milliseconds.
    pub sd_ms: f64,
    /// The same of the bones' peaks, milliseconds. `resolved` is of the straps.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd_ms: Option<f64>,
    /// |gap| exceeds its 95 % band.
    pub resolved: bool,
    /// One of the two held its top to impact: the gap lies anywhere in its band, and only the order is told.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub held: bool,
}

/// Kinematic sequence.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Sequence {
    /// Order of the peaks; segments in one inner list are a tie. Segments without a peak
    /// before impact are left out.
    pub order: Vec<Vec<Role>>,
    /// Every pair of peaks.
    pub gaps: Vec<Gap>,
    /// Order of the reversals (transition), ties alike.
    pub reversal_order: Vec<Vec<Role>>,
    /// Every pair of reversals.
    #[serde(default)]
    pub reversal_gaps: Vec<Gap>,
    /// Segments whose speed was still rising at impact.
    #[serde(default)]
    pub rising_at_impact: Vec<Role>,
    /// Segments that held their top to impact. They are in `order`, by the stretch that the top lasted.
    #[serde(default)]
    pub held_to_impact: Vec<Role>,
}

/// Thorax turn against pelvis turn (X-factor by the named method), degrees.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Separation {
    /// At the top; negative = thorax turned further away than the pelvis.
    pub top_deg: f64,
    /// Largest between takeaway and impact on the side it has at the top, signed as `top_deg`.
    pub max_deg: f64,
    /// Size of the largest minus size at the pelvis's reversal: how much it grew after the
    /// pelvis started forward.
    pub stretch_deg: f64,
    /// Standard uncertainty of `top_deg`, degrees.
    pub sd_deg: f64,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bone_sd_deg: Option<f64>,
    /// Standard uncertainty of `max_deg`, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub max_sd_deg: Option<f64>,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub max_bone_sd_deg: Option<f64>,
    /// Standard uncertainty of `stretch_deg`, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub stretch_sd_deg: Option<f64>,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub stretch_bone_sd_deg: Option<f64>,
    /// [`SEPARATION_METHOD`].
    pub method: String,
}

/// Durations.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Tempo {
    /// Takeaway to top, seconds.
    pub backswing_s: f64,
    /// Top to impact, seconds.
    pub downswing_s: f64,
    /// Backswing over downswing.
    pub ratio: f64,
    /// Standard uncertainty of `backswing_s`, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub backswing_sd_s: Option<f64>,
    /// The same of the bones, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub backswing_bone_sd_s: Option<f64>,
    /// Standard uncertainty of `downswing_s`, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub downswing_sd_s: Option<f64>,
    /// The same of the bone, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub downswing_bone_sd_s: Option<f64>,
    /// Standard uncertainty of `ratio`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ratio_sd: Option<f64>,
    /// The same of the bones.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ratio_bone_sd: Option<f64>,
    /// Segment whose reversal is the top, which starts the downswing.
    #[serde(deserialize_with = "top_of_any_version")]
    pub downswing_from: Role,
}

/// Versions before this one wrote `reversal of the thorax` for what is `thorax` now.
fn top_of_any_version<'de, D: Deserializer<'de>>(from: D) -> Result<Role, D::Error> {
    let text = String::deserialize(from)?;
    text.strip_prefix("reversal of the ").unwrap_or(&text).parse().map_err(D::Error::custom)
}

/// A number of a swing is NaN or infinite, which JSON cannot hold.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{key}` is not a finite number, so the swing cannot be written; its samples are in the log")]
pub struct NotFinite {
    /// Key of the number in the swing file.
    pub key: String,
}

impl Swing {
    /// Reads one swing file's text. The checksum is checked first; files of earlier versions
    /// have none.
    pub fn from_json(text: &str) -> Result<Self, DocumentError> {
        document::check(text.as_bytes())?;
        let swing: Self = serde_json::from_str(text)?;
        DocumentError::unless_schema(&swing.schema, SCHEMA)?;
        Ok(swing)
    }

    /// The text of the swing file: pretty-printed JSON with its checksum and a final newline.
    pub fn to_json(&self) -> Result<String, NotFinite> {
        without_null(serde_json::to_string_pretty(self).expect("a swing has only string keys"))
    }

    /// The segment's peak if it can be timed.
    pub fn peak(&self, role: Role) -> Option<&Peak> {
        self.segments.get(&role)?.peak.as_ref().filter(|p| p.outcome == Outcome::Peak)
    }
}

/// Seals the pretty-printed text of a numbered file, which has no null.
pub(crate) fn without_null(mut text: String) -> Result<String, NotFinite> {
    // No field is ever null but for a number that is none. Line breaks in texts are escaped.
    if let Some(line) = text.lines().map(|l| l.trim_end_matches(',')).find(|l| l.ends_with(": null")) {
        return Err(NotFinite { key: line.trim().trim_end_matches(": null").trim_matches('"').to_owned() });
    }
    text.push('\n');
    document::seal(&mut text);
    Ok(text)
}
