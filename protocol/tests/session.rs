//! `session.toml` files of earlier versions are still read.

use peakorder_protocol::Role;
use peakorder_protocol::calibration::{CalibrationOutcome, CalibrationStep, JudgedStep};
use peakorder_protocol::session::Session;
use std::path::Path;

/// Earlier versions stored what a calibration step came to as a sentence.
#[test]
fn calibration_stored_as_sentences_opens_and_is_written_back_unchanged() {
    let text = include_str!("data/session-1-sentences.toml");
    let session = Session::from_toml(text, Path::new("session.toml")).expect("opens");
    let told = |ok, text: &str, sd_deg| CalibrationOutcome::Told { ok, text: text.into(), sd_deg };
    let expected = [
        JudgedStep {
            t_s: 8.320_401_155,
            step: CalibrationStep::Still,
            role: Role::LeadArm,
            outcome: told(true, "lead arm still to 0.7 deg/s, gravity 0.993 g", Some(2.5)),
        },
        JudgedStep {
            t_s: 19.247_144_785,
            step: CalibrationStep::Bow,
            role: Role::Pelvis,
            outcome: told(
                false,
                "the pelvis only tilted 9 deg; hinge further forward at the hips (at least 15 deg, as far as is comfortable)",
                None,
            ),
        },
    ];
    assert_eq!(session.calibration, expected);
    assert_eq!(session.to_toml().expect("writes"), text);
}
