//! The guided movements of the calibration and what came of each.

use crate::role::Role;
use serde::{Deserialize, Serialize};

/// A guided movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "kebab-case")]
pub enum CalibrationStep {
    /// Stand upright and still.
    Still,
    /// Hinge at the hips forward and back, twice.
    Bow,
    /// Lead arm straight, hanging → forward horizontal → back, twice.
    ArmRaise,
    /// Two quick turns and a stop: does the strap ring, or slide? May be left out.
    Shake,
}

impl CalibrationStep {
    /// All steps, in the order they are asked for.
    pub const ALL: [Self; 4] = [Self::Still, Self::Bow, Self::ArmRaise, Self::Shake];

    /// The key in files and marks.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::Bow => "bow",
            Self::ArmRaise => "arm-raise",
            Self::Shake => "shake",
        }
    }

    /// Does this step concern a strap worn there?
    pub const fn concerns(self, role: Role) -> bool {
        match self {
            Self::Still | Self::Shake => true,
            Self::Bow => matches!(role, Role::Pelvis | Role::Thorax),
            Self::ArmRaise => matches!(role, Role::LeadArm),
        }
    }
}

/// One step as judged for one strap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(into = "StoredStep", from = "StoredStep")]
pub struct JudgedStep {
    /// Session clock at the end of the movement, seconds.
    pub t_s: f64,
    /// Movement.
    pub step: CalibrationStep,
    /// Strap.
    pub role: Role,
    /// What came of it.
    pub outcome: CalibrationOutcome,
}

impl JudgedStep {
    /// Whether the step need not be repeated.
    pub const fn passed(&self) -> bool {
        self.outcome.passed()
    }
}

/// What came of a step for one strap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(untagged)]
pub enum CalibrationOutcome {
    /// An axis of the segment was found.
    Passed {
        /// What was measured: a key with its data beside it.
        #[serde(flatten)]
        found: Found,
        /// Standard uncertainty of the axis, degrees; of a shake test that of `moved_deg`.
        sd_deg: f64,
    },
    /// It has to be repeated: a key with its data beside it.
    Refused(Refusal),
    /// The sentence that versions before these keys stored instead.
    Told {
        /// Accepted?
        #[serde(skip)]
        ok: bool,
        /// The sentence.
        text: String,
        /// Standard uncertainty of the axis, degrees.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sd_deg: Option<f64>,
    },
}

impl CalibrationOutcome {
    /// Whether the step need not be repeated.
    pub const fn passed(&self) -> bool {
        match self {
            Self::Passed { .. } => true,
            Self::Refused(_) => false,
            Self::Told { ok, .. } => *ok,
        }
    }
}

/// What a step that passed measured. A key keeps its data; what it needs more is a new key.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "found", rename_all = "kebab-case")]
pub enum Found {
    /// Gravity in a still pose.
    Gravity {
        /// RMS of the rate about its mean, degrees per second.
        rate_dps: f64,
        /// Size of gravity as the strap reads it, g.
        gravity_g: f64,
    },
    /// The axis of a movement there and back.
    Hinge {
        /// Largest angle from the start, degrees.
        range_deg: f64,
        /// Share of the rotation that was not about the axis.
        off_axis: f64,
    },
    /// A strap that neither rings nor has slid.
    Firm {
        /// Amplitude of what might be ringing after the stop, degrees per second; 0 where nothing was found.
        ring_dps: f64,
        /// Gravity afterwards is so far from where it was, degrees.
        moved_deg: f64,
    },
    /// A key of another version.
    #[serde(other)]
    OtherVersion,
}

/// Why a step has to be repeated. A key keeps its data; what it needs more is a new key.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "refused", rename_all = "kebab-case")]
pub enum Refusal {
    /// The strap sent nothing during it.
    NoSamples,
    /// The strap's samples cover too short a time.
    TooShort {
        /// So long, seconds.
        lasted_s: f64,
        /// At least so long, seconds.
        least_s: f64,
    },
    /// The segment moved in the still pose.
    Moved {
        /// RMS of the rate about its mean, degrees per second.
        rate_dps: f64,
        /// At most so much, degrees per second.
        most_dps: f64,
    },
    /// Gravity at rest is not 1 g: unit or range of the strap's profile do not fit.
    WrongGravity {
        /// As the strap reads it, g.
        gravity_g: f64,
    },
    /// The segment leaned slowly in the still pose.
    Leaned {
        /// So far, degrees.
        lean_deg: f64,
    },
    /// The segment did not move.
    NoMovement,
    /// The movement was too small to show an axis.
    TooSmall {
        /// Largest angle from the start, degrees.
        range_deg: f64,
        /// At least so much, degrees.
        least_deg: f64,
    },
    /// The movement was not about one axis.
    OffAxis {
        /// Share of the rotation that was not about the main axis.
        off_axis: f64,
    },
    /// The segment turned about its long axis.
    AboutLongAxis,
    /// The movement did not end where it began.
    NotReturned {
        /// So far from it, degrees.
        left_over_deg: f64,
    },
    /// The turns of a shake test were too slow to show anything.
    TooSlow {
        /// Fastest, degrees per second.
        speed_dps: f64,
        /// At least so fast, degrees per second.
        least_dps: f64,
    },
    /// There was too little standing still before the turns of a shake test or after them.
    NotHeld {
        /// So long, the shorter of the two, seconds.
        still_s: f64,
        /// At least so long, seconds.
        least_s: f64,
    },
    /// The strap rings on its seat.
    Rings {
        /// Frequency, hertz.
        hz: f64,
        /// Share of critical damping.
        damping: f64,
        /// Amplitude after the stop, degrees per second.
        ring_dps: f64,
        /// Its standard uncertainty, degrees per second.
        ring_sd_dps: f64,
        /// Gravity afterwards is so far from where it was, degrees.
        moved_deg: f64,
    },
    /// The strap has slid.
    Slid {
        /// Gravity afterwards is so far from where it was, degrees.
        moved_deg: f64,
        /// Standard uncertainty of a person's standing alike twice, about each axis, degrees.
        moved_sd_deg: f64,
    },
    /// A key of another version.
    #[serde(other)]
    OtherVersion,
}

/// A judged step as files and live events hold it: `ok` beside the outcome's keys.
#[derive(Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema), schema(as = JudgedStep))]
pub(crate) struct StoredStep {
    t_s: f64,
    step: CalibrationStep,
    role: Role,
    ok: bool,
    #[serde(flatten)]
    outcome: CalibrationOutcome,
}

impl From<JudgedStep> for StoredStep {
    fn from(judged: JudgedStep) -> Self {
        let ok = judged.passed();
        let JudgedStep { t_s, step, role, outcome } = judged;
        Self { t_s, step, role, ok, outcome }
    }
}

impl From<StoredStep> for JudgedStep {
    fn from(stored: StoredStep) -> Self {
        let StoredStep { t_s, step, role, ok, mut outcome } = stored;
        if let CalibrationOutcome::Told { ok: told, .. } = &mut outcome {
            *told = ok;
        }
        Self { t_s, step, role, outcome }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(outcome: CalibrationOutcome) -> JudgedStep {
        JudgedStep { t_s: 19.25, step: CalibrationStep::Bow, role: Role::Thorax, outcome }
    }

    /// As TOML and back; the text must be `want` below what every step has.
    fn both_ways(outcome: CalibrationOutcome, want: &str) {
        let step = judged(outcome);
        let text = toml::to_string(&step).expect("writes");
        let head = "t_s = 19.25\nstep = \"bow\"\nrole = \"thorax\"\n";
        assert_eq!(text, format!("{head}{want}"));
        assert_eq!(toml::from_str::<JudgedStep>(&text).expect("reads"), step);
        let json = serde_json::to_string(&step).expect("writes");
        assert_eq!(serde_json::from_str::<JudgedStep>(&json).expect("reads"), step);
    }

    #[test]
    fn an_outcome_is_a_key_with_its_data_beside_it() {
        let hinge = Found::Hinge { range_deg: 41.5, off_axis: 0.0625 };
        both_ways(
            CalibrationOutcome::Passed { found: hinge, sd_deg: 1.5 },
            "ok = true\nfound = \"hinge\"\nrange_deg = 41.5\noff_axis = 0.0625\nsd_deg = 1.5\n",
        );
        both_ways(
            CalibrationOutcome::Refused(Refusal::TooSmall { range_deg: 10.0, least_deg: 15.0 }),
            "ok = false\nrefused = \"too-small\"\nrange_deg = 10.0\nleast_deg = 15.0\n",
        );
        both_ways(
            CalibrationOutcome::Refused(Refusal::AboutLongAxis),
            "ok = false\nrefused = \"about-long-axis\"\n",
        );
    }

    #[test]
    fn the_sentences_of_earlier_versions_are_kept() {
        for (ok, sd_deg) in [(true, Some(1.5)), (false, None)] {
            let sd = sd_deg.map_or(String::new(), |sd| format!("sd_deg = {sd:?}\n"));
            both_ways(
                CalibrationOutcome::Told { ok, text: "thorax hinged 41 deg".into(), sd_deg },
                &format!("ok = {ok}\ntext = \"thorax hinged 41 deg\"\n{sd}"),
            );
        }
    }

    #[test]
    fn the_keys_of_a_later_version_still_open() {
        let read = |rest: &str| {
            let text = format!("t_s = 1.0\nstep = \"still\"\nrole = \"pelvis\"\n{rest}");
            toml::from_str::<JudgedStep>(&text).expect("reads").outcome
        };
        assert_eq!(
            read("ok = false\nrefused = \"new\"\ndata = 1\n"),
            CalibrationOutcome::Refused(Refusal::OtherVersion)
        );
        assert_eq!(
            read("ok = true\nfound = \"new\"\ndata = 1\nsd_deg = 2.0\n"),
            CalibrationOutcome::Passed { found: Found::OtherVersion, sd_deg: 2.0 }
        );
    }

    #[test]
    fn every_strap_is_concerned_by_the_still_pose_the_shake_and_one_movement() {
        for role in Role::ALL {
            let concerned = CalibrationStep::ALL.into_iter().filter(|s| s.concerns(role)).count();
            assert_eq!(concerned, 3, "{role}");
        }
        for step in CalibrationStep::ALL {
            assert_eq!(serde_json::to_value(step).expect("writes"), step.key());
        }
    }
}
