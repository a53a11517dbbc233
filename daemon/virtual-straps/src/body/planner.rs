//! Plans who moves when: collects the pieces of every degree of freedom along a cursor of
//! session time.

use super::Body;
use super::channel::{Channel, Piece, Shape};
use super::skeleton::{Build, DOFS, Dof, Skeleton};
use crate::rng::Draw;
use peakorder_protocol::Handedness;
use peakorder_protocol::log::{Mark, MarkKind};
use std::f64::consts::{SQRT_2, TAU};

impl Dof {
    /// Factor from the planning unit (degrees, metres) to the channel's (radians, metres).
    fn unit(self) -> f64 {
        match self {
            Self::RootX | Self::RootY | Self::RootZ => 1.0,
            _ => 1f64.to_radians(),
        }
    }
}

/// Share of the sway level that each angle takes. The plane and swing of the arm stay out:
/// they are conditions of a swing, not of standing.
const SWAY: [(Dof, f64); 9] = [
    (Dof::PelvisForward, 0.6),
    (Dof::PelvisSide, 0.5),
    (Dof::PelvisSpin, 0.7),
    (Dof::ThoraxForward, 0.9),
    (Dof::ThoraxSide, 0.6),
    (Dof::ThoraxSpin, 0.9),
    (Dof::ArmForward, 0.9),
    (Dof::ArmSide, 0.7),
    (Dof::ArmRoll, 1.2),
];
/// Waves in each swaying angle.
const SWAY_WAVES: usize = 3;
/// Fading of sway at the edges of an activity, seconds.
const SWAY_RAMP_S: f64 = 0.35;

/// Plans a session.
#[derive(Debug)]
pub(crate) struct Planner {
    /// Cursor, session seconds.
    pub(crate) t: f64,
    /// Draws for what happens.
    pub(crate) timeline: Draw,
    sway: Draw,
    target: [f64; DOFS],
    pieces: Vec<Vec<Piece>>,
    /// Marks so far, in order of time.
    pub(crate) marks: Vec<Mark>,
}

impl Planner {
    pub(crate) fn new(timeline: Draw, sway: Draw) -> Self {
        Self {
            t: 0.0,
            timeline,
            sway,
            target: [0.0; DOFS],
            pieces: vec![Vec::new(); DOFS],
            marks: Vec::new(),
        }
    }

    /// Where a degree of freedom will be when all that is planned has happened (degrees, metres).
    pub(crate) fn target(&self, dof: Dof) -> f64 {
        self.target[dof as usize]
    }

    /// Adds a change by `delta` (degrees, metres).
    pub(crate) fn step(&mut self, dof: Dof, start_s: f64, duration_s: f64, delta: f64, shape: Shape) {
        if delta == 0.0 {
            return;
        }
        self.target[dof as usize] += delta;
        let delta = delta * dof.unit();
        self.pieces[dof as usize].push(Piece::Step { start_s, duration_s, delta, shape });
    }

    /// Moves to `target` (degrees, metres).
    pub(crate) fn to(&mut self, dof: Dof, start_s: f64, duration_s: f64, target: f64) {
        self.step(dof, start_s, duration_s, target - self.target(dof), Shape::MinJerk);
    }

    /// Adds an oscillation (degrees, metres; hertz).
    pub(crate) fn wave(&mut self, dof: Dof, span_s: (f64, f64), amplitude: f64, hz: f64, phase: f64) {
        let length = span_s.1 - span_s.0;
        self.pieces[dof as usize].push(Piece::Wave {
            start_s: span_s.0,
            end_s: span_s.1,
            ramp_s: SWAY_RAMP_S.min(length / 2.0),
            amplitude: amplitude * dof.unit(),
            omega: TAU * hz,
            phase,
        });
    }

    /// Moves several degrees of freedom to targets, each with its own small delay, and
    /// advances the cursor until all have arrived.
    pub(crate) fn pose(&mut self, targets: &[(Dof, f64)], duration_s: f64) {
        for &(dof, target) in targets {
            let delay = self.timeline.uniform(0.0, 0.15) * duration_s;
            let length = duration_s * self.timeline.uniform(0.75, 0.85);
            self.to(dof, self.t + delay, length, target);
        }
        self.t += duration_s;
    }

    /// Sway about the current posture over `span_s`: `level_dps` is the RMS rate of an angle
    /// of weight 1. The hips move along by millimetres.
    pub(crate) fn sway(&mut self, span_s: (f64, f64), level_dps: f64) {
        let length = span_s.1 - span_s.0;
        if length <= 0.1 || level_dps <= 0.0 {
            return;
        }
        for (dof, weight) in SWAY {
            for _ in 0..SWAY_WAVES {
                let hz = 0.15 * 8f64.powf(self.sway.uniform(0.0, 1.0));
                let rms = level_dps * weight / (SWAY_WAVES as f64).sqrt();
                let phase = self.sway.uniform(0.0, TAU);
                self.wave(dof, span_s, rms * SQRT_2 / (TAU * hz), hz, phase);
            }
        }
        for dof in [Dof::RootX, Dof::RootZ] {
            let hz = self.sway.uniform(0.15, 0.6);
            let amplitude = 0.002 * level_dps.min(5.0) * self.sway.uniform(0.5, 1.0);
            let phase = self.sway.uniform(0.0, TAU);
            self.wave(dof, span_s, amplitude, hz, phase);
        }
    }

    /// Shifts the hips by metres forward, up and towards the target as the player faces now.
    pub(crate) fn shift(&mut self, start_s: f64, duration_s: f64, forward: f64, up: f64, target: f64) {
        let (s, c) = self.target(Dof::Heading).to_radians().sin_cos();
        self.step(Dof::RootX, start_s, duration_s, c * forward - s * target, Shape::MinJerk);
        self.step(Dof::RootY, start_s, duration_s, up, Shape::MinJerk);
        self.step(Dof::RootZ, start_s, duration_s, -s * forward - c * target, Shape::MinJerk);
    }

    /// Puts a mark at the cursor.
    pub(crate) fn mark(&mut self, kind: MarkKind, detail: &str) {
        let t_ns = (self.t * 1e9).round() as u64;
        self.marks.push(Mark { t_ns, kind, detail: detail.to_owned() });
    }

    /// Ends the planning.
    pub(crate) fn finish(self, handedness: Handedness, stature_m: f64) -> (Body, Vec<Mark>) {
        let channels = self.pieces.iter().map(|pieces| Channel::new(0.0, pieces)).collect();
        let body = Skeleton::new(handedness, Build::of_stature(stature_m), channels);
        (Body::Planned(body), self.marks)
    }
}
