//! The crates' examples as somebody runs them: built by cargo, their output held against numbers from elsewhere.

use peakorder_protocol::Role;
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::Outcome;
use peakorder_tests::programs::{example, peakorder, workspace};
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn run(name: &str, arguments: &[&str]) -> Output {
    Command::new(example(name)).args(arguments).output().expect("the example starts")
}

fn printed(name: &str, arguments: &[&str]) -> String {
    let done = run(name, arguments);
    assert!(done.status.success(), "{name}: {}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).expect("UTF-8")
}

fn refused(name: &str, arguments: &[&str], wanted: &str) {
    let done = run(name, arguments);
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(!done.status.success() && done.stdout.is_empty(), "{name} took {arguments:?}");
    assert!(said.contains(wanted), "no '{wanted}' in {said}");
}

/// A frame printed in a published reader of the 0x55 0x61 stream. Vendor's manual: acceleration = counts / 32768 × 16 g,
/// angular velocity = counts / 32768 × 2000 deg/s.
#[test]
fn a_packet_is_decoded_to_units() {
    let text = printed("decode_packet", &["wit-ble-0x61", "5561 7702a8fe92fe 060230fecdff f8f053fcabc4"]);
    let counts = |c: i16, full: f64| f64::from(c) / 32768.0 * full;
    let [x, y, z] = [0x0206, -0x01d0, -0x0033].map(|c| counts(c, 2000.0));
    let [ax, ay, az] = [0x0277, -0x0158, -0x016e].map(|c| counts(c, 16.0 * 9.80665));
    let row = format!("gyro {x:.2} {y:.2} {z:.2} deg/s, acceleration {ax:.3} {ay:.3} {az:.3} m/s²");
    assert!(text.contains("20 bytes, 1 packets") && text.contains(&row), "no '{row}' in {text}");
    refused("decode_packet", &[], "built in are");
    refused("decode_packet", &["wit-ble-0x61", "00", "9"], "channel 9");
}

/// Against the reader that was written from the description of the format alone.
#[test]
fn a_log_is_read_as_another_program_reads_it() {
    for session in ["baseline-left", "baseline-right", "professional"] {
        let folder = workspace().join("recordings").join(session);
        let text = printed("read_log", &[&folder.display().to_string()]);
        let other = Command::new("python3")
            .arg(workspace().join("tests/formats/read_session.py"))
            .arg("log")
            .arg(folder.join("samples.log"))
            .output()
            .expect("python3 is installed");
        let records: Vec<Value> = String::from_utf8(other.stdout)
            .expect("UTF-8")
            .lines()
            .map(|l| serde_json::from_str(l).expect("JSON"))
            .collect();
        let of =
            |role: Role| records.iter().filter(move |r| r["record"] == "arrival" && r["role"] == role.key());
        for role in Role::ALL {
            let (count, last_ns) = (of(role).count(), of(role).last().and_then(|r| r["t_ns"].as_f64()));
            let line = text.lines().find(|l| l.starts_with(role.label())).expect("the strap");
            assert!(line.contains(&format!("{count} notifications")), "{line}: {count}");
            assert!(line.ends_with(&format!("{:.3} s", last_ns.expect("a record") * 1e-9)), "{line}");
            // The reference packet: a head of 12 bytes and 12 bytes a sample.
            let bytes: usize = of(role).map(|r| r["bytes"].as_str().expect("hexadecimal").len() / 2).sum();
            let samples = (bytes - 12 * count) / 12;
            assert!(line.contains(&format!(" {samples} samples, 0 not decoded")), "{line}: {samples}");
        }
        for mark in records.iter().filter(|r| r["record"] == "mark") {
            let wanted = format!(
                "{:8.3} s  {}",
                mark["t_ns"].as_f64().expect("a time") * 1e-9,
                mark["kind"].as_str().expect("a word")
            );
            assert!(text.contains(&wanted), "no '{wanted}' in {text}");
        }
        assert!(!text.contains("damaged"), "{text}");
    }
    refused("read_log", &["/nowhere"], "nowhere");
}

/// A row of `three_csvs`.
#[derive(Debug)]
struct Row {
    movement: u32,
    file: String,
    fastest_s: f64,
    sd_ms: f64,
    speed_dps: f64,
    after_first_ms: f64,
    turned_deg: f64,
    tilted_deg: f64,
}

fn rows(text: &str) -> Vec<Row> {
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |i: usize| cells[i].parse::<f64>().expect("a number");
        Row {
            movement: cells[0].parse().expect("a number"),
            file: cells[1].to_owned(),
            fastest_s: number(2),
            sd_ms: number(3),
            speed_dps: number(4),
            after_first_ms: number(5),
            turned_deg: number(6),
            tilted_deg: number(7),
        }
    };
    text.lines().skip(1).map(row).collect()
}

/// A throw that can be integrated by hand: each segment turns about the vertical by a Gaussian pulse of `height` deg/s and
/// `width` seconds at `at` seconds, on a strap that lies on its side, with a bias of the gyroscope. In g and deg/s.
fn throw(path: &Path, [height, width]: [f64; 2], at: [f64; 2]) {
    let mut text = "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps,accel_x_g,accel_y_g,accel_z_g\n".to_owned();
    for i in 0..2400 {
        let t = f64::from(i) / 200.0;
        let speed: f64 = at.iter().map(|at| height * (-((t - at) / width).powi(2)).exp()).sum();
        let _ = writeln!(text, "{t},{},0.8,-1.1,1,0,0", speed + 0.5);
    }
    fs::write(path, text).expect("written");
}

#[test]
fn three_files_of_another_sport_give_their_fastest_moments() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let parts = [
        ("hips.csv", [400.0, 0.10], [4.0, 9.0]),
        ("chest.csv", [600.0, 0.08], [4.06, 9.05]),
        ("arm.csv", [1100.0, 0.05], [4.11, 9.13]),
    ];
    let paths: Vec<String> =
        parts.iter().map(|(name, ..)| keep.path().join(name).display().to_string()).collect();
    for ((_, shape, at), path) in parts.iter().zip(&paths) {
        throw(Path::new(path), *shape, *at);
    }
    let text = printed("three_csvs", &[&paths[0], &paths[1], &paths[2]]);
    let found = rows(&text);
    assert_eq!(found.len(), 6, "{text}");
    for row in &found {
        let i = paths.iter().position(|p| *p == row.file).expect("a file");
        let (_, [height, width], at) = parts[i];
        let at_s = at[row.movement as usize - 1];
        assert!((row.fastest_s - at_s).abs() < 0.5e-3, "{row:?}: {at_s}");
        assert!((row.speed_dps - height).abs() < 0.02 * height, "{row:?}: {height}");
        let after_ms = (at_s - parts[0].2[row.movement as usize - 1]) * 1e3;
        assert!((row.after_first_ms - after_ms).abs() < 1.0, "{row:?}: {after_ms}");
        // Half of the pulse lies before its top: height × width × √π / 2.
        let turned = height * width * std::f64::consts::PI.sqrt() / 2.0;
        assert!((row.turned_deg - turned).abs() < 0.3, "{row:?}: {turned}");
        assert!(row.tilted_deg < 0.3 && row.sd_ms < 1.0, "{row:?}");
    }
    refused("three_csvs", &["one.csv"], "three CSV files");
    fs::write(keep.path().join("bad.csv"), "time_s,speed\n1,2\n").expect("written");
    let bad = keep.path().join("bad.csv").display().to_string();
    refused("three_csvs", &[&bad, &bad, &bad], "no column gyro_x_dps or gyro_x_rad_s");
}

/// Straps of an invented player, exported by the product: where golf's peak, which is looked for before impact only, is the
/// fastest moment of all, the example finds the swing file's.
#[test]
fn a_recording_gives_the_swing_files_peaks() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let folder = workspace().join("recordings/baseline-left");
    let into: PathBuf = keep.path().join("csv");
    let done = Command::new(peakorder())
        .args(["export", "--for-import", "--into"])
        .args([&into, &folder])
        .output()
        .expect("peakorder starts");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let file = |role: Role| into.join(format!("{}.csv", role.key().replace('_', "-"))).display().to_string();
    let [pelvis, thorax, arm] = Role::ALL.map(file);
    let found = rows(&printed("three_csvs", &[&pelvis, &thorax, &arm]));
    let dir = SessionDir::open(&folder).expect("a session").0;
    let mut held = 0;
    for number in 1..=4 {
        let swing = dir.read_swing(number).expect("a swing");
        for role in Role::ALL {
            let peak = swing.segments[&role].resultant_peak.expect("a peak");
            let row = found
                .iter()
                .filter(|r| r.file == file(role))
                .min_by(|a, b| (a.fastest_s - peak.t_s).abs().total_cmp(&(b.fastest_s - peak.t_s).abs()));
            let row = row.expect("a movement");
            if row.fastest_s > swing.events.impact.t_s {
                continue;
            }
            held += 1;
            // A top that lasted until impact has a band and no instant.
            let band_s = if peak.outcome == Outcome::Held { 1.96e-3 * peak.sd_ms } else { 1e-3 };
            assert!((row.fastest_s - peak.t_s).abs() < band_s, "swing {number}, {role}: {row:?} {peak:?}");
            assert!(
                (row.speed_dps / peak.speed_dps - 1.0).abs() < 0.01,
                "swing {number}, {role}: {row:?} {peak:?}"
            );
        }
    }
    assert!(held >= 11, "{held} of 12 were before impact");
}
