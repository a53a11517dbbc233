//! Turns of known size, from a generator of its own: orientations by quaternion products of
//! nalgebra, rates by differences of them. Nothing of the estimator is used to make them.

use super::*;
use crate::calibrate::Axes;
use crate::calibrate::steps::{StepSamples, judge as judge_step};
use nalgebra::UnitQuaternion;
use peakorder_protocol::calibration::CalibrationStep;
use peakorder_protocol::document::DocumentError;
use peakorder_protocol::mobility::{CAUTION, METHOD, Mobility, SCHEMA, Side, SwingSide};

const RATE_HZ: f64 = 208.0;
const G: f64 = 9.80665;

/// One planned turn: degrees to the left (negative: right) of thorax and pelvis, and where
/// both come back to.
#[derive(Clone, Copy)]
pub(super) struct Plan {
    pub(super) thorax: f64,
    pub(super) pelvis: f64,
    pub(super) rest: f64,
}

pub(super) fn plan(thorax: f64, pelvis: f64) -> Plan {
    Plan { thorax, pelvis, rest: 0.0 }
}

/// Left and right in turn, three each, every one a little different.
pub(super) fn three_each(left: [f64; 3], right: [f64; 3], share: f64) -> Vec<Plan> {
    left.into_iter().zip(right).flat_map(|(l, r)| [plan(l, share * l), plan(-r, -share * r)]).collect()
}

/// How it is worn and done.
#[derive(Clone)]
pub(super) struct Scene {
    pub(super) plans: Vec<Plan>,
    /// Strap on its segment: Euler angles, rad.
    pub(super) mounting: [(f64, f64, f64); 2],
    /// Gyroscope bias that nobody took off, deg/s, sensor frame.
    pub(super) bias_dps: Vector3<f64>,
    /// What is believed of it, deg/s.
    pub(super) bias_sd_dps: f64,
    /// The trunk leans forward by this, deg.
    pub(super) lean_deg: f64,
    /// Straight from side to side, no halt at the start position.
    pub(super) through: bool,
    pub(super) hold_first_s: f64,
    pub(super) hold_last_s: f64,
    pub(super) posture: Option<Posture>,
    pub(super) handedness: Handedness,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            plans: three_each([50.0, 53.0, 48.0], [41.0, 44.0, 45.0], 0.05),
            mounting: [(0.2, -0.3, 0.4), (-0.3, 0.25, 2.8)],
            bias_dps: Vector3::zeros(),
            bias_sd_dps: 0.05,
            lean_deg: 4.0,
            through: false,
            hold_first_s: 1.5,
            hold_last_s: 1.5,
            posture: Some(Posture::Seated),
            handedness: Handedness::Right,
        }
    }
}

/// Zero at 0 and one at 1, with zero rate and acceleration at both.
pub(super) fn ramp(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * x * (10.0 + x * (6.0 * x - 15.0))
}

impl Scene {
    /// Times at which thorax (0) or pelvis (1) is where, deg.
    pub(super) fn knots(&self, segment: usize) -> Vec<(f64, f64)> {
        let mut t = self.hold_first_s;
        let mut knots = vec![(0.0, 0.0), (t, 0.0)];
        for (i, p) in self.plans.iter().enumerate() {
            let deg = [p.thorax, p.pelvis][segment];
            t += 1.4 + 0.1 * (i % 3) as f64;
            knots.push((t, deg));
            t += 0.6;
            knots.push((t, deg));
            if !self.through || i + 1 == self.plans.len() {
                t += 1.5;
                knots.push((t, p.rest));
                t += if i + 1 == self.plans.len() { self.hold_last_s } else { 0.8 };
                knots.push((t, p.rest));
            }
        }
        knots
    }

    pub(super) fn orientation(&self, segment: usize, knots: &[(f64, f64)], t: f64) -> UnitQuaternion<f64> {
        let next = knots.partition_point(|k| k.0 <= t).clamp(1, knots.len() - 1);
        let (a, b) = (knots[next - 1], knots[next]);
        let turn = a.1 + (b.1 - a.1) * ramp((t - a.0) / (b.0 - a.0).max(1e-9));
        // A little sway about all axes.
        let sway = |hz: f64, phase: f64| 0.15 * (std::f64::consts::TAU * hz * t + phase).sin();
        UnitQuaternion::from_axis_angle(&Vector3::y_axis(), (turn + sway(0.3, 1.0)).to_radians())
            * UnitQuaternion::from_axis_angle(
                &Vector3::z_axis(),
                (-self.lean_deg + sway(0.4, 0.0)).to_radians(),
            )
            * UnitQuaternion::from_axis_angle(
                &Vector3::x_axis(),
                (1.0 + sway(0.2, segment as f64)).to_radians(),
            )
    }

    /// Samples as the strap's sensor has them.
    pub(super) fn sensor(
        &self,
        segment: usize,
        until_s: f64,
        at: impl Fn(f64) -> UnitQuaternion<f64>,
    ) -> Samples {
        let (r, p, y) = self.mounting[segment];
        let worn = UnitQuaternion::from_euler_angles(r, p, y);
        let bias = self.bias_dps.map(f64::to_radians);
        let mut s = Samples::default();
        for i in 0..(until_s * RATE_HZ) as usize {
            let t = i as f64 / RATE_HZ;
            let h = 1e-4;
            let rate = (at(t - h).inverse() * at(t + h)).scaled_axis() / (2.0 * h);
            s.t_s.push(t);
            s.gyro.push(worn * rate + bias);
            s.acc.push(worn * (at(t).inverse() * Vector3::new(0.0, G, 0.0)));
        }
        s
    }

    /// Still and two bows, through the pipeline's own judge.
    fn mounting(&self, segment: usize) -> Mounting {
        let role = [Role::Thorax, Role::Pelvis][segment];
        let mut axes = Axes::default();
        let still = self.sensor(segment, 4.0, |_| UnitQuaternion::identity());
        let bow = self.sensor(segment, 8.0, |t| {
            let deg = 20.0 * (1.0 - (t * std::f64::consts::FRAC_PI_2).cos());
            UnitQuaternion::from_axis_angle(&Vector3::z_axis(), -f64::to_radians(deg))
        });
        for (step, s) in [(CalibrationStep::Still, &still), (CalibrationStep::Bow, &bow)] {
            let samples = StepSamples { times_s: &s.t_s, gyro_rad_s: &s.gyro, acc_m_s2: &s.acc };
            let outcome = judge_step(step, role, samples, &mut axes);
            assert!(outcome.passed(), "{outcome:?}");
        }
        axes.mounting(0.0).expect("both axes")
    }

    fn performance(&self) -> Performance {
        let straps = [Role::Thorax, Role::Pelvis].into_iter().enumerate().map(|(i, role)| {
            let knots = self.knots(i);
            let end_s = knots.last().expect("knots").0;
            let mounting = self.mounting(i);
            let s = self.sensor(i, end_s, |t| self.orientation(i, &knots, t));
            StrapTurn {
                role,
                gyro: s.gyro.iter().map(|w| mounting.to_segment * w).collect(),
                acc: s.acc.iter().map(|a| mounting.to_segment * a).collect(),
                t_s: s.t_s,
                mounting: Some(mounting),
                bias_sd: self.bias_sd_dps.to_radians(),
                sample_is: SampleIs::Instant,
                clipped: 0,
                restarted: false,
            }
        });
        let straps: Vec<StrapTurn> = straps.collect();
        Performance {
            number: 1,
            posture: self.posture,
            handedness: self.handedness,
            from_s: 0.0,
            to_s: self.knots(0).last().expect("knots").0,
            end_marked: true,
            calibration_valid_s: 7200.0,
            straps,
        }
    }

    fn check(&self) -> MobilityCheck {
        measure(&self.performance())
    }
}

#[derive(Default)]
pub(super) struct Samples {
    pub(super) t_s: Vec<f64>,
    pub(super) gyro: Vec<Vector3<f64>>,
    pub(super) acc: Vec<Vector3<f64>>,
}

/// Every planned turn is found and within `tolerance` of the plan.
pub(super) fn assert_recovered(scene: &Scene, check: &MobilityCheck, tolerance: f64, what: &str) {
    for side in Side::ALL {
        let sign = side.sign();
        let planned: Vec<&Plan> = scene.plans.iter().filter(|p| p.thorax * sign > 0.0).collect();
        let turns = check.side(side).unwrap_or_else(|| panic!("{what}: no {side}, {:?}", check.repeat));
        assert_eq!(turns.repetitions.len(), planned.len(), "{what}: {side}");
        for (got, plan) in turns.repetitions.iter().zip(planned) {
            let (thorax, pelvis) = (sign * plan.thorax, sign * plan.pelvis);
            assert!(
                (got.thorax_deg - thorax).abs() < tolerance,
                "{what} {side}: {} not {thorax}",
                got.thorax_deg
            );
            let got_pelvis = got.pelvis_deg.expect("pelvis");
            assert!(
                (got_pelvis - pelvis).abs() < tolerance,
                "{what} {side}: pelvis {got_pelvis} not {pelvis}"
            );
            // A standard uncertainty: three of it hold (nearly) everything.
            assert!(
                (got.thorax_deg - thorax).abs() < 3.0 * got.thorax_sd_deg,
                "{what}: sd {}",
                got.thorax_sd_deg
            );
        }
    }
}

#[test]
fn known_turns_come_back_whatever_the_mounting_bias_and_lean() {
    let mountings = [
        [(0.0, 0.0, 0.0), (0.0, 0.0, 0.0)],
        [(0.6, -0.5, 2.9), (3.1, 0.2, -1.4)],
        [(-0.4, 0.5, -0.6), (0.3, 2.9, 0.4)],
    ];
    for mounting in mountings {
        for bias_dps in [Vector3::zeros(), Vector3::new(0.0, 0.3, 0.0), Vector3::new(-0.2, 0.15, 0.16)] {
            for lean_deg in [0.0, 12.0] {
                let scene = Scene { mounting, bias_dps, bias_sd_dps: 3.0, lean_deg, ..Scene::default() };
                let check = scene.check();
                let what = format!("{mounting:?} {bias_dps:?} {lean_deg}");
                assert!(check.ok, "{what}: {:?}", check.repeat);
                assert_recovered(&scene, &check, 1.5, &what);
            }
        }
    }
}

#[test]
fn a_standing_turn_with_the_pelvis_gives_its_share() {
    let scene = Scene {
        plans: three_each([80.0, 86.0, 83.0], [70.0, 72.0, 77.0], 0.4),
        posture: Some(Posture::Standing),
        bias_dps: Vector3::new(0.1, 0.3, -0.1),
        bias_sd_dps: 0.5,
        ..Scene::default()
    };
    let check = scene.check();
    assert!(check.ok, "{:?}", check.repeat);
    assert_recovered(&scene, &check, 1.5, "standing");
    let left = check.left.as_ref().expect("left");
    let share = left.pelvis_share.expect("share");
    assert!((share.share - 0.4).abs() < 0.02 && share.sd < 0.05, "{share:?}");
    // Means 83 and 73: difference 10, a share of 10/78, range 156 (by hand).
    let balance = check.thorax_balance.expect("both sides");
    assert!((balance.left_minus_right_deg - 10.0).abs() < 1.5);
    assert!((balance.share.expect("share").share - 10.0 / 78.0).abs() < 0.02);
    assert!((balance.range_deg - 156.0).abs() < 2.0);
    assert!((left.thorax.largest_deg - 86.0).abs() < 1.5 && (left.thorax.mean_deg - 83.0).abs() < 1.5);
    assert!((left.thorax.spread_deg.expect("three") - 3.0).abs() < 0.5);
    assert!((left.thorax_on_pelvis.expect("pelvis").mean_deg - 0.6 * 83.0).abs() < 1.5);
}

#[test]
fn left_is_left_for_both_hands_and_only_lead_and_trail_change() {
    let right = Scene::default().check();
    let left = Scene { handedness: Handedness::Left, ..Scene::default() }.check();
    let side = |c: &MobilityCheck, s| c.side(s).expect("turns").clone();
    assert_eq!(side(&right, Side::Left).repetitions, side(&left, Side::Left).repetitions);
    assert_eq!(side(&right, Side::Left).swing_side, SwingSide::Lead);
    assert_eq!(side(&left, Side::Left).swing_side, SwingSide::Trail);
    assert_eq!(side(&left, Side::Right).swing_side, SwingSide::Lead);
    assert!(side(&right, Side::Left).thorax.mean_deg > side(&right, Side::Right).thorax.mean_deg + 5.0);
}

#[test]
fn uneven_repetitions_are_told_one_by_one() {
    let scene = Scene { plans: three_each([30.0, 55.0, 44.0], [52.0, 28.0, 40.0], 0.0), ..Scene::default() };
    let check = scene.check();
    assert!(check.ok, "{:?}", check.repeat);
    assert_recovered(&scene, &check, 1.5, "uneven");
    assert!(check.left.expect("left").thorax.spread_deg.expect("three") > 10.0);
}

#[test]
fn straight_from_side_to_side_needs_no_halt_in_between() {
    let scene = Scene { through: true, ..Scene::default() };
    let check = scene.check();
    assert!(check.ok, "{:?}", check.repeat);
    assert_recovered(&scene, &check, 1.5, "through");
    assert_eq!(check.drift.expect("drift").still_positions, 2);
}

#[test]
fn drift_is_taken_out_and_said() {
    let scene = Scene {
        bias_dps: Vector3::new(0.0, 0.3, 0.0),
        bias_sd_dps: 3.0,
        mounting: [(0.0, 0.0, 0.0); 2],
        lean_deg: 0.0,
        ..Scene::default()
    };
    let drift = scene.check().drift.expect("drift");
    assert!((drift.thorax_dps - 0.3).abs() < 0.03, "{drift:?}");
    assert!((drift.pelvis_dps.expect("pelvis") - 0.3).abs() < 0.03);
    assert_eq!(drift.still_positions, 7);
    // Between two still positions lie about 4.5 s.
    assert!((1.0..2.5).contains(&drift.thorax_largest_deg), "{drift:?}");
}

/// The check was not done as asked, for exactly these reasons.
#[track_caller]
fn assert_repeat(check: &MobilityCheck, why: &[NotAsAsked]) {
    assert!(!check.ok);
    assert_eq!(check.repeat, why);
}

/// The one reason why the check was not done as asked.
#[track_caller]
fn only(check: &MobilityCheck) -> NotAsAsked {
    let [why] = check.repeat[..] else { panic!("{:?}", check.repeat) };
    why
}

#[test]
fn two_turns_are_not_three() {
    let mut scene = Scene::default();
    scene.plans.pop();
    let check = scene.check();
    assert_repeat(&check, &[NotAsAsked::TooFewTurns { side: Side::Right, seen: 2 }]);
    // What was done is measured all the same.
    assert_recovered(&scene, &check, 1.5, "five turns");
    let one = Scene { plans: vec![plan(50.0, 2.0)], ..Scene::default() }.check();
    let few = |side, seen| NotAsAsked::TooFewTurns { side, seen };
    assert_repeat(&one, &[few(Side::Left, 1), few(Side::Right, 0)]);
    assert!(one.right.is_none() && one.thorax_balance.is_none());
    assert_eq!(one.left.expect("left").thorax.spread_deg, None);
}

#[test]
fn a_halt_on_the_way_back_is_no_second_turn() {
    let mut scene = Scene::default();
    // Back only to 30 of 50, then on to 52 again: one turn.
    scene.plans.insert(0, Plan { thorax: 50.0, pelvis: 2.0, rest: 30.0 });
    let check = scene.check();
    let left = check.left.expect("left");
    assert_eq!(left.repetitions.len(), 3, "{:?}", left.repetitions);
}

#[test]
fn the_pelvis_must_stay_seated() {
    let plans = three_each([50.0, 53.0, 48.0], [41.0, 44.0, 45.0], 0.4);
    let seated = Scene { plans: plans.clone(), ..Scene::default() };
    let why = only(&seated.check());
    // 0.4 of the largest turn of the thorax.
    assert!(
        matches!(why, NotAsAsked::PelvisTurned { pelvis_deg } if (pelvis_deg - 0.4 * 53.0).abs() < 0.5),
        "{why:?}"
    );
    let standing = Scene { plans, posture: Some(Posture::Standing), ..Scene::default() };
    assert!(standing.check().ok);
}

#[test]
fn drift_beyond_trust_and_a_start_position_not_taken_again_are_told_apart() {
    let drifting = Scene {
        bias_dps: Vector3::new(0.0, 1.6, 0.0),
        mounting: [(0.0, 0.0, 0.0); 2],
        bias_sd_dps: 3.0,
        ..Scene::default()
    };
    let check = drifting.check();
    let drifts = |why: &NotAsAsked| matches!(why, NotAsAsked::Drifting { role: Role::Thorax, drift_dps } if (drift_dps - 1.6).abs() < 0.05);
    assert!(!check.ok && check.repeat.iter().any(drifts), "{:?}", check.repeat);
    let mut elsewhere = Scene::default();
    if let Some(last) = elsewhere.plans.last_mut() {
        last.rest = 14.0;
    }
    let check = elsewhere.check();
    let stayed = |why: &NotAsAsked| matches!(why, NotAsAsked::NotReturned { role: Role::Thorax, left_over_deg } if (left_over_deg - 14.0).abs() < 0.5);
    assert!(!check.ok && check.repeat.iter().any(stayed), "{:?}", check.repeat);
}

#[test]
fn marks_too_early_or_too_late_are_said() {
    assert_repeat(&Scene { hold_first_s: 0.0, ..Scene::default() }.check(), &[NotAsAsked::StartNotHeld]);
    assert_repeat(&Scene { hold_last_s: 0.0, ..Scene::default() }.check(), &[NotAsAsked::EndNotHeld]);
    let mut open = Scene::default().performance();
    open.end_marked = false;
    assert_repeat(&measure(&open), &[NotAsAsked::EndNotMarked]);
    let unsaid = Scene { posture: None, ..Scene::default() }.check();
    assert_repeat(&unsaid, &[NotAsAsked::PostureNotSaid]);
    assert!(unsaid.left.is_some());
}

#[test]
fn sitting_through_it_is_no_turn() {
    let still = Scene { plans: vec![plan(4.0, 0.0), plan(-3.0, 0.0)], ..Scene::default() };
    let why = only(&still.check());
    assert!(matches!(why, NotAsAsked::NoTurn { largest_deg } if (largest_deg - 4.0).abs() < 0.5), "{why:?}");
}

#[test]
fn straps_that_cannot_measure_are_named() {
    let with = |role: Role, change: &dyn Fn(&mut StrapTurn)| {
        let mut p = Scene::default().performance();
        p.straps.iter_mut().filter(|s| s.role == role).for_each(change);
        measure(&p)
    };
    let check = with(Role::Thorax, &|s| s.mounting = None);
    assert_repeat(&check, &[NotAsAsked::NotCalibrated { role: Role::Thorax }]);
    assert!(check.left.is_none());
    let check = with(Role::Pelvis, &|s| s.mounting = None);
    assert_repeat(&check, &[NotAsAsked::NotCalibrated { role: Role::Pelvis }]);
    assert!(check.left.as_ref().is_some_and(|l| l.pelvis.is_none() && l.pelvis_share.is_none()));
    let role = Role::Thorax;
    assert_repeat(&with(role, &|s| s.restarted = true), &[NotAsAsked::Restarted { role }]);
    assert_repeat(&with(role, &|s| s.clipped = 7), &[NotAsAsked::RangeLimit { role, samples: 7 }]);
    let holed = with(Role::Thorax, &|s| {
        s.t_s.drain(1000..1300);
        s.gyro.drain(1000..1300);
        s.acc.drain(1000..1300);
    });
    let hole = |check: &MobilityCheck| match only(check) {
        NotAsAsked::SamplesMissing { role: Role::Thorax, longest_s } => longest_s,
        why => panic!("{why:?}"),
    };
    // 300 samples at 208 Hz.
    assert!((hole(&holed) - 301.0 / 208.0).abs() < 0.01, "{}", hole(&holed));
    let mut stale = Scene::default().performance();
    stale.from_s = 9000.0;
    let why = only(&measure(&stale));
    assert!(
        matches!(why, NotAsAsked::CalibrationStale { role: Role::Thorax, age_h } if (age_h - 2.5).abs() < 0.05),
        "{why:?}"
    );
    let mut bare = Scene::default().performance();
    bare.straps.clear();
    assert_repeat(&measure(&bare), &[NotAsAsked::NoStrap { role }]);
    bare = Scene::default().performance();
    bare.straps.retain(|s| s.role == Role::Thorax);
    let check = measure(&bare);
    assert!(check.ok && check.notes == [MobilityNote::NoPelvisStrap], "{check:?}");
    let nothing =
        with(Role::Thorax, &|s| *s = StrapTurn { t_s: vec![], gyro: vec![], acc: vec![], ..s.clone() });
    assert!(hole(&nothing) > 10.0, "{}", hole(&nothing));
}

#[test]
fn the_file_reads_back_as_it_was_written() {
    let mut file = Mobility::new("a", Handedness::Left);
    file.checks = vec![
        Scene::default().check(),
        measure(&Performance { straps: vec![], ..Scene::default().performance() }),
    ];
    let text = file.to_json();
    assert_eq!(Mobility::from_json(&text).expect("reads"), file);
    assert!(text.contains(SCHEMA) && text.contains(METHOD) && text.contains(CAUTION));
    let newer = text.replace(SCHEMA, "peakorder.mobility/2");
    assert!(matches!(Mobility::from_json(&newer), Err(DocumentError::Checksum(_))));
    let newer = newer
        .rsplit_once(",\n")
        .map(|(all, _)| format!("{all}\n}}\n"))
        .expect("its last key is the checksum");
    assert!(matches!(Mobility::from_json(&newer), Err(DocumentError::Schema { .. })));
    assert!(matches!(Mobility::from_json("{"), Err(DocumentError::Json(_))));
}
