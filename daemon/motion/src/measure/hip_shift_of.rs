//! Shift of the hips in the swing file.

use super::{Part, When, round, turn_sd_deg};
use crate::shift::hips::Hips;
use crate::shift::{self, At, Instants, NoImpact, NoShift, Shift};
use peakorder_protocol::Role;
use peakorder_protocol::swing::{
    HIP_SHIFT_METHOD, HipShift, HipShiftAt, Reason, ShiftTowardsTarget, Withheld, Withholding,
};

/// The shift of the hips, where the pelvis strap is calibrated, and what of it is withheld.
pub(super) fn hip_shift(
    parts: &[Part<'_>],
    when: &When<'_>,
    hips: &Hips,
) -> (Option<HipShift>, Option<Withheld>) {
    let Some(pelvis) = parts.iter().find(|p| p.window.role == Role::Pelvis) else { return (None, None) };
    let Some(mounting) = pelvis.window.mounting else { return (None, None) };
    let takeaway_s = when.phases.takeaway.at_s;
    let own_s = when.phases.onsets[Role::Pelvis.index()].map_or(takeaway_s, |onset| onset.at_s);
    let instants = Instants {
        onset_s: own_s.min(takeaway_s),
        reversal_s: pelvis.reversal.map(|r| r.t_s),
        top_s: when.top.t_s,
        impact_s: when.impact.t_s,
    };
    let heading_sd_rad = turn_sd_deg(mounting).to_radians();
    match shift::find(pelvis.window, hips, &instants, heading_sd_rad, when.handedness) {
        Err(why) => {
            let why = match why {
                NoShift::AddressShort(still_s) => Reason::AddressShort { still_s: round(still_s, 2) },
                NoShift::AddressMoves(m_s) => Reason::AddressMoves { moves_cm_s: round(m_s * 1e2, 1) },
                NoShift::SamplesLost => Reason::SamplesLostOnTheWay,
                NoShift::RangeLimit => Reason::RangeLimitOnTheWay,
            };
            (None, Some(Withheld { what: Withholding::HipShift, why }))
        }
        Ok(found) => {
            let withheld = found.impact.err().map(|why| Withheld {
                what: Withholding::HipShiftAtImpact,
                why: match why {
                    NoImpact::NotQuietAfter => Reason::NotQuietAfter,
                    NoImpact::BiasUncertain(rad_s) => {
                        Reason::GyroBiasUncertain { bias_sd_dps: round(rad_s.to_degrees(), 3) }
                    }
                    NoImpact::SamplesLost => Reason::SamplesLostOnTheWay,
                    NoImpact::RangeLimit => Reason::RangeLimitOnTheWay,
                },
            });
            let shift = HipShift {
                top: at(&found.top),
                impact_for_block_means: found.impact.ok().map(|found| at(&found)),
                hip_breadth_cm: hips.breadth_cm,
                hip_breadth_measured: hips.measured,
                method: HIP_SHIFT_METHOD.into(),
            };
            (Some(shift), withheld)
        }
    }
}

fn at(found: &At) -> HipShiftAt {
    HipShiftAt { mid_hips: towards(&found.mid_hips), trail_hip: towards(&found.trail_hip) }
}

fn towards(shift: &Shift) -> ShiftTowardsTarget {
    let cm = |m: f64| round(m * 1e2, 2);
    ShiftTowardsTarget {
        towards_target_cm: cm(shift.towards_m),
        sd_cm: cm(shift.sd_m()),
        shared_sd_cm: shift.shared_m.map(cm),
    }
}
