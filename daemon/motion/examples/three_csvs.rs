//! Orientation and fastest moments of three segments in any movement: a throw, a stroke, a kick.
//!
//! ```text
//! cargo run -p peakorder-motion --example three_csvs -- hips.csv chest.csv arm.csv > peaks.csv
//! ```
//!
//! The files have the columns of `peakorderd import`: `time_s` on one clock, `gyro_{x,y,z}_{dps|rad_s}`, `accel_{x,y,z}_{g|m_s2}`.
//! Printed is a row for each movement and file: when it was fastest, how sure that is, how fast, how long after the first file, and how far
//! the strap had turned and tilted since half a second before.

use peakorder_motion::movement::{Movement, Sample};
use peakorder_motion::settings::Settings;
use peakorder_protocol::Role;
use std::error::Error;
use std::process::ExitCode;

/// Slower than this, deg/s, is no movement; two within so many seconds are one.
const LEAST_DPS: f64 = 120.0;
const APART_S: f64 = 1.0;

fn read(path: &str) -> Result<Vec<Sample>, Box<dyn Error>> {
    let mut file = csv::Reader::from_path(path).map_err(|e| format!("{path}: {e}"))?;
    let header = file.headers()?.clone();
    // The column of a quantity and what makes SI of its unit.
    let column = |name: &str, units: [(&str, f64); 2]| {
        let found = units
            .iter()
            .find_map(|(unit, si)| Some((header.iter().position(|h| h == format!("{name}_{unit}"))?, *si)));
        found.ok_or_else(|| format!("{path}: no column {name}_{} or {name}_{}", units[0].0, units[1].0))
    };
    let vector = |name: &str, units| -> Result<Vec<(usize, f64)>, String> {
        ["x", "y", "z"].iter().map(|axis| column(&format!("{name}_{axis}"), units)).collect()
    };
    let time = column("time", [("s", 1.0), ("ms", 1e-3)])?;
    let gyro = vector("gyro", [("dps", 1_f64.to_radians()), ("rad_s", 1.0)])?;
    let acc = vector("accel", [("g", 9.80665), ("m_s2", 1.0)])?;
    let row = |row: csv::StringRecord| -> Result<Sample, Box<dyn Error>> {
        let value = |(column, si): (usize, f64)| Ok::<f64, Box<dyn Error>>(row[column].parse::<f64>()? * si);
        let three = |of: &[(usize, f64)]| {
            Ok::<[f64; 3], Box<dyn Error>>([value(of[0])?, value(of[1])?, value(of[2])?])
        };
        Ok(Sample { t_s: value(time)?, gyro_rad_s: three(&gyro)?, acc_m_s2: three(&acc)? })
    };
    file.records().map(|r| row(r?)).collect::<Result<_, _>>().map_err(|e| format!("{path}: {e}").into())
}

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("three_csvs: {e}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<(), Box<dyn Error>> {
    let paths: Vec<String> = std::env::args().skip(1).collect();
    let [first, second, third] = paths.as_slice() else { return Err("name three CSV files".into()) };
    let mut movements = Vec::new();
    for (role, path) in [(Role::Pelvis, first), (Role::Thorax, second), (Role::LeadArm, third)] {
        let movement =
            Movement::of(role, &read(path)?, &Settings::default()).map_err(|e| format!("{path}: {e}"))?;
        movements.push((path, movement.fastest(LEAST_DPS, APART_S), movement));
    }
    println!("movement,file,fastest_s,sd_ms,speed_dps,after_first_ms,turned_deg,tilted_deg");
    for (n, start) in movements[0].1.iter().enumerate() {
        for (path, fastest, movement) in &movements {
            let Some(peak) = fastest.iter().find(|p| (p.t_s - start.t_s).abs() < APART_S) else { continue };
            let turned = movement.turned(peak.t_s - 0.5, peak.t_s);
            println!(
                "{},{path},{:.4},{:.2},{:.1},{:.1},{:.1},{:.1}",
                n + 1,
                peak.t_s,
                peak.sd_s * 1e3,
                peak.dps,
                (peak.t_s - start.t_s) * 1e3,
                turned.about_vertical_deg,
                turned.tilt_deg
            );
        }
    }
    Ok(())
}
