use super::GRAVITY;
use super::chain::{Axis, Frame};
use super::channel::{Channel, Family, Jet, Piece, Shape};
use crate::script::{PracticeOptions, Script, Session, StrapOptions};
use crate::truth::frame_angles_deg;
use crate::{PlayerParams, Population};
use nalgebra::{Matrix3, Vector3};
use peakorder_protocol::{Handedness, Role};

fn aligned(session: Script) -> Session {
    session.with_straps(StrapOptions { askew_deg: 0.0, ..StrapOptions::default() }).session()
}

fn practice(seed: u64, handedness: Handedness) -> Session {
    let mut player = PlayerParams::drawn_from(Population::Professional, seed);
    player.handedness = handedness;
    aligned(Script::practice(seed, player, 3, &PracticeOptions::varied()))
}

/// Fourth-order central difference.
fn difference<T>(f: impl Fn(f64) -> T, t: f64, h: f64) -> T
where
    T: std::ops::Sub<Output = T> + std::ops::Mul<f64, Output = T>,
{
    (f(t + h) - f(t - h)) * (8.0 / (12.0 * h)) - (f(t + 2.0 * h) - f(t - 2.0 * h)) * (1.0 / (12.0 * h))
}

/// Times all over a session, dense around its swings.
fn times(session: &Session) -> Vec<f64> {
    let mut times: Vec<f64> = (1..500).map(|i| session.duration_s() * f64::from(i) / 500.7).collect();
    for swing in session.truth() {
        let length = swing.finish_s - swing.takeaway_s;
        times.extend((0..300).map(|i| swing.takeaway_s + length * (f64::from(i) + 0.37) / 300.0));
    }
    times
}

#[test]
fn shapes_go_from_0_to_1_and_their_derivatives_are_those_of_the_value() {
    let mut shapes = vec![Shape::MinJerk];
    for family in [Family::RaisedCosine, Family::Bell] {
        for position in [0.3, 0.44, 0.5, 0.7] {
            let shape = Shape::peaking_at(family, position);
            let highest = (1..1000)
                .map(|i| f64::from(i) / 1000.0)
                .max_by(|a, b| shape.at(*a).rate.total_cmp(&shape.at(*b).rate))
                .unwrap();
            assert!((highest - position).abs() < 0.0015, "{shape:?} peaks at {highest}");
            shapes.push(shape);
        }
    }
    for shape in shapes {
        assert!(shape.at(0.0).value.abs() < 1e-15 && (shape.at(1.0).value - 1.0).abs() < 1e-12);
        assert!(shape.at(0.0).rate.abs() < 1e-12 && shape.at(1.0).rate.abs() < 1e-12);
        for i in 1..97 {
            let x = f64::from(i) / 97.3;
            let rate = difference(|x| shape.at(x).value, x, 1e-4);
            let accel = difference(|x| shape.at(x).rate, x, 1e-4);
            assert!((rate - shape.at(x).rate).abs() < 1e-6, "{shape:?} at {x}");
            assert!((accel - shape.at(x).accel).abs() < 1e-4 * (1.0 + accel.abs()), "{shape:?} at {x}");
        }
    }
}

#[test]
fn a_channel_is_the_sum_of_its_pieces_at_every_time() {
    let pieces: Vec<Piece> = (0..40)
        .map(|i| {
            let start_s = f64::from(i * 7 % 31) * 0.3;
            if i % 3 == 0 {
                Piece::Wave {
                    start_s,
                    end_s: start_s + 2.5,
                    ramp_s: 0.3,
                    amplitude: 0.2,
                    omega: 4.0,
                    phase: 1.0,
                }
            } else {
                Piece::Step { start_s, duration_s: 0.8, delta: 0.1 * f64::from(i), shape: Shape::MinJerk }
            }
        })
        .collect();
    let channel = Channel::new(0.7, &pieces);
    for i in -20..1500 {
        let t = f64::from(i) * 0.01;
        let (got, want) = (channel.at(t), super::channel::sum(&pieces, t));
        assert!((got.value - 0.7 - want.value).abs() < 1e-12, "at {t}");
        assert!((got.rate - want.rate).abs() < 1e-12 && (got.accel - want.accel).abs() < 1e-12);
    }
}

#[test]
fn angular_velocity_is_the_derivative_of_orientation_and_alpha_of_omega() {
    let session = practice(5, Handedness::Right);
    let matrix = |role, t| session.sample_truth(role, t).orientation.to_rotation_matrix().into_inner();
    for role in Role::ALL {
        for t in times(&session) {
            let state = session.sample_truth(role, t);
            // dR/dt · Rᵀ is the skew matrix of the global angular velocity.
            let rate: Matrix3<f64> = difference(|t| matrix(role, t), t, 5e-5);
            let skew = rate * matrix(role, t).transpose();
            let omega = Vector3::new(skew[(2, 1)], skew[(0, 2)], skew[(1, 0)]);
            let size = state.omega_global.norm().max(1.0);
            let error = (omega - state.omega_global).norm() / size;
            assert!(error < 1e-6, "{role} at {t}: {error}");
            let body = state.orientation.inverse() * state.omega_global;
            assert!((body - state.omega_body).norm() < 1e-12 * size);
            let alpha = difference(|t| session.sample_truth(role, t).omega_global, t, 5e-5);
            let error = (alpha - state.alpha_global).norm() / state.alpha_global.norm().max(10.0);
            assert!(error < 1e-4, "{role} alpha at {t}: {error}");
        }
    }
}

#[test]
fn specific_force_is_the_second_derivative_of_position_plus_gravity() {
    let session = practice(6, Handedness::Left);
    for role in Role::ALL {
        for t in times(&session) {
            let state = session.sample_truth(role, t);
            let h = 1e-4;
            let at = |t| session.sample_truth(role, t).position;
            let acceleration = (at(t + h) + at(t - h) - at(t) * 2.0) / (h * h);
            let force = state.orientation * state.specific_force_body;
            let error = (force - acceleration - Vector3::new(0.0, GRAVITY, 0.0)).norm();
            assert!(error < 0.02 * (1.0 + 0.01 * acceleration.norm()), "{role} at {t}: {error}");
        }
    }
}

#[test]
fn at_rest_specific_force_is_one_g_upward() {
    let mut player = PlayerParams::mean_of(Population::Professional);
    player.address_sway_dps = 0.0;
    let options = PracticeOptions { calibration: false, waggles: false, ..PracticeOptions::default() };
    let session = aligned(Script::practice(3, player, 1, &options));
    // Just before takeaway the player is still (no sway): only posture turns gravity.
    let t = session.truth()[0].takeaway_s - 0.1;
    for role in Role::ALL {
        let state = session.sample_truth(role, t);
        let force = state.orientation * state.specific_force_body;
        assert!((force - Vector3::new(0.0, GRAVITY, 0.0)).norm() < 1e-9, "{role}: {force}");
        assert!(state.omega_global.norm() < 1e-12);
    }
}

#[test]
fn a_left_handed_player_is_the_mirror_image() {
    let (right, left) = (practice(9, Handedness::Right), practice(9, Handedness::Left));
    let mirrored_vector = |v: Vector3<f64>| Vector3::new(v.x, v.y, -v.z);
    let mirrored_rotation = |v: Vector3<f64>| Vector3::new(-v.x, -v.y, v.z);
    for role in Role::ALL {
        for t in times(&right) {
            let (r, l) = (right.sample_truth(role, t), left.sample_truth(role, t));
            assert!((mirrored_rotation(r.omega_body) - l.omega_body).norm() < 1e-9);
            assert!((mirrored_vector(r.specific_force_body) - l.specific_force_body).norm() < 1e-7);
        }
    }
    for (r, l) in right.truth().iter().zip(left.truth()) {
        assert_eq!(r.order, l.order);
        for (a, b) in r.segments.values().zip(l.segments.values()) {
            assert!((a.peak_before_ms - b.peak_before_ms).abs() < 1e-3);
            assert!((a.peak_dps - b.peak_dps).abs() < 1e-6);
            assert!((a.turn_deg.top - b.turn_deg.top).abs() < 1e-3);
            assert!((a.lateral_tilt_deg.impact - b.lateral_tilt_deg.impact).abs() < 1e-3);
        }
    }
}

#[test]
fn angles_are_decomposed_axial_lateral_flexion() {
    let jet = |degrees: f64| Jet { value: degrees.to_radians(), ..Jet::default() };
    // Baker R (2001), Gait Posture 13:1–6: rotation and tilt with level hips give no
    // obliquity. ISB axes, flexion forward is negative about Z.
    let level = Frame::global().turned(Axis::Y, jet(30.0)).turned(Axis::Z, jet(30.0));
    let r = level.rotation;
    let expected = Matrix3::new(0.75, -0.433013, 0.5, 0.5, 0.866025, 0.0, -0.433013, 0.25, 0.866025);
    assert!((r - expected).norm() < 1e-5, "{r}");
    let [axial, lateral, flexion] = frame_angles_deg(&level, Handedness::Right);
    assert!((axial - 30.0).abs() < 1e-9 && lateral.abs() < 1e-9 && (flexion + 30.0).abs() < 1e-9);
    // Thorax in the ISB order Z–X–Y (flexion −35, lateral 10, axial 80), read as Y–X–Z:
    // 77.776899, 36.126002, 2.872847 (computed with numpy, convention of Wu G et al. 2005).
    let thorax =
        Frame::global().turned(Axis::Z, jet(-35.0)).turned(Axis::X, jet(10.0)).turned(Axis::Y, jet(80.0));
    let [axial, lateral, flexion] = frame_angles_deg(&thorax, Handedness::Right);
    assert!((axial - 77.776899).abs() < 1e-5, "{axial}");
    assert!((lateral - 36.126002).abs() < 1e-5, "{lateral}");
    assert!((flexion + 2.872847).abs() < 1e-5, "{flexion}");
}
