//! A session of a recorded body: calibration movements, rests and trials, joined smoothly.
//!
//! The calibration movements and rests are invented; the trials are as they were seen.

use super::pose::{Join, Pose};
use super::{Recorded, Trial};
use crate::rng::Draw;
use crate::script::RecordedOptions;
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Handedness;
use peakorder_protocol::log::{Mark, MarkKind};
use std::f64::consts::{SQRT_2, TAU};

/// From rest into a trial, and out of it, s.
const LEAD_S: f64 = 0.4;
const TAIL_S: f64 = 0.5;
/// Sway of somebody who was asked to stand still, deg SD about each axis, and of somebody who waits. Plausible.
const STILL_DEG: f64 = 0.25;
const WAITING_DEG: f64 = 0.8;
/// Sway fades in and out over this time, s.
const FADE_S: f64 = 0.4;
const SWAY_WAVES: usize = 4;

/// A trial's part of a session, s, and its hands.
#[derive(Debug)]
pub(crate) struct TrialSpan {
    pub(crate) name: String,
    pub(crate) golf: bool,
    /// First and last row of the trial.
    pub(crate) span_s: (f64, f64),
    /// At rest again.
    pub(crate) over_s: f64,
    /// Middle of the hands, m, a row a sample from the start of the span.
    pub(crate) hands: Vec<Vector3<f64>>,
    pub(crate) hz: f64,
}

/// An upright body, from which calibration movements are made.
struct Upright {
    heading: UnitQuaternion<f64>,
    root: Vector3<f64>,
    /// Root to middle of the hips, root to base of the thorax, that to the lead shoulder; in the axes of the segment
    /// that carries them, m.
    hips: Vector3<f64>,
    thorax: Vector3<f64>,
    shoulder: Vector3<f64>,
    /// How far from upright each segment stands, in its own axes.
    lean: [UnitQuaternion<f64>; 3],
}

fn about_z(deg: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_axis_angle(&Vector3::z_axis(), deg.to_radians())
}

fn about_y(deg: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_axis_angle(&Vector3::y_axis(), deg.to_radians())
}

impl Upright {
    /// Where the first trial stands, somewhat taller; levers are the mean ones of that trial.
    fn of(trial: &Trial, options: &RecordedOptions, draw: &mut Draw) -> Self {
        let first = &trial.rows[0];
        let ahead = first[0].rotation * Vector3::x();
        let mean = |of: &dyn Fn(&[Pose; 3]) -> Vector3<f64>| {
            trial.rows.iter().map(of).sum::<Vector3<f64>>() / trial.rows.len() as f64
        };
        let lean = [1.0, 1.0, 2.5].map(|size| {
            let sd = size * options.pose_deg.to_radians();
            let about = Vector3::new(draw.bounded(0.0, sd), 0.0, draw.bounded(0.0, sd));
            UnitQuaternion::from_scaled_axis(about)
        });
        Self {
            heading: UnitQuaternion::from_axis_angle(&Vector3::y_axis(), (-ahead.z).atan2(ahead.x)),
            root: first[0].position + Vector3::y() * 0.06,
            hips: options.hips_from_root_m,
            thorax: mean(&|r| r[0].rotation.inverse() * (r[1].position - r[0].position)),
            shoulder: mean(&|r| r[1].rotation.inverse() * (r[2].position - r[1].position)),
            lean,
        }
    }

    /// Pelvis and thorax bowed, arm raised, all turned by `twist`, deg: a person's hinge is not quite level.
    fn pose(&self, bow: [f64; 2], raised: f64, twist: f64) -> [Pose; 3] {
        let turned = |deg: f64| self.heading * about_y(twist) * about_z(deg);
        let (pelvis, thorax, arm) = (turned(-bow[0]), turned(-bow[1]), turned(raised));
        let root = self.root + self.heading * self.hips - pelvis * self.hips;
        let base = root + pelvis * self.thorax;
        let shoulder = base + thorax * self.shoulder;
        let at = |i: usize, rotation: UnitQuaternion<f64>, position| Pose {
            rotation: rotation * self.lean[i],
            position,
        };
        [at(0, pelvis, root), at(1, thorax, base), at(2, arm, shoulder)]
    }

    fn standing(&self) -> [Pose; 3] {
        self.pose([0.0; 2], 0.0, 0.0)
    }
}

/// Rows of poses along session time.
pub(crate) struct Timeline {
    hz: f64,
    rows: Vec<[Pose; 3]>,
    draw: Draw,
    sway: Draw,
    pub(crate) marks: Vec<Mark>,
    pub(crate) spans: Vec<TrialSpan>,
}

impl Timeline {
    /// Calibration, then the trials with rests between.
    pub(crate) fn of(
        trials: &[Trial],
        options: &RecordedOptions,
        mut lean: Draw,
        draw: Draw,
        sway: Draw,
    ) -> Self {
        let mut line = Self {
            hz: trials.first().map_or(1.0, |t| t.hz),
            rows: Vec::new(),
            draw,
            sway,
            marks: Vec::new(),
            spans: Vec::new(),
        };
        let Some(first) = trials.first() else { return line };
        let upright = Upright::of(first, options, &mut lean);
        line.calibrate(&upright);
        for trial in trials {
            line.trial(trial, options);
            line.go(upright.standing(), 2.0);
            let rest = line.draw.uniform(options.rest_s.0, options.rest_s.1);
            line.hold(rest, WAITING_DEG);
        }
        line
    }

    /// Session time of the next row, s.
    pub(crate) fn now_s(&self) -> f64 {
        self.rows.len() as f64 / self.hz
    }

    fn last(&self) -> [Pose; 3] {
        self.rows[self.rows.len() - 1]
    }

    fn mark(&mut self, kind: MarkKind) {
        let t_ns = (self.now_s() * 1e9).round() as u64;
        self.marks.push(Mark { t_ns, kind, detail: String::new() });
    }

    /// Rows for `seconds`, of `pose` at a time that runs from 0 on.
    fn play(&mut self, seconds: f64, pose: impl Fn(f64) -> [Pose; 3]) {
        let n = (seconds * self.hz).round() as usize;
        let hz = self.hz;
        self.rows.extend((1..=n).map(|i| pose(i as f64 / hz)));
    }

    /// Stays at the last pose, swaying slowly by `deg` SD about each axis.
    fn hold(&mut self, seconds: f64, deg: f64) {
        let home = self.last();
        let wave = |draw: &mut Draw| {
            let hz = draw.uniform(0.06, 0.35);
            let size = (deg * SQRT_2 / (SWAY_WAVES as f64).sqrt()).to_radians();
            (size, TAU * hz, draw.uniform(0.0, TAU))
        };
        let waves: [[[_; SWAY_WAVES]; 3]; 3] =
            std::array::from_fn(|_| std::array::from_fn(|_| std::array::from_fn(|_| wave(&mut self.sway))));
        let fade_s = FADE_S.min(0.5 * seconds);
        self.play(seconds, |t| {
            let edge = (t.min(seconds - t) / fade_s).clamp(0.0, 1.0);
            let fade = crate::body::channel::Shape::MinJerk.at(edge).value;
            std::array::from_fn(|i| {
                let angle = |axis: usize| {
                    waves[i][axis].iter().map(|(size, w, phase)| size * (w * t + phase).sin()).sum::<f64>()
                };
                let turn = Vector3::new(angle(0), angle(1), angle(2)) * fade;
                home[i].changed((turn, Vector3::zeros()))
            })
        });
    }

    /// From rest to rest at `pose`.
    fn go(&mut self, pose: [Pose; 3], seconds: f64) {
        let from = self.last();
        self.play(seconds, |t| [0, 1, 2].map(|i| from[i].towards(&pose[i], t / seconds)));
    }

    fn calibrate(&mut self, upright: &Upright) {
        self.rows.push(upright.standing());
        self.hold(4.0, WAITING_DEG);
        self.mark(MarkKind::StillStart);
        let still = self.draw.uniform(4.5, 6.0);
        self.hold(still, STILL_DEG);
        self.mark(MarkKind::StillEnd);
        self.hold(1.5, STILL_DEG);
        let swell = |t: f64, period: f64| 0.5 - 0.5 * (TAU * t / period).cos();
        let (deep, more) = (self.draw.uniform(35.0, 44.0), self.draw.uniform(1.2, 1.5));
        let (period, twist) = (self.draw.uniform(2.2, 2.8), self.draw.bounded(0.0, 2.0));
        self.between(MarkKind::BowStart, MarkKind::BowEnd, 2.0 * period, |t| {
            let share = swell(t, period);
            upright.pose([deep * share, more * deep * share], 0.0, twist * share)
        });
        let (high, period) = (self.draw.bounded(88.0, 4.0), self.draw.uniform(2.0, 2.6));
        let twist = self.draw.bounded(0.0, 2.0);
        self.between(MarkKind::ArmRaiseStart, MarkKind::ArmRaiseEnd, 2.0 * period, |t| {
            let share = swell(t, period);
            let mut pose = upright.pose([0.0; 2], high * share, twist * share);
            let standing = upright.standing();
            // Only the arm moves.
            pose[..2].copy_from_slice(&standing[..2]);
            pose
        });
        self.hold(1.5, WAITING_DEG);
    }

    fn between(&mut self, from: MarkKind, to: MarkKind, seconds: f64, pose: impl Fn(f64) -> [Pose; 3]) {
        self.mark(from);
        self.hold(1.0, STILL_DEG);
        self.play(seconds, pose);
        self.hold(1.0, STILL_DEG);
        self.mark(to);
        self.hold(1.0, WAITING_DEG);
    }

    fn trial(&mut self, trial: &Trial, options: &RecordedOptions) {
        let (rows, step_s) = (&trial.rows, 1.0 / self.hz);
        let four = |at: &dyn Fn(usize) -> usize, duration_s: f64| {
            [0, 1, 2].map(|i| Join::into([0, 1, 2, 3].map(|k| rows[at(k)][i]), step_s, duration_s))
        };
        let (lead, tail) = (four(&|k| k, LEAD_S), four(&|k| rows.len() - 1 - k, TAIL_S));
        let at = |joins: &[Join; 3], before_s: f64| [0, 1, 2].map(|i| joins[i].at(before_s));
        let to_address = self.draw.uniform(2.0, 3.0);
        self.go(at(&lead, LEAD_S), to_address);
        let still = self.draw.uniform(options.still_s.0, options.still_s.1);
        self.hold(still, STILL_DEG);
        self.play(LEAD_S - step_s, |t| at(&lead, LEAD_S - t));
        let from = self.now_s();
        self.rows.extend_from_slice(rows);
        let span_s = (from, from + trial.duration_s());
        self.play(TAIL_S, |t| at(&tail, t));
        self.spans.push(TrialSpan {
            name: trial.name.clone(),
            golf: trial.golf,
            span_s,
            over_s: self.now_s(),
            hands: trial.hands.clone(),
            hz: trial.hz,
        });
        let finish = self.draw.uniform(0.8, 1.6);
        self.hold(finish, STILL_DEG);
    }

    /// The body that went through all this.
    pub(crate) fn body(&self, hips_from_root: Vector3<f64>, handedness: Handedness) -> Recorded {
        Recorded::through(&self.rows, self.hz, hips_from_root, handedness)
    }
}
