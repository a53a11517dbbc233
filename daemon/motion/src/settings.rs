//! Every threshold of the motion pipeline, with unit, default and meaning.

use peakorder_protocol::UnknownWord;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Settings of the motion pipeline. They are written into `session.toml`, so a replay
/// computes with what the recording was computed with unless told otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Running orientation filter between swings.
    pub filter: FilterKind,
    /// Gradient step of the running Madgwick filter, rad/s. Larger trusts the accelerometer
    /// more. 0.033 is the value of Madgwick's 2010 report for a gyroscope of 5 deg/s error.
    pub madgwick_beta_rad_s: f64,
    /// Thorax speed towards the target (resultant without calibration) that makes a
    /// movement worth looking at as a swing, deg/s.
    pub trigger_thorax_dps: f64,
    /// The same for the lead arm, for swings that the arm does nearly alone, deg/s.
    pub trigger_arm_dps: f64,
    /// Least thorax turn away from the target of a swing, deg.
    pub min_turn_away_deg: f64,
    /// Least ratio of the fastest forward to the fastest away speed of a swing.
    pub min_forward_to_away: f64,
    /// Longest time from reversal to the forward speed maximum, s.
    pub max_downswing_s: f64,
    /// Calibration older than this is stale: angles are withheld, s. Straps creep on cloth
    /// and skin; common practice, no source for the figure.
    pub calibration_valid_s: f64,
    /// Gravity at address further than this from where it was over the swings since
    /// calibration means a strap has slipped, deg. Own judgement: more than another club or
    /// lie changes a posture, less than a strap that has come loose.
    pub slip_deg: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            filter: FilterKind::Vqf,
            madgwick_beta_rad_s: 0.033,
            trigger_thorax_dps: 90.0,
            trigger_arm_dps: 180.0,
            min_turn_away_deg: 15.0,
            min_forward_to_away: 1.25,
            max_downswing_s: 2.0,
            calibration_valid_s: 2.0 * 3600.0,
            slip_deg: 12.0,
        }
    }
}

/// Running orientation filters that can be chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FilterKind {
    /// Madgwick's gradient filter of the `ahrs` crate, the gyroscope's bias removed.
    Madgwick,
    /// Mahony's complementary filter of the `ahrs` crate, the gyroscope's bias removed.
    Mahony,
    /// VQF of the `vqf-rs` crate, the gyroscope's bias removed.
    Vqf,
}

impl fmt::Display for FilterKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Madgwick => "madgwick",
            Self::Mahony => "mahony",
            Self::Vqf => "vqf",
        })
    }
}

impl std::str::FromStr for FilterKind {
    type Err = UnknownWord;

    fn from_str(s: &str) -> Result<Self, UnknownWord> {
        match s {
            "madgwick" => Ok(Self::Madgwick),
            "mahony" => Ok(Self::Mahony),
            "vqf" => Ok(Self::Vqf),
            _ => Err(UnknownWord::new(s, "a filter", "madgwick, mahony or vqf")),
        }
    }
}
