//! A planned body seen as an optical laboratory would see it, and recorded: its truth must come back.

use super::Trial;
use super::pose::Pose;
use crate::body::GRAVITY;
use crate::script::{PracticeOptions, RecordedOptions, Script, Session, StrapOptions};
use crate::{PlayerParams, Population};
use nalgebra::{Matrix3, Vector3};
use peakorder_protocol::{Handedness, Role};

const HZ: f64 = 120.0;

fn planned() -> Session {
    let player = PlayerParams::mean_of(Population::Amateur).with_hanging_arm();
    Script::practice(4, player, 1, &PracticeOptions::default())
        .with_straps(StrapOptions { askew_deg: 0.0, ..StrapOptions::default() })
        .session()
}

/// The swing of `session` as a trial, from a second before it to a second after.
fn seen(session: &Session) -> Trial {
    let swing = &session.truth()[0];
    let n = ((swing.finish_s - swing.takeaway_s + 2.0) * HZ) as usize;
    let at = |i: usize, role| session.sample_truth(role, swing.takeaway_s - 1.0 + i as f64 / HZ);
    let pose = |i: usize, role| {
        let state = at(i, role);
        Pose { rotation: state.orientation, position: state.position }
    };
    let rows = (0..n).map(|i| Role::ALL.map(|role| pose(i, role))).collect();
    let hands = (0..n).map(|i| {
        let arm = at(i, Role::LeadArm);
        arm.position - arm.orientation * Vector3::y() * 0.5
    });
    Trial { name: "invented".into(), golf: true, hz: HZ, rows, hands: hands.collect() }
}

fn recorded(trial: Trial, handedness: Handedness) -> Session {
    let options = RecordedOptions { handedness, ..RecordedOptions::default() };
    Script::recorded(9, &[trial], &options).expect("there is a swing in it").session()
}

#[test]
fn the_truth_of_a_planned_body_comes_back_when_it_is_recorded() {
    let planned = planned();
    let want = &planned.truth()[0];
    for handedness in [Handedness::Right, Handedness::Left] {
        let session = recorded(seen(&planned), handedness);
        let truths = session.truth();
        let got = &truths[0];
        // The two clocks differ by a constant; impact of a planned swing is planned, of a recorded one found.
        let shift = got.top_s - want.top_s;
        assert!((got.onset_s - want.onset_s - shift).abs() < 0.04, "{}", got.onset_s - want.onset_s - shift);
        for (got, want) in got.segments.values().zip(want.segments.values()) {
            assert!((got.peak_s - want.peak_s - shift).abs() < 2e-4, "{got:?} {want:?}");
            assert!((got.reversal_s - want.reversal_s - shift).abs() < 1e-3, "{got:?} {want:?}");
            assert!((got.peak_dps - want.peak_dps).abs() < 0.2, "{got:?} {want:?}");
            assert!((got.turn_deg.max_away - want.turn_deg.max_away).abs() < 0.5, "{got:?} {want:?}");
            assert!((got.lateral_tilt_deg.top - want.lateral_tilt_deg.top).abs() < 0.1, "{got:?} {want:?}");
        }
        let (got, want) = (got.separation.unwrap(), want.separation.unwrap());
        assert!((got.top_deg - want.top_deg).abs() < 0.5, "{got:?} {want:?}");
    }
}

#[test]
fn rates_and_forces_are_those_of_the_recorded_poses() {
    let session = recorded(seen(&planned()), Handedness::Left);
    let h = 1e-4;
    for role in Role::ALL {
        for i in 10..(session.duration_s() * 11.0) as usize {
            let t = i as f64 / 11.0;
            let at = |t| session.sample_truth(role, t);
            let matrix = |t| at(t).orientation.to_rotation_matrix().into_inner();
            let state = at(t);
            let rate: Matrix3<f64> = (matrix(t + h) - matrix(t - h)) / (2.0 * h);
            let skew = rate * matrix(t).transpose();
            let omega = Vector3::new(skew[(2, 1)], skew[(0, 2)], skew[(1, 0)]);
            assert!((omega - state.omega_global).norm() < 1e-4 * (1.0 + omega.norm()), "{role} at {t}");
            let alpha = (at(t + h).omega_global - at(t - h).omega_global) / (2.0 * h);
            assert!((alpha - state.alpha_global).norm() < 1e-3 * (10.0 + alpha.norm()), "{role} at {t}");
            let accel = (at(t + h).position + at(t - h).position - state.position * 2.0) / (h * h);
            let force = state.orientation * state.specific_force_body - Vector3::new(0.0, GRAVITY, 0.0);
            assert!((force - accel).norm() < 1e-3 * (10.0 + accel.norm()), "{role} at {t}: {force} {accel}");
        }
    }
}

#[test]
fn joins_do_not_jerk() {
    // What is joined on is no faster than the movements themselves.
    let session = recorded(seen(&planned()), Handedness::Right);
    let swing = &session.truth()[0];
    for role in Role::ALL {
        let mut t = 0.0;
        while t < session.duration_s() {
            let quiet = t < swing.takeaway_s - 1.2 || t > swing.finish_s + 1.2;
            let alpha = session.sample_truth(role, t).alpha_global.norm();
            assert!(!quiet || alpha < 25.0, "{role} at {t}: {alpha} rad/s²");
            t += 0.003;
        }
    }
}
