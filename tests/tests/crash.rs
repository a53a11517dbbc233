//! A session that is killed at any moment, on a disk that is busy, opens again with everything but its
//! last moments.

use peakorder_protocol::log::{FindingKind, Record};
use peakorder_protocol::session::SessionDir;
use peakorder_tests::files::records;
use peakorder_tests::programs::{daemon, peakorderd};
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};
use std::io::{Seek as _, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

const KILLS: u64 = 200;
const SPEED: f64 = 20.0;
const SEED: u64 = 6;
/// What a kill may cost, s. Nothing waits for a sync before it is written; this allows for the way from
/// source to file on a busy machine.
const LOST_S: f64 = 0.3;

/// What the killed program was about to record.
fn expected() -> Vec<Record> {
    let player = PlayerParams::drawn_from(Population::Amateur, SEED);
    Script::practice(SEED, player, 3, &PracticeOptions::default()).session().records().collect()
}

/// Writes and syncs without a pause until it is told to stop.
fn keep_disk_busy(folder: &Path, stop: &AtomicBool) {
    let mut file = std::fs::File::create(folder.join("load")).unwrap();
    let block = vec![0x5a_u8; 4 << 20];
    while !stop.load(Ordering::Relaxed) {
        file.rewind().unwrap();
        for _ in 0..8 {
            file.write_all(&block).unwrap();
        }
        file.sync_all().unwrap();
    }
}

/// Waits until the log has its first records; returns the moment.
fn first_records(log: &Path) -> Instant {
    let asked = Instant::now();
    // The header alone has 16 bytes.
    while std::fs::metadata(log).map_or(0, |m| m.len()) <= 16 {
        assert!(asked.elapsed() < Duration::from_mins(1), "no record in {}", log.display());
        std::thread::sleep(Duration::from_millis(1));
    }
    Instant::now()
}

#[test]
fn sessions_killed_at_random_moments_on_a_busy_disk_open_again() {
    let expected = expected();
    let end_s = expected.last().map_or(0.0, |r| r.t_ns() as f64 * 1e-9);
    let program = peakorderd();
    let folder = tempfile::tempdir().unwrap();
    // xorshift64 (Marsaglia 2003): the moments are random but the same every time.
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let moments: Vec<Duration> = (0..KILLS)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            Duration::from_millis(state % 1800)
        })
        .collect();
    let kill_one = |i: usize| {
        let out = folder.path().join(format!("{i}"));
        let mut child = Command::new(&program)
            .args(["virtual", "--swings", "3", "--speed", "20", "--seed", "6", "--out"])
            .arg(&out)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let log = out.join("samples.log");
        let started = first_records(&log);
        std::thread::sleep(moments[i]);
        let lived_s = started.elapsed().as_secs_f64();
        child.kill().unwrap();
        child.wait().unwrap();

        let (read, findings) = records(&log);
        assert!(
            findings.len() <= 1 && findings.iter().all(|f| f.kind == FindingKind::TornTail),
            "kill {i}: {findings:?}"
        );
        assert!(
            read.len() <= expected.len() && read == expected[..read.len()],
            "kill {i}: not a prefix of what was sent"
        );
        let have_s = read.last().map_or(0.0, |r| r.t_ns() as f64 * 1e-9);
        let lost_s = (lived_s * SPEED).min(end_s) - have_s;

        let said = daemon(["replay", out.to_str().unwrap()]);
        assert!(
            said.code == Some(0) || (said.code == Some(1) && said.err.contains("ends inside a frame")),
            "{}",
            said.err
        );
        std::fs::remove_dir_all(&out).unwrap();
        (read.len(), lost_s / SPEED)
    };
    let stop = AtomicBool::new(false);
    let killed: Vec<(usize, f64)> = std::thread::scope(|scope| {
        scope.spawn(|| keep_disk_busy(folder.path(), &stop));
        let workers: Vec<_> = (0..4)
            .map(|w| {
                let kill_one = &kill_one;
                scope.spawn(move || (w..KILLS as usize).step_by(4).map(kill_one).collect::<Vec<_>>())
            })
            .collect();
        let all: Vec<_> = workers.into_iter().map(std::thread::ScopedJoinHandle::join).collect();
        stop.store(true, Ordering::Relaxed);
        all.into_iter().flat_map(Result::unwrap).collect()
    });
    assert_eq!(killed.len(), KILLS as usize);
    assert!(killed.iter().filter(|(n, _)| *n > 100).count() > 160, "{killed:?}");
    let mut lost: Vec<f64> = killed.iter().map(|(_, lost_s)| *lost_s).collect();
    lost.sort_by(f64::total_cmp);
    println!("lost: median {:.3} s, largest {:.3} s", lost[lost.len() / 2], lost[lost.len() - 1]);
    assert!(lost[lost.len() - 1] <= LOST_S, "lost {lost:?}");
}

/// Killed while it starts: where there is a log there is the session's file, and the session opens.
#[test]
fn a_session_killed_while_it_starts_opens() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = 0;
    for i in 0..60_u64 {
        let out = folder.path().join(i.to_string());
        let mut child = Command::new(peakorderd())
            .args(["virtual", "--swings", "1", "--speed", "20", "--seed", "6", "--out"])
            .arg(&out)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(i * 5));
        child.kill().unwrap();
        child.wait().unwrap();
        if out.join("samples.log").exists() {
            SessionDir::open(&out).unwrap_or_else(|why| panic!("kill {i}: {why}"));
            opened += 1;
        }
    }
    assert!(opened > 0, "some lived long enough");
}

/// A closed terminal sends SIGHUP, Ctrl-C SIGINT, a service manager SIGTERM (POSIX.1-2024,
/// signal.h). Each ends the session in order, also while records are waited for.
#[cfg(unix)]
#[test]
fn a_signal_ends_a_session_in_order_and_soon() {
    let folder = tempfile::tempdir().unwrap();
    for signal in ["-HUP", "-INT", "-TERM"] {
        let out = folder.path().join(signal);
        let child = Command::new(peakorderd())
            .args(["virtual", "--swings", "3", "--speed", "0.01", "--out"])
            .arg(&out)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let asked = Instant::now();
        while !out.join("samples.log").exists() && asked.elapsed() < Duration::from_secs(20) {
            std::thread::sleep(Duration::from_millis(2));
        }
        std::thread::sleep(Duration::from_millis(300));
        let sent = Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap();
        assert!(sent.success());
        let ended = child.wait_with_output().unwrap();
        assert_eq!(ended.status.code(), Some(0), "{signal}: {ended:?}");
        assert!(String::from_utf8_lossy(&ended.stdout).contains("0 swings"), "{signal}: {ended:?}");
        assert!(records(&out.join("samples.log")).1.is_empty(), "{signal}: the log is whole");
    }
}
