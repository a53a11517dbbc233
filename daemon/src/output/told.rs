//! Live events as they leave the program: each with its words beside it.

use peakorder_analysis::order::heading;
use peakorder_analysis::words::{self, mobility::MobilityWords};
use peakorder_protocol::event::LiveEvent;
use serde::Serialize;

/// A live event and what it means in words, one JSON object.
#[derive(Debug, Clone, Serialize)]
pub struct Told<'a> {
    /// The event.
    #[serde(flatten)]
    pub event: &'a LiveEvent,
    /// The sentence for it, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// What is said of a mobility check.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mobility_words: Option<MobilityWords>,
    /// The order of a swing's peaks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_words: Option<String>,
}

impl<'a> From<&'a LiveEvent> for Told<'a> {
    fn from(event: &'a LiveEvent) -> Self {
        let order_words = match event {
            LiveEvent::Swing { swing } => Some(heading(swing)),
            _ => None,
        };
        let mobility_words = match event {
            LiveEvent::Mobility { check } => Some(MobilityWords::from(&**check)),
            _ => None,
        };
        Self { event, text: text_of(event), mobility_words, order_words }
    }
}

/// What an event is in words; `None` for what is shown and not said.
pub fn text_of(event: &LiveEvent) -> Option<String> {
    match event {
        LiveEvent::Strap { what, .. } => Some(words::strap::event(what)),
        LiveEvent::Calibration { judged } => Some(words::calibration::outcome(judged)),
        LiveEvent::Trouble { what, .. } => Some(words::trouble::sentence(what)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::Role;
    use peakorder_protocol::calibration::{CalibrationOutcome, CalibrationStep, JudgedStep, Refusal};
    use serde_json::json;

    #[test]
    fn a_calibration_step_is_told_with_its_figures_and_its_sentence() {
        let outcome = CalibrationOutcome::Refused(Refusal::NotReturned { left_over_deg: 22.5 });
        let judged = JudgedStep { t_s: 19.5, step: CalibrationStep::ArmRaise, role: Role::LeadArm, outcome };
        let event = LiveEvent::Calibration { judged: judged.clone() };
        let told = serde_json::to_value(Told::from(&event)).expect("writes");
        let expected = json!({
            "event": "calibration", "t_s": 19.5, "step": "arm-raise", "role": "lead_arm", "ok": false,
            "refused": "not-returned", "left_over_deg": 22.5, "text": words::calibration::outcome(&judged),
        });
        assert_eq!(told, expected);
        assert_eq!(serde_json::from_value::<LiveEvent>(told).expect("reads"), event);
    }
}
