//! How far the hips moved towards or away from the target since address.

use serde::{Deserialize, Serialize};

/// Printed with every [`HipShift`].
pub const HIP_SHIFT_METHOD: &str = "pelvis strap; middle of the hips and trail hip since address, along the \
horizontal line through both hips at address, + = towards the target; accelerometer integrated twice in a \
least-squares fit with stillness at address, a slow strap at the pelvis's reversal and after impact; lever from \
strap to hips by hip breadth. One swing at impact, and towards the ball or up, tells too little";

/// Shift of the hips of one swing. A swing's own number is the one at the top; at impact one swing tells
/// little, and only means over a block are to be shown.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct HipShift {
    /// At the top.
    pub top: HipShiftAt,
    /// At impact: a part of means over blocks, not a number of one swing.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub impact_for_block_means: Option<HipShiftAt>,
    /// Breadth across the hips that the lever was taken from, centimetres.
    pub hip_breadth_cm: f64,
    /// Whether that was measured on the player; otherwise it is a usual one.
    pub hip_breadth_measured: bool,
    /// [`HIP_SHIFT_METHOD`].
    pub method: String,
}

/// Shifts at one instant.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct HipShiftAt {
    /// Middle of the hips.
    pub mid_hips: ShiftTowardsTarget,
    /// Trail hip joint. When the pelvis turns about it alone, it stays and the middle moves.
    pub trail_hip: ShiftTowardsTarget,
}

/// A shift since address.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct ShiftTowardsTarget {
    /// Centimetres, + = towards the target.
    pub towards_target_cm: f64,
    /// Its standard uncertainty, centimetres.
    pub sd_cm: f64,
    /// The part of it that more swings do not average away, signed, centimetres: of the lever along the pelvis's
    /// three axes (anterior, cranial, right), and of the skin. Alike in swings that turn alike, so that a
    /// change between two blocks of one wearing keeps only the difference of their means.
    pub shared_sd_cm: [f64; 4],
}
