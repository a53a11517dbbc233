//! What really happened in a swing, searched on the exact functions of the body.
//!
//! Instants are found to 10⁻⁷ s by bisection and golden section. Definitions:
//!
//! * speed: pelvis and thorax, component about the own long axis, positive towards the
//!   target; lead arm, magnitude of the component perpendicular to its long axis.
//! * reversal: the speed's change of sign from away to towards. The arm's across-speed gets
//!   its sign from the direction that the across-component has, in the global frame, at the
//!   arm's peak.
//! * peak: the largest speed between the own reversal and impact. If that is at impact, the
//!   segment was still rising and there is no peak.
//! * turn, lateral tilt, flexion: Y–X–Z decomposition in ISB axes; turn is relative to address.
//! * address: the instant at which a planned swing begins; of a recorded one the mean of 0.3 to 0.05 s before
//!   takeaway.
//! * shift: along the horizontal line that is square to the pelvis' anterior axis at address, since address.
//! * top: reversal of the lead arm, or of the thorax if no arm strap is worn.
//! * backswing: from the frames at address and at the top alone.

mod finder;
pub mod repetition;
pub(crate) mod search;

#[cfg(test)]
pub(crate) use finder::frame_angles_deg;

use super::body::Body;
use super::body::swing::{SwingPlan, SwingStyle};
use finder::Finder;
use peakorder_protocol::swing::{Outcome, SpeedKind};
use peakorder_protocol::{Handedness, Role};
use serde::Serialize;
use std::collections::BTreeMap;

/// True angle at a swing's instants, degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AngleTruth {
    /// At takeaway (0 for turn).
    pub address: f64,
    /// At the top.
    pub top: f64,
    /// At impact.
    pub impact: f64,
    /// Turn: the extreme away before the own reversal; tilts: at that instant.
    pub max_away: f64,
}

/// True numbers of one segment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SegmentTruth {
    /// Which speed.
    pub speed_kind: SpeedKind,
    /// Session seconds.
    pub reversal_s: f64,
    /// Largest speed between reversal and impact, session seconds.
    pub peak_s: f64,
    /// Positive before impact, ms.
    pub peak_before_ms: f64,
    /// From the first to the last instant at which the speed is within 2 % of its largest, before and after
    /// `peak_s`, ms, to 2 ms. Of a top with several humps it spans the dips between them.
    pub within_2pct_ms: [f64; 2],
    /// Speed there, deg/s.
    pub peak_dps: f64,
    /// Whether that is a peak.
    pub outcome: Outcome,
    /// Speed at impact, deg/s.
    pub speed_at_impact_dps: f64,
    /// Largest magnitude of angular velocity between reversal and impact: session seconds.
    pub resultant_peak_s: f64,
    /// Its size, deg/s.
    pub resultant_peak_dps: f64,
    /// Turn. Of the arm it is ill-conditioned where the arm is level sideways.
    pub turn_deg: AngleTruth,
    /// Lateral tilt, positive = trail side lower.
    pub lateral_tilt_deg: AngleTruth,
    /// Flexion, positive = forward.
    pub flexion_deg: AngleTruth,
    /// Segment → global as `[w, x, y, z]` at takeaway, top and impact.
    pub orientation_wxyz: [[f64; 4]; 3],
}

/// Thorax turn minus pelvis turn, degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SeparationTruth {
    /// At the top.
    pub top_deg: f64,
    /// Extreme between takeaway and impact on the side that it has at the top, signed.
    pub max_deg: f64,
    /// At the pelvis' reversal.
    pub at_pelvis_reversal_deg: f64,
    /// |max| minus |at the pelvis' reversal|.
    pub stretch_deg: f64,
}

/// How far the hips have moved towards the target since takeaway, centimetres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HipShiftTruth {
    /// Middle of the hips, at the top.
    pub mid_top_cm: f64,
    /// Middle of the hips, at impact.
    pub mid_impact_cm: f64,
    /// Joint of the trail hip, at the top.
    pub trail_top_cm: f64,
    /// Joint of the trail hip, at impact.
    pub trail_impact_cm: f64,
}

/// What the backswing was made of, takeaway to top.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BackswingTruth {
    /// Thorax turn away over itself plus `arm_moved_deg`.
    pub turn_share: f64,
    /// Pelvis turn away over the same, when it wears a strap.
    pub hips_share: Option<f64>,
    /// Angle between the arm's two directions in the thorax, degrees.
    pub arm_moved_deg: f64,
    /// Growth of the arm's angle from hanging along the thorax, degrees.
    pub arm_raised_deg: f64,
    /// Change of its direction across the chest, degrees, positive away from the target.
    pub arm_across_deg: f64,
    /// Angle of the thorax's rotation over the angle between the arm's two directions in space.
    pub chest_per_arm: f64,
}

/// What really happened in one swing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SwingTruth {
    /// 1-based, rehearsals counted.
    pub number: u32,
    /// Block label.
    pub block: String,
    /// Side.
    pub handedness: Handedness,
    /// How it was made.
    pub style: SwingStyle,
    /// A ball was struck.
    pub strike: bool,
    /// First lobe of motion begins, session seconds.
    pub takeaway_s: f64,
    /// The thorax (without its strap the pelvis) has 5 % of its fastest speed away, session seconds.
    pub onset_s: f64,
    /// First instant at which a segment moves away faster than 5 deg/s, session seconds.
    pub moving_s: f64,
    /// Top, session seconds.
    pub top_s: f64,
    /// Impact; of a rehearsal, the instant at which a ball would have been struck.
    pub impact_s: f64,
    /// Motion over, session seconds.
    pub finish_s: f64,
    /// All segments slower than 35 deg/s, and for 0.15 s on, session seconds.
    pub slow_s: f64,
    /// By segment; only segments with a strap.
    pub segments: BTreeMap<Role, SegmentTruth>,
    /// Segments that peaked before impact, in order of their peaks.
    pub order: Vec<Role>,
    /// Segments in order of their reversals.
    pub reversal_order: Vec<Role>,
    /// X-factor, when pelvis and thorax are worn.
    pub separation: Option<SeparationTruth>,
    /// Shift of the hips.
    pub hip_shift: HipShiftTruth,
    /// Lead arm from hanging along the thorax, at the top, degrees.
    pub arm_elevation_top_deg: Option<f64>,
    /// Lead arm across the chest (horizontal plane of the thorax), at the top, degrees;
    /// 0 = straight ahead, positive = away from the target.
    pub arm_across_chest_top_deg: Option<f64>,
    /// Lead arm from hanging straight down, at the top, degrees.
    pub arm_elevation_gravity_top_deg: Option<f64>,
    /// Turn and lift, when thorax and lead arm are worn.
    pub backswing: Option<BackswingTruth>,
    /// Takeaway to top, seconds.
    pub backswing_s: f64,
    /// Top to impact, seconds.
    pub downswing_s: f64,
}

fn in_order(mut pairs: Vec<(f64, Role)>) -> Vec<Role> {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    pairs.into_iter().map(|p| p.1).collect()
}

/// Searches the truth of one planned swing, for the segments that wear a strap.
pub(crate) fn of_swing(body: &Body, plan: &SwingPlan, roles: &[Role]) -> SwingTruth {
    let finder = Finder::new(body, plan);
    let trunk = if roles.contains(&Role::Thorax) { Role::Thorax } else { Role::Pelvis };
    let reversals: BTreeMap<Role, f64> = roles.iter().map(|&r| (r, finder.reversal(r))).collect();
    let top_s = reversals
        .get(&Role::LeadArm)
        .or_else(|| reversals.get(&Role::Thorax))
        .or_else(|| reversals.get(&Role::Pelvis))
        .copied()
        .unwrap_or(plan.turn_round_s[2].0);
    let segments: BTreeMap<Role, SegmentTruth> =
        reversals.iter().map(|(&role, &t)| (role, finder.segment(role, t, top_s))).collect();
    let worn = |role| segments.contains_key(&role);
    let peaked = |s: &&SegmentTruth| s.outcome == Outcome::Peak;
    let order = segments.iter().filter(|(_, s)| peaked(s)).map(|(&r, s)| (s.peak_s, r)).collect();
    let reversal_order = reversals.iter().map(|(&r, &t)| (t, r)).collect();
    let separation = (worn(Role::Pelvis) && worn(Role::Thorax))
        .then(|| finder.separation(reversals[&Role::Pelvis], top_s));
    let arm = (worn(Role::Thorax) && worn(Role::LeadArm)).then(|| finder.arm_use(top_s));
    SwingTruth {
        number: plan.number,
        block: plan.block.clone(),
        handedness: body.handedness(),
        style: plan.style,
        strike: plan.style.strikes(),
        takeaway_s: plan.takeaway_s,
        onset_s: finder.onset(trunk, finder.reversal(trunk)),
        moving_s: finder.moving(roles),
        top_s,
        impact_s: plan.impact_s,
        finish_s: plan.finish_s,
        slow_s: finder.slow(roles),
        order: in_order(order),
        reversal_order: in_order(reversal_order),
        separation,
        hip_shift: finder.hip_shift(top_s),
        arm_elevation_top_deg: arm.map(|a| a.0),
        arm_across_chest_top_deg: arm.map(|a| a.1),
        arm_elevation_gravity_top_deg: worn(Role::LeadArm).then(|| finder.arm_from_vertical_deg(top_s)),
        backswing: arm.map(|_| finder.backswing(worn(Role::Pelvis), top_s)),
        backswing_s: top_s - plan.takeaway_s,
        downswing_s: plan.impact_s - top_s,
        segments,
    }
}
