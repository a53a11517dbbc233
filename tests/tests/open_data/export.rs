//! Tables and MCAP, opened by the formats' own readers and held against what the motion crate and the files say.

use crate::fixture::{Recorded, TYPED, lesson, paths, uncalibrated};
use peakorder_analysis::codes::Codes;
use peakorder_analysis::export::{Done, ExportError, Kind, Wanted, What, export};
use peakorder_motion::samples::{SampleRow, Samples};
use peakorder_protocol::log::{LogReader, Mark, MarkKind, Record};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::{Handedness, Role};
use peakorder_tables::{Cell, Format, ParquetFile};
use peakorder_tests::python;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

const CSV: Kind = Kind::Tables(Format::Csv);
const PARQUET: Kind = Kind::Tables(Format::Parquet);

fn exported(sessions: &[PathBuf], into: &Path, kind: Kind, names: bool) -> Result<Done, ExportError> {
    export(&Wanted { sessions, into, kind, only: &[], codes: codes(), names })
}

/// The same for all exports, so that they can be compared.
fn codes() -> &'static Codes {
    static CODES: OnceLock<Codes> = OnceLock::new();
    CODES.get_or_init(|| Codes::fresh().unwrap())
}

/// All samples of a session as the motion crate hands them out.
fn samples(dir: &SessionDir) -> Vec<SampleRow> {
    let session = SessionDir::open(dir.path()).unwrap().1;
    let mut samples = Samples::new(&session).unwrap();
    let mut rows = Vec::new();
    let (mut log, mut batch) = (LogReader::open(&dir.log_path()).unwrap(), Vec::new());
    while log.next_batch(&mut batch).unwrap() {
        for record in &batch {
            samples.push(record, &mut |row| rows.push(*row));
        }
    }
    samples.finish(&mut |row| rows.push(*row));
    rows
}

/// The samples as plain numbers for the script: by strap time, rate and force as worn, and the same in the segment.
fn write_expected(folder: &Path, rows: &[SampleRow]) {
    fs::create_dir(folder).unwrap();
    for role in Role::ALL {
        let (mut strap, mut segment) = (Vec::new(), Vec::new());
        for row in rows.iter().filter(|r| r.role == role) {
            let numbers = |to: &mut Vec<u8>, gyro: nalgebra::Vector3<f64>, acc: nalgebra::Vector3<f64>| {
                let all = [row.t_s]
                    .into_iter()
                    .chain(gyro.iter().map(|w| w.to_degrees()))
                    .chain(acc.iter().copied());
                for x in
                    all.chain([f64::from(row.lost_before), f64::from(u8::from(row.clipped)), row.arrival_s])
                {
                    to.extend(x.to_le_bytes());
                }
            };
            numbers(&mut strap, row.gyro_rad_s, row.acc_m_s2);
            if let Some(there) = row.in_segment() {
                numbers(&mut segment, there.gyro_rad_s, there.acc_m_s2);
            }
        }
        fs::write(folder.join(format!("{}.strap.f64", role.key())), strap).unwrap();
        fs::write(folder.join(format!("{}.segment.f64", role.key())), segment).unwrap();
    }
}

/// pandas, pyarrow and mcap read what was written and find the values that the swing files, the curves and the motion crate
/// have; every column is described; integrating the exported rates gives the file's turns.
#[test]
fn other_programs_read_what_was_written() {
    let Some(python) = python::python() else { return };
    let folder = tempfile::tempdir().unwrap();
    for handedness in [Handedness::Right, Handedness::Left] {
        let Recorded { dir, .. } = lesson(folder.path(), handedness);
        let name = |what: &str| folder.path().join(format!("{}-{what}", handedness.key()));
        let sessions = paths(&[&dir]);
        for (what, kind, names) in [
            ("csv", CSV, false),
            ("parquet", PARQUET, false),
            ("mcap", Kind::Mcap, false),
            ("names", CSV, true),
        ] {
            let done = exported(&sessions, &name(what), kind, names).unwrap();
            assert_eq!(done.notices, Vec::<String>::new());
        }
        write_expected(&name("expected"), &samples(&dir));
        let mut arguments: Vec<OsString> = vec![dir.path().into()];
        arguments.extend(["csv", "parquet", "mcap", "names", "expected"].map(|what| name(what).into()));
        arguments.extend(TYPED.map(OsString::from));
        println!("{}", python::run(&python, "check_export.py", &arguments));
    }
}

/// The wanted columns of a Parquet table, row by row.
fn rows(file: &Path, columns: &[&str], take: impl FnMut(&[Cell<'_>])) {
    ParquetFile::open(file).unwrap().read(columns, take).unwrap();
}

/// The rates in the segments' frames are those that the virtual body really had: within what the sensors and the
/// calibration are uncertain by (scale some per cent, axes 2°, so some 5 % of the size, and a degree per second).
#[test]
fn samples_in_the_segments_frame_are_the_bodys() {
    let folder = tempfile::tempdir().unwrap();
    let Recorded { dir, truth } = lesson(folder.path(), Handedness::Right);
    let into = folder.path().join("out");
    exported(&paths(&[&dir]), &into, PARQUET, false).unwrap();
    let swings = dir.read_swings().unwrap();
    assert_eq!(swings.len(), 4);
    let columns = ["segment", "t_s", "gyro_x_dps", "gyro_y_dps", "gyro_z_dps", "lost_before"];
    let (mut n, mut lost) = (0, 0);
    let (mut off, mut size) = (0.0, 0.0);
    rows(&into.join("samples_segment.parquet"), &columns, |row| {
        let role: Role = Role::ALL.into_iter().find(|r| Some(r.key()) == row[0].text()).unwrap();
        let t_s = row[1].real().unwrap();
        lost += row[5].int().unwrap();
        let swing = swings.iter().any(|s| (s.events.takeaway.t_s..s.events.impact.t_s - 0.01).contains(&t_s));
        if !swing {
            return;
        }
        let truly = truth.sample_truth(role, t_s).omega_body;
        for axis in 0..3 {
            let got = row[2 + axis].real().unwrap();
            off += (got - truly[axis].to_degrees()).powi(2);
            size += truly[axis].to_degrees().powi(2);
        }
        n += 1;
    });
    assert!(n > 1500, "{n}");
    let (off_dps, size_dps) = ((off / f64::from(n)).sqrt(), (size / f64::from(n)).sqrt());
    println!("{n} samples in swings: {off_dps:.2} deg/s RMS off, of {size_dps:.0} deg/s RMS");
    assert!(off_dps < 0.05 * size_dps + 1.0, "{off_dps} of {size_dps}");
    assert!(lost > 200, "the strap that was lost misses samples: {lost}");
}

#[test]
fn several_sessions_share_tables_and_what_is_missing_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let sessions = folder.path().join("sessions");
    fs::create_dir(&sessions).unwrap();
    let right = lesson(&sessions, Handedness::Right).dir;
    let bare = uncalibrated(&sessions);
    let no_log = lesson(&sessions, Handedness::Left).dir;
    fs::remove_file(no_log.log_path()).unwrap();
    fs::write(sessions.join("note.txt"), "no session").unwrap();
    let into = folder.path().join("out");
    let done = exported(std::slice::from_ref(&sessions), &into, CSV, false).unwrap();
    let said = |what: &str| done.notices.iter().filter(|n| n.contains(what)).count();
    assert_eq!(done.notices.len(), 2, "{:?}", done.notices);
    assert_eq!(said("left: samples.log: "), 1, "{:?}", done.notices);
    assert_eq!(
        said("not in samples_segment: pelvis, thorax, lead arm, never calibrated"),
        1,
        "{:?}",
        done.notices
    );
    let count = |name: &str| done.files.iter().find(|f| f.0 == format!("{name}.csv")).unwrap().1;
    assert_eq!(count("sessions"), 3);
    assert_eq!(count("swings"), 10);
    let all: usize = [&right, &bare].map(|d| samples(d).len()).iter().sum();
    assert_eq!(count("samples_strap"), all as u64);
    let only_right = samples(&right).iter().filter(|r| r.mounting.is_some()).count();
    assert_eq!(count("samples_segment"), only_right as u64);

    // Again, with only two tables, of one of them twice.
    let into = folder.path().join("two");
    let only = [What::Marks, What::Swings];
    let twice = [right.path().to_owned(), right.path().to_owned()];
    let wanted =
        Wanted { sessions: &twice, into: &into, kind: CSV, only: &only, codes: codes(), names: false };
    let done = export(&wanted).unwrap();
    assert_eq!(done.files.len(), 2);
    assert_eq!(done.files[0], ("swings.csv".into(), 4));
    assert!(done.notices.is_empty(), "{:?}", done.notices);
}

/// A damaged log gives what is there, and that it is damaged is said.
#[test]
fn a_damaged_recording_gives_what_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let dir = lesson(folder.path(), Handedness::Right).dir;
    let whole = samples(&dir).len();
    let mut bytes = fs::read(dir.log_path()).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x40;
    fs::write(dir.log_path(), &bytes).unwrap();
    for (kind, name) in
        [(CSV, "csv"), (PARQUET, "parquet"), (Kind::Mcap, "mcap"), (Kind::ForImport, "import")]
    {
        let done = exported(&paths(&[&dir]), &folder.path().join(name), kind, false).unwrap();
        assert_eq!(done.notices.len(), 1, "{:?}", done.notices);
        assert!(
            done.notices[0].contains("samples.log: byte ") && done.notices[0].contains("verify"),
            "{:?}",
            done.notices
        );
        if kind == CSV {
            let rows = done.files.iter().find(|f| f.0 == "samples_strap.csv").unwrap().1 as usize;
            // A frame holds the 256 records of a batch, each of four samples; one frame is lost.
            assert!(rows < whole && rows >= whole - 256 * 4, "{rows} of {whole}");
        }
    }
}

/// Another wearing: what was found of how the straps sit does not reach across, in either direction.
#[test]
fn a_new_wearing_is_told_and_begins_uncalibrated() {
    let folder = tempfile::tempdir().unwrap();
    let dir = lesson(folder.path(), Handedness::Right).dir;
    let (mut log, mut batch, mut records) =
        (LogReader::open(&dir.log_path()).unwrap(), Vec::new(), Vec::new());
    while log.next_batch(&mut batch).unwrap() {
        records.append(&mut batch);
    }
    let at = records.len() / 2;
    let t_ns = records[at].t_ns();
    records.insert(at, Record::Mark(Mark { t_ns, kind: MarkKind::ReWear, detail: String::new() }));
    let session = SessionDir::open(dir.path()).unwrap().1;
    let again = SessionDir::create(&folder.path().join("again"), false).unwrap();
    let recording = peakorder_daemon::engine::Recording::Unpaced;
    let mut engine = peakorder_daemon::engine::Engine::new(again.clone(), session, recording).unwrap();
    engine.push(&records);
    engine.finish().unwrap();
    let into = folder.path().join("out");
    exported(&paths(&[&again]), &into, PARQUET, false).unwrap();
    let mut wearings = [0; 2];
    rows(&into.join("samples_strap.parquet"), &["wearing"], |row| {
        wearings[row[0].int().unwrap() as usize] += 1;
    });
    assert!(wearings.iter().all(|n| *n > 1000), "{wearings:?}");
    let mark_s = t_ns as f64 * 1e-9;
    rows(&into.join("samples_segment.parquet"), &["t_s", "wearing"], |row| {
        assert!(row[0].real().unwrap() < mark_s && row[1].int() == Some(0));
    });
}
