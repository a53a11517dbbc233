//! The pose of the body now, for the view from above.

use nalgebra::Vector3;
use peakorder_motion::angles::Cardan;
use peakorder_motion::attitude::Attitude;
use peakorder_motion::pipeline::Pipeline;
use peakorder_protocol::{Handedness, Role};
use serde::Serialize;
use std::time::Duration;

/// A pose is published this often.
pub const POSE_EVERY: Duration = Duration::from_millis(40);

/// The segments' pose. A segment is absent until its strap sends; its angles are absent until
/// the strap is calibrated.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Pose {
    /// Session clock of the newest sample, seconds.
    pub t_s: f64,
    /// The segments.
    pub segments: Segments,
}

/// The segments of a pose.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Segments {
    /// Pelvis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pelvis: Option<Trunk>,
    /// Thorax.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub thorax: Option<Trunk>,
    /// Lead arm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lead_arm: Option<Arm>,
}

/// Pose of pelvis or thorax; angles as in the swing file.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Trunk {
    /// Turn since the last address (or calibration), degrees, positive towards the target.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub turn_deg: Option<f64>,
    /// Lateral tilt, degrees, positive = trail side lower.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lateral_deg: Option<f64>,
    /// Flexion, degrees, positive = forward.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flexion_deg: Option<f64>,
    /// Speed about its long axis, degrees per second; of the whole rotation until calibrated.
    pub speed_dps: f64,
}

/// Pose of the lead arm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Arm {
    /// Where the hand points seen from above, degrees from straight ahead, positive towards the target.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub direction_deg: Option<f64>,
    /// From hanging (0) over horizontal (90) to straight up (180), degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elevation_deg: Option<f64>,
    /// Speed across its long axis, degrees per second; of the whole rotation until calibrated.
    pub speed_dps: f64,
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// The pose at session time `t_s`; `None` before the first sample.
pub fn of(pipeline: &Pipeline, handedness: Handedness, t_s: f64) -> Option<Pose> {
    let mut segments = Segments::default();
    for attitude in pipeline.attitudes() {
        match attitude.role {
            Role::Pelvis => segments.pelvis = Some(trunk(&attitude)),
            Role::Thorax => segments.thorax = Some(trunk(&attitude)),
            Role::LeadArm => segments.lead_arm = Some(arm(&attitude, handedness)),
        }
    }
    (segments != Segments::default()).then_some(Pose { t_s: (t_s * 1e3).round() / 1e3, segments })
}

fn trunk(a: &Attitude) -> Trunk {
    let rate = Vector3::from(a.rate_dps);
    Trunk {
        turn_deg: a.angles.map(|x| tenth(x.turn_deg)),
        lateral_deg: a.angles.map(|x| tenth(x.lateral_deg)),
        flexion_deg: a.angles.map(|x| tenth(x.flexion_deg)),
        speed_dps: tenth(if a.angles.is_some() { rate.y.abs() } else { rate.norm() }),
    }
}

fn arm(a: &Attitude, handedness: Handedness) -> Arm {
    let rate = Vector3::from(a.rate_dps);
    let Some(angles) = a.angles else {
        return Arm { direction_deg: None, elevation_deg: None, speed_dps: tenth(rate.norm()) };
    };
    // From shoulder to hand: opposite to the arm's proximal axis.
    let hand = Cardan::from_people(angles, Role::LeadArm, handedness).to_quaternion() * -Vector3::y();
    let level = hand.x.hypot(hand.z);
    Arm {
        // Straight down or up there is no direction.
        direction_deg: (level > 0.05)
            .then(|| tenth((-hand.z).atan2(hand.x).to_degrees() * handedness.sign())),
        elevation_deg: Some(tenth(level.atan2(-hand.y).to_degrees())),
        speed_dps: tenth(rate.x.hypot(rate.z)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(turn_deg: f64, lateral_deg: f64, flexion_deg: f64, handedness: Handedness) -> Arm {
        let angles = peakorder_motion::angles::Readable { turn_deg, lateral_deg, flexion_deg };
        let attitude = Attitude {
            role: Role::LeadArm,
            t_s: 0.0,
            up: [0.0, 1.0, 0.0],
            rate_dps: [30.0, 500.0, 40.0],
            at_rest: false,
            angles: Some(angles),
        };
        arm(&attitude, handedness)
    }

    #[test]
    fn the_arm_hangs_points_ahead_and_to_the_target() {
        let hanging = held(0.0, 0.0, 0.0, Handedness::Right);
        assert_eq!((hanging.direction_deg, hanging.elevation_deg), (None, Some(0.0)));
        assert_eq!(hanging.speed_dps, 50.0, "roll about its own axis is left out");
        for handedness in [Handedness::Right, Handedness::Left] {
            let ahead = held(0.0, 0.0, 90.0, handedness);
            assert_eq!((ahead.direction_deg, ahead.elevation_deg), (Some(0.0), Some(90.0)));
            let to_target = held(60.0, 0.0, 90.0, handedness);
            assert_eq!((to_target.direction_deg, to_target.elevation_deg), (Some(60.0), Some(90.0)));
        }
    }
}
