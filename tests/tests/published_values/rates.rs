//! Angular velocity: what the product calls a segment's speed.

use nalgebra::{UnitQuaternion, Vector3};
use peakorder_motion::angles::Cardan;
use peakorder_motion::fuse::latched;
use peakorder_motion::sequence::peak;
use peakorder_protocol::curves::Curves;
use peakorder_protocol::profile::SampleIs;
use peakorder_protocol::{Handedness, Role};
use peakorder_tests::csv::Sample;
use peakorder_tests::synthetic::{Part, Recording, professional};
use peakorder_tests::{files, synthetic};

/// A spin of 500 deg/s about an axis tilted from the one asked for: the component is 500
/// times the cosine, the resultant 500 whatever the tilt (arithmetic; that definitions differ
/// like this between studies: Marsan et al. 2019, second-hand). Axial speed here is about
/// the thorax's own long axis.
#[test]
fn a_component_is_not_the_resultant() {
    for (tilt_deg, component) in
        [(0.0, 500.0), (15.0, 482.963), (25.0, 453.154), (35.0, 409.576), (45.0, 353.553)]
    {
        let mut parts = professional();
        parts[1] = Part::pulse(80.0, 500.0, 68.0, 230.0, 290.0, synthetic::Ease::Cosine);
        let recording = Recording { thorax_axis_off_deg: tilt_deg, ..Recording::of(parts) };
        let swings = recording.swings_by_import();
        let thorax = &swings[0].segments[&Role::Thorax];
        let (peak, resultant) = (thorax.peak.unwrap(), thorax.resultant_peak.unwrap());
        assert!((peak.speed_dps - component).abs() < 0.01 * component, "{tilt_deg}: {peak:?}");
        assert!((resultant.speed_dps - 500.0).abs() < 5.0, "{tilt_deg}: {resultant:?}");
        assert!(thorax.speed_definition.contains("own long axis"), "{}", thorax.speed_definition);
    }
}

/// Angles (axial −90, lateral −20, flexion 30) changing at (400, 100, 150) deg/s are a body
/// rate of 483.26 deg/s with these components (numpy). Carried by the product's gyroscope path
/// that rate must change the product's angles at just those speeds.
#[test]
fn angle_rates_are_not_angular_velocity() {
    let angles = |s: f64| {
        let [axial, lateral, flexion] =
            [-90.0 + 400.0 * s, -20.0 + 100.0 * s, 30.0 + 150.0 * s].map(f64::to_radians);
        Cardan { axial, lateral, flexion }.to_quaternion()
    };
    let h = 1e-5;
    let body = (angles(-h).inverse() * angles(h)).scaled_axis().map(f64::to_degrees) / (2.0 * h);
    // numpy: medio-lateral, anterior, long axis; here X anterior, Y long, Z medio-lateral.
    let want = Vector3::new(274.541_065, 275.519_073, 286.808_057);
    assert!((body - want).amax() < 1e-4, "{body}");
    assert!((body.norm() - 483.262_266).abs() < 1e-4);
    let world = (angles(0.0) * body).map(|v| v);
    assert!((world - Vector3::new(-140.953_893, 451.303_021, 100.0)).amax() < 1e-4, "{world}");

    let rate = want.map(f64::to_radians);
    let path = latched::integrate(angles(0.0), &[0.0, h], &[rate, rate], SampleIs::Instant);
    let (from, to) = (Cardan::from_quaternion(&path[0]), Cardan::from_quaternion(&path[1]));
    let speed = |a: f64, b: f64| (b - a).to_degrees() / h;
    assert!((speed(from.axial, to.axial) - 400.0).abs() < 0.1);
    assert!((speed(from.lateral, to.lateral) - 100.0).abs() < 0.1);
    assert!((speed(from.flexion, to.flexion) - 150.0).abs() < 0.1);
}

/// However the straps are turned on their segments, resultants and — after calibration — all
/// other numbers stay. The files' own digits are the limit.
#[test]
fn mounting_changes_nothing() {
    let straight = Recording::of(professional());
    let mut askew = straight.clone();
    askew.mounting = [(0.4, -2.9, 1.3), (-1.2, 0.8, 3.0), (2.2, 1.1, -0.6)]
        .map(|(r, p, y)| UnitQuaternion::from_euler_angles(r, p, y));
    let (a, b) = (straight.swings_by_import(), askew.swings_by_import());
    assert_eq!((a.len(), b.len()), (1, 1));
    for role in Role::ALL {
        let [a, b] = [&a, &b].map(|s| &s[0].segments[&role]);
        for (a, b) in [(a.peak, b.peak), (a.resultant_peak, b.resultant_peak)] {
            let (a, b) = (a.unwrap(), b.unwrap());
            assert!((a.t_s - b.t_s).abs() < 2e-5, "{role}: {} {}", a.t_s, b.t_s);
            assert!((a.speed_dps - b.speed_dps).abs() < 0.05, "{role}: {a:?} {b:?}");
        }
        let (a, b) = (a.turn_deg.unwrap(), b.turn_deg.unwrap());
        if role != Role::LeadArm {
            assert!(
                (a.top - b.top).abs() < 0.05 && (a.impact - b.impact).abs() < 0.05,
                "{role}: {a:?} {b:?}"
            );
        }
    }
}

/// The same on the peak finder alone, where nothing rounds: 10⁻⁹.
#[test]
fn a_rotated_trace_has_the_same_resultant_peak() {
    let recording = Recording { gyro_noise_dps: 2.0, ..Recording::of(professional()) };
    let turned = UnitQuaternion::from_euler_angles(0.7, -1.9, 2.4);
    for role in Role::ALL {
        let samples: Vec<Sample> = recording.samples(role).collect();
        let t_s: Vec<f64> = samples.iter().map(|s| s.t_s).collect();
        let find = |rotation: UnitQuaternion<f64>| {
            let dps: Vec<f64> = samples
                .iter()
                .map(|s| (rotation * Vector3::from(s.gyro_rad_s)).norm().to_degrees())
                .collect();
            let impact_s = recording.impact_s(0);
            let series = peak::Series { t_s: &t_s, dps: &dps };
            peak::find(series, impact_s - 0.25, impact_s, impact_s, peak::HALF_S).expect("there is a peak")
        };
        let (a, b) = (find(UnitQuaternion::identity()), find(turned));
        assert!((a.t_s - b.t_s).abs() < 1e-9 && (a.dps - b.dps).abs() < 1e-6 && !a.rising, "{a:?} {b:?}");
    }
}

/// No component is larger than the resultant, at no instant: curves of the swing file against
/// the rates that went in.
#[test]
fn components_never_exceed_the_resultant() {
    for handedness in [Handedness::Right, Handedness::Left] {
        let recording = Recording {
            handedness,
            gyro_noise_dps: 1.0,
            thorax_axis_off_deg: 20.0,
            ..Recording::of(professional())
        };
        let folder = tempfile::tempdir().unwrap();
        recording.import_into(folder.path());
        let session = folder.path().join("session");
        let swing = &files::swings(&session)[0];
        let bytes = std::fs::read(session.join("swings/0001.curves")).unwrap();
        let curves = Curves::from_bytes(&bytes).unwrap();
        assert_eq!(curves.segments.len(), 3);
        for segment in &curves.segments {
            let samples: Vec<Sample> = recording.samples(segment.role).collect();
            let norm = |s: &Sample| Vector3::from(s.gyro_rad_s).norm().to_degrees();
            for (i, speed) in segment.speed_dps.iter().enumerate() {
                let t_s = curves.start_s + curves.step_s * i as f64;
                let at = samples.partition_point(|s| s.t_s < t_s).clamp(1, samples.len() - 1);
                // A curve is interpolated between two samples; the larger of them bounds it. The
                // bias found at address may be off by a tenth of the noise.
                let most = norm(&samples[at - 1]).max(norm(&samples[at])) + 0.5;
                assert!(f64::from(speed.abs()) <= most, "{} at {t_s}: {speed} > {most}", segment.role);
            }
            let numbers = &swing.segments[&segment.role];
            let (peak, resultant) = (numbers.peak.unwrap(), numbers.resultant_peak.unwrap());
            assert!(peak.speed_dps <= resultant.speed_dps + 3.0, "{peak:?} {resultant:?}");
        }
    }
}

/// Body rates (0,0,477), (0,150,0), (60,0,300) deg/s for 0.1 s each, in that order: quaternion,
/// angles and total by scipy; in the reverse order 6.787237° away.
#[test]
fn body_rates_compose_in_order() {
    let compose = |rates: &[[f64; 3]]| {
        rates.iter().fold(UnitQuaternion::identity(), |q, rate| {
            let rate = Vector3::from(*rate).map(f64::to_radians);
            latched::integrate(q, &[0.0, 0.1], &[rate, rate], SampleIs::Instant)[1]
        })
    };
    let rates = [[0.0, 0.0, 477.0], [0.0, 150.0, 0.0], [60.0, 0.0, 300.0]];
    let q = compose(&rates);
    let want = nalgebra::Vector4::new(0.026_893, 0.149_546, 0.615_090, 0.773_678);
    assert!((q.coords - want).amax() < 1e-5, "{}", q.coords);
    assert!((q.angle().to_degrees() - 78.629_351).abs() < 1e-3);
    let mut back = rates;
    back.reverse();
    assert!((compose(&back).angle_to(&q).to_degrees() - 6.787_237).abs() < 1e-3);
    // The same turns with Z up and X to the right, read in the product's axes.
    let isb = |r: [f64; 3]| [r[1], r[2], r[0]];
    let c = Cardan::from_quaternion(&compose(&rates.map(isb)));
    let got = [c.axial, c.lateral, c.flexion].map(f64::to_degrees);
    for (got, want) in got.iter().zip([78.309_425, 11.438_590, 13.306_071]) {
        assert!((got - want).abs() < 1e-3, "{got} is not {want}");
    }
}
