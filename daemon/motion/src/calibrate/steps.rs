//! Judging the guided movements of one strap.

use super::Axes;
use super::axis::{HingeAxis, hinge_axis};
use crate::shake;
use nalgebra::Vector3;
use peakorder_protocol::Role;
use peakorder_protocol::calibration::{CalibrationOutcome, CalibrationStep, Found, Refusal};
use peakorder_protocol::estimate::STANDARD_GRAVITY_M_S2 as G_M_S2;

/// Shortest stillness worth a gravity direction, s.
const STILL_MIN_S: f64 = 1.0;
/// Standing people sway; more than this (RMS about the mean) is not standing still, deg/s.
const STILL_RATE_SD_DPS: f64 = 6.0;
/// Mean specific force must be gravity within this, g; a profile with a wrong unit fails here.
const STILL_NORM_TOLERANCE_G: f64 = 0.08;
/// Gravity of the first and of the last third of a still pose agree within this, deg: slow
/// leaning passes for stillness by its rate.
const STILL_LEAN_DEG: f64 = 3.0;
/// A movement there and back ends within this of where it began, deg.
const LEFT_OVER_DEG: f64 = 15.0;
/// Smallest hip hinge and arm raise that show an axis, deg.
const BOW_MIN_DEG: f64 = 15.0;
const RAISE_MIN_DEG: f64 = 35.0;
/// More rotation than this off the main axis is not a hinge.
const WOBBLE_MAX: f64 = 0.35;
/// How far a person's upright pose is off about each axis: below the typical error of 1.9 deg
/// of a static pose between days (Donaldson, Bayne & Bezodis 2021, ISBS Proc 39(1):58); the
/// figure within a day is own judgement.
const POSE_SD_DEG: f64 = 1.0;
/// An arm hangs some degrees away from the body, and not twice alike (own judgement).
const ARM_POSE_SD_DEG: f64 = 2.5;

/// Samples of one strap during one step, bias-free, sensor frame.
#[derive(Debug, Clone, Copy)]
pub struct StepSamples<'a> {
    /// Session time, s.
    pub times_s: &'a [f64],
    /// Rate, rad/s.
    pub gyro_rad_s: &'a [Vector3<f64>],
    /// Specific force, m/s².
    pub acc_m_s2: &'a [Vector3<f64>],
}

/// Judges `step` for a strap worn at `role` and, if it passes, stores what it found.
pub fn judge(
    step: CalibrationStep,
    role: Role,
    samples: StepSamples<'_>,
    axes: &mut Axes,
) -> CalibrationOutcome {
    let judged = long_enough(samples).and_then(|()| match step {
        CalibrationStep::Still => still(role, samples, axes),
        CalibrationStep::Bow => bow(samples, axes),
        CalibrationStep::ArmRaise => arm_raise(samples, axes),
        CalibrationStep::Shake => shake::judge(samples, pose_sd_deg(role)),
    });
    match judged {
        Ok((found, sd_deg)) => CalibrationOutcome::Passed { found, sd_deg },
        Err(refusal) => CalibrationOutcome::Refused(refusal),
    }
}

/// What a step found and the standard uncertainty of its axis, deg.
type Judged = Result<(Found, f64), Refusal>;

fn long_enough(samples: StepSamples<'_>) -> Result<(), Refusal> {
    let (Some(first), Some(last)) = (samples.times_s.first(), samples.times_s.last()) else {
        return Err(Refusal::NoSamples);
    };
    let lasted_s = last - first;
    if lasted_s < STILL_MIN_S {
        return Err(Refusal::TooShort { lasted_s, least_s: STILL_MIN_S });
    }
    Ok(())
}

pub(crate) fn mean(v: &[Vector3<f64>]) -> Vector3<f64> {
    v.iter().sum::<Vector3<f64>>() / v.len() as f64
}

fn still(role: Role, samples: StepSamples<'_>, axes: &mut Axes) -> Judged {
    let rate = mean(samples.gyro_rad_s);
    let n = samples.gyro_rad_s.len() as f64;
    let rate_dps =
        (samples.gyro_rad_s.iter().map(|w| (w - rate).norm_squared()).sum::<f64>() / n).sqrt().to_degrees();
    if rate_dps > STILL_RATE_SD_DPS {
        return Err(Refusal::Moved { rate_dps, most_dps: STILL_RATE_SD_DPS });
    }
    let acc = mean(samples.acc_m_s2);
    let gravity_g = acc.norm() / G_M_S2;
    if (gravity_g - 1.0).abs() > STILL_NORM_TOLERANCE_G {
        return Err(Refusal::WrongGravity { gravity_g });
    }
    let third = samples.acc_m_s2.len() / 3;
    if third > 0 {
        let (first, last) =
            (mean(&samples.acc_m_s2[..third]), mean(&samples.acc_m_s2[samples.acc_m_s2.len() - third..]));
        let lean_deg = first.angle(&last).to_degrees();
        if lean_deg > STILL_LEAN_DEG {
            return Err(Refusal::Leaned { lean_deg });
        }
    }
    let pose_sd_deg = pose_sd_deg(role);
    axes.set_cranial(acc.normalize(), pose_sd_deg);
    Ok((Found::Gravity { rate_dps, gravity_g }, pose_sd_deg))
}

const fn pose_sd_deg(role: Role) -> f64 {
    match role {
        Role::LeadArm => ARM_POSE_SD_DEG,
        Role::Pelvis | Role::Thorax => POSE_SD_DEG,
    }
}

fn bow(samples: StepSamples<'_>, axes: &mut Axes) -> Judged {
    let (hinge, judged) = hinge(samples, BOW_MIN_DEG, axes.cranial())?;
    // Forward is a left-handed turn about the axis to the right (X anterior, Y up, Z right).
    axes.set_right(-hinge, judged.1);
    Ok(judged)
}

fn arm_raise(samples: StepSamples<'_>, axes: &mut Axes) -> Judged {
    let (hinge, judged) = hinge(samples, RAISE_MIN_DEG, None)?;
    // Raising takes the proximal axis backwards: a right-handed turn about the axis to the right.
    axes.set_right(hinge, judged.1);
    // The arm hangs at the ends of the raise: a better long axis than the still pose, in
    // which hands may rest on the thighs.
    if let Some(hanging) = hanging_direction(samples) {
        axes.set_cranial(hanging, ARM_POSE_SD_DEG);
    }
    Ok(judged)
}

/// The axis of a movement there and back by at least `least_deg`, not about `long_axis`.
fn hinge(
    samples: StepSamples<'_>,
    least_deg: f64,
    long_axis: Option<Vector3<f64>>,
) -> Result<(Vector3<f64>, (Found, f64)), Refusal> {
    let HingeAxis { axis, range_deg, wobble, left_over_deg } =
        hinge_axis(samples.times_s, samples.gyro_rad_s).ok_or(Refusal::NoMovement)?;
    if range_deg < least_deg {
        return Err(Refusal::TooSmall { range_deg, least_deg });
    }
    if wobble > WOBBLE_MAX {
        return Err(Refusal::OffAxis { off_axis: wobble });
    }
    if long_axis.is_some_and(|long| axis.dot(&long).abs() > 0.6) {
        return Err(Refusal::AboutLongAxis);
    }
    if left_over_deg.abs() > LEFT_OVER_DEG {
        return Err(Refusal::NotReturned { left_over_deg: left_over_deg.abs() });
    }
    Ok((axis, (Found::Hinge { range_deg, off_axis: wobble }, axis_sd_deg(wobble))))
}

/// Mean gravity direction over the samples that hardly move, first and last 0.6 s.
fn hanging_direction(samples: StepSamples<'_>) -> Option<Vector3<f64>> {
    let (first, last) = (*samples.times_s.first()?, *samples.times_s.last()?);
    let calm: Vec<Vector3<f64>> = samples
        .times_s
        .iter()
        .zip(samples.gyro_rad_s)
        .zip(samples.acc_m_s2)
        .filter(|((t, w), a)| {
            (**t < first + 0.6 || **t > last - 0.6)
                && w.norm().to_degrees() < 10.0
                && (a.norm() / G_M_S2 - 1.0).abs() < STILL_NORM_TOLERANCE_G
        })
        .map(|(_, a)| *a)
        .collect();
    (calm.len() >= 10).then(|| mean(&calm).normalize())
}

/// A hinge with `wobble` off its axis, by a person: at least this (own judgement, set with the virtual
/// players in view, whose hinges are 1.8 deg off), growing with
/// the share of rotation that went elsewhere (an eighth of it stays as a systematic tilt).
fn axis_sd_deg(wobble: f64) -> f64 {
    1.75_f64.hypot(wobble.atan().to_degrees() / 8.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_2, PI};

    fn still_samples(rate_dps: f64, g: f64) -> (Vec<f64>, Vec<Vector3<f64>>, Vec<Vector3<f64>>) {
        let t: Vec<f64> = (0..300).map(|i| f64::from(i) / 100.0).collect();
        let w = t.iter().map(|t| Vector3::new((t * 7.0).sin() * rate_dps.to_radians(), 0.0, 0.0)).collect();
        let a = vec![Vector3::new(0.0, 0.0, -g * G_M_S2); t.len()];
        (t, w, a)
    }

    fn refusal(outcome: &CalibrationOutcome) -> Refusal {
        let CalibrationOutcome::Refused(refusal) = *outcome else { panic!("{outcome:?}") };
        refusal
    }

    #[test]
    fn still_accepts_stillness_and_refuses_all_else() {
        let mut axes = Axes::default();
        let (t, w, a) = still_samples(1.0, 1.0);
        let s = |t, w, a| StepSamples { times_s: t, gyro_rad_s: w, acc_m_s2: a };
        assert!(judge(CalibrationStep::Still, Role::Pelvis, s(&t, &w, &a), &mut axes).passed());
        assert!((axes.cranial().unwrap() + Vector3::z()).norm() < 1e-9, "worn upside down is fine");
        let (t, w, a) = still_samples(20.0, 1.0);
        let v = judge(CalibrationStep::Still, Role::Pelvis, s(&t, &w, &a), &mut axes);
        assert!(matches!(refusal(&v), Refusal::Moved { .. }));
        let (t, w, a) = still_samples(1.0, 0.1);
        let v = judge(CalibrationStep::Still, Role::Pelvis, s(&t, &w, &a), &mut axes);
        assert!(matches!(refusal(&v), Refusal::WrongGravity { .. }));
        let v = judge(CalibrationStep::Still, Role::Pelvis, s(&[], &[], &[]), &mut axes);
        assert_eq!(refusal(&v), Refusal::NoSamples);
    }

    #[test]
    fn bow_and_arm_raise_turn_opposite_ways_about_the_axis_to_the_right() {
        let t: Vec<f64> = (0..800).map(|i| f64::from(i) / 100.0).collect();
        let swing = |sign: f64| -> Vec<Vector3<f64>> {
            t.iter()
                .map(|t| Vector3::z() * (sign * 45.0_f64.to_radians() * FRAC_PI_2 * (t * FRAC_PI_2).sin()))
                .collect()
        };
        let acc = vec![Vector3::y() * G_M_S2; t.len()];
        let mut trunk = Axes::default();
        // Forward lean: the head goes towards +X, a negative turn about Z.
        let w = swing(-1.0);
        let v = judge(
            CalibrationStep::Bow,
            Role::Thorax,
            StepSamples { times_s: &t, gyro_rad_s: &w, acc_m_s2: &acc },
            &mut trunk,
        );
        assert!(v.passed(), "{v:?}");
        trunk.set_cranial(Vector3::y(), 1.0);
        assert!(trunk.mounting(0.0).unwrap().to_segment.angle() < 1e-6);
        // Arm to the front: the hand goes towards +X, the proximal end's axis towards −X.
        let mut arm = Axes::default();
        let w = swing(1.0);
        let v = judge(
            CalibrationStep::ArmRaise,
            Role::LeadArm,
            StepSamples { times_s: &t, gyro_rad_s: &w, acc_m_s2: &acc },
            &mut arm,
        );
        assert!(v.passed(), "{v:?}");
        arm.set_cranial(Vector3::y(), 1.0);
        assert!(arm.mounting(0.0).unwrap().to_segment.angle() < 1e-6);
    }

    #[test]
    fn a_turn_is_not_a_bow() {
        let t: Vec<f64> = (0..400).map(|i| f64::from(i) / 100.0).collect();
        let w: Vec<Vector3<f64>> = t.iter().map(|t| Vector3::y() * (PI * t).sin()).collect();
        let acc = vec![Vector3::y() * G_M_S2; t.len()];
        let mut axes = Axes::default();
        axes.set_cranial(Vector3::y(), 1.0);
        let v = judge(
            CalibrationStep::Bow,
            Role::Pelvis,
            StepSamples { times_s: &t, gyro_rad_s: &w, acc_m_s2: &acc },
            &mut axes,
        );
        assert_eq!(refusal(&v), Refusal::AboutLongAxis);
    }

    /// A movement with the given angle (deg) and a share of it about another axis, bias-free.
    fn movement(
        axis: Vector3<f64>,
        angle_deg: impl Fn(f64) -> f64,
        aside: Vector3<f64>,
        share: f64,
    ) -> (Vec<f64>, Vec<Vector3<f64>>, Vec<Vector3<f64>>) {
        let t: Vec<f64> = (0..800).map(|i| f64::from(i) / 100.0).collect();
        let rate = |t: f64| ((angle_deg(t + 1e-4) - angle_deg(t - 1e-4)) / 2e-4).to_radians();
        // The other axis is turned about at twice the pace, so that it is not one oblique axis.
        let w = t.iter().map(|&t| axis * rate(t) + aside * (2.0 * share * rate(2.0 * t))).collect();
        let a = vec![Vector3::y() * G_M_S2; t.len()];
        (t, w, a)
    }

    fn twice(deg: f64) -> impl Fn(f64) -> f64 {
        move |t| deg * 0.5 * (1.0 - (t * FRAC_PI_2).cos())
    }

    fn verdict(
        step: CalibrationStep,
        role: Role,
        (t, w, a): &(Vec<f64>, Vec<Vector3<f64>>, Vec<Vector3<f64>>),
    ) -> CalibrationOutcome {
        let mut axes = Axes::default();
        axes.set_cranial(Vector3::y(), 1.0);
        let samples = StepSamples { times_s: t, gyro_rad_s: w, acc_m_s2: a };
        judge(step, role, samples, &mut axes)
    }

    #[test]
    fn was_that_a_bow_and_if_not_what_was_it() {
        let (side, ahead) = (-Vector3::z(), Vector3::x());
        let bow = |m: &_| verdict(CalibrationStep::Bow, Role::Pelvis, m);
        assert!(bow(&movement(side, twice(40.0), ahead, 0.05)).passed());
        let refused = |m: &_| refusal(&bow(m));
        let little = refused(&movement(side, twice(10.0), ahead, 0.0));
        assert!(
            matches!(little, Refusal::TooSmall { range_deg, least_deg: BOW_MIN_DEG } if (range_deg - 10.0).abs() < 0.1)
        );
        let sideways_too = refused(&movement(side, twice(30.0), ahead, 0.5));
        assert!(matches!(sideways_too, Refusal::OffAxis { off_axis } if off_axis > WOBBLE_MAX));
        assert_eq!(refused(&movement(Vector3::y(), twice(40.0), ahead, 0.0)), Refusal::AboutLongAxis);
        let left_down = refused(&movement(side, |t| 5.0 * t, ahead, 0.0));
        assert!(
            matches!(left_down, Refusal::NotReturned { left_over_deg } if (left_over_deg - 40.0).abs() < 0.1)
        );
        assert_eq!(refused(&movement(side, |_| 0.0, ahead, 0.0)), Refusal::NoMovement);
    }

    #[test]
    fn was_that_an_arm_raise_and_if_not_what_was_it() {
        let raise = |m: &_| verdict(CalibrationStep::ArmRaise, Role::LeadArm, m);
        let (side, ahead) = (Vector3::z(), Vector3::x());
        assert!(raise(&movement(side, twice(88.0), ahead, 0.05)).passed());
        let refused = |m: &_| refusal(&raise(m));
        let little = refused(&movement(side, twice(20.0), ahead, 0.0));
        assert!(
            matches!(little, Refusal::TooSmall { range_deg, least_deg: RAISE_MIN_DEG } if (range_deg - 20.0).abs() < 0.1)
        );
        assert!(matches!(refused(&movement(side, twice(80.0), ahead, 0.5)), Refusal::OffAxis { .. }));
        let left_up = refused(&movement(side, |t| 10.0 * t, ahead, 0.0));
        assert!(
            matches!(left_up, Refusal::NotReturned { left_over_deg } if (left_over_deg - 80.0).abs() < 0.2)
        );
    }

    /// 1.75 deg of a person's own and an eighth of the wobble's angle, in squares (by hand).
    #[test]
    fn a_wobbling_bow_is_a_less_certain_axis() {
        let sd = |share| {
            let v = verdict(
                CalibrationStep::Bow,
                Role::Thorax,
                &movement(-Vector3::z(), twice(40.0), Vector3::x(), share),
            );
            let CalibrationOutcome::Passed { sd_deg, .. } = v else { panic!("{v:?}") };
            sd_deg
        };
        let (straight, wobbling) = (sd(0.0), sd(0.1));
        assert!((straight - 1.75).abs() < 1e-3, "{straight}");
        // Rates in the ratio 0.2 (0.1 at twice the pace): wobble² = 0.04 / 1.04.
        let want = 1.75_f64.hypot((0.04_f64 / 1.04).sqrt().atan().to_degrees() / 8.0);
        assert!((wobbling - want).abs() < 0.02, "{wobbling}, want {want}");
    }

    #[test]
    fn slowly_leaning_is_not_standing_still() {
        let t: Vec<f64> = (0..500).map(|i| f64::from(i) / 100.0).collect();
        let a = |dps: f64| -> Vec<Vector3<f64>> {
            t.iter()
                .map(|t| {
                    let rad = (dps * t).to_radians();
                    Vector3::new(rad.sin(), rad.cos(), 0.0) * G_M_S2
                })
                .collect()
        };
        let w = |dps: f64| vec![Vector3::new(0.0, 0.0, dps.to_radians()); t.len()];
        assert!(verdict(CalibrationStep::Still, Role::Thorax, &(t.clone(), w(0.2), a(0.2))).passed());
        let v = verdict(CalibrationStep::Still, Role::Thorax, &(t.clone(), w(3.0), a(3.0)));
        assert!(matches!(refusal(&v), Refusal::Leaned { lean_deg } if (lean_deg - 10.0).abs() < 0.1));
    }

    #[test]
    fn a_moment_is_too_short_for_any_step() {
        let (t, w, a) = still_samples(1.0, 1.0);
        let short = (t[..50].to_vec(), w[..50].to_vec(), a[..50].to_vec());
        for (step, role) in [
            (CalibrationStep::Still, Role::Pelvis),
            (CalibrationStep::Bow, Role::Thorax),
            (CalibrationStep::ArmRaise, Role::LeadArm),
        ] {
            let v = verdict(step, role, &short);
            assert_eq!(refusal(&v), Refusal::TooShort { lasted_s: 0.49, least_s: STILL_MIN_S });
        }
    }
}
