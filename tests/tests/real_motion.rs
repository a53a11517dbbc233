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

/// Writes the named columns of `source` (seven: time, rates, accelerations) as a sample file;
/// without a time column the rows are 10 ms apart.
fn cut(source: &Path, columns: [&str; 7], header: &str, to: &Path) {
    let text = std::fs::read_to_string(source).unwrap_or_else(|e| panic!("{}: {e}", source.display()));
    let mut lines = text.lines().filter(|l| !l.starts_with('#'));
    let names: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let at = columns.map(|c| names.iter().position(|n| *n == c));
    let mut out = format!("{header}\n");
    for (row, line) in lines.enumerate() {
        let values: Vec<&str> = line.split(',').collect();
        match at[0] {
            Some(i) => out.push_str(values[i]),
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

#[test]
fn no_swing_is_found_in_daily_living() {
    let Some(folder) = data() else { return };
    let work = tempfile::tempdir().unwrap();
    let file = work.path().join("back.csv");
    let source = folder.join("lower_back_daily_living_100hz.csv");
    cut(&source, ["", "gx", "gy", "gz", "ax", "ay", "az"], EDGES, &file);
    let session = work.path().join("s");
    for role in ["--thorax", "--pelvis"] {
        let said =
            daemon(["import", "--force", "--out", session.to_str().unwrap(), role, file.to_str().unwrap()])
                .done();
        assert!(said.out.contains("0 swings"), "{role}: {}", said.out);
    }
}
