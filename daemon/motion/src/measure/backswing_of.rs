//! What the backswing was made of: turn of hips and chest, and what the arm did in the shoulder.
//!
//! Only the poses at address and at the top count: what is summed along the way between them hangs on
//! when the arm moves.

use super::arm_of::{HEADING_SD_MAX_DEG, HEADING_SD_MAX_MOVED_DEG};
use super::arm_pose::{Poses, Read};
use super::round;
use peakorder_protocol::swing::{AngleSet, BACKSWING_METHOD, Backswing, Reason, Withheld, Withholding};
use std::ops::RangeInclusive;

/// A share less certain than this tells nothing: ten real swings of one golfer (the one of
/// `tests/tests/golf/`) lie 0.11 lower where the trunk turns by 0.7 of what it did and the arm is
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
    let mut found = Backswing { method: BACKSWING_METHOD.into(), ..Backswing::default() };
    let mut withheld = Vec::new();
    let mut withhold = |what, why| withheld.push(Withheld { what, why });
    let is = &poses.is;
    let turned = known(is.turn_deg > 0.0, Reason::NoTurnAway { towards_deg: round(-is.turn_deg, 3) });
    let share = poses.number(Read::turn_share);
    let certain = known(share.1 <= SHARE_SD_MAX, Reason::ShareUncertain { share_sd: round(share.1, 4) });
    match turned.and(known_to(HEADING_SD_MAX_MOVED_DEG)).and(certain) {
        Ok(()) => {
            (found.turn_share, found.turn_share_sd) = both(share, 4);
            (found.arm_moved_deg, found.arm_moved_sd_deg) = both(poses.number(|read| read.moved_deg), 3);
            (found.arm_raised_deg, found.arm_raised_sd_deg) = both(poses.number(Read::raised_deg), 3);
            if let Some(hips) = hips {
                let per_deg = poses.number(|read| 1.0 / (read.turn_deg + read.moved_deg));
                let sd = (hips.top * per_deg.1).hypot(hips.sd * per_deg.0);
                (found.hips_share, found.hips_share_sd) = both((-hips.top * per_deg.0, sd), 4);
            }
        }
        Err(why) => withhold(Withholding::BackswingShares, why),
    }

    let angle_deg = is.elevation_deg[0];
    let points = known(angle_deg >= LEAST_ELEVATION_DEG, Reason::ArmHangs { angle_deg: round(angle_deg, 3) });
    match turned.and(known_to(HEADING_SD_MAX_DEG)).and(points) {
        Ok(()) => {
            let across = poses.angle(Read::went_across_deg);
            (found.arm_across_deg, found.arm_across_sd_deg) = both(across, 3);
        }
        Err(why) => withhold(Withholding::ArmAcross, why),
    }

    let angle_deg = is.swept_deg;
    let apart = known(SWEPT_DEG.contains(&angle_deg), Reason::ArmAngle { angle_deg: round(angle_deg, 3) });
    match turned.and(apart) {
        Ok(()) => {
            let ratio = poses.number(Read::chest_per_arm);
            (found.chest_per_arm, found.chest_per_arm_sd) = both(ratio, 4);
        }
        Err(why) => withhold(Withholding::ChestPerArm, why),
    }
    let any = [found.turn_share, found.arm_across_deg, found.chest_per_arm].iter().any(Option::is_some);
    (any.then_some(found), withheld)
}

fn known(is: bool, otherwise: Reason) -> Result<(), Reason> {
    if is { Ok(()) } else { Err(otherwise) }
}

/// A number and its standard uncertainty, as stated.
fn both((value, sd): (f64, f64), digits: i32) -> (Option<f64>, Option<f64>) {
    (Some(round(value, digits)), Some(round(sd, digits)))
}

#[cfg(test)]
mod tests {
    use super::super::arm_pose::Ends;
    use super::super::arm_pose::tests::rotation;
    use super::*;
    use peakorder_protocol::Handedness;

    /// Upright, turned away by `turn`, arm straight ahead from `from` to `to` (deg) in the thorax; the
    /// heading moved by `heading_sd`.
    fn poses(turn: f64, from: f64, to: f64, heading_sd: f64) -> Poses {
        let thorax = [rotation([0.0; 3]), rotation([-turn, 0.0, 0.0])];
        let arm = [rotation([0.0, 0.0, from]), rotation([-turn, 0.0, to])];
        let at = Ends { thorax, arm, heading_rad: 0.0 };
        let moved = [Ends { heading_rad: heading_sd.to_radians(), ..at }];
        Poses::of(Handedness::Right, at, at, &moved, &[at])
    }

    fn hips(top: f64, sd: f64) -> AngleSet {
        AngleSet { top, max_away: top, sd, ..AngleSet::default() }
    }

    fn why(withheld: &[Withheld], what: &Withholding) -> Option<Reason> {
        withheld.iter().find(|w| w.what == *what).map(|w| w.why)
    }

    /// By hand: 80° of turn and 80° of arm are one half each; hips of 40° are a quarter.
    #[test]
    fn shares_are_of_turn_and_arm_together() {
        let (found, withheld) = backswing(&poses(80.0, 20.0, 100.0, 0.0), Some(hips(-40.0, 1.6)), |_| Ok(()));
        let found = found.expect("it is told");
        assert!(withheld.is_empty(), "{withheld:?}");
        assert_eq!((found.turn_share, found.hips_share), (Some(0.5), Some(0.25)));
        assert_eq!((found.turn_share_sd, found.hips_share_sd), (Some(0.0), Some(0.01)));
        assert_eq!((found.arm_moved_deg, found.arm_raised_deg), (Some(80.0), Some(80.0)));
        assert_eq!(found.arm_across_deg, Some(0.0));
        let (found, _) = backswing(&poses(80.0, 20.0, 100.0, 0.0), None, |_| Ok(()));
        assert_eq!(found.expect("it is told").hips_share, None);
    }

    #[test]
    fn without_a_heading_chest_per_arm_is_left() {
        let unknown = |_| Err(Reason::HeadingNotFound);
        let (found, withheld) = backswing(&poses(80.0, 20.0, 100.0, 0.0), Some(hips(-40.0, 1.6)), unknown);
        let found = found.expect("chest per arm is told");
        assert!(found.chest_per_arm.is_some() && found.chest_per_arm_sd.is_some());
        assert_eq!((found.turn_share, found.arm_raised_deg, found.arm_across_deg), (None, None, None));
        for what in [Withholding::BackswingShares, Withholding::ArmAcross] {
            assert_eq!(why(&withheld, &what), Some(Reason::HeadingNotFound));
        }
        assert_eq!(why(&withheld, &Withholding::ChestPerArm), None);
    }

    #[test]
    fn what_the_poses_do_not_tell_is_withheld_with_the_reason() {
        let told = |poses: &Poses| backswing(poses, None, |_| Ok(()));
        // Towards the target: nothing is.
        let (found, withheld) = told(&poses(-5.0, 20.0, 100.0, 0.0));
        assert!(found.is_none() && withheld.len() == 3, "{withheld:?}");
        assert!(withheld.iter().all(|w| w.why == Reason::NoTurnAway { towards_deg: 5.0 }), "{withheld:?}");
        let (_, withheld) = told(&poses(80.0, 14.0, 100.0, 0.0));
        assert_eq!(why(&withheld, &Withholding::ArmAcross), Some(Reason::ArmHangs { angle_deg: 14.0 }));
        assert_eq!(withheld.len(), 1, "{withheld:?}");
        let (_, withheld) = told(&poses(10.0, 20.0, 50.0, 0.0));
        let Some(Reason::ArmAngle { angle_deg }) = why(&withheld, &Withholding::ChestPerArm) else {
            panic!("{withheld:?}")
        };
        assert!((30.0..33.0).contains(&angle_deg), "{angle_deg}");
        // A heading that is so much off moves the share by more than it may.
        let mut tilted = poses(40.0, 60.0, 90.0, 0.0);
        assert!(told(&tilted).1.is_empty());
        let thorax = [rotation([0.0, 0.0, -40.0]), rotation([-40.0, -30.0, 0.0])];
        let at = Ends {
            thorax,
            arm: [rotation([0.0, 0.0, 20.0]), rotation([-90.0, 0.0, 60.0])],
            heading_rad: 0.0,
        };
        let off = Ends { heading_rad: 20_f64.to_radians(), ..at };
        tilted = Poses::of(Handedness::Right, at, at, &[off], &[at]);
        let Some(Reason::ShareUncertain { share_sd }) = why(&told(&tilted).1, &Withholding::BackswingShares)
        else {
            panic!("{:?}", told(&tilted))
        };
        assert!(share_sd > SHARE_SD_MAX);
    }
}
