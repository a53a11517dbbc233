//! What the backswing was made of: the turn of hips and chest, and what the arm did in the shoulder.

use serde::{Deserialize, Serialize};

/// Printed with every [`Backswing`].
pub const BACKSWING_METHOD: &str = "address to top. Turn = the chest's axial turn away from the target, hips = the \
pelvis's. Arm moved = angle between the directions that the upper arm has in the thorax; raised = growth of its angle from \
hanging along the thorax; across = change of its direction seen along the thorax, + = away from the target. Share by turn \
= turn / (turn + arm moved), by hips = hips / (turn + arm moved): an index, for it adds angles about different axes. \
Chest per arm = angle of the thorax's rotation / angle between the upper arm's two directions in space, which needs no \
heading between the straps";

/// What the backswing was made of, address to top. Needs straps on the thorax and the lead arm,
/// the hips' share one on the pelvis as well. What could not be measured well enough is absent.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Backswing {
    /// Share of the backswing that the chest's turn made: turn / (turn + arm moved). An index, for
    /// it adds angles about different axes.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub turn_share: Option<f64>,
    /// Its standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub turn_share_sd: Option<f64>,
    /// The same of the bones.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub turn_share_bone_sd: Option<f64>,
    /// The hips' part of `turn_share`: pelvis turn / (turn + arm moved).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hips_share: Option<f64>,
    /// Its standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hips_share_sd: Option<f64>,
    /// The same of the bones.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hips_share_bone_sd: Option<f64>,
    /// Angle between the directions that the upper arm has in the thorax at address and at the
    /// top, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_moved_deg: Option<f64>,
    /// Its standard uncertainty, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_moved_sd_deg: Option<f64>,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_moved_bone_sd_deg: Option<f64>,
    /// By how much the upper arm's angle from hanging along the thorax grew, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_raised_deg: Option<f64>,
    /// Its standard uncertainty, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_raised_sd_deg: Option<f64>,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_raised_bone_sd_deg: Option<f64>,
    /// By how much the upper arm's direction across the chest (horizontal plane of the thorax)
    /// changed, degrees; positive = across, away from the target.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_across_deg: Option<f64>,
    /// Its standard uncertainty, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_across_sd_deg: Option<f64>,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub arm_across_bone_sd_deg: Option<f64>,
    /// Angle of the thorax's rotation over the angle between the upper arm's two directions in
    /// space. Needs no heading between the straps.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub chest_per_arm: Option<f64>,
    /// Its standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub chest_per_arm_sd: Option<f64>,
    /// The same of the bones.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub chest_per_arm_bone_sd: Option<f64>,
    /// [`BACKSWING_METHOD`].
    pub method: String,
}
