//! Measures that say nearly the same: lists show one of them first, and of one swing only one is told.

use super::Measure;
use peakorder_protocol::Role::{LeadArm, Pelvis, Thorax};

impl Measure {
    /// The measure that stands for those that say nearly the same; itself where it stands alone. Which goes with which is own
    /// judgement: parts of one sum, or one angle told in two frames.
    #[must_use]
    pub const fn stands_for(self) -> Self {
        match self {
            // The ratio is made of the two durations.
            Self::Backswing | Self::Downswing => Self::TempoRatio,
            // The sum of the other two.
            Self::Gap(Pelvis, LeadArm) => Self::Gap(Pelvis, Thorax),
            Self::SeparationLargest | Self::SeparationStretch => Self::SeparationAtTop,
            Self::HipsShare | Self::ChestPerArm => Self::TurnShare,
            Self::ArmElevation | Self::ArmElevationGravity | Self::ArmMoved => Self::ArmRaised,
            Self::ArmAcross => Self::ArmWentAcross,
            Self::MidHipsShiftAtTop => Self::TrailHipShiftAtTop,
            Self::MidHipsShiftAtImpact => Self::TrailHipShiftAtImpact,
            // How fast a segment leaves impact follows from how long before it was fastest.
            Self::SpeedKept(role) => Self::PeakBeforeImpact(role),
            _ => self,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_for_others_stands_for_itself_and_is_of_their_kind() {
        for measure in Measure::ALL {
            let chief = measure.stands_for();
            assert_eq!(chief.stands_for(), chief, "{measure:?}");
            // A target of one swing must be possible where one of the others allows it.
            assert!(!chief.means_only() || measure.means_only(), "{measure:?}");
        }
        assert_eq!(Measure::Gap(Thorax, LeadArm).stands_for(), Measure::Gap(Thorax, LeadArm));
        let alone = Measure::ALL.into_iter().filter(|m| m.stands_for() == *m).count();
        assert!(alone < Measure::ALL.len() * 3 / 4, "{alone} of {}", Measure::ALL.len());
    }
}
