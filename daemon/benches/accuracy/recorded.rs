//! A body that was recorded optically: open recordings that are not part of the project.

use peakorder_protocol::Handedness;
use peakorder_virtual_straps::{RecordedOptions, Script, Trial, optical};
use std::path::PathBuf;
use std::sync::Arc;

/// Names the folder with the recordings.
const VARIABLE: &str = "PEAKORDER_GOLF_DATA";
/// Golf swings (CMU Graphics Lab Motion Capture Database, subject 64, mocap.cs.cmu.edu; created with funding from
/// NSF EIA-0196217).
const SWINGS: [&str; 5] = ["64_01", "64_02", "64_03", "64_04", "64_05"];

/// Its trials.
#[derive(Debug, Clone)]
pub(crate) struct RecordedBody {
    trials: Arc<[Trial]>,
    options: RecordedOptions,
}

impl RecordedBody {
    /// Of the folder that the environment names, if it names one.
    pub(crate) fn from_environment() -> Option<Self> {
        let folder = PathBuf::from(std::env::var_os(VARIABLE)?);
        let read = |name| optical::trial(&folder, name, true);
        let trials = SWINGS.into_iter().map(read).collect::<Result<_, _>>().expect("the trials can be read");
        let hips_from_root_m = optical::hips_from_root(&folder.join("golf64_dev.npz"), "64/zero.npy");
        let hips_from_root_m = hips_from_root_m.expect("the skeleton can be read");
        Some(Self { trials, options: RecordedOptions { hips_from_root_m, ..RecordedOptions::default() } })
    }

    /// A session of all trials.
    pub(crate) fn script(&self, seed: u64, mirrored: bool) -> Script {
        let handedness = if mirrored { Handedness::Left } else { Handedness::Right };
        let options = RecordedOptions { handedness, ..self.options.clone() };
        Script::recorded(seed, &self.trials, &options).expect("every trial has a swing in it")
    }
}

/// What the report says in place of the scenario.
pub(crate) fn missing() -> String {
    if std::env::var_os(VARIABLE).is_some() {
        return String::new();
    }
    format!("## A recorded body\n\nNOT RUN: {VARIABLE} named no folder with the open recordings.\n\n")
}
