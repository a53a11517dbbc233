//! Real bodies that do not swing a club: open recordings that are not part of the project.

use peakorder_daemon::source::import::{Import, SampleFile};
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::Role;
use peakorder_protocol::packet::common_clock;
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::{FORMAT, Player, Session, SourceKind, Strap};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Names the folder with the recordings.
const VARIABLE: &str = "PEAKORDER_MOTION_DATA";

/// A recording: file, its columns' prefixes by strap, units of its columns.
struct Recording {
    file: &'static str,
    straps: &'static [(Role, &'static str)],
    header: &'static str,
}

const SI: &str = "time_s,gyro_x_rad_s,gyro_y_rad_s,gyro_z_rad_s,accel_x_m_s2,accel_y_m_s2,accel_z_m_s2";
const EDGES: &str = "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps,accel_x_g,accel_y_g,accel_z_g";

const RECORDINGS: [Recording; 2] = [
    Recording {
        file: "qmt_trunk_100hz.csv",
        straps: &[(Role::Pelvis, "hip_"), (Role::Thorax, "upper_back_"), (Role::LeadArm, "upper_arm_left_")],
        header: SI,
    },
    Recording {
        file: "lower_back_daily_living_100hz.csv",
        straps: &[(Role::Pelvis, ""), (Role::Thorax, "")],
        header: EDGES,
    },
];

/// Section of the report.
pub(crate) fn section() -> String {
    let mut s = String::from("## Real bodies that do not swing a club\n\n");
    let Some(folder) = std::env::var_os(VARIABLE).map(PathBuf::from) else {
        let _ = writeln!(s, "NOT RUN: {VARIABLE} named no folder with the open recordings.\n");
        return s;
    };
    s.push_str(
        "Open recordings, 100 Hz: a moving person with sensors on hip, upper back and upper arm (examples of \
         the Python package qmt, MIT); an older adult on a daily-living course, lower back, worn as pelvis and as \
         thorax alike (example data of the Python package mobgap, Apache-2.0). Nobody swings: every swing found \
         is false. Still: two and a half seconds in which no rate changes by more than 3 deg/s and no acceleration by more than \
         0.3 m/s². Moving: more than 20 deg/s RMS over two seconds. Both are judged on the raw samples, apart from \
         the product.\n\n\
         | recording | strap | minutes | swings found | called rest when still | called rest when moving |\n\
         |---|---|---|---|---|---|\n",
    );
    for recording in &RECORDINGS {
        match run(recording, &folder) {
            Ok(rows) => s.push_str(&rows),
            Err(why) => {
                let _ = writeln!(s, "| {} | could not be read: {why} |", recording.file);
            }
        }
    }
    s.push('\n');
    s
}

/// Rate (deg/s), acceleration (m/s²) of one row.
type Row = [f64; 6];

/// Writes a strap's columns as a sample file and gives its rows back in deg/s and m/s².
fn cut(text: &str, prefix: &str, header: &str, to: &Path) -> Result<Vec<Row>, String> {
    let mut lines = text.lines().filter(|l| !l.starts_with('#'));
    let names: Vec<&str> = lines.next().ok_or("it is empty")?.split(',').collect();
    let columns =
        ["gx", "gy", "gz", "ax", "ay", "az"].map(|c| names.iter().position(|n| *n == format!("{prefix}{c}")));
    let (mut out, mut rows) = (format!("{header}\n"), Vec::new());
    for (i, line) in lines.enumerate() {
        let fields: Vec<&str> = line.split(',').collect();
        let _ = write!(out, "{:.2}", i as f64 * 0.01);
        let mut row = Row::default();
        for (value, column) in row.iter_mut().zip(columns) {
            let text = fields.get(column.ok_or("a column is missing")?).ok_or("a row is short")?;
            *value = text.parse().map_err(|_| format!("`{text}` is no number"))?;
            let _ = write!(out, ",{text}");
        }
        out.push('\n');
        let (rate, force) = if header == SI { (1_f64.to_degrees(), 1.0) } else { (1.0, 9.80665) };
        for (j, value) in row.iter_mut().enumerate() {
            *value *= if j < 3 { rate } else { force };
        }
        rows.push(row);
    }
    std::fs::write(to, out).map_err(|e| e.to_string())?;
    Ok(rows)
}

fn session(roles: impl Iterator<Item = Role>) -> Session {
    let strap = Strap {
        name: "imported".into(),
        profile: common_clock::PROFILE_ID.into(),
        profile_toml: Profile::builtin(common_clock::PROFILE_ID).expect("it is built in").into(),
        latency_ms: 0.0,
        latency_sd_ms: None,
        interval_ms: None,
    };
    Session {
        format: FORMAT.into(),
        id: "real".into(),
        started_utc: "2026-01-01T00:00:00Z".into(),
        zone: "UTC".into(),
        recorded_by: "accuracy".into(),
        computed_by: "accuracy".into(),
        source: SourceKind::Import,
        invented: false,
        player: Player::default(),
        straps: roles.map(|role| (role, strap.clone())).collect(),
        settings: toml::Table::new(),
        calibration: Vec::new(),
        troubles: Vec::new(),
    }
}

fn run(recording: &Recording, folder: &Path) -> Result<String, String> {
    let path = folder.join(recording.file);
    let text = std::fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    let work = tempfile::tempdir().map_err(|e| e.to_string())?;
    let (mut files, mut rows) = (Vec::new(), Vec::new());
    for (role, prefix) in recording.straps {
        let to = work.path().join(format!("{}.csv", role.key()));
        rows.push(cut(&text, prefix, recording.header, &to)?);
        files.push(SampleFile::open(*role, &to).map_err(|e| e.to_string())?);
    }
    let mut pipeline =
        Pipeline::new(&session(recording.straps.iter().map(|s| s.0))).map_err(|e| e.to_string())?;
    let mut outputs = Vec::new();
    // (still, of which called rest; moving, of which called rest) of each strap.
    let mut counts = vec![[0_u32; 4]; recording.straps.len()];
    let mut looked_s = vec![0.0; recording.straps.len()];
    for record in Import::new(files, Vec::new()) {
        pipeline.push(&record, &mut outputs);
        for seen in pipeline.attitudes() {
            let i = recording.straps.iter().position(|s| s.0 == seen.role).expect("one of ours");
            let end = (seen.t_s * 100.0).round() as usize + 1;
            // Each half second once; the chunks of the product's own test end at other times.
            if seen.t_s < looked_s[i] + 0.5 || end < 250 {
                continue;
            }
            looked_s[i] = seen.t_s;
            // Still over half a second more than looked at: the product judges in quarters of a second.
            let [still, moving] = [judge(&rows[i][end - 250..end]).0, judge(&rows[i][end - 200..end]).1];
            let count = &mut counts[i];
            count[0] += u32::from(still);
            count[1] += u32::from(still && seen.at_rest);
            count[2] += u32::from(moving);
            count[3] += u32::from(moving && seen.at_rest);
        }
    }
    pipeline.finish(&mut outputs);
    let swings = outputs.iter().filter(|o| matches!(o, Output::Swing(..))).count();
    let mut out = String::new();
    for (i, (role, _)) in recording.straps.iter().enumerate() {
        let [still, still_rest, moving, moving_rest] = counts[i];
        let _ = writeln!(
            out,
            "| {} | {role} | {:.1} | {swings} | {still_rest} of {still} | {moving_rest} of {moving} |",
            recording.file,
            rows[i].len() as f64 / 6000.0,
        );
    }
    Ok(out)
}

/// Still, moving.
fn judge(rows: &[Row]) -> (bool, bool) {
    let spread = |j: usize| {
        let (low, high) =
            rows.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), r| (r[j].min(l), r[j].max(h)));
        high - low
    };
    let still = (0..3).all(|j| spread(j) < 3.0) && (3..6).all(|j| spread(j) < 0.3);
    let square: f64 = rows.iter().flat_map(|r| &r[..3]).map(|w| w * w).sum();
    (still, (square / rows.len() as f64).sqrt() > 20.0)
}
