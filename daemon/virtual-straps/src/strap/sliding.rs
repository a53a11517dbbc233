//! The strap slides with the skin, slowly, as the segment turns.

use super::random_axis;
use crate::rng::Draw;
use nalgebra::{Unit, Vector3};
use peakorder_protocol::Role;

/// Soft tissue that gives way as the segment turns: the skin stays behind the bone.
///
/// Published: 3.8 to 9.1 deg RMS of soft-tissue error in whole-body inertial measurement of football
/// movements (Kamstra, Wilmes, van der Helm 2022, Sensors 22:9765), all segments and axes
/// together. No published figure is known for a golfer's trunk; 4.5 deg at a full turn is
/// taken as size 1 (own judgement, within the published range).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sliding {
    /// How far the strap has slid at a full turn, deg.
    pub at_full_turn_deg: f64,
    /// How much that differs from one wearing to the next, deg SD; each strap by itself, never below 0.
    pub wearing_sd_deg: f64,
    /// It gets there with a first-order lag of this time constant, s. Skin creeps; 0.08 s is
    /// an assumption. Without a lag, sliding about the axis of the turn would be a mere
    /// scale error and leave every peak where it is.
    pub lag_s: f64,
}

impl Sliding {
    /// With a lag of 80 ms and, from wearing to wearing, an SD of 4/9 of the size: 2 deg of 4.5 (own
    /// judgement; nobody has measured it).
    pub const fn of_size(at_full_turn_deg: f64) -> Self {
        Self { at_full_turn_deg, wearing_sd_deg: at_full_turn_deg * 4.0 / 9.0, lag_s: 0.08 }
    }
}

/// A full backswing's turn of each segment, rad: about 45, 90 and 110 deg (assumptions of
/// the usual size).
const FULL_TURN_RAD: [f64; 3] = [0.785, 1.571, 1.920];
/// A longer gap between samples starts anew from the skin at its place, s.
const GAP_S: f64 = 0.5;
/// The axis the strap slides about is this far from the segment's long axis at most, deg.
const ASKEW_DEG: f64 = 30.0;

/// State of a sliding strap, in the segment's axes.
#[derive(Debug, Clone)]
pub(super) struct OnSlidingSkin {
    axis: Unit<Vector3<f64>>,
    /// Slide per turn.
    share: f64,
    lag_s: f64,
    t: f64,
    target: f64,
    angle: f64,
}

impl OnSlidingSkin {
    pub(super) fn new(sliding: Sliding, role: Role, draw: &mut Draw) -> Self {
        let aside = random_axis(draw).into_inner() * ASKEW_DEG.to_radians().tan() * draw.uniform(0.0, 1.0);
        let full_deg = draw.bounded(sliding.at_full_turn_deg, sliding.wearing_sd_deg).max(0.0);
        Self {
            axis: Unit::new_normalize(Vector3::y() + aside.cross(&Vector3::y())),
            share: -full_deg.to_radians() / FULL_TURN_RAD[role.index()],
            lag_s: sliding.lag_s,
            t: f64::NEG_INFINITY,
            target: 0.0,
            angle: 0.0,
        }
    }

    /// Goes on to `t`, when the segment has turned by `turn_rad` about its own axis: the
    /// strap's small rotation against the segment (rad) and its rate (rad/s).
    pub(super) fn advance(&mut self, t: f64, turn_rad: f64) -> (Vector3<f64>, Vector3<f64>) {
        let target = self.share * turn_rad;
        let h = t - self.t;
        if h > GAP_S {
            self.angle = target;
        } else if h > 0.0 {
            // Exact for a target that moves along a straight line.
            let keep = (-h / self.lag_s).exp();
            let slope = (target - self.target) / h;
            let behind = self.angle - self.target + slope * self.lag_s;
            self.angle = target - slope * self.lag_s + behind * keep;
        }
        (self.t, self.target) = (t, target);
        let rate = (target - self.angle) / self.lag_s;
        (self.axis.into_inner() * self.angle, self.axis.into_inner() * rate)
    }
}
