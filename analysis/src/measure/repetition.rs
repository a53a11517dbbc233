//! The measures that a repetition of a drill has: positions of the trunk at its top. It has no impact and no arm.

use super::{Definition, Measure, Value};
use peakorder_protocol::Role;
use peakorder_protocol::repetition::{Repetition, RepetitionAngle, RepetitionSegment};

impl Measure {
    /// The value in one repetition; `None` where it was not measured, or is none of a repetition.
    pub fn of_repetition(self, repetition: &Repetition) -> Option<Value> {
        let angle = |role: Role, pick: fn(&RepetitionSegment) -> Option<RepetitionAngle>| {
            let at = pick(repetition.segments.get(&role)?)?;
            Some((at.top, at.sd, at.bone_sd))
        };
        // Its top is that of the thorax, or without its strap of the pelvis.
        let top = if repetition.segments.contains_key(&Role::Thorax) { Role::Thorax } else { Role::Pelvis };
        let (definition, (value, sd, bone_sd)) = match self {
            Self::TurnAtTop(role) => (Definition::AngleAtTop(top), angle(role, |s| s.turn_deg)?),
            Self::TiltAtTop(role) => (Definition::AngleAtTop(top), angle(role, |s| s.lateral_tilt_deg)?),
            Self::SeparationAtTop => {
                let s = repetition.separation.as_ref()?;
                (Definition::SeparationAtTop(top), (s.top_deg, s.sd_deg, s.bone_sd_deg))
            }
            _ => return None,
        };
        value.is_finite().then_some(Value { value, sd: Some(sd), bone_sd, definition, shared: None })
    }
}
