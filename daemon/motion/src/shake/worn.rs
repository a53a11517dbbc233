//! What a shake test leaves behind for the swings after it.

use peakorder_protocol::calibration::{CalibrationOutcome, Found, Refusal};

/// How one strap is worn, as far as it is known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Worn {
    /// It rings or has slid: speeds and times of the bone are known half as well.
    pub loose: bool,
    /// It has slid by so much since its seat was last found, deg.
    pub slid_deg: f64,
}

impl Worn {
    /// Takes what came of a shake test. One that was no test changes nothing.
    pub fn shaken(&mut self, outcome: &CalibrationOutcome) {
        match outcome {
            CalibrationOutcome::Passed { found: Found::Firm { .. }, .. } => self.loose = false,
            CalibrationOutcome::Refused(Refusal::Rings { .. }) => self.loose = true,
            CalibrationOutcome::Refused(Refusal::Slid { moved_deg, .. }) => {
                self.loose = true;
                self.slid_deg = self.slid_deg.hypot(*moved_deg);
            }
            _ => {}
        }
    }

    /// How the strap sits was found anew: what it had slid before is in it.
    pub fn seat_found_anew(&mut self) {
        self.slid_deg = 0.0;
    }
}
