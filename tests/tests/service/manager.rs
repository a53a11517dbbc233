//! What the service manager hears: `sd_notify(3)`.

use peakorder_tests::programs::peakorderd;
use peakorder_tests::service_manager::FakeServiceManager;
use peakorder_tests::test_server::{PATIENCE, TestServer};
use serde_json::json;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// A name that must not reach `systemctl status`, which others can read.
const PLAYER: &str = "Invented Ida";

fn until(what: &str, so: impl Fn() -> bool) {
    let start = Instant::now();
    while !so() {
        assert!(start.elapsed() < PATIENCE, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A port that is free now.
fn free_port() -> u16 {
    TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).and_then(|l| l.local_addr()).expect("a free port").port()
}

fn served(manager: &FakeServiceManager, watchdog: Option<Duration>, arguments: &[&str]) -> Command {
    let mut command = Command::new(peakorderd());
    command.arg("serve").arg("--virtual").args(arguments);
    manager.hears(&mut command, watchdog);
    command
}

#[test]
fn it_is_ready_when_it_listens_and_says_what_it_does_until_it_stops() {
    let home = tempfile::tempdir().unwrap();
    let (port, connected) = (free_port(), Arc::new(AtomicBool::new(false)));
    let seen = Arc::clone(&connected);
    let manager = FakeServiceManager::start(move || {
        seen.store(TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_ok(), Ordering::Relaxed);
    });
    let (listen, library) = (format!("127.0.0.1:{port}"), home.path().join("library"));
    let arguments = ["--listen", &listen, "--speed", "60", "--library", &library.display().to_string()];
    let server = TestServer::started_by(&mut served(&manager, Some(Duration::from_secs(2)), &arguments));
    until("readiness", || !manager.said("READY").is_empty());
    assert!(connected.load(Ordering::Relaxed), "it listens when it says so");
    assert!(library.join("in-use.lock").exists(), "and the library is open");
    until("the first status", || manager.said("STATUS") == ["Idle; no lesson is running."]);

    let session = server.lesson(&server.player(PLAYER));
    until("a status with swings", || {
        manager.said("STATUS").iter().any(|s| {
            s.starts_with("Lesson of ")
                && !s.contains(" 0 swings")
                && s.ends_with(" running, 3 of 3 straps connected.")
        })
    });
    server.post("/api/v1/lesson/end", &json!({})).expect(200);
    until("idleness", || manager.said("STATUS").last().is_some_and(|s| s.starts_with("Idle")));
    assert!(server.end());
    assert_eq!(
        (manager.said("READY"), manager.said("STOPPING")),
        (vec!["1".to_owned()], vec!["1".to_owned()])
    );
    let stopping = manager.heard().iter().position(|(_, line)| line == "STOPPING=1").unwrap();
    let ready = manager.heard().iter().position(|(_, line)| line == "READY=1").unwrap();
    assert!(ready == 0 && stopping > ready);
    for (_, line) in manager.heard() {
        assert!(!line.contains(PLAYER) && !line.contains("Ida") && !line.contains(&session), "{line}");
    }
}

/// systemd asks for half the interval (`sd_watchdog_enabled(3)`) and ends a service that it has not heard for the whole.
#[test]
fn the_watchdog_is_told_in_time_also_while_a_lesson_is_computed_as_fast_as_it_goes() {
    let home = tempfile::tempdir().unwrap();
    let manager = FakeServiceManager::start(|| {});
    let interval = Duration::from_secs(4);
    let library = home.path().display().to_string();
    let arguments = ["--listen", "127.0.0.1:0", "--speed", "max", "--library", &library];
    let server = TestServer::started_by(&mut served(&manager, Some(interval), &arguments));
    let start = Instant::now();
    server.whole_lesson(PLAYER);
    while start.elapsed() < Duration::from_secs(9) {
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(server.end());
    let alive: Vec<Instant> =
        manager.heard().iter().filter(|(_, line)| line == "WATCHDOG=1").map(|(at, _)| *at).collect();
    let gaps: Vec<Duration> = alive.windows(2).map(|w| w[1] - w[0]).collect();
    println!("watchdog heard after {gaps:?}");
    assert!(gaps.len() >= 4, "{gaps:?}");
    // On a machine shared with other tests the program may get its turn late; never by half the interval.
    assert!(gaps.iter().all(|gap| *gap < interval * 3 / 4), "{gaps:?}");
    let mean = gaps.iter().sum::<Duration>() / gaps.len() as u32;
    assert!(mean <= interval / 2 + Duration::from_millis(200), "{mean:?}");
    assert!(mean > interval / 5, "not by the dozen: {mean:?}");
}

#[test]
fn nothing_is_said_of_readiness_where_it_cannot_serve() {
    let home = tempfile::tempdir().unwrap();
    let manager = FakeServiceManager::start(|| {});
    std::fs::write(home.path().join("file"), "").unwrap();
    let library = home.path().join("file").display().to_string();
    let mut command = served(&manager, None, &["--listen", "127.0.0.1:0", "--library", &library]);
    assert_eq!(command.output().unwrap().status.code(), Some(1));
    assert_eq!(manager.heard(), []);
}

#[test]
fn a_manager_that_is_not_there_costs_a_warning() {
    let home = tempfile::tempdir().unwrap();
    let mut command = Command::new(peakorderd());
    command.args(["serve", "--virtual", "--listen", "127.0.0.1:0", "--library"]).arg(home.path());
    let log = std::fs::File::create(home.path().join("log")).unwrap();
    command.env("NOTIFY_SOCKET", home.path().join("nobody")).stderr(log);
    let server = TestServer::started_by(&mut command);
    assert_eq!(server.get("/api/v1/state").status, 200);
    assert!(server.end());
    let said = std::fs::read_to_string(home.path().join("log")).unwrap();
    assert_eq!(said.matches("NOTIFY_SOCKET").count(), 1, "{said}");
}

/// What a lesson's program says to `NOTIFY_SOCKET` would be taken for the daemon's own word.
#[test]
fn programs_that_it_starts_do_not_speak_in_its_name() {
    use std::os::unix::fs::PermissionsExt as _;
    let home = tempfile::tempdir().unwrap();
    let manager = FakeServiceManager::start(|| {});
    let (program, told) = (home.path().join("ended"), home.path().join("environment"));
    std::fs::write(&program, format!("#!/bin/sh\nenv >'{0}.new'\nmv '{0}.new' '{0}'\n", told.display()))
        .unwrap();
    std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
    let library = home.path().join("library").display().to_string();
    let ended = program.display().to_string();
    let arguments =
        ["--listen", "127.0.0.1:0", "--speed", "max", "--library", &library, "--when-ended", &ended];
    let server = TestServer::started_by(&mut served(&manager, Some(Duration::from_mins(1)), &arguments));
    server.whole_lesson(PLAYER);
    until("the program", || told.exists());
    let environment = std::fs::read_to_string(told).unwrap();
    for variable in ["NOTIFY_SOCKET", "WATCHDOG_USEC", "JOURNAL_STREAM"] {
        assert!(!environment.contains(&format!("{variable}=")), "{environment}");
    }
}
