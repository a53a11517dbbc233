//! Real bodies that do not swing a club: nothing may be found in them.
//!
//! The recordings are open data and not part of the project. `PEAKORDER_MOTION_DATA` names
//! the folder; without it the tests say so and pass. `scripts/cut_motion.py` does the same
//! cut by hand.
//!
//! * `qmt_trunk_100hz.csv`: hip, lower back, upper back and left upper arm of a moving person,
//!   100 Hz; from the examples of the Python package qmt (MIT, (c) 2021 Bo Yang).
//! * `lower_back_daily_living_100hz.csv`: lower back of an older adult on a daily-living
//!   course; from the example data of the Python package mobgap 1.2.0 (Apache-2.0).

use nalgebra::Vector3;
use peakorder_motion::bias::BiasTracker;
use peakorder_protocol::Role;
use peakorder_tests::files::swings;
use peakorder_tests::programs::daemon;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn data() -> Option<PathBuf> {
    let folder = std::env::var_os("PEAKORDER_MOTION_DATA").map(PathBuf::from);
    if folder.is_none() {
        eprintln!("SKIPPED: PEAKORDER_MOTION_DATA names no folder with real recordings");
    }
    folder
}

/// Names and rows of a table; lines that begin with `#` are remarks.
fn table(source: &Path) -> (Vec<String>, Vec<Vec<String>>) {
    let text = std::fs::read_to_string(source).unwrap_or_else(|e| panic!("{}: {e}", source.display()));
    let fields = |line: &str| line.split(',').map(ToOwned::to_owned).collect();
    let mut lines = text.lines().filter(|l| !l.starts_with('#')).map(fields);
    (lines.next().expect("a header"), lines.collect())
}

/// Writes the named columns of `source` (seven: time, rates, accelerations) as a sample file;
/// without a time column the rows are 10 ms apart.
fn cut(source: &Path, columns: [&str; 7], header: &str, to: &Path) {
    let (names, rows) = table(source);
    let at = columns.map(|c| names.iter().position(|n| *n == c));
    let mut out = format!("{header}\n");
    for (row, values) in rows.iter().enumerate() {
        match at[0] {
            Some(i) => out.push_str(&values[i]),
            None => write!(out, "{:.2}", row as f64 * 0.01).unwrap(),
        }
        for i in &at[1..] {
            write!(out, ",{}", values[i.expect("the column is there")]).unwrap();
        }
        out.push('\n');
    }
    std::fs::write(to, out).unwrap();
}

const SI: &str = "time_s,gyro_x_rad_s,gyro_y_rad_s,gyro_z_rad_s,accel_x_m_s2,accel_y_m_s2,accel_z_m_s2";
const EDGES: &str = "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps,accel_x_g,accel_y_g,accel_z_g";

#[test]
fn no_swing_is_found_in_a_moving_person_with_three_sensors() {
    let Some(folder) = data() else { return };
    let work = tempfile::tempdir().unwrap();
    let source = folder.join("qmt_trunk_100hz.csv");
    let mut arguments =
        vec!["import".to_owned(), "--out".into(), work.path().join("s").display().to_string()];
    for (option, place) in [("--pelvis", "hip"), ("--thorax", "upper_back"), ("--lead-arm", "upper_arm_left")]
    {
        let names = ["gx", "gy", "gz", "ax", "ay", "az"].map(|c| format!("{place}_{c}"));
        let file = work.path().join(format!("{place}.csv"));
        let columns = ["t", &names[0], &names[1], &names[2], &names[3], &names[4], &names[5]];
        cut(&source, columns, SI, &file);
        arguments.extend([option.to_owned(), file.display().to_string()]);
    }
    let said = daemon(&arguments).done();
    assert!(said.out.contains("0 swings"), "{}", said.out);
    assert!(swings(&work.path().join("s")).is_empty());
}

/// Marked as a drill from beginning to end, daily living has no repetition either.
#[test]
fn no_repetition_is_found_in_daily_living_that_is_marked_as_a_drill() {
    let Some(folder) = data() else { return };
    let work = tempfile::tempdir().unwrap();
    let file = work.path().join("back.csv");
    let source = folder.join("lower_back_daily_living_100hz.csv");
    cut(&source, ["", "gx", "gy", "gz", "ax", "ay", "az"], EDGES, &file);
    let marks = work.path().join("marks.csv");
    std::fs::write(&marks, "time_s,mark,detail\n0.5,drill,pivot\n").unwrap();
    let session = work.path().join("s");
    let arguments = ["import", "--out", session.to_str().unwrap(), "--thorax", file.to_str().unwrap()];
    let said = daemon(arguments.into_iter().chain(["--marks", marks.to_str().unwrap()])).done();
    assert!(said.out.contains("0 swings"), "{}", said.out);
}

#[test]
fn no_swing_is_found_in_daily_living() {
    let Some(folder) = data() else { return };
    let work = tempfile::tempdir().unwrap();
    let file = work.path().join("back.csv");
    let source = folder.join("lower_back_daily_living_100hz.csv");
    cut(&source, ["", "gx", "gy", "gz", "ax", "ay", "az"], EDGES, &file);
    let session = work.path().join("s");
    let import = |role| {
        daemon(["import", "--force", "--out", session.to_str().unwrap(), role, file.to_str().unwrap()])
    };
    let said = import("--thorax").done();
    assert!(said.out.contains("0 swings"), "{}", said.out);
    // A pelvis alone makes no swing, and import says that nothing could be measured.
    let said = import("--pelvis");
    assert!(said.code == Some(1) && said.err.contains("thorax strap"), "{}", said.err);
}

/// Rest in real bodies, strap by strap: where two and a half seconds are plainly still on the raw samples
/// (no rate changes by more than 3 deg/s, no acceleration by more than 0.3 m/s²) rest is
/// called, and never where the rate is above 20 deg/s RMS over two seconds. The limits are
/// own judgement and no part of the product.
#[test]
fn rest_is_found_where_bodies_are_plainly_still_and_only_there() {
    let Some(folder) = data() else { return };
    let (mut still, mut called, mut moving) = (0, 0, 0);
    for (file, prefix, rate_unit, acc_unit) in [
        ("qmt_trunk_100hz.csv", "hip_", 1.0, 1.0),
        ("qmt_trunk_100hz.csv", "lower_back_", 1.0, 1.0),
        ("qmt_trunk_100hz.csv", "upper_back_", 1.0, 1.0),
        ("qmt_trunk_100hz.csv", "upper_arm_left_", 1.0, 1.0),
        ("lower_back_daily_living_100hz.csv", "", 1_f64.to_radians(), 9.80665),
    ] {
        let (names, lines) = table(&folder.join(file));
        let columns = ["gx", "gy", "gz", "ax", "ay", "az"]
            .map(|c| names.iter().position(|n| *n == format!("{prefix}{c}")).expect("the column is there"));
        let rows: Vec<[f64; 6]> =
            lines.iter().map(|fields| columns.map(|c| fields[c].parse().expect("a number"))).collect();
        let mut bias = BiasTracker::new(Role::Thorax);
        for (i, row) in rows.iter().enumerate() {
            let gyro = Vector3::new(row[0], row[1], row[2]) * rate_unit;
            let step_s = if i == 0 { f64::INFINITY } else { 0.01 };
            bias.push(i as f64 * 0.01, step_s, &gyro, &(Vector3::new(row[3], row[4], row[5]) * acc_unit));
            if i < 250 || !i.is_multiple_of(10) {
                continue;
            }
            let spread = |j: usize| {
                let values = || rows[i - 249..=i].iter().map(|r| r[j]);
                values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min)
            };
            let square: f64 =
                rows[i - 199..=i].iter().flat_map(|r| &r[..3]).map(|w| (w * rate_unit).powi(2)).sum();
            let rest = bias.rest_since_s().is_some();
            if (0..3).all(|j| (spread(j) * rate_unit).to_degrees() < 3.0)
                && (3..6).all(|j| spread(j) * acc_unit < 0.3)
            {
                still += 1;
                called += u32::from(rest);
            } else if (square / 200.0).sqrt().to_degrees() > 20.0 {
                moving += 1;
                assert!(!rest, "{file} {prefix}: rest called at {:.2} s, while moving", i as f64 * 0.01);
            }
        }
    }
    eprintln!("rest called in {called} of {still} plainly still moments, in none of {moving} moving ones");
    assert!(still > 100 && moving > 1000, "{still} still and {moving} moving moments");
    assert!(f64::from(called) > 0.95 * f64::from(still), "{called} of {still}");
}
