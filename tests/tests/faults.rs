//! A recording outlives what goes wrong around it: tried from outside, on the program itself.
#![cfg(target_os = "linux")]

use peakorder_protocol::log::Record;
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::trouble::Trouble;
use peakorder_tests::files::records;
use peakorder_tests::programs::{daemon, peakorderd};
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const SEED: u64 = 6;
const SWINGS: u32 = 4;
/// Fast enough for a test, slow enough to do something meanwhile.
const SPEED: &str = "10";
const PATIENCE: Duration = Duration::from_mins(2);

/// All records of the session that [`record`] makes.
fn expected() -> Vec<Record> {
    let player = PlayerParams::drawn_from(Population::Amateur, SEED);
    Script::practice(SEED, player, SWINGS, &PracticeOptions::default()).session().records().collect()
}

/// Starts a paced session into `out`, by way of the shell command `before`.
fn record(out: &Path, before: &str) -> Child {
    Command::new("sh")
        .args(["-c", &format!("{before} exec \"$@\""), "sh"])
        .arg(peakorderd())
        .args(["virtual", "--swings", &SWINGS.to_string(), "--seed", &SEED.to_string(), "--speed", SPEED])
        .arg("--out")
        .arg(out)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

fn until(what: &str, mut there: impl FnMut() -> bool) {
    let asked = Instant::now();
    while !there() {
        assert!(asked.elapsed() < PATIENCE, "{what} does not come");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Waits for its end; returns what it said on standard error.
fn ended(child: Child, code: i32) -> String {
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(code), "{said}");
    said
}

fn troubles(dir: &Path) -> Vec<Trouble> {
    SessionDir::open(dir).unwrap().1.troubles.into_iter().map(|note| note.what).collect()
}

#[test]
fn swings_that_are_deleted_meanwhile_do_not_end_the_recording() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("s");
    let child = record(&out, "");
    until("the first swing", || out.join("swings/0001.json").exists());
    std::fs::remove_dir_all(out.join("swings")).unwrap();
    // Nothing can be written where a file lies in the folder's place.
    std::fs::write(out.join("swings"), "").unwrap();
    let said = ended(child, 0);
    assert!(said.contains("swings"), "{said}");
    assert_eq!(records(&out.join("samples.log")).0, expected());
    assert!(troubles(&out).iter().any(|t| matches!(t, Trouble::FileNotWritten { .. })));
    // What is missing is computed from the recording.
    std::fs::remove_file(out.join("swings")).unwrap();
    let _ = daemon(["replay", out.to_str().unwrap()]).done();
    assert_eq!(SessionDir::open(&out).unwrap().0.read_swings().unwrap().len(), SWINGS as usize);
}

#[test]
fn a_session_folder_that_is_moved_away_is_recorded_to_its_end() {
    let folder = tempfile::tempdir().unwrap();
    let (out, moved) = (folder.path().join("s"), folder.path().join("moved"));
    let child = record(&out, "");
    until("the first swing", || out.join("swings/0001.json").exists());
    std::fs::rename(&out, &moved).unwrap();
    ended(child, 0);
    assert_eq!(records(&moved.join("samples.log")).0, expected());
    let _ = daemon(["replay", moved.to_str().unwrap()]).done();
}

/// A limit on the size of files stands for a full disk: a write beyond it fails (EFBIG, once SIGXFSZ is
/// ignored: POSIX.1-2024, setrlimit). It is lifted from outside, as if somebody had made room.
#[test]
fn a_disk_that_is_full_for_a_while_costs_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("s");
    // In blocks of 512 bytes: 100 KiB, some seconds of three straps.
    let child = record(&out, "trap '' XFSZ; ulimit -S -f 200;");
    let log = out.join("samples.log");
    let length = || std::fs::metadata(&log).map_or(0, |m| m.len());
    until("the full disk", || length() > 95 << 10);
    std::thread::sleep(Duration::from_secs(2));
    assert!(length() <= 100 << 10, "nothing more fits");
    let lifted = Command::new("prlimit")
        .args(["--fsize=unlimited:unlimited", "--pid", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(lifted.success());
    let said = ended(child, 0);
    assert!(said.contains("NOT RECORDING") && said.contains("recording again"), "{said}");
    let (read, findings) = records(&log);
    assert!(findings.is_empty(), "{findings:?}");
    assert_eq!(read, expected());
    let troubles = troubles(&out);
    assert!(troubles.iter().any(|t| matches!(t, Trouble::NotRecording { .. })), "{troubles:?}");
    assert!(troubles.contains(&Trouble::RecordingAgain { dropped: 0, missing_ms: 0 }), "{troubles:?}");
}

#[test]
fn a_disk_that_stays_full_is_an_error_and_keeps_what_fitted() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("s");
    let said = ended(record(&out, "trap '' XFSZ; ulimit -f 200;"), 1);
    assert!(said.contains("NOT RECORDING"), "{said}");
    let read = records(&out.join("samples.log")).0;
    assert!(read.len() > 100 && read == expected()[..read.len()], "{} records", read.len());
}

#[test]
fn a_session_that_is_recorded_is_not_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("s");
    let child = record(&out, "");
    until("the first swing", || out.join("swings/0001.json").exists());
    let path = out.to_str().unwrap();
    let refused = daemon(["virtual", "--swings", "1", "--force", "--out", path]).failed();
    assert!(refused.contains("recorded"), "{refused}");
    let _ = daemon(["replay", path]).failed();
    ended(child, 0);
    assert_eq!(records(&out.join("samples.log")).0, expected());
}

/// Memory in use, kilobytes, and open descriptors of a process (proc(5)).
fn footprint(pid: u32) -> Option<(u64, usize)> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let resident = status.lines().find_map(|l| l.strip_prefix("VmRSS:"))?;
    let kilobytes = resident.trim().strip_suffix(" kB")?.parse().ok()?;
    Some((kilobytes, std::fs::read_dir(format!("/proc/{pid}/fd")).ok()?.count()))
}

/// Eight simulated hours of practice as fast as the machine can. What a session holds on to must not
/// grow with its length.
#[test]
fn eight_hours_take_no_more_memory_and_descriptors_than_one() {
    let folder = tempfile::tempdir().unwrap();
    let (out, said) = (folder.path().join("s"), folder.path().join("said"));
    let mut child = Command::new(peakorderd())
        .args(["virtual", "--swings", "2250", "--seed", "3", "--out"])
        .arg(&out)
        .stdout(std::fs::File::create(&said).unwrap())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let swings = || std::fs::read_dir(out.join("swings")).map_or(0, |entries| entries.count() / 2);
    let mut seen = Vec::new();
    while child.try_wait().unwrap().is_none() {
        if let Some((kilobytes, descriptors)) = footprint(child.id()) {
            seen.push((swings(), kilobytes, descriptors));
        }
        std::thread::sleep(Duration::from_millis(250));
    }
    assert!(child.wait().unwrap().success());
    let said = std::fs::read_to_string(said).unwrap();
    let last = said.lines().last().unwrap_or_default();
    assert!(last.contains("swings in 48") || last.contains("swings in 47"), "some 480 min: {last}");
    let largest = |from: usize, to: usize| {
        let of = seen.iter().filter(|(n, ..)| (from..to).contains(n));
        of.fold((0, 0), |(k, d), (_, kilobytes, descriptors)| (k.max(*kilobytes), d.max(*descriptors)))
    };
    // The second hour, when everything that a session needs is there, and the last.
    let (early, late) = (largest(280, 560), largest(1970, 2250));
    println!("second hour {early:?}, last hour {late:?} (kilobytes, descriptors)");
    assert!(early.0 > 0 && late.0 > 0, "both hours were seen: {} looks", seen.len());
    assert!(late.0 <= early.0 + 4096, "memory grows: {early:?}, {late:?}");
    assert!(late.1 <= early.1 + 2, "descriptors grow: {early:?}, {late:?}");
}
