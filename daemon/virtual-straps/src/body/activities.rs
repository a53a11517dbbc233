//! What a player does that is not a swing. Sizes and durations are plausible, not measured.

use super::planner::Planner;
use super::player::PlayerParams;
use super::skeleton::Dof;
use super::swing::PART_ADDRESS;
use super::variation::{Series, Vary};
use peakorder_protocol::log::MarkKind;
use std::f64::consts::{SQRT_2, TAU};

/// Sway of somebody who was asked to stand still, deg/s RMS.
pub(crate) const STILL_SWAY_DPS: f64 = 0.35;
/// Sway of somebody who stands about, deg/s RMS.
const IDLE_SWAY_DPS: f64 = 3.5;

/// Repetitions of a mobility turn to each side.
const TURNS_A_SIDE: usize = 3;

const ANGLES: [Dof; 11] = [
    Dof::PelvisForward,
    Dof::PelvisSide,
    Dof::PelvisSpin,
    Dof::ThoraxForward,
    Dof::ThoraxSide,
    Dof::ThoraxSpin,
    Dof::ArmPlane,
    Dof::ArmSwing,
    Dof::ArmForward,
    Dof::ArmSide,
    Dof::ArmRoll,
];

impl Planner {
    /// Stands still for `duration_s`.
    pub(crate) fn hold(&mut self, duration_s: f64, sway_dps: f64) {
        let end = self.t + duration_s;
        self.sway((self.t, end), sway_dps);
        self.t = end;
    }

    /// Straightens up, arms hanging; within a degree or so of upright.
    pub(crate) fn stand_up(&mut self, duration_s: f64) {
        let mut targets = ANGLES.map(|dof| (dof, 0.0));
        for (dof, target) in &mut targets {
            if !matches!(dof, Dof::ArmPlane | Dof::ArmSwing) {
                *target = self.timeline.bounded(0.0, 0.8);
            }
        }
        self.pose(&targets, duration_s);
        // Hips back to their height over the feet, wherever those are.
        let up = -self.target(Dof::RootY);
        self.shift(self.t - duration_s, duration_s, 0.0, up, 0.0);
    }

    /// Stands about, shifting weight and looking round.
    pub(crate) fn idle(&mut self, duration_s: f64) {
        let end = self.t + duration_s;
        let level = IDLE_SWAY_DPS * self.timeline.uniform(0.5, 1.5);
        self.sway((self.t, end), level);
        while self.t + 4.0 < end {
            let length = self.timeline.uniform(0.9, 2.2);
            let look = self.timeline.bounded(0.0, 18.0);
            let lean = self.timeline.bounded(0.0, 4.0);
            self.to(Dof::ThoraxSpin, self.t, length, look);
            self.to(Dof::PelvisSpin, self.t, length, 0.4 * look);
            self.to(Dof::ThoraxForward, self.t, length, lean);
            self.t += length + self.timeline.uniform(0.3, 2.0);
        }
        self.t = end;
    }

    /// Turns the whole body to `heading_deg`.
    pub(crate) fn face(&mut self, heading_deg: f64) {
        let turn = heading_deg - self.target(Dof::Heading);
        let duration_s = 0.7 + turn.abs() / self.timeline.uniform(70.0, 110.0);
        self.sway((self.t, self.t + duration_s), IDLE_SWAY_DPS);
        self.to(Dof::Heading, self.t, duration_s, heading_deg);
        // The thorax leads the turn a little and comes back.
        self.to(Dof::ThoraxSpin, self.t, 0.4 * duration_s, 0.1 * turn);
        self.to(Dof::ThoraxSpin, self.t + 0.55 * duration_s, 0.4 * duration_s, 0.0);
        self.t += duration_s;
    }

    /// Walks straight on for `duration_s`.
    pub(crate) fn walk(&mut self, duration_s: f64) {
        let (t0, t1) = (self.t, self.t + duration_s);
        let step_hz = self.timeline.uniform(1.7, 2.0);
        let phase = self.timeline.uniform(0.0, TAU);
        self.sway((t0, t1), 2.0);
        let stride = self.timeline.uniform(0.9, 1.3);
        self.shift(t0, duration_s, stride * (duration_s - 0.6).max(0.2), 0.0, 0.0);
        self.wave(Dof::RootY, (t0, t1), 0.022, step_hz, phase);
        self.wave(Dof::RootZ, (t0, t1), 0.02, step_hz / 2.0, phase);
        for (dof, amplitude) in [
            (Dof::PelvisSpin, 5.0),
            (Dof::PelvisSide, 3.5),
            (Dof::ThoraxSpin, -4.0),
            (Dof::ThoraxSide, 1.5),
            (Dof::ArmForward, 18.0),
        ] {
            let size = amplitude * self.timeline.uniform(0.7, 1.2);
            self.wave(dof, (t0, t1), size, step_hz / 2.0, phase + 0.4);
        }
        self.t = t1;
    }

    /// Bends down to a ball on the ground and comes up again.
    pub(crate) fn tee_up(&mut self) {
        let down = self.timeline.uniform(1.1, 1.7);
        let start = self.t;
        let depth = self.timeline.uniform(0.85, 1.1);
        let twist = self.timeline.bounded(0.0, 10.0);
        self.pose(
            &[
                (Dof::PelvisForward, 62.0 * depth),
                (Dof::ThoraxForward, 88.0 * depth),
                (Dof::ThoraxSpin, twist),
                (Dof::ArmForward, 25.0),
                (Dof::ArmRoll, 20.0),
            ],
            down,
        );
        self.shift(start, down, -0.15, -0.25, 0.0);
        let busy = self.timeline.uniform(1.0, 2.5);
        self.hold(busy, 6.0);
        let up = self.timeline.uniform(1.1, 1.8);
        self.stand_up(up);
    }

    /// Takes address and settles; ends when the player is still.
    pub(crate) fn take_address(&mut self, player: &PlayerParams, waggles: bool, series: Option<&mut Series>) {
        let p = player.posture;
        let mut draw = Vary::new(&mut self.timeline, series);
        draw.part(PART_ADDRESS);
        let mut vary = |mean: f64| draw.bounded(mean, 1.0);
        let targets = [
            (Dof::PelvisForward, vary(p.pelvis_forward_deg)),
            (Dof::PelvisSide, vary(1.0)),
            (Dof::PelvisSpin, vary(0.0)),
            (Dof::ThoraxForward, vary(p.thorax_forward_deg)),
            (Dof::ThoraxSide, vary(4.0)),
            (Dof::ThoraxSpin, vary(0.0)),
            (Dof::ArmPlane, vary(p.arm_plane_deg)),
            (Dof::ArmForward, vary(p.arm_forward_deg)),
            (Dof::ArmSide, vary(p.arm_side_deg)),
            (Dof::ArmRoll, vary(5.0)),
        ];
        let duration = self.timeline.uniform(1.6, 2.6);
        let start = self.t;
        self.pose(&targets, duration);
        self.shift(start, duration, -0.08, -0.04, 0.0);
        if waggles {
            let count = 1 + self.timeline.below(3);
            self.waggle(count);
        }
        let settle = self.timeline.uniform(0.3, 0.6);
        self.hold(settle, 1.5);
    }

    /// Stands at address for `duration_s`: sways, and the arm drifts by itself.
    pub(crate) fn stay_at_address(&mut self, player: &PlayerParams, duration_s: f64) {
        if let Some(manner) = &player.manner {
            let span = (self.t, self.t + duration_s);
            for (dof, share) in [(Dof::ArmRoll, 1.5), (Dof::ArmForward, 0.4), (Dof::ArmSide, 0.4)] {
                let hz = self.timeline.uniform(0.3, 1.0);
                let amplitude = SQRT_2 * share * manner.arm_drift_dps / (TAU * hz);
                let phase = self.timeline.uniform(0.0, TAU);
                self.wave(dof, span, amplitude, hz, phase);
            }
            // Nobody stops swaying in order to take away.
            self.sway((span.0, span.1 + 0.5), player.address_sway_dps);
            self.t = span.1;
            return;
        }
        self.hold(duration_s, player.address_sway_dps);
    }

    /// Small back-and-forth movements of the arms at address.
    pub(crate) fn waggle(&mut self, count: usize) {
        for _ in 0..count {
            let length = self.timeline.uniform(0.35, 0.6);
            let size = self.timeline.uniform(8.0, 20.0);
            let start = self.t;
            for (dof, share) in [(Dof::ArmSwing, -1.0), (Dof::ArmRoll, -0.8), (Dof::ThoraxSpin, -0.15)] {
                let home = self.target(dof);
                self.to(dof, start, length, home + share * size);
                self.to(dof, start + length * 1.05, length, home);
            }
            self.sway((start, start + 2.1 * length), 2.0);
            self.t += 2.1 * length;
        }
    }

    /// Bumps the hips towards the target and back: a drill, no swing.
    pub(crate) fn hip_bump(&mut self, count: usize) {
        for _ in 0..count {
            let length = self.timeline.uniform(0.4, 0.7);
            let size = self.timeline.uniform(12.0, 22.0);
            self.to(Dof::PelvisSpin, self.t, length, size);
            self.to(Dof::PelvisSide, self.t, length, 0.3 * size);
            self.shift(self.t, length, 0.0, 0.0, 0.1);
            let back = self.t + length + 0.1;
            self.to(Dof::PelvisSpin, back, length, 0.0);
            self.to(Dof::PelvisSide, back, length, 0.0);
            self.shift(back, length, 0.0, 0.0, -0.1);
            self.sway((self.t, back + length), 2.0);
            self.t = back + length + 0.2;
        }
    }

    /// Lets the arms swing from side to side while the trunk stays.
    pub(crate) fn arm_swings(&mut self, count: usize) {
        let hz = self.timeline.uniform(0.6, 0.9);
        let size = self.timeline.uniform(20.0, 45.0);
        let span = (self.t, self.t + count as f64 / hz + 0.7);
        let plane = self.timeline.uniform(60.0, 75.0);
        self.to(Dof::ArmPlane, self.t - 0.5, 0.5, plane);
        self.wave(Dof::ArmSwing, span, size, hz, 0.0);
        self.wave(Dof::ThoraxSpin, span, 0.06 * size, hz, 0.0);
        self.sway(span, 2.0);
        self.t = span.1;
        self.to(Dof::ArmPlane, self.t, 0.5, 0.0);
        self.t += 0.6;
    }

    /// Turns the trunk to both sides, three times each and in turn, marked; seated the pelvis
    /// stays.
    pub(crate) fn mobility_turn(&mut self, seated: bool, thorax_deg: f64, pelvis_deg: f64) {
        self.hold(0.6, 0.5);
        self.mark(MarkKind::TurnStart, if seated { "seated" } else { "standing" });
        self.hold(1.2, 0.5);
        for side in [-1.0, 1.0].into_iter().cycle().take(2 * TURNS_A_SIDE) {
            let length = self.timeline.uniform(1.6, 2.3);
            let size = side * self.timeline.bounded(1.0, 0.03);
            let pelvis = if seated { 0.06 * pelvis_deg } else { pelvis_deg };
            for (dof, deg) in [(Dof::ThoraxSpin, thorax_deg), (Dof::PelvisSpin, pelvis)] {
                self.to(dof, self.t, length, size * deg);
                self.to(dof, self.t + length + 0.8, length, 0.0);
            }
            let end = self.t + 2.0 * length + 0.8;
            self.sway((self.t, end), 1.0);
            self.t = end;
            self.hold(0.8, 0.6);
        }
        self.mark(MarkKind::TurnEnd, "");
    }

    /// Still, bow, arm raise, each between its marks, with human imperfection.
    pub(crate) fn calibrate(&mut self, with_arm: bool) {
        self.stand_up(1.5);
        self.hold(1.0, 1.0);
        self.mark(MarkKind::StillStart, "");
        let still = self.timeline.uniform(4.5, 6.0);
        self.hold(still, STILL_SWAY_DPS);
        self.mark(MarkKind::StillEnd, "");
        self.hold(1.5, 1.5);
        self.mark(MarkKind::BowStart, "");
        self.hold(0.6, 0.6);
        for _ in 0..2 {
            self.bow();
        }
        self.mark(MarkKind::BowEnd, "");
        self.hold(1.5, 1.5);
        if with_arm {
            self.mark(MarkKind::ArmRaiseStart, "");
            self.hold(0.6, 0.6);
            for _ in 0..2 {
                self.arm_raise();
            }
            self.mark(MarkKind::ArmRaiseEnd, "");
            self.hold(1.0, 1.5);
        }
    }

    /// Two quick turns and a stop, marked.
    pub(crate) fn shake(&mut self) {
        self.mark(MarkKind::ShakeStart, "");
        self.hold(1.0, 0.6);
        let start = self.t;
        let size = self.timeline.uniform(38.0, 50.0);
        for (share, quick_s) in [(-1.0, (0.32, 0.42)), (1.0, (0.45, 0.6)), (0.0, (0.3, 0.38))] {
            let length = self.timeline.uniform(quick_s.0, quick_s.1);
            self.to(Dof::ThoraxSpin, self.t, length, share * size);
            self.to(Dof::PelvisSpin, self.t, length, 0.6 * share * size);
            // The arms stay at the body.
            self.to(Dof::ArmSwing, self.t, length, share * size);
            self.t += length;
        }
        self.sway((start, self.t), 1.0);
        self.hold(2.2, 0.8);
        self.mark(MarkKind::ShakeEnd, "");
    }

    fn bow(&mut self) {
        let deep = self.timeline.uniform(36.0, 45.0);
        let length = self.timeline.uniform(1.3, 1.8);
        let start = self.t;
        // Axis errors: a bow that also leans and turns by a few per cent.
        let (lean, twist) = (self.timeline.bounded(0.0, 0.03), self.timeline.bounded(0.0, 0.03));
        let thorax = self.timeline.uniform(1.0, 1.12);
        let home: Vec<f64> = ANGLES.iter().map(|&dof| self.target(dof)).collect();
        self.pose(
            &[
                (Dof::PelvisForward, deep),
                (Dof::ThoraxForward, deep * thorax),
                (Dof::PelvisSide, deep * lean),
                (Dof::ThoraxSide, deep * lean),
                (Dof::PelvisSpin, deep * twist),
                (Dof::ThoraxSpin, deep * twist),
            ],
            length,
        );
        self.shift(start, length, -0.12, -0.02, 0.0);
        self.hold(0.5, 1.0);
        let back = self.t;
        let targets: Vec<(Dof, f64)> = ANGLES.into_iter().zip(home).collect();
        self.pose(&targets, length);
        self.shift(back, length, 0.12, 0.02, 0.0);
        self.sway((start, self.t), 1.0);
        self.hold(0.6, 0.8);
    }

    fn arm_raise(&mut self) {
        let length = self.timeline.uniform(1.2, 1.7);
        let high = self.timeline.bounded(90.0, 4.0);
        let aside = self.timeline.bounded(0.0, 2.5);
        let roll = self.timeline.bounded(0.0, 3.0);
        let start = self.t;
        self.pose(&[(Dof::ArmForward, high), (Dof::ArmSide, aside), (Dof::ArmRoll, roll)], length);
        self.hold(0.5, 1.0);
        self.pose(&[(Dof::ArmForward, 0.0), (Dof::ArmSide, 0.0), (Dof::ArmRoll, 0.0)], length);
        self.sway((start, self.t), 1.0);
        self.hold(0.6, 0.8);
    }
}
