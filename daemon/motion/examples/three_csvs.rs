//! Orientation and fastest moments of three segments in any movement: a throw, a stroke, a kick.
//!
//! ```text
//! cargo run -p peakorder-motion --example three_csvs -- hips.csv chest.csv arm.csv > peaks.csv
//! ```
//!
//! The files have the columns of `peakorderd import`: `time_s` on one clock, `gyro_{x,y,z}_{dps|rad_s}`, `accel_{x,y,z}_{g|m_s2}`.
//! Printed is a row for each movement and file: when it was fastest, how sure that is, how fast, how long after the first file, and how far
//! the strap had turned and tilted since half a second before.

use peakorder_motion::{movement::Movement, movement::Sample, settings::Settings};
use peakorder_protocol::Role;
use std::collections::BTreeMap;
use std::error::Error;

/// Slower than this, deg/s, is no movement; two within so many seconds are one.
const LEAST_DPS: f64 = 120.0;
const APART_S: f64 = 1.0;

fn sample(row: &BTreeMap<String, f64>) -> Result<Sample, String> {
    // What makes SI of a unit.
    let value = |name: &str, [(unit, si), (other, other_si)]: [(&str, f64); 2]| {
        let (first, second) = (row.get(&format!("{name}_{unit}")), row.get(&format!("{name}_{other}")));
        let found = first.map(|v| v * si).or(second.map(|v| v * other_si));
        found.ok_or_else(|| format!("no column {name}_{unit} or {name}_{other}"))
    };
    let gyro = |axis: &str| value(&format!("gyro_{axis}"), [("dps", 1_f64.to_radians()), ("rad_s", 1.0)]);
    let acc = |axis: &str| value(&format!("accel_{axis}"), [("g", 9.80665), ("m_s2", 1.0)]);
    Ok(Sample {
        t_s: value("time", [("s", 1.0), ("ms", 1e-3)])?,
        gyro_rad_s: [gyro("x")?, gyro("y")?, gyro("z")?],
        acc_m_s2: [acc("x")?, acc("y")?, acc("z")?],
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let paths: Vec<String> = std::env::args().skip(1).collect();
    let [hips, chest, arm] = paths.as_slice() else { return Err("name three CSV files".into()) };
    let mut movements = Vec::new();
    for (role, path) in [(Role::Pelvis, hips), (Role::Thorax, chest), (Role::LeadArm, arm)] {
        let rows = csv::Reader::from_path(path)?.into_deserialize().map(|row| Ok(sample(&row?)?));
        let samples = rows.collect::<Result<Vec<Sample>, Box<dyn Error>>>()?;
        let movement = Movement::of(role, &samples, &Settings::default())?;
        movements.push((path, movement.fastest(LEAST_DPS, APART_S), movement));
    }
    println!("movement,file,fastest_s,sd_ms,speed_dps,after_first_ms,turned_deg,tilted_deg");
    for (n, start) in movements[0].1.iter().enumerate() {
        for (path, fastest, movement) in &movements {
            let Some(peak) = fastest.iter().find(|p| (p.t_s - start.t_s).abs() < APART_S) else { continue };
            let (after_ms, turned) =
                ((peak.t_s - start.t_s) * 1e3, movement.turned(peak.t_s - 0.5, peak.t_s));
            print!("{},{path},{:.4},{:.2},{:.1},{after_ms:.1}", n + 1, peak.t_s, peak.sd_s * 1e3, peak.dps);
            println!(",{:.1},{:.1}", turned.about_vertical_deg, turned.tilt_deg);
        }
    }
    Ok(())
}
