//! Poses made of rotations whose numbers are known by hand or from scipy.

use super::*;
use peakorder_protocol::Handedness::{Left, Right};
use proptest::prelude::*;

/// Y–X–Z angles by the right-hand rule, deg.
pub(crate) fn rotation([axial, lateral, flexion]: [f64; 3]) -> UnitQuaternion<f64> {
    let rad = f64::to_radians;
    Cardan { axial: rad(axial), lateral: rad(lateral), flexion: rad(flexion) }.to_quaternion()
}

fn about(axis: Vector3<f64>, deg: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_scaled_axis(axis * deg.to_radians())
}

/// Thorax bent forward and arm hanging from it at address, before anything has moved.
fn address() -> Ends {
    let (thorax, arm) = (rotation([0.0, 3.0, -30.0]), rotation([0.0, -4.0, 8.0]));
    Ends { thorax: [thorax; 2], arm: [arm; 2], heading_rad: 0.0 }
}

/// One pose at both ends: elevation and reach across.
fn held(thorax: [f64; 3], arm: [f64; 3], heading_deg: f64, side: Handedness) -> (f64, f64) {
    let ends = Ends {
        thorax: [rotation(thorax); 2],
        arm: [rotation(arm); 2],
        heading_rad: heading_deg.to_radians(),
    };
    let read = ends.read(side);
    (read.elevation_deg[1], read.across_deg[1])
}

/// By hand: where the arm points is read off the axes.
#[test]
fn plain_poses_are_what_they_look_like() {
    let upright = [0.0; 3];
    // Raised forward (about Z), then turned about the vertical to the right (negative).
    for (arm, side, raised, across) in [
        ([0.0, 0.0, 0.0], Right, 0.0, None),
        ([0.0, 0.0, 90.0], Right, 90.0, Some(0.0)),
        ([-90.0, 0.0, 90.0], Right, 90.0, Some(90.0)),
        ([-90.0, 0.0, 90.0], Left, 90.0, Some(-90.0)),
        ([30.0, 0.0, 60.0], Left, 60.0, Some(30.0)),
        ([0.0, 0.0, 120.0], Right, 120.0, Some(0.0)),
    ] {
        let got = held(upright, arm, 0.0, side);
        assert!((got.0 - raised).abs() < 1e-9, "{arm:?}: {got:?}");
        if let Some(across) = across {
            assert!((got.1 - across).abs() < 1e-9, "{arm:?} {side}: {got:?}");
        }
    }
    // A thorax turned by 90° takes the arm with it: seen from the chest nothing changes.
    let got = held([-90.0, 0.0, 0.0], [-90.0, 0.0, 90.0], 0.0, Right);
    assert!((got.0 - 90.0).abs() < 1e-9 && got.1.abs() < 1e-9, "{got:?}");
}

/// Expected values computed with scipy 1.17.1 (`Rotation.from_euler("YXZ")`, products applied
/// to (0, −1, 0), arccos and arctan2).
#[test]
fn general_poses_are_those_of_scipy() {
    for (thorax, arm, heading, side, raised, across) in [
        (
            [-88.0, 12.0, -35.0],
            [-20.0, 70.0, 35.0],
            -75.0,
            Right,
            92.157_430_429_540_7,
            -38.399_030_326_019_1,
        ),
        ([85.0, -10.0, -33.0], [15.0, -64.0, 40.0], 60.0, Left, 83.528_544_528_092_74, -46.383_897_977_443_1),
        ([-30.0, 5.0, -40.0], [10.0, -20.0, 24.0], -12.0, Right, 71.076_294_456_846_3, 9.702_435_094_645_077),
    ] {
        let got = held(thorax, arm, heading, side);
        assert!((got.0 - raised).abs() < 1e-9 && (got.1 - across).abs() < 1e-9, "{got:?}");
    }
}

#[test]
fn where_only_the_body_turns_the_share_is_one_and_the_arm_has_not_moved() {
    let mut ends = address();
    for (axis, deg) in [(Vector3::y(), -85.0), (Vector3::new(0.3, -0.9, 0.2).normalize(), 70.0)] {
        let pivot = about(axis, deg);
        (ends.thorax[1], ends.arm[1]) = (pivot * ends.thorax[0], pivot * ends.arm[0]);
        let read = ends.read(Right);
        assert!(read.moved_deg < 1e-6 && read.raised_deg().abs() < 1e-6, "{read:?}");
        assert!(read.went_across_deg().abs() < 1e-6, "{read:?}");
        assert!((read.turn_share() - 1.0).abs() < 1e-8, "{read:?}");
        assert!((read.rotation_deg - deg.abs()).abs() < 1e-9, "{read:?}");
    }
}

#[test]
fn where_only_the_arm_is_lifted_the_share_is_zero() {
    let mut ends = address();
    // About the axis across arm and thorax, so that all of it raises.
    let long = ends.thorax[0] * Vector3::y();
    let axis = (ends.arm[0] * down()).cross(&long).normalize();
    ends.arm[1] = about(axis, 75.0) * ends.arm[0];
    let read = ends.read(Right);
    assert!((read.moved_deg - 75.0).abs() < 1e-9 && (read.raised_deg() - 75.0).abs() < 1e-9, "{read:?}");
    assert!(read.turn_share().abs() < 1e-12 && read.chest_per_arm().abs() < 1e-12, "{read:?}");
    assert!((read.swept_deg - 75.0).abs() < 1e-9 && read.went_across_deg().abs() < 1e-9, "{read:?}");
}

/// Thorax upright and turned away by 80°, arm raised in it from 20° to 90° straight ahead and then
/// drawn across by 40°. By hand: the cosine of the angle between (sin 20, −cos 20, 0) and (cos 40, 0,
/// sin 40) is sin 20 · cos 40.
#[test]
fn turn_and_lift_together_are_shared() {
    let moved = (20_f64.to_radians().sin() * 40_f64.to_radians().cos()).acos().to_degrees();
    for (side, sign) in [(Right, 1.0), (Left, -1.0)] {
        let pivot = about(Vector3::y(), -80.0 * sign);
        let ends = Ends {
            thorax: [UnitQuaternion::identity(), pivot],
            arm: [rotation([0.0, 0.0, 20.0]), pivot * rotation([-40.0 * sign, 0.0, 90.0])],
            heading_rad: 0.0,
        };
        let read = ends.read(side);
        assert!((read.turn_deg - 80.0).abs() < 1e-9 && (read.moved_deg - moved).abs() < 1e-9, "{read:?}");
        assert!((read.raised_deg() - 70.0).abs() < 1e-9, "{read:?}");
        assert!((read.went_across_deg() - 40.0).abs() < 1e-9, "{read:?}");
        assert!((read.turn_share() - 80.0 / (80.0 + moved)).abs() < 1e-12, "{read:?}");
    }
}

/// By hand. Thorax upright and still, arm from 30° to 90° forward: what tilts both of the arm's poses
/// alike shows in where it is, not in how far it was raised; a heading shows in neither, but turns it across.
#[test]
fn errors_that_are_alike_at_address_and_top_cancel() {
    let thorax = [UnitQuaternion::identity(); 2];
    let arm = [30.0, 90.0].map(|deg| rotation([0.0, 0.0, deg]));
    let at = Ends { thorax, arm, heading_rad: 0.0 };
    let tilted = Ends { arm: arm.map(|q| q * about(Vector3::z(), 2.0)), ..at };
    let drifted = Ends { arm: [arm[0], arm[1] * about(Vector3::z(), 1.5)], ..at };
    let turned = Ends { heading_rad: 3_f64.to_radians(), ..at };
    let poses = Poses::of(Right, at, at, &[tilted, drifted, turned], &[at, tilted]);
    let near = |(_, sd): (f64, f64), want: f64| assert!((sd - want).abs() < 1e-6, "{sd} for {want}");
    // At the top there is no sway: address alone varies there.
    near(poses.angle(|r| r.elevation_deg[1]), (2.0_f64.powi(2) * 1.5 + 1.5_f64.powi(2)).sqrt());
    near(poses.number(Read::raised_deg), 1.5);
    near(poses.number(|r| r.moved_deg), 1.5);
    near(poses.angle(|r| r.across_deg[1]), 3.0);
    near(poses.number(|r| r.swept_deg), 1.5);
}

#[test]
fn an_angle_is_followed_over_half_a_turn() {
    let thorax = [UnitQuaternion::identity(); 2];
    let at = |deg: f64| Ends { thorax, arm: [rotation([deg, 0.0, 60.0]); 2], heading_rad: 0.0 };
    let poses = Poses::of(Right, at(179.0), at(179.0), &[at(-179.0)], &[]);
    let (across, sd) = poses.angle(|r| r.across_deg[1]);
    assert!((across + 179.0).abs() < 1e-9 && (sd - 2.0).abs() < 1e-9, "{across} ± {sd}");
}

fn rotations() -> impl Strategy<Value = UnitQuaternion<f64>> {
    (-180.0..180.0, -60.0..60.0, -80.0..80.0).prop_map(|(a, b, c)| rotation([a, b, c]))
}

fn near(a: &Read, b: &Read) -> bool {
    let all = |r: &Read| {
        [r.elevation_deg[0], r.elevation_deg[1], r.moved_deg, r.rotation_deg, r.swept_deg, r.raised_deg()]
    };
    let sides = |r: &Read| [r.turn_deg, r.across_deg[0], r.across_deg[1], r.went_across_deg()];
    all(a).iter().zip(all(b)).all(|(a, b)| (a - b).abs() < 1e-6)
        && sides(a).iter().zip(sides(b)).all(|(a, b)| wrapped(a - b).abs() < 1e-6)
}

proptest! {
    /// Which way the player stands is in no number, nor which heading each strap calls its own.
    #[test]
    fn a_common_heading_changes_nothing(
        t0 in rotations(), t1 in rotations(), a0 in rotations(), a1 in rotations(),
        common in -180.0..180.0_f64, own in -180.0..180.0_f64, heading in -3.0..3.0_f64,
    ) {
        let ends = Ends { thorax: [t0, t1], arm: [a0, a1], heading_rad: heading };
        let turn = about(Vector3::y(), common);
        let both = Ends { thorax: [turn * t0, turn * t1], arm: [turn * a0, turn * a1], ..ends };
        prop_assert!(near(&ends.read(Right), &both.read(Right)));
        let turn = about(Vector3::y(), own);
        let arm = Ends { arm: [turn * a0, turn * a1], heading_rad: heading - own.to_radians(), ..ends };
        prop_assert!(near(&ends.read(Right), &arm.read(Right)));
    }

    /// A left-handed player is the mirror image.
    #[test]
    fn left_is_right_in_a_mirror(t0 in rotations(), t1 in rotations(), a0 in rotations(), a1 in rotations()) {
        let mirrored = |q: UnitQuaternion<f64>| {
            let v = q.scaled_axis();
            UnitQuaternion::from_scaled_axis(Vector3::new(-v.x, -v.y, v.z))
        };
        let ends = Ends { thorax: [t0, t1], arm: [a0, a1], heading_rad: 0.4 };
        let mirror = Ends {
            thorax: ends.thorax.map(mirrored),
            arm: ends.arm.map(mirrored),
            heading_rad: -0.4,
        };
        prop_assert!(near(&ends.read(Right), &mirror.read(Left)));
    }

    /// The share lies between none and all for whoever turns away.
    #[test]
    fn a_share_is_a_share(t1 in rotations(), a1 in rotations()) {
        let mut ends = address();
        (ends.thorax[1], ends.arm[1]) = (t1, a1);
        let read = ends.read(Right);
        prop_assume!(read.turn_deg > 0.0);
        prop_assert!((0.0..=1.0).contains(&read.turn_share()), "{:?}", read);
    }
}
