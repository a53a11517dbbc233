//! Upper arm and thorax at address and at the top: angles between them, and how far each source of
//! error moves them.

use super::deviation::Sources;
use super::{Part, When};
use crate::angles::Cardan;
use crate::joint::Heading;
use crate::path::SegmentPath;
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Handedness;

/// How many instants of address stand for its sway.
const SWAY_INSTANTS: usize = 40;

/// Numbers read off one swing's poses.
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
        let in_thorax =
            [0, 1].map(|i| self.thorax[i].inverse() * (turn * in_space[i]));
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
    /// Numbers at one instant of address and at the top, and with one source of error moved by its
    /// standard uncertainty: each is a deviation from the first.
    at: Read,
    moved: Vec<Read>,
    /// Numbers with other instants of address in place of its mean: each is one of many.
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
        let handedness = when.handedness;
        let (address_s, top_s) = (when.phases.address_to_s, when.top.t_s);
        let [of_thorax, of_arm] = [thorax, arm].map(|part| Sources::new(part, handedness, address_s));
        let (of_thorax, of_arm) = (of_thorax?, of_arm?);
        let heading_rad = heading.map_or(0.0, |h| h.rad);
        let ends = |thorax, arm| Ends { thorax, arm, heading_rad };
        let (thorax_address, thorax_address_moved) = of_thorax.orientations(address_s);
        let (thorax_top, thorax_top_moved) = of_thorax.orientations(top_s);
        let (arm_address, arm_address_moved) = of_arm.orientations(address_s);
        let (arm_top, arm_top_moved) = of_arm.orientations(top_s);
        let (thorax_is, arm_is) = ([thorax_address, thorax_top], [arm_address, arm_top]);

        let mut moved: Vec<Read> = Vec::new();
        let mut add = |ends: Ends| moved.push(ends.read(handedness));
        for (address, top) in thorax_address_moved.into_iter().zip(thorax_top_moved) {
            add(ends([address, top], arm_is));
        }
        for (address, top) in arm_address_moved.into_iter().zip(arm_top_moved) {
            add(ends(thorax_is, [address, top]));
        }
        let heading_sd_rad = heading.map_or(0.0, |h| h.sd_rad);
        add(Ends { heading_rad: heading_rad + heading_sd_rad, ..ends(thorax_is, arm_is) });
        // The instant of the top, and one strap's clock against the other's.
        let (late_s, shifted_s) = (top_s + when.top.sd_s, top_s + when.clock_sd_s);
        let [thorax_late, arm_late] = [thorax, arm].map(|part| part.path.orientation_at(late_s));
        add(ends([thorax_address, thorax_late], [arm_address, arm_late]));
        add(ends([thorax_address, thorax.path.orientation_at(shifted_s)], arm_is));

        let [thorax_mean, arm_mean] = [thorax, arm].map(|part| part.path.mean_at_address());
        let (from_s, step_s) = {
            let from_s = thorax.path.t_s[0].max(arm.path.t_s[0]).max(when.phases.address_from_s);
            (from_s, (address_s - from_s) / SWAY_INSTANTS as f64)
        };
        let swayed = (0..SWAY_INSTANTS)
            .map(|i| {
                let t_s = from_s + step_s * (i as f64 + 0.5);
                let at = |path: &SegmentPath| path.orientation_at(t_s);
                ends([at(&thorax.path), thorax_top], [at(&arm.path), arm_top]).read(handedness)
            })
            .collect();
        let is = ends([thorax_mean, thorax_top], [arm_mean, arm_top]).read(handedness);
        Some(Self {
            is: Read { turn_deg, ..is },
            at: ends(thorax_is, arm_is).read(handedness),
            moved,
            swayed,
        })
    }

    /// A number with its standard uncertainty.
    pub(super) fn number(&self, of: impl Fn(&Read) -> f64) -> (f64, f64) {
        let (is, at) = (of(&self.is), of(&self.at));
        let sources: f64 = self.moved.iter().map(|m| (of(m) - at).powi(2)).sum();
        let sway: f64 = self.swayed.iter().map(|m| (of(m) - is).powi(2)).sum();
        (is, (sources + sway / self.swayed.len() as f64).sqrt())
    }

    /// The same of an angle that may wrap, deg.
    pub(super) fn angle(&self, of: impl Fn(&Read) -> f64) -> (f64, f64) {
        let is = of(&self.is);
        self.number(|read| is + wrapped(of(read) - is))
    }
}
