//! An import that is broken off leaves nothing behind that blocks the next.
#![cfg(unix)]

use peakorder_tests::files::contents;
use peakorder_tests::programs::{daemon, peakorderd};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Samples for some seconds of work.
fn large(path: &Path) {
    let mut text = "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps,accel_x_g,accel_y_g,accel_z_g\n".to_owned();
    for i in 0..1_500_000 {
        writeln!(text, "{:.3},0.1,0.2,0.3,0.0,1.0,0.0", f64::from(i) * 0.01).unwrap();
    }
    fs::write(path, text).unwrap();
}

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        large(&bench.path("large.csv"));
        fs::write(
            bench.path("small.csv"),
            "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps,accel_x_g,accel_y_g,accel_z_g\n0,0,0,0.1,0,1,0\n0.01,0,0,0.1,0,1,0\n",
        )
        .unwrap();
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn arg(&self, name: &str) -> String {
        self.path(name).display().to_string()
    }

    /// An import at work: it has begun to write.
    fn at_work(&self) -> Child {
        let child = Command::new(peakorderd())
            .args(["import", "--out", &self.arg("s"), "--thorax", &self.arg("large.csv")])
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let asked = Instant::now();
        let log = self.path("s.importing/samples.log");
        while log.metadata().map_or(0, |m| m.len()) < 100_000 {
            assert!(asked.elapsed() < Duration::from_mins(1), "it does not begin");
            std::thread::sleep(Duration::from_millis(5));
        }
        child
    }
}

fn send(child: &Child, signal: &str) {
    assert!(Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap().success());
}

#[test]
fn a_signal_ends_an_import_and_nothing_is_left() {
    let bench = Bench::new();
    for signal in ["-INT", "-TERM", "-HUP"] {
        let mut child = bench.at_work();
        let asked = Instant::now();
        send(&child, signal);
        let status = child.wait().unwrap();
        let took = asked.elapsed();
        let mut said = String::new();
        std::io::Read::read_to_string(&mut child.stderr.take().unwrap(), &mut said).unwrap();
        assert_eq!(status.code(), Some(1), "{signal}: {said}");
        assert!(said.contains("broken off") && said.trim().lines().count() == 1, "{said}");
        assert!(took < Duration::from_secs(2), "{signal}: {took:?}");
        eprintln!("{signal}: ended after {took:?}");
        assert!(
            !bench.path("s").exists() && !bench.path("s.importing").exists(),
            "something was left behind"
        );
    }
}

#[test]
fn what_a_killed_import_left_is_replaced_and_a_living_one_is_left_alone() {
    let bench = Bench::new();
    let mut child = bench.at_work();
    let (out, small) = (bench.arg("s"), bench.arg("small.csv"));
    let said = daemon(["import", "--out", &out, "--thorax", &small]).failed();
    assert!(said.contains("s.importing") && said.contains("at work") && said.contains("wait"), "{said}");
    assert!(child.try_wait().unwrap().is_none(), "the first goes on");
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(bench.path("s.importing/samples.log").exists());
    let _ = daemon(["import", "--out", &out, "--thorax", &small]).done();
    assert!(!bench.path("s.importing").exists());
    let names: Vec<String> = contents(&bench.path("s")).into_keys().collect();
    assert_eq!(names, ["samples.log", "session.toml"]);
    let _ = daemon(["replay", &out]).done();
    // With something of the user's in it, it is not touched.
    let mut child = Command::new(peakorderd())
        .args(["import", "--force", "--out", &out, "--thorax", &bench.arg("large.csv")])
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    while !bench.path("s.importing/samples.log").exists() {
        std::thread::sleep(Duration::from_millis(5));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    fs::write(bench.path("s.importing/swings/video.txt"), "mine").unwrap();
    let before = contents(&bench.path("s.importing"));
    let said = daemon(["import", "--force", "--out", &out, "--thorax", &small]).failed();
    assert!(said.contains("s.importing") && said.contains("in the way"), "{said}");
    assert_eq!(contents(&bench.path("s.importing")), before);
}
