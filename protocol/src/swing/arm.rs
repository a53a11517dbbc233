//! How the lead upper arm is held at the top.

use serde::{Deserialize, Serialize};

/// Printed with every [`ArmUse`].
pub const ARM_METHOD: &str = "upper-arm strap; raised = the arm's long axis from hanging straight down \
(gravity), and from hanging along the thorax; across = the axis seen along the thorax, 0 = straight \
ahead of the chest, + = away from the target. Heading of the arm against the thorax: both straps must \
see one acceleration of the shoulder, takeaway to impact";

/// How the lead upper arm is held at the top (arm strap only). What
/// could not be measured well enough is absent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct ArmUse {
    /// Angle of the upper arm from hanging straight down (gravity), at the top, degrees:
    /// 90 = level. Needs the arm strap alone.
    pub elevation_gravity_top_deg: f64,
    /// Its standard uncertainty, degrees.
    pub elevation_gravity_sd_deg: f64,
    /// The same of the bone, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub elevation_gravity_bone_sd_deg: Option<f64>,
    /// Angle of the upper arm from hanging along the thorax's long axis, at the top, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub elevation_top_deg: Option<f64>,
    /// Its standard uncertainty, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub elevation_sd_deg: Option<f64>,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub elevation_bone_sd_deg: Option<f64>,
    /// Angle of the upper arm across the chest (horizontal plane of the thorax), at the top,
    /// degrees; 0 = straight ahead of the chest, positive = across, away from the target.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub across_chest_top_deg: Option<f64>,
    /// Its standard uncertainty, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub across_chest_sd_deg: Option<f64>,
    /// The same of the bones, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub across_chest_bone_sd_deg: Option<f64>,
    /// Turn about the vertical that brings the arm's orientation (as in the curves) into the
    /// thorax's heading, degrees by the right-hand rule about up. Where it is absent, how the
    /// two stand to each other is not known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub heading_deg: Option<f64>,
    /// Standard uncertainty of that heading in this swing, degrees; also where it is too large to use.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub heading_sd_deg: Option<f64>,
    /// [`ARM_METHOD`].
    pub method: String,
}
