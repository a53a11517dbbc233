//! Upper arm and thorax at address and at the top: angles between them, and how far each source of
//! error moves them.

use super::deviation::Sources;
use super::{Part, When};
use crate::angles::Cardan;
use crate::joint::Heading;
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Handedness;

/// How many instants of address stand for its sway.
const SWAY_INSTANTS: usize = 40;

/// Numbers read off one swing's poses.
#[expect(clippy::struct_field_names, reason = "the unit is in the name")]
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Read {
    /// Chest turn since address, away from the target positive, deg.
    pub(super) turn_deg: f64,
    /// Upper arm from hanging along the thorax, at address and at the top, deg.
    pub(super) elevation_deg: [f64; 2],
    /// Its direction seen along the thorax, 0 = straight ahead, + = away from the target, deg.
    pub(super) across_deg: [f64; 2],
    /// Angle between the directions that it has in the thorax, deg.
    pub(super) moved_deg: f64,
    /// Angle of the thorax's rotation, and between the arm's directions in space, deg.
    pub(super) rotation_deg: f64,
    pub(super) swept_deg: f64,
}

impl Read {
    pub(super) fn raised_deg(&self) -> f64 {
        self.elevation_deg[1] - self.elevation_deg[0]
    }

    pub(super) fn went_across_deg(&self) -> f64 {
        wrapped(self.across_deg[1] - self.across_deg[0])
    }

    /// Share of turn and arm that the turn made.
    pub(super) fn turn_share(&self) -> f64 {
        self.turn_deg / (self.turn_deg + self.moved_deg)
    }

    pub(super) fn chest_per_arm(&self) -> f64 {
        self.rotation_deg / self.swept_deg
    }
}

pub(super) fn wrapped(deg: f64) -> f64 {
    deg - 360.0 * (deg / 360.0).round()
}

pub(super) fn down() -> Vector3<f64> {
    -Vector3::y()
}

pub(super) fn angle_between(a: Vector3<f64>, b: Vector3<f64>) -> f64 {
    // From both sine and cosine: the cosine alone loses half its digits near 0 and 180 deg.
    a.cross(&b).norm().atan2(a.dot(&b)).to_degrees()
}

/// Orientations at address and at the top, each strap in its own heading.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ends {
    pub(super) thorax: [UnitQuaternion<f64>; 2],
    pub(super) arm: [UnitQuaternion<f64>; 2],
    /// Turn about the vertical that takes the arm's heading into the thorax's, rad.
    pub(super) heading_rad: f64,
}

impl Ends {
    pub(super) fn read(&self, handedness: Handedness) -> Read {
        let side = handedness.sign();
        let turn = UnitQuaternion::from_axis_angle(&Vector3::y_axis(), self.heading_rad);
        let in_space = self.arm.map(|arm| arm * down());
        let in_thorax = [0, 1].map(|i| self.thorax[i].inverse() * (turn * in_space[i]));
        let axial = self.thorax.map(|thorax| Cardan::from_quaternion(&thorax).axial.to_degrees());
        Read {
            turn_deg: -side * wrapped(axial[1] - axial[0]),
            elevation_deg: in_thorax.map(|arm| angle_between(arm, down())),
            across_deg: in_thorax.map(|arm| (side * arm.z).atan2(arm.x).to_degrees()),
            moved_deg: angle_between(in_thorax[0], in_thorax[1]),
            rotation_deg: self.thorax[0].angle_to(&self.thorax[1]).to_degrees(),
            swept_deg: angle_between(in_space[0], in_space[1]),
        }
    }
}

/// The poses of one swing with all that makes them uncertain.
pub(super) struct Poses {
    /// What is read of the swing.
    pub(super) is: Read,
    /// The same from one instant of address, and from there with one source of error each moved by its
    /// standard uncertainty.
    at: Read,
    moved: Vec<Read>,
    /// What is read with other instants of address in place of its mean.
    swayed: Vec<Read>,
}

impl Poses {
    /// `None` where a strap is not calibrated. Without a heading the arm's angles in the thorax mean
    /// nothing. `turn_deg` is the chest's turn away as the swing file has it.
    pub(super) fn new(
        thorax: &Part<'_>,
        arm: &Part<'_>,
        heading: Option<Heading>,
        turn_deg: f64,
        when: &When<'_>,
    ) -> Option<Self> {
        let (address_s, top_s) = (when.phases.address_to_s, when.top.t_s);
        let of = |part| Sources::new(part, when.handedness, address_s);
        let (of_thorax, of_arm) = (of(thorax)?, of(arm)?);
        let [thorax_address, thorax_top] = [address_s, top_s].map(|t_s| of_thorax.orientations(t_s));
        let [arm_address, arm_top] = [address_s, top_s].map(|t_s| of_arm.orientations(t_s));
        let heading_rad = heading.map_or(0.0, |h| h.rad);
        let at =
            Ends { thorax: [thorax_address.0, thorax_top.0], arm: [arm_address.0, arm_top.0], heading_rad };
        let later = |part: &Part<'_>, by_s: f64| part.path.orientation_at(top_s + by_s);
        let (late_s, clock_s) = (when.top.sd_s, when.clock_sd_s);
        let mut moved = vec![
            Ends { heading_rad: heading_rad + heading.map_or(0.0, |h| h.sd_rad), ..at },
            // The instant of the top, and one strap's clock against the other's.
            Ends {
                thorax: [at.thorax[0], later(thorax, late_s)],
                arm: [at.arm[0], later(arm, late_s)],
                ..at
            },
            Ends { thorax: [at.thorax[0], later(thorax, clock_s)], ..at },
        ];
        let pairs = thorax_address.1.into_iter().zip(thorax_top.1);
        moved.extend(pairs.map(|(address, top)| Ends { thorax: [address, top], ..at }));
        let pairs = arm_address.1.into_iter().zip(arm_top.1);
        moved.extend(pairs.map(|(address, top)| Ends { arm: [address, top], ..at }));

        let address = |thorax, arm| Ends { thorax: [thorax, at.thorax[1]], arm: [arm, at.arm[1]], ..at };
        let from_s = thorax.path.t_s[0].max(arm.path.t_s[0]);
        let swayed: Vec<Ends> = (0..SWAY_INSTANTS)
            .map(|i| from_s + (address_s - from_s) * (i as f64 + 0.5) / SWAY_INSTANTS as f64)
            .map(|t_s| address(thorax.path.orientation_at(t_s), arm.path.orientation_at(t_s)))
            .collect();
        let is = address(thorax.path.mean_at_address(), arm.path.mean_at_address());
        let mut poses = Self::of(when.handedness, is, at, &moved, &swayed);
        poses.is.turn_deg = turn_deg;
        Some(poses)
    }

    pub(super) fn of(handedness: Handedness, is: Ends, at: Ends, moved: &[Ends], swayed: &[Ends]) -> Self {
        let all = |ends: &[Ends]| ends.iter().map(|ends| ends.read(handedness)).collect();
        Self { is: is.read(handedness), at: at.read(handedness), moved: all(moved), swayed: all(swayed) }
    }

    /// A number with its standard uncertainty.
    pub(super) fn number(&self, of: impl Fn(&Read) -> f64) -> (f64, f64) {
        let (is, at) = (of(&self.is), of(&self.at));
        let sources: f64 = self.moved.iter().map(|m| (of(m) - at).powi(2)).sum();
        let sway: f64 = self.swayed.iter().map(|m| (of(m) - is).powi(2)).sum();
        (is, (sources + sway / self.swayed.len().max(1) as f64).sqrt())
    }

    /// The same of an angle that may wrap, deg.
    pub(super) fn angle(&self, of: impl Fn(&Read) -> f64) -> (f64, f64) {
        let is = of(&self.is);
        self.number(|read| is + wrapped(of(read) - is))
    }
}

#[cfg(test)]
#[path = "arm_pose_tests.rs"]
pub(super) mod tests;
