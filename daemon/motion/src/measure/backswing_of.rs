//! What the backswing was made of: turn of hips and chest, and what the arm did in the shoulder.
//!
//! Only the poses at address and at the top count: what is summed along the way between them hangs on
//! when the arm moves.

use super::arm_of::{HEADING_SD_MAX_DEG, HEADING_SD_MAX_MOVED_DEG};
use super::arm_pose::Poses;
use super::round;
use peakorder_protocol::swing::{AngleSet, BACKSWING_METHOD, Backswing, Reason, Withheld, Withholding};
use std::ops::RangeInclusive;

/// A share less certain than this tells nothing: ten real swings of one golfer (the one of
/// `tests/tests/golf.rs`) lie 0.11 lower where the trunk turns by 0.7 of what it did and the arm is
/// raised as much more as the elbow needs to go as far.
const SHARE_SD_MAX: f64 = 0.04;
/// An arm nearer to hanging along the chest than this points nowhere in particular, deg.
const LEAST_ELEVATION_DEG: f64 = 15.0;
/// Directions nearer to each other than this leave the ratio to noise, and nearly opposite ones may have
/// gone either way round, deg (own judgement).
const SWEPT_DEG: RangeInclusive<f64> = 45.0..=160.0;

/// The backswing, and what of it had to be withheld. `known_to` says whether the heading between arm and
/// thorax is known so well (standard uncertainty, deg), or why not; `hips` is the pelvis's turn.
pub(super) fn backswing(
    poses: &Poses,
    hips: Option<AngleSet>,
    known_to: impl Fn(f64) -> Result<(), Reason>,
) -> (Option<Backswing>, Vec<Withheld>) {
    let mut found = Backswing {
        turn_share: None,
        turn_share_sd: None,
        hips_share: None,
        hips_share_sd: None,
        arm_moved_deg: None,
        arm_moved_sd_deg: None,
        arm_raised_deg: None,
        arm_raised_sd_deg: None,
        arm_across_deg: None,
        arm_across_sd_deg: None,
        chest_per_arm: None,
        chest_per_arm_sd: None,
        method: BACKSWING_METHOD.into(),
    };
    let mut withheld = Vec::new();
    let mut withhold = |what, why| withheld.push(Withheld { what, why });
    let is = &poses.is;
    let turned = if is.turn_deg > 0.0 {
        Ok(())
    } else {
        Err(Reason::NoTurnAway { towards_deg: round(-is.turn_deg, 3) })
    };
    let share = poses.number(|read| read.turn_share());
    let certain =
        if share.1 <= SHARE_SD_MAX { Ok(()) } else { Err(Reason::ShareUncertain { share_sd: round(share.1, 4) }) };
    match turned.and(known_to(HEADING_SD_MAX_MOVED_DEG)).and(certain) {
        Ok(()) => {
            (found.turn_share, found.turn_share_sd) = both(share, 4);
            (found.arm_moved_deg, found.arm_moved_sd_deg) = both(poses.number(|read| read.moved_deg), 3);
            (found.arm_raised_deg, found.arm_raised_sd_deg) = both(poses.number(|read| read.raised_deg()), 3);
            if let Some(hips) = hips {
                let per_deg = poses.number(|read| 1.0 / (read.turn_deg + read.moved_deg));
                let sd = (hips.top * per_deg.1).hypot(hips.sd * per_deg.0);
                (found.hips_share, found.hips_share_sd) = both((-hips.top * per_deg.0, sd), 4);
            }
        }
        Err(why) => withhold(Withholding::BackswingShares, why),
    }

    let angle_deg = is.elevation_deg[0];
    let points = if angle_deg >= LEAST_ELEVATION_DEG {
        Ok(())
    } else {
        Err(Reason::ArmHangs { angle_deg: round(angle_deg, 3) })
    };
    match turned.and(known_to(HEADING_SD_MAX_DEG)).and(points) {
        Ok(()) => {
            let across = poses.angle(|read| read.went_across_deg());
            (found.arm_across_deg, found.arm_across_sd_deg) = both(across, 3);
        }
        Err(why) => withhold(Withholding::ArmAcross, why),
    }

    let angle_deg = is.swept_deg;
    let apart = if SWEPT_DEG.contains(&angle_deg) {
        Ok(())
    } else {
        Err(Reason::ArmAngle { angle_deg: round(angle_deg, 3) })
    };
    match turned.and(apart) {
        Ok(()) => {
            let ratio = poses.number(|read| read.chest_per_arm());
            (found.chest_per_arm, found.chest_per_arm_sd) = both(ratio, 4);
        }
        Err(why) => withhold(Withholding::ChestPerArm, why),
    }
    let any = [found.turn_share, found.arm_across_deg, found.chest_per_arm].iter().any(Option::is_some);
    (any.then_some(found), withheld)
}

/// A number and its standard uncertainty, as stated.
fn both((value, sd): (f64, f64), digits: i32) -> (Option<f64>, Option<f64>) {
    (Some(round(value, digits)), Some(round(sd, digits)))
}
