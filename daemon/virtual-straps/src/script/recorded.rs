//! Sessions of a body that was recorded.

use super::{Script, StrapOptions};
use crate::body::Body;
use crate::body::player::{PlayerParams, Population};
use crate::body::recorded::{Timeline, Trial, TrialError, swing_of};
use crate::rng::{Draw, Purpose};
use nalgebra::Vector3;
use peakorder_protocol::Handedness;
use std::sync::Arc;

/// How a session is made of recorded trials.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordedOptions {
    /// Middle of the hips from the root of the trials, in the pelvis (X anterior, Y cranial, Z right), m.
    pub hips_from_root_m: Vector3<f64>,
    /// How far from upright pelvis and thorax stand when asked to stand upright, deg SD about each horizontal
    /// axis; the arm two and a half times as far.
    pub pose_deg: f64,
    /// Left plays the mirror image.
    pub handedness: Handedness,
    /// Stillness before a trial, s from…to.
    pub still_s: (f64, f64),
    /// Rest after a trial, s from…to.
    pub rest_s: (f64, f64),
}

impl Default for RecordedOptions {
    fn default() -> Self {
        Self {
            hips_from_root_m: Vector3::new(0.0, -0.05, 0.0),
            pose_deg: 1.0,
            handedness: Handedness::Right,
            still_s: (0.8, 2.0),
            rest_s: (2.0, 5.0),
        }
    }
}

impl Script {
    /// Calibration movements of the same body, invented, then the trials, in their order and with rests between.
    /// Trials of golf are swings that hit a ball. All trials have one rate. Of the player, only the side is known.
    ///
    /// # Errors
    /// When there is no trial, when their rates differ, or when one said to be of golf has no swing in it.
    pub fn recorded(seed: u64, trials: &[Trial], options: &RecordedOptions) -> Result<Self, TrialError> {
        let alike = |t: &Trial| (t.hz - trials[0].hz).abs() < 1e-3 * t.hz;
        if trials.is_empty() || !trials.iter().all(alike) {
            return Err(TrialError::Times);
        }
        let [lean, timeline, sway] =
            [Purpose::Player, Purpose::Timeline, Purpose::Sway].map(|p| Draw::new(seed, p, 1));
        let line = Timeline::of(trials, options, lean, timeline, sway);
        let body = Body::Recorded(line.body(options.hips_from_root_m, options.handedness));
        let mut plans = Vec::new();
        for span in line.spans.iter().filter(|s| s.golf) {
            let number = plans.len() as u32 + 1;
            let plan = swing_of(&body, span, number);
            plans.push(plan.ok_or_else(|| TrialError::NoSwing(span.name.clone()))?);
        }
        let duration_s = line.now_s() - 0.1;
        Ok(Self {
            seed,
            player: PlayerParams {
                name: "recorded body".into(),
                handedness: options.handedness,
                ..PlayerParams::mean_of(Population::Amateur)
            },
            body: Arc::new(body),
            marks: line.marks,
            plans: plans.into(),
            repetitions: Vec::new().into(),
            duration_s,
            straps: StrapOptions::default(),
        })
    }
}
