//! Orientation against libraries that are not this project's: scipy's rotations and the
//! Madgwick filter of the Python package AHRS.
//!
//! `vectors/orientation.json` was made once by `vectors/make_vectors.py`; the versions used
//! stand in its `made_by`. scipy: Virtanen et al. 2020, Nat Methods 17:261. AHRS: package
//! `ahrs` on `PyPI`. The filter: Madgwick SOH 2010, internal report, University of Bristol.

use nalgebra::{Matrix3, Quaternion, UnitQuaternion, Vector3};
use peakorder_motion::angles::Cardan;
use peakorder_motion::fuse::Reading;
use peakorder_motion::fuse::latched;
use peakorder_motion::fuse::running::RunningFilter;
use peakorder_motion::settings::{FilterKind, Settings};
use peakorder_protocol::profile::SampleIs;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::f64::consts::FRAC_PI_2;

#[derive(Deserialize)]
struct Vectors {
    made_by: BTreeMap<String, String>,
    euler: Vec<Euler>,
    integration: Integration,
    madgwick: Madgwick,
}

#[derive(Deserialize)]
struct Euler {
    wxyz: [f64; 4],
    matrix: [[f64; 3]; 3],
    yxz_deg: [f64; 3],
}

#[derive(Deserialize)]
struct Integration {
    rate_hz: f64,
    gyro_rad_s: Vec<[f64; 3]>,
    every: usize,
    wxyz: Vec<[f64; 4]>,
}

#[derive(Deserialize)]
struct Madgwick {
    rate_hz: f64,
    beta_rad_s: f64,
    gyro_rad_s: Vec<[f64; 3]>,
    acc_m_s2: Vec<[f64; 3]>,
    every: usize,
    wxyz_z_up: Vec<[f64; 4]>,
}

fn vectors() -> Vectors {
    serde_json::from_str(include_str!("../vectors/orientation.json"))
        .expect("the vector file is as its script wrote it")
}

fn quaternion([w, x, y, z]: [f64; 4]) -> UnitQuaternion<f64> {
    UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z))
}

fn vector(v: &[f64; 3]) -> Vector3<f64> {
    Vector3::from(*v)
}

#[test]
fn the_vector_file_says_what_made_it() {
    let made_by = vectors().made_by;
    for library in ["numpy", "scipy", "AHRS"] {
        assert!(made_by.contains_key(library), "{made_by:?}");
    }
}

/// scipy `Rotation.as_euler("YXZ")`: intrinsic, as the product's axial, lateral, flexion.
#[test]
fn angles_are_those_of_scipy() {
    for row in vectors().euler {
        let q = quaternion(row.wxyz);
        let matrix = Matrix3::from_row_iterator(row.matrix.into_iter().flatten());
        assert!((q.to_rotation_matrix().matrix() - matrix).amax() < 1e-9);
        for cardan in [Cardan::from_quaternion(&q), Cardan::from_matrix(&matrix)] {
            let got = [cardan.axial, cardan.lateral, cardan.flexion].map(f64::to_degrees);
            for (got, want) in got.iter().zip(row.yxz_deg) {
                assert!((got - want).abs() < 1e-6, "{got} is not {want} in {:?}", row.yxz_deg);
            }
            assert!(cardan.to_quaternion().angle_to(&q) < 1e-8);
        }
    }
}

/// Products of scipy rotations in steps of 20 µs (which agree with scipy's DOP853 to 10⁻⁴ deg)
/// against the gyroscope path from 208 Hz samples.
#[test]
fn the_gyroscope_path_through_a_swing_is_that_of_scipy() {
    let v = vectors().integration;
    let times: Vec<f64> = (0..v.gyro_rad_s.len()).map(|i| i as f64 / v.rate_hz).collect();
    let rates: Vec<Vector3<f64>> = v.gyro_rad_s.iter().map(vector).collect();
    let path = latched::integrate(UnitQuaternion::identity(), &times, &rates, SampleIs::Instant);
    let mut worst = 0.0_f64;
    for (got, want) in path.iter().step_by(v.every).zip(&v.wxyz) {
        worst = worst.max(got.angle_to(&quaternion(*want)).to_degrees());
    }
    eprintln!("largest departure from scipy over {:.1} s: {worst:.4} deg", times[times.len() - 1]);
    assert!(worst < 0.05, "{worst} deg");
    assert!(path.len() / v.every + 1 >= v.wxyz.len() && v.wxyz.len() > 10, "enough instants compared");
}

/// The running filter against the same filter by the AHRS package: same gain, same first
/// sample, 20 s of wandering at 50 Hz.
#[test]
fn the_running_filter_is_that_of_the_ahrs_package() {
    let v = vectors().madgwick;
    let settings =
        Settings { filter: FilterKind::Madgwick, madgwick_beta_rad_s: v.beta_rad_s, ..Settings::default() };
    let mut filter = RunningFilter::new(&settings);
    // The package has Z up, the product Y up.
    let to_y_up = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -FRAC_PI_2);
    let mut worst = 0.0_f64;
    let mut turned = 0.0_f64;
    let mut compared = 0;
    let start = to_y_up * quaternion(v.wxyz_z_up[0]);
    for (i, (gyro, acc)) in v.gyro_rad_s.iter().zip(&v.acc_m_s2).enumerate() {
        filter.push(&Reading {
            gyro: vector(gyro),
            bias: Vector3::zeros(),
            acc: vector(acc),
            dt_s: 1.0 / v.rate_hz,
        });
        if i % v.every == 0 {
            let want = to_y_up * quaternion(v.wxyz_z_up[i / v.every]);
            worst = worst.max(filter.orientation().expect("started").angle_to(&want).to_degrees());
            turned = turned.max(want.angle_to(&start).to_degrees());
            compared += 1;
        }
    }
    eprintln!("largest departure from AHRS over {compared} instants: {worst:.5} deg");
    assert!(worst < 0.05, "{worst} deg");
    assert!(compared >= 40 && turned > 25.0, "it compared {compared} instants over {turned} deg");
}

#[derive(Deserialize)]
struct VqfVectors {
    rate_hz: f64,
    seconds: f64,
    every: usize,
    wxyz_z_up: Vec<[f64; 4]>,
    bias_known_wxyz_z_up: Vec<[f64; 4]>,
}

/// The gyroscope's bias in what follows, rad/s.
const VQF_BIAS: Vector3<f64> = Vector3::new(0.010, -0.005, 0.008);

/// What `vectors/make_vqf_vectors.py` feeds the package, written down a second time.
fn vqf_input(t: f64) -> (Vector3<f64>, Vector3<f64>) {
    // Still for five seconds, so that the filter's rest detection is exercised, then moving.
    let moving = if t < 5.0 { 0.0 } else { 1.0 };
    let gyro =
        Vector3::new(0.8 * (1.3 * t).sin(), 0.5 * (0.7 * t).cos(), 1.1 * (2.1 * t).sin()) * moving + VQF_BIAS;
    let acc = Vector3::new(2.0 + moving * (0.9 * t).sin(), 1.0 + moving * 0.5 * (1.7 * t).cos(), 9.5);
    (gyro, acc)
}

/// The crate `vqf-rs`, and the product's use of it with the bias known and every fourth accelerometer sample, against the authors' own C++ implementation,
/// `PyPI` package `vqf` (Laidig, Seel 2023, Inf Fusion 91:187).
#[test]
fn the_vqf_filter_is_that_of_its_authors() {
    let v: VqfVectors = serde_json::from_str(include_str!("../vectors/vqf.json"))
        .expect("the vector file is as its script wrote it");
    let to_y_up = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -FRAC_PI_2);
    let params = vqf_rs::Params { bias_clip: 8.0, ..vqf_rs::Params::default() };
    let mut library = vqf_rs::VQF::new(1.0 / v.rate_hz, None, None, Some(params));
    let mut ours = RunningFilter::new(&Settings { filter: FilterKind::Vqf, ..Settings::default() });
    let (mut worst_library, mut worst_ours, mut compared) = (0.0_f64, 0.0_f64, 0);
    for i in 0..(v.seconds * v.rate_hz) as usize {
        let (gyro, acc) = vqf_input(i as f64 / v.rate_hz);
        library.update(gyro.into(), acc.into(), None);
        ours.push(&Reading { gyro, bias: VQF_BIAS, acc, dt_s: 1.0 / v.rate_hz });
        if (i + 1) % v.every == 0 {
            let want = quaternion(v.wxyz_z_up[i / v.every]);
            let q = library.quat_6d();
            worst_library = worst_library.max(quaternion([q.0, q.1, q.2, q.3]).angle_to(&want));
            let want = quaternion(v.bias_known_wxyz_z_up[i / v.every]);
            worst_ours = worst_ours.max(ours.orientation().expect("started").angle_to(&(to_y_up * want)));
            compared += 1;
        }
    }
    eprintln!("largest departure from the authors' VQF: {worst_library:.1e}, {worst_ours:.1e} rad");
    assert!(compared == v.wxyz_z_up.len() && compared >= 40, "{compared}");
    assert!(worst_library < 1e-6 && worst_ours < 1e-6, "{worst_library} {worst_ours} rad");
}
