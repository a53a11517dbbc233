//! Segment angles and the separation of thorax and pelvis.

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};
use peakorder_motion::angles::Cardan;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{ANGLE_ORDER, SEPARATION_METHOD};
use peakorder_tests::synthetic::{Ease, Knot, Part, Recording};

fn degrees(c: Cardan) -> [f64; 3] {
    [c.axial, c.lateral, c.flexion].map(f64::to_degrees)
}

fn assert_near(got: &[f64], want: &[f64], within: f64) {
    assert_eq!(got.len(), want.len());
    for (g, w) in got.iter().zip(want) {
        assert!((g - w).abs() < within, "{got:?} is not {want:?} within {within}");
    }
}

fn turn(axis: &Vector3<f64>, deg: f64) -> Rotation3<f64> {
    Rotation3::from_axis_angle(&nalgebra::Unit::new_unchecked(*axis), deg.to_radians())
}

/// Rotation, obliquity, tilt about up, anterior and medio-lateral axes in the order of Baker
/// R 2001 (Gait Posture 13:1–6), built without the product and in ISB axes.
fn baker(rotation_deg: f64, obliquity_deg: f64, tilt_deg: f64) -> Rotation3<f64> {
    turn(&Vector3::y(), rotation_deg) * turn(&Vector3::x(), obliquity_deg) * turn(&Vector3::z(), tilt_deg)
}

/// Baker 2001: taken rotation first, a pelvis turned by 30° and tilted by 30° has no
/// obliquity; taken tilt first it seems to have 14.5° (numbers: scipy). The matrix is that of
/// the same pose with Z up and X to the right.
#[test]
fn a_turned_and_tilted_pelvis_has_no_obliquity() {
    let z_up = Matrix3::new(0.866_025, -0.433_013, 0.25, 0.5, 0.75, -0.433_013, 0.0, 0.5, 0.866_025);
    // ISB axes X anterior, Y up, Z right are that frame's Y, Z and X.
    let axes = Matrix3::new(0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0);
    let isb = axes * z_up * axes.transpose();
    assert_near(&degrees(Cardan::from_matrix(&isb)), &[30.0, 0.0, 30.0], 1e-4);
    // The same pose as a matrix in ISB axes, also by scipy.
    let printed = Matrix3::new(0.75, -0.433_013, 0.5, 0.5, 0.866_025, 0.0, -0.433_013, 0.25, 0.866_025);
    assert!((isb - printed).amax() < 1e-6);
    for (rotation, tilt, seeming) in [
        (30.0, 30.0, 14.477_512),
        (20.0, 15.0, 5.078_546),
        (45.0, 20.0, 13.995_445),
        (-45.0, 15.0, -10.545_291),
    ] {
        let pose = baker(rotation, 0.0, tilt);
        let [axial, lateral, flexion] = degrees(Cardan::from_matrix(pose.matrix()));
        assert_near(&[axial, flexion], &[rotation, tilt], 1e-9);
        assert!(lateral.abs() < 1e-9, "{lateral}");
        // What tilt first would have said: sine of it is the matrix element of the anterior
        // axis after (obliquity is the middle angle of Z–X–Y).
        let tilt_first = pose[(2, 1)].asin().to_degrees();
        assert!((tilt_first - seeming).abs() < 1e-5, "{tilt_first} is not {seeming}");
    }
}

/// ISB thorax order Z–X–Y (flexion −35, lateral 10, axial 80; order from memory of Wu et al.
/// 2005) read as Y–X–Z gives other angles for the same pose (scipy): hence the order is printed.
#[test]
fn another_order_gives_other_angles_and_the_order_is_printed() {
    let pose = turn(&Vector3::z(), -35.0) * turn(&Vector3::x(), 10.0) * turn(&Vector3::y(), 80.0);
    let printed = Matrix3::new(
        0.240_332, 0.564_863, 0.789_412, 0.040_483, 0.806_707, -0.589_563, -0.969_846, 0.173_648, 0.171_010,
    );
    assert!((pose.matrix() - printed).amax() < 1e-6);
    assert_near(&degrees(Cardan::from_matrix(pose.matrix())), &[77.776_899, 36.126_002, 2.872_847], 1e-5);
    assert!(ANGLE_ORDER.contains("Y-X-Z") && ANGLE_ORDER.contains("ISB"), "{ANGLE_ORDER}");
}

fn pelvis_and_thorax() -> [UnitQuaternion<f64>; 2] {
    [[-45.0, -5.0, 15.0], [-90.0, -20.0, 30.0]].map(|angles: [f64; 3]| {
        let [axial, lateral, flexion] = angles.map(f64::to_radians);
        Cardan { axial, lateral, flexion }.to_quaternion()
    })
}

/// Five ways to an X-factor from one pose (numbers: scipy). The product subtracts axial
/// angles and says so; methods differ significantly (Brown et al. 2013; Kwon et al. 2013,
/// second-hand).
#[test]
fn separation_is_the_difference_of_turns_and_names_its_method() {
    let [pelvis, thorax] = pelvis_and_thorax();
    let turns = [pelvis, thorax].map(|q| Cardan::from_quaternion(&q).axial.to_degrees());
    assert!((turns[1] - turns[0] + 45.0).abs() < 1e-9);
    // Horizontal projection of the medio-lateral axes: an identity in rotation-first order.
    let heading = |q: UnitQuaternion<f64>| {
        let right = q * Vector3::z();
        right.x.atan2(right.z).to_degrees()
    };
    assert!((heading(thorax) - heading(pelvis) + 45.0).abs() < 1e-9);
    // The other methods, so that the poses are known to be the ones meant.
    let relative = pelvis.inverse() * thorax;
    assert!((Cardan::from_quaternion(&relative).axial.to_degrees() + 39.420_846).abs() < 1e-5);
    let helical = relative.scaled_axis().map(f64::to_degrees);
    assert!((helical.norm() - 46.453_732).abs() < 1e-5, "{helical}");
    let vertical = helical.y;
    assert!((vertical + 35.222_550).abs() < 1e-5, "{helical}");
    assert!(SEPARATION_METHOD.contains("thorax turn minus pelvis turn"), "{SEPARATION_METHOD}");
}

/// The quaternions of those two poses by scipy (x, y, z, w with Z up, X to the right).
#[test]
fn quaternions_of_the_poses_are_those_of_scipy() {
    let scipy =
        [[0.103_926, -0.089_857, -0.373_788, 0.917_283], [0.061_628, -0.298_836, -0.640_856, 0.704_416]];
    for (q, [x, y, z, w]) in pelvis_and_thorax().into_iter().zip(scipy) {
        // Anterior, up and right are that frame's y, z and x.
        let want = nalgebra::Vector4::new(y, z, x, w);
        let apart = (q.coords - want).amax().min((q.coords + want).amax());
        assert!(apart < 1e-6, "{} is not {want}", q.coords);
    }
}

/// X-factor stretch by its author's example (Cheetham et al. 2001): pelvis 45° and thorax
/// 90° when the pelvis turns back, 50° at most → 45 and a stretch of 5. Through the whole
/// chain. The made thorax turns about its own, somewhat leaning axis, so much larger turns
/// would not be the axial angle that the product measures.
#[test]
fn stretch_is_what_is_gained_after_the_pelvis_turns_back() {
    let (thorax_deg, pelvis_deg, most_deg) = (90.0, 45.0, 50.0);
    let (recording, top_deg) = stretching(thorax_deg, pelvis_deg, most_deg);
    let swings = recording.swings_by_import();
    let separation = swings[0].separation.as_ref().expect("pelvis and thorax are worn");
    assert!((separation.max_deg + most_deg).abs() < 1.96 * separation.sd_deg, "{separation:?}");
    let stretch = most_deg - (thorax_deg - pelvis_deg);
    // The pelvis turns back at a corner here, which moves its reversal by some milliseconds:
    // within the uncertainty that the file states.
    let stretch_sd_deg = separation.stretch_sd_deg.expect("the pelvis turned back");
    assert!(
        (separation.stretch_deg - stretch).abs() < 1.96 * stretch_sd_deg,
        "{separation:?}, {stretch} is true"
    );
    assert!(
        (separation.top_deg - top_deg).abs() < 1.96 * separation.sd_deg,
        "{separation:?}, {top_deg} is true"
    );
    assert_eq!(separation.method, SEPARATION_METHOD);
}

/// A swing in which the thorax has stopped before the pelvis turns back and follows so late
/// that the separation grows to `most_deg`; and the true separation at the top.
fn stretching(thorax_deg: f64, pelvis_deg: f64, most_deg: f64) -> (Recording, f64) {
    let with_reversal = |thorax_ms: f64| {
        let pelvis_ms = -330.0;
        let knot = |at_ms, dps| Knot { at_ms, dps, ease: Ease::Cosine };
        let part = |away_deg, reversal_ms, peak_ms, dps| Part {
            away_deg,
            reversal_ms,
            knots: vec![knot(peak_ms, dps), knot(260.0, 0.0)],
        };
        Recording {
            backswing_s: 0.9,
            ..Recording::of([
                part(pelvis_deg, pelvis_ms, -90.0, 420.0),
                part(thorax_deg, thorax_ms, -60.0, 760.0),
                part(115.0, -270.0, -55.0, 900.0),
            ])
        }
    };
    let separation = |r: &Recording, t: f64| r.turn(Role::Thorax).angle(t) - r.turn(Role::Pelvis).angle(t);
    let most = |r: &Recording| {
        let (from, to) = (r.takeaway_s(0), r.impact_s(0));
        (0..3000).map(|i| separation(r, from + (to - from) * f64::from(i) / 3000.0).abs()).fold(0.0, f64::max)
    };
    // The later the thorax turns back, the larger it gets: bisection. The thorax must already
    // be at its extreme when the pelvis turns back, so both reverse together and then the
    // thorax pauses.
    let (mut early, mut late) = (-329.0, -110.0);
    for _ in 0..50 {
        let mid = 0.5 * (early + late);
        if most(&paused(with_reversal(-330.0), mid)) < most_deg { early = mid } else { late = mid }
    }
    let recording = paused(with_reversal(-330.0), late);
    assert!((most(&recording) - most_deg).abs() < 1e-3, "{} at {late}", most(&recording));
    let top_s = recording.impact_s(0) + recording.parts[2].reversal_ms * 1e-3;
    let top_deg = separation(&recording, top_s);
    (recording, top_deg)
}

/// Lets the thorax rest from its reversal until `until_ms`.
fn paused(mut recording: Recording, until_ms: f64) -> Recording {
    let thorax = &mut recording.parts[1];
    thorax.knots.insert(0, Knot { at_ms: until_ms, dps: 0.0, ease: Ease::Line });
    recording
}

/// At 90° of lateral tilt axial and flexion cannot be told apart: no NaN, and the rotation
/// survives (the matrix to 10⁻⁷; arcsine next to 1 keeps half the digits of a double).
#[test]
fn gimbal_lock_keeps_the_rotation() {
    for lateral_deg in [90.0, -90.0] {
        for (axial, flexion) in [(0.0, 0.0), (40.0, -25.0), (-170.0, 120.0)] {
            let pose = baker(axial, lateral_deg, flexion);
            let cardan = Cardan::from_matrix(pose.matrix());
            assert!(degrees(cardan).iter().all(|v| v.is_finite()), "{cardan:?}");
            let back = cardan.to_quaternion().to_rotation_matrix();
            assert!((back.matrix() - pose.matrix()).amax() < 1e-7, "{}", back.matrix() - pose.matrix());
        }
    }
}

/// Next to 90° the rotation must survive as well as elsewhere.
#[test]
fn next_to_gimbal_lock_keeps_the_rotation() {
    for off_deg in [1e-1, 1e-2, 1e-3, 1e-4, 1e-5] {
        for sign in [-1.0, 1.0] {
            let pose = baker(40.0, sign * (90.0 - off_deg), -25.0);
            let cardan = Cardan::from_matrix(pose.matrix());
            let back = cardan.to_quaternion().to_rotation_matrix();
            let apart = (back.matrix() - pose.matrix()).amax();
            assert!(apart < 1e-6, "{off_deg} deg from the lock the matrix is off by {apart}");
        }
    }
}
