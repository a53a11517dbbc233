//! What came of a calibration step, in words.

use crate::stats::Z95;
use peakorder_protocol::Role;
use peakorder_protocol::calibration::{CalibrationOutcome, CalibrationStep, Found, JudgedStep, Refusal};

/// A step's name: `arm raise`.
pub const fn step(step: CalibrationStep) -> &'static str {
    match step {
        CalibrationStep::Still => "still",
        CalibrationStep::Bow => "bow",
        CalibrationStep::ArmRaise => "arm raise",
        CalibrationStep::Shake => "shake",
    }
}

/// What was measured, or what to repeat and why.
pub fn outcome(judged: &JudgedStep) -> String {
    match &judged.outcome {
        CalibrationOutcome::Passed { found, .. } => self::found(judged.step, judged.role, found),
        CalibrationOutcome::Refused(why) => refusal(judged.step, judged.role, why),
        CalibrationOutcome::Told { text, .. } => text.clone(),
    }
}

fn found(step: CalibrationStep, role: Role, found: &Found) -> String {
    match found {
        Found::Gravity { rate_dps, gravity_g } => {
            format!("{role} still to {rate_dps:.1} deg/s, gravity {gravity_g:.3} g")
        }
        Found::Hinge { range_deg, off_axis } => {
            let moved = if step == CalibrationStep::ArmRaise { "rose" } else { "hinged" };
            format!("{role} {moved} {range_deg:.0} deg, {:.0} % off one axis", off_axis * 100.0)
        }
        Found::Firm { ring_dps, moved_deg } => format!(
            "{role} strap sits firmly: after the stop it rings by {ring_dps:.1} deg/s at most, and it stands within {moved_deg:.1} deg of where it was"
        ),
        Found::OtherVersion => format!("{role} accepted; {OTHER_VERSION}"),
    }
}

const OTHER_VERSION: &str = "recorded by another version: replay the session to read it";

fn refusal(step: CalibrationStep, role: Role, why: &Refusal) -> String {
    let arm = step == CalibrationStep::ArmRaise;
    match why {
        Refusal::NoSamples => {
            format!("no samples came from the {role} strap during it; check the strap, then repeat")
        }
        Refusal::TooShort { lasted_s, least_s } => {
            format!("only {lasted_s:.1} s of the {role} strap; hold it for at least {least_s:.0} s")
        }
        Refusal::Moved { rate_dps, most_dps } => format!(
            "the {role} moved ({rate_dps:.0} deg/s; under {most_dps:.0} is still); stand upright and still, then repeat"
        ),
        Refusal::WrongGravity { gravity_g } => format!(
            "the {role} strap reads {gravity_g:.2} g at rest instead of 1; check that its profile (unit, range) fits the strap"
        ),
        Refusal::Leaned { lean_deg } => format!(
            "the {role} leaned by {lean_deg:.0} deg meanwhile; take the upright pose first, then hold it"
        ),
        Refusal::NoMovement => {
            let asked = if arm {
                "raise it straight forward to the horizontal and back, twice"
            } else {
                "hinge at the hips forward and back, twice"
            };
            format!("the {role} did not move; {asked}")
        }
        Refusal::TooSmall { range_deg, least_deg } => {
            let (moved, asked) = if arm {
                ("rose", "raise it forward to the horizontal")
            } else {
                ("tilted", "hinge further forward at the hips")
            };
            format!(
                "the {role} only {moved} {range_deg:.0} deg; {asked} (at least {least_deg:.0} deg, as far as is comfortable)"
            )
        }
        Refusal::OffAxis { off_axis } => {
            let (moved, asked) = if arm {
                ("swung sideways or rolled", "raise it straight forward and back")
            } else {
                ("turned or leant sideways", HINGE_STRAIGHT)
            };
            format!("the {role} {moved} as well ({:.0} % off one axis); {asked}", off_axis * 100.0)
        }
        Refusal::AboutLongAxis => {
            format!("the {role} turned about its long axis instead of bowing; {HINGE_STRAIGHT}")
        }
        Refusal::NotReturned { left_over_deg } => {
            let asked = if arm { "with the arm hanging" } else { "upright" };
            format!("the {role} ended {left_over_deg:.0} deg from where it began; begin and end {asked}")
        }
        Refusal::TooSlow { speed_dps, least_dps } => format!(
            "the {role} turned at {speed_dps:.0} deg/s at most; turn quickly, twice, as far as is comfortable (at least {least_dps:.0} deg/s), then stop"
        ),
        Refusal::NotHeld { still_s, least_s } => format!(
            "the {role} stood still for {still_s:.1} s only; stand still for a second before the turns and for two after them (at least {least_s:.1} s)"
        ),
        Refusal::Rings { hz, damping, ring_dps, ring_sd_dps, .. } => format!(
            "the {role} strap rings: {ring_dps:.0} ± {:.0} deg/s at {hz:.0} Hz after the stop (damping {damping:.2}); {TIGHTEN}, then repeat",
            Z95 * ring_sd_dps
        ),
        Refusal::Slid { moved_deg, moved_sd_deg } => format!(
            "the {role} strap has slid: it stands {moved_deg:.0} deg from where it was, and a person stands up alike within {:.0}; {TIGHTEN}, calibrate again, then repeat",
            3.0 * moved_sd_deg
        ),
        Refusal::OtherVersion => format!("the {role} strap was refused; {OTHER_VERSION}"),
    }
}

const TIGHTEN: &str = "tighten it, or wear it over a belt";
const HINGE_STRAIGHT: &str = "hinge straight forward and back";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::assert_distinct;
    use CalibrationStep::{ArmRaise, Bow, Shake, Still};

    fn said(step: CalibrationStep, role: Role, outcome: CalibrationOutcome) -> String {
        super::outcome(&JudgedStep { t_s: 8.0, step, role, outcome })
    }

    #[test]
    fn every_refusal_says_what_to_do() {
        let movement = [
            Refusal::NoMovement,
            Refusal::TooSmall { range_deg: 10.2, least_deg: 15.0 },
            Refusal::OffAxis { off_axis: 0.41 },
            Refusal::NotReturned { left_over_deg: 40.0 },
        ];
        let still = [
            Refusal::NoSamples,
            Refusal::TooShort { lasted_s: 0.51, least_s: 1.0 },
            Refusal::Moved { rate_dps: 14.0, most_dps: 6.0 },
            Refusal::WrongGravity { gravity_g: 0.1 },
            Refusal::Leaned { lean_deg: 9.8 },
            Refusal::OtherVersion,
        ];
        let refused = |step, role| move |why| said(step, role, CalibrationOutcome::Refused(why));
        let mut all: Vec<String> = still.map(refused(Still, Role::Pelvis)).into();
        all.extend(movement.map(refused(Bow, Role::Thorax)));
        all.extend(movement.map(refused(ArmRaise, Role::LeadArm)));
        all.push(refused(Bow, Role::Thorax)(Refusal::AboutLongAxis));
        let shake = [
            Refusal::TooSlow { speed_dps: 80.0, least_dps: 120.0 },
            Refusal::NotHeld { still_s: 0.31, least_s: 0.6 },
            Refusal::Rings { hz: 9.8, damping: 0.15, ring_dps: 6.2, ring_sd_dps: 0.5, moved_deg: 0.4 },
            Refusal::Slid { moved_deg: 7.6, moved_sd_deg: 1.4 },
        ];
        all.extend(shake.map(refused(Shake, Role::Pelvis)));
        assert_distinct(&all);
        let to_do = [
            "check",
            "hold it",
            "stand",
            "take",
            "replay",
            "hinge",
            "raise",
            "begin and end",
            "turn",
            "tighten",
        ];
        for sentence in &all {
            assert!(to_do.iter().any(|word| sentence.contains(word)), "{sentence}");
        }
        assert!(all[1].contains("0.5 s") && all[1].contains("at least 1 s"), "{}", all[1]);
        assert!(all[7].contains("tilted 10 deg") && all[7].contains("at least 15 deg"), "{}", all[7]);
        assert!(all[12].contains("41 %"), "{}", all[12]);
        assert!(
            all[17].contains("rings: 6 ± 1 deg/s at 10 Hz") && all[17].contains("over a belt"),
            "{}",
            all[17]
        );
        assert!(all[18].contains("slid: it stands 8 deg"), "{}", all[18]);
    }

    #[test]
    fn what_passed_says_its_figures() {
        let passed = |found| CalibrationOutcome::Passed { found, sd_deg: 1.5 };
        let hinge = Found::Hinge { range_deg: 41.3, off_axis: 0.08 };
        let all = [
            said(Still, Role::Pelvis, passed(Found::Gravity { rate_dps: 0.52, gravity_g: 0.9904 })),
            said(Bow, Role::Thorax, passed(hinge)),
            said(ArmRaise, Role::LeadArm, passed(hinge)),
            said(Bow, Role::Thorax, passed(Found::OtherVersion)),
            said(Shake, Role::Pelvis, passed(Found::Firm { ring_dps: 0.3, moved_deg: 0.9 })),
            said(
                Bow,
                Role::Pelvis,
                CalibrationOutcome::Told { ok: true, text: "as told".into(), sd_deg: None },
            ),
        ];
        assert_distinct(&all);
        assert_eq!(all[0], "pelvis still to 0.5 deg/s, gravity 0.990 g");
        assert_eq!(all[1], "thorax hinged 41 deg, 8 % off one axis");
        assert_eq!(all[5], "as told");
    }
}
