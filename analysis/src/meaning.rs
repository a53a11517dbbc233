//! What each measure is, in one plain sentence.

use crate::measure::Measure;
use peakorder_protocol::swing::{ANGLE_ORDER, SEPARATION_METHOD};

impl Measure {
    /// What it is, for swings of calibrated straps. Where a swing departs from it (the
    /// magnitude of rotation without calibration, the top by the thorax without an arm
    /// strap), the swing's own definition says so.
    pub fn meaning(self) -> String {
        const SPEED: &str =
            "speed about the segment's own long axis (pelvis, thorax) or across it (lead arm)";
        match self {
            Self::Gap(a, b) => format!(
                "time from the {a}'s peak to the {b}'s; positive when the {a} peaked first. Peak: largest {SPEED} \
                 between the segment's own reversal and impact"
            ),
            Self::PeakBeforeImpact(r) => {
                format!("how long before impact the {r} reached its largest {SPEED}")
            }
            Self::PeakSpeed(r) => format!("largest {SPEED} of the {r} between its own reversal and impact"),
            Self::SpeedKept(r) => format!("{r} speed at impact as a share of its peak"),
            Self::Backswing => "from takeaway to top".into(),
            Self::Downswing => "from top to impact".into(),
            Self::TempoRatio => "backswing over downswing".into(),
            Self::TurnAtTop(r) => format!("{r} turn at the top, relative to address ({ANGLE_ORDER})"),
            Self::TurnAtImpact(r) => format!("{r} turn at impact, relative to address ({ANGLE_ORDER})"),
            Self::SeparationAtTop => {
                format!("at the top: {SEPARATION_METHOD}; negative = thorax turned further away")
            }
            Self::SeparationLargest => format!("largest between takeaway and impact: {SEPARATION_METHOD}"),
            Self::SeparationStretch => "how much the separation grew after the pelvis started forward".into(),
            Self::TiltAtTop(r) => {
                format!("lateral tilt of the {r} at the top; positive = trail side lower ({ANGLE_ORDER})")
            }
            Self::FlexionChange(r) => {
                format!("{r} flexion at impact minus at address; positive = further forward ({ANGLE_ORDER})")
            }
            Self::ArmElevationGravity => {
                "angle of the upper arm from hanging straight down, at the top; 90 = level".into()
            }
            Self::ArmElevation => "angle of the upper arm from hanging along the thorax, at the top".into(),
            Self::ArmAcross => {
                "angle of the upper arm across the chest at the top; 0 = straight ahead of the chest, \
                 positive = across, away from the target"
                    .into()
            }
            Self::ArmTurnShare => {
                "share of the lead arm's horizontal travel from address to top that the thorax turn made"
                    .into()
            }
        }
    }
}
