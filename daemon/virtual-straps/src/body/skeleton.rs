//! Pelvis, thorax and lead arm, joined.
//!
//! Frames after the ISB recommendation: X anterior, Y cranial (arm: proximal), Z to the
//! wearer's right; global Y up, X anterior at heading 0. All motion is planned for a
//! right-handed player; a left-handed one is its mirror image in the sagittal plane, so
//! angles about X and Y and positions along Z change sign.

use super::chain::{Axis, Frame, Point};
use super::channel::Channel;
use nalgebra::Vector3;
use peakorder_protocol::{Handedness, Role};

/// Degrees of freedom. Angles in radians, positions in metres; towards the target, the
/// trail side lower and forward are positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Dof {
    /// Whole body about the vertical.
    Heading,
    PelvisForward,
    PelvisSide,
    /// About the pelvis' own long axis.
    PelvisSpin,
    ThoraxForward,
    ThoraxSide,
    /// About the thorax' own long axis.
    ThoraxSpin,
    /// How far the normal of the arm's swing plane leans forward from the vertical.
    ArmPlane,
    /// Turn of the lead arm in its swing plane.
    ArmSwing,
    /// Lead arm forward from hanging.
    ArmForward,
    /// Lead arm's hand towards the lead side.
    ArmSide,
    /// About the arm's own long axis.
    ArmRoll,
    RootX,
    RootY,
    RootZ,
}

/// Number of degrees of freedom.
pub(crate) const DOFS: usize = 15;

/// Where straps and joints are, metres, for a right-handed player.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Build {
    /// Hip centre to lumbar joint, in the pelvis.
    lumbar: Vector3<f64>,
    /// Lumbar joint to the lead shoulder, in the thorax.
    shoulder: Vector3<f64>,
    /// How far the lead shoulder glides forward and up on the chest per radian that the arm
    /// swings across it, in the thorax.
    glide: Vector3<f64>,
    /// Half the distance between the hip joints.
    half_hips: f64,
    /// Strap points: from hip centre, lumbar joint and shoulder.
    straps: [Vector3<f64>; 3],
}

impl Build {
    /// A body of the given stature in metres; proportions are plausible, not measured.
    pub(crate) fn of_stature(stature_m: f64) -> Self {
        let k = stature_m / 1.78;
        Self {
            lumbar: Vector3::new(-0.02, 0.09, 0.0) * k,
            shoulder: Vector3::new(0.0, 0.41, -0.18) * k,
            glide: Vector3::new(0.04, 0.03, 0.0) * k,
            half_hips: 0.086 * k,
            straps: [
                Vector3::new(-0.12, 0.05, 0.0) * k,
                Vector3::new(-0.11, 0.36, 0.0) * k,
                Vector3::new(0.01, -0.16, -0.05) * k,
            ],
        }
    }
}

/// A body that moves by a plan over a whole session.
#[derive(Debug, Clone)]
pub struct Skeleton {
    handedness: Handedness,
    build: Build,
    channels: Vec<Channel>,
}

impl Skeleton {
    pub(crate) fn new(handedness: Handedness, build: Build, channels: Vec<Channel>) -> Self {
        debug_assert_eq!(channels.len(), DOFS);
        Self { handedness, build, channels }
    }

    pub(crate) const fn handedness(&self) -> Handedness {
        self.handedness
    }

    fn link(&self, frame: Frame, axis: Axis, dof: Dof, sign: f64, t: f64) -> Frame {
        frame.turned(axis, self.channels[dof as usize].at(t).scaled(sign))
    }

    /// Orientation, angular velocity and acceleration of a segment at `t`.
    pub(crate) fn frame(&self, role: Role, t: f64) -> Frame {
        let side = self.handedness.sign();
        let base = self.link(Frame::global(), Axis::Y, Dof::Heading, side, t);
        let trunk = |forward, sideways, spin| {
            let leaned = self.link(base, Axis::Z, forward, -1.0, t);
            let bent = self.link(leaned, Axis::X, sideways, side, t);
            self.link(bent, Axis::Y, spin, side, t)
        };
        match role {
            Role::Pelvis => trunk(Dof::PelvisForward, Dof::PelvisSide, Dof::PelvisSpin),
            Role::Thorax => trunk(Dof::ThoraxForward, Dof::ThoraxSide, Dof::ThoraxSpin),
            Role::LeadArm => {
                let plane = self.link(base, Axis::Z, Dof::ArmPlane, -1.0, t);
                let swung = self.link(plane, Axis::Y, Dof::ArmSwing, side, t);
                let back = self.link(swung, Axis::Z, Dof::ArmPlane, 1.0, t);
                let raised = self.link(back, Axis::Z, Dof::ArmForward, 1.0, t);
                let aside = self.link(raised, Axis::X, Dof::ArmSide, side, t);
                self.link(aside, Axis::Y, Dof::ArmRoll, side, t)
            }
        }
    }

    /// How far a segment is turned within the player, by the right-hand rule, rad: pelvis and thorax about
    /// their own long axes, the lead arm in its swing plane.
    pub(crate) fn own_turn(&self, role: Role, t: f64) -> f64 {
        let dof = match role {
            Role::Pelvis => Dof::PelvisSpin,
            Role::Thorax => Dof::ThoraxSpin,
            Role::LeadArm => Dof::ArmSwing,
        };
        self.channels[dof as usize].at(t).value * self.handedness.sign()
    }

    fn mirrored(&self, v: Vector3<f64>) -> Vector3<f64> {
        Vector3::new(v.x, v.y, v.z * self.handedness.sign())
    }

    fn root(&self, t: f64) -> Point {
        let [x, y, z] = [Dof::RootX, Dof::RootY, Dof::RootZ].map(|dof| self.channels[dof as usize].at(t));
        Point {
            position: self.mirrored(Vector3::new(x.value, y.value, z.value)),
            acceleration: self.mirrored(Vector3::new(x.accel, y.accel, z.accel)),
        }
    }

    /// Where the middle of the hips and the joint of the trail hip are.
    pub(crate) fn hips(&self, t: f64) -> [Vector3<f64>; 2] {
        let middle = self.root(t).position;
        let trail = self.mirrored(Vector3::z() * self.build.half_hips);
        [middle, middle + self.frame(Role::Pelvis, t).rotation * trail]
    }

    /// The segment's frame and its strap point, moved by `worn_offset` (segment frame, metres).
    pub(crate) fn strap_point(&self, role: Role, worn_offset: Vector3<f64>, t: f64) -> (Frame, Point) {
        let own = self.frame(role, t);
        let lever = self.mirrored(self.build.straps[role.index()]) + worn_offset;
        let joint = match role {
            Role::Pelvis => self.root(t),
            Role::Thorax => self.lumbar(t),
            Role::LeadArm => self.shoulder(t),
        };
        (own, joint.offset(&own, lever))
    }

    fn lumbar(&self, t: f64) -> Point {
        self.root(t).offset(&self.frame(Role::Pelvis, t), self.mirrored(self.build.lumbar))
    }

    /// The shoulder blade slides on the ribs, so the joint is not fixed in the thorax.
    fn shoulder(&self, t: f64) -> Point {
        let [turn, swing] = [Dof::ThoraxSpin, Dof::ArmSwing].map(|dof| self.channels[dof as usize].at(t));
        let (at, glide) = (self.mirrored(self.build.shoulder), self.mirrored(self.build.glide));
        let lever = [
            at + glide * (turn.value - swing.value),
            glide * (turn.rate - swing.rate),
            glide * (turn.accel - swing.accel),
        ];
        self.lumbar(t).gliding(&self.frame(Role::Thorax, t), lever)
    }
}
