//! The body at the top of the backswing: where pelvis, shoulders and lead upper arm point, from the block's mean angles.
//!
//! Directions are measured; lengths, legs, spine, head and feet are drawn alike for everybody.

use crate::stats::mean;
use peakorder_protocol::swing::{AngleSet, Segment, Swing};
use peakorder_protocol::{Handedness, Role};

/// A point or direction: ahead, up, to the player's right.
pub(super) type Vector = [f64; 3];

/// Mean angles of a segment at the top, degrees, as in the swing files.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Angles {
    /// Turn since address, positive towards the target.
    pub turn: f64,
    /// Lateral tilt, positive = trail side lower.
    pub tilt: f64,
    /// Flexion, positive = forward.
    pub flexion: f64,
}

/// Mean angles of the lead upper arm in the thorax at the top, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arm {
    /// From hanging along the thorax.
    pub elevation: f64,
    /// Across the chest, positive = away from the target.
    pub across: f64,
}

/// What is known of a block's body at the top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// Pelvis.
    pub pelvis: Option<Angles>,
    /// Thorax.
    pub thorax: Option<Angles>,
    /// Lead upper arm; drawn only where it is known how it stands to the thorax.
    pub arm: Option<Arm>,
    /// Whose.
    pub handedness: Handedness,
}

impl Body {
    /// Means over swings.
    pub fn of(swings: &[&Swing], handedness: Handedness) -> Self {
        let segment = |role: Role| {
            let parts: Vec<[f64; 3]> =
                swings.iter().filter_map(|s| s.segments.get(&role)).filter_map(angles).collect();
            let at = |i: usize| mean(&parts.iter().map(|p| p[i]).collect::<Vec<_>>());
            Some(Angles { turn: at(0)?, tilt: at(1)?, flexion: at(2)? })
        };
        let arms: Vec<(f64, f64)> = swings
            .iter()
            .filter_map(|s| s.arm.as_ref())
            .filter_map(|a| Some((a.elevation_top_deg?, a.across_chest_top_deg?)))
            .collect();
        let of = |pick: fn(&(f64, f64)) -> f64| mean(&arms.iter().map(pick).collect::<Vec<_>>());
        let arm = of(|a| a.0).zip(of(|a| a.1)).map(|(elevation, across)| Arm { elevation, across });
        Self { pelvis: segment(Role::Pelvis), thorax: segment(Role::Thorax), arm, handedness }
    }

    /// Whether there is anything to draw.
    pub const fn is_empty(&self) -> bool {
        self.pelvis.is_none() && self.thorax.is_none()
    }

    pub(super) fn angles(&self, role: Role) -> Option<Angles> {
        match role {
            Role::Pelvis => self.pelvis,
            Role::Thorax => self.thorax,
            Role::LeadArm => None,
        }
    }

    /// Direction of a segment's line, to the player's right.
    pub(super) fn right(&self, role: Role) -> Option<Vector> {
        Some(turned(self.angles(role)?, self.handedness, [0.0, 0.0, 1.0]))
    }

    /// Direction of its long axis, upwards.
    pub(super) fn up(&self, role: Role) -> Option<Vector> {
        Some(turned(self.angles(role)?, self.handedness, [0.0, 1.0, 0.0]))
    }

    /// Direction of the lead upper arm from the shoulder.
    pub(super) fn arm(&self) -> Option<Vector> {
        let (thorax, arm) = (self.thorax?, self.arm?);
        let (e, a) = (arm.elevation.to_radians(), arm.across.to_radians());
        // Away from the target is to the right of a right-handed player.
        let own = [e.sin() * a.cos(), -e.cos(), e.sin() * a.sin() * self.handedness.sign()];
        Some(turned(thorax, self.handedness, own))
    }

    /// −1 where the lead side is the left one.
    pub(super) fn lead(&self) -> f64 {
        -self.handedness.sign()
    }
}

fn angles(segment: &Segment) -> Option<[f64; 3]> {
    let top = |set: &Option<AngleSet>| set.as_ref().map(|s| s.top).filter(|v| v.is_finite());
    // Without a calibration there is no turn; without tilts the body is drawn upright.
    Some([
        top(&segment.turn_deg)?,
        top(&segment.lateral_tilt_deg).unwrap_or(0.0),
        top(&segment.flexion_deg).unwrap_or(0.0),
    ])
}

/// A direction of the segment's own in the room: Y-X-Z in ISB axes, as the angles were taken apart.
fn turned(angles: Angles, handedness: Handedness, [x, y, z]: Vector) -> Vector {
    let sign = handedness.sign();
    let (a, l, f) = (
        (angles.turn * sign).to_radians(),
        (angles.tilt * sign).to_radians(),
        // Forward is the other way round about the axis to the right.
        (-angles.flexion).to_radians(),
    );
    let (x, y) = (f.cos() * x - f.sin() * y, f.sin() * x + f.cos() * y);
    let (y, z) = (l.cos() * y - l.sin() * z, l.sin() * y + l.cos() * z);
    [a.cos() * x + a.sin() * z, y, -a.sin() * x + a.cos() * z]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: Vector, wanted: Vector) {
        assert!(got.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-12), "{got:?} is not {wanted:?}");
    }

    /// Worked out by hand for quarter turns.
    #[test]
    fn quarter_turns_point_where_they_should() {
        let at = |turn, tilt, flexion| Angles { turn, tilt, flexion };
        // A right-handed player turned a quarter back: the right hip is behind.
        near(turned(at(-90.0, 0.0, 0.0), Handedness::Right, [0.0, 0.0, 1.0]), [-1.0, 0.0, 0.0]);
        // A left-handed one: the left hip is behind, so right is ahead.
        near(turned(at(-90.0, 0.0, 0.0), Handedness::Left, [0.0, 0.0, 1.0]), [1.0, 0.0, 0.0]);
        // Bent forward: the trunk's long axis points ahead.
        near(turned(at(0.0, 0.0, 90.0), Handedness::Right, [0.0, 1.0, 0.0]), [1.0, 0.0, 0.0]);
        // Trail side lower: right of a right-handed player down, left of a left-handed one.
        near(turned(at(0.0, 90.0, 0.0), Handedness::Right, [0.0, 0.0, 1.0]), [0.0, -1.0, 0.0]);
        near(turned(at(0.0, 90.0, 0.0), Handedness::Left, [0.0, 0.0, 1.0]), [0.0, 1.0, 0.0]);
    }

    #[test]
    fn the_arm_hangs_is_level_and_crosses() {
        let upright = Some(Angles { turn: 0.0, tilt: 0.0, flexion: 0.0 });
        let body = |elevation, across, handedness| Body {
            pelvis: None,
            thorax: upright,
            arm: Some(Arm { elevation, across }),
            handedness,
        };
        near(body(0.0, 30.0, Handedness::Right).arm().expect("known"), [0.0, -1.0, 0.0]);
        near(body(90.0, 0.0, Handedness::Right).arm().expect("known"), [1.0, 0.0, 0.0]);
        near(body(90.0, 90.0, Handedness::Right).arm().expect("known"), [0.0, 0.0, 1.0]);
        near(body(90.0, 90.0, Handedness::Left).arm().expect("known"), [0.0, 0.0, -1.0]);
    }
}
