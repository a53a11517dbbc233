//! A session killed at any moment opens again with everything but its last moments: a quarter
//! second by design, a whole one here. The rest allows for a loaded machine, whose disk may take
//! that long to sync the session's own file while samples wait.

use peakorder_protocol::log::{FindingKind, Record};
use peakorder_tests::files::records;
use peakorder_tests::programs::{daemon, peakorderd};
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const KILLS: u64 = 50;
const SPEED: f64 = 20.0;
const SEED: u64 = 6;

/// What the killed program was about to record.
fn expected() -> Vec<Record> {
    let player = PlayerParams::drawn_from(Population::Amateur, SEED);
    Script::practice(SEED, player, 3, &PracticeOptions::default()).session().records().collect()
}

#[test]
fn fifty_sessions_killed_at_random_moments_open_again() {
    let expected = expected();
    let program = peakorderd();
    let folder = tempfile::tempdir().unwrap();
    // xorshift64 (Marsaglia 2003): the moments are random but the same every time.
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let moments: Vec<Duration> = (0..KILLS)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            Duration::from_millis(250 + state % 2250)
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
        // From when the log is there: before that there is nothing to lose.
        let log = out.join("samples.log");
        let asked = Instant::now();
        while !log.exists() && asked.elapsed() < Duration::from_secs(20) {
            std::thread::sleep(Duration::from_millis(2));
        }
        let started = Instant::now();
        std::thread::sleep(moments[i]);
        let lived = started.elapsed().as_secs_f64();
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
        // Session time a second of wall time before the kill.
        let sure_s = (lived - 1.0) * SPEED;
        let have_s = read.last().map_or(0.0, |r| r.t_ns() as f64 * 1e-9);
        let end_s = expected.last().map_or(0.0, |r| r.t_ns() as f64 * 1e-9);
        assert!(
            have_s >= sure_s.min(end_s - 1.0),
            "kill {i}: {have_s:.2} s on disk after {lived:.2} s at {SPEED} times"
        );

        let said = daemon(["replay", out.to_str().unwrap()]);
        assert!(
            said.code == Some(0) || (said.code == Some(1) && said.err.contains("ends inside a frame")),
            "{}",
            said.err
        );
        read.len()
    };
    let lengths: Vec<usize> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..3)
            .map(|w| {
                let kill_one = &kill_one;
                scope.spawn(move || (w..KILLS as usize).step_by(3).map(kill_one).collect::<Vec<_>>())
            })
            .collect();
        workers.into_iter().flat_map(|w| w.join().unwrap()).collect()
    });
    assert_eq!(lengths.len(), KILLS as usize);
    assert!(lengths.iter().filter(|n| **n > 100).count() > 40, "{lengths:?}");
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
