//! The server as a process: files, restart, end, latency.

use peakorder_tests::test_server::{PATIENCE, TestServer};
use serde_json::Value;
use std::path::Path;
use std::time::Instant;

#[test]
#[cfg(unix)]
fn the_library_is_its_owners_only() {
    let parent = tempfile::tempdir().unwrap();
    let library = parent.path().join("new").join("library");
    let server = TestServer::virtual_lessons(&library, "max");
    server.whole_lesson("Somebody");
    let modes = peakorder_tests::test_server::modes(&library);
    assert!(modes.len() > 50, "{}", modes.len());
    for (path, mode) in modes {
        let wanted = if path.is_dir() { 0o700 } else { 0o600 };
        assert_eq!(mode, wanted, "{}: {mode:o}", path.display());
    }
}

#[test]
fn a_restart_is_seen_and_what_was_recorded_is_there() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let session = server.whole_lesson("Somebody");
    let before = server.get("/api/v1/state").expect(200);
    let kept = server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert!(server.end());
    let server = TestServer::virtual_lessons(library.path(), "max");
    let after = server.get("/api/v1/state").expect(200);
    assert_ne!(before["boot"], after["boot"]);
    assert_eq!(server.get(&format!("/api/v1/sessions/{session}")).expect(200), kept);
    assert_eq!(server.get("/api/v1/players").expect(200)[0]["name"], "Somebody");
}

#[test]
fn the_end_closes_the_lesson_and_the_streams() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "5");
    let mut streams: Vec<_> = (0..4).map(|_| server.events("/api/v1/events")).collect();
    let session = server.lesson(&server.player("Somebody"));
    for stream in &mut streams {
        stream.until("straps");
    }
    let start = Instant::now();
    assert!(server.end(), "it ends by itself and well");
    assert!(start.elapsed() < PATIENCE / 2);
    for mut stream in streams {
        let ended = stream.until("session_ended").pop().unwrap();
        assert!(ended.data["t_s"].as_f64().unwrap() > 0.0);
        assert!(stream.next().is_none(), "nothing after the end");
    }
    let log = library.path().join("sessions").join(&session).join("samples.log");
    assert!(log.metadata().unwrap().len() > 1000);
    // The recording is whole: it can be replayed.
    let folder = log.parent().unwrap();
    assert!(peakorder_tests::programs::daemon(["replay".as_ref(), folder.as_os_str()]).code == Some(0));
}

#[test]
fn a_second_server_says_what_to_do() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "1");
    let listen = server.at.to_string();
    let serve = |listen: &str, library: &Path| {
        let library = library.to_str().unwrap();
        peakorder_tests::programs::daemon(["serve", "--virtual", "--listen", listen, "--library", library])
    };
    let other = tempfile::tempdir().unwrap();
    assert!(serve(&listen, other.path()).failed().contains("--listen"), "the address is taken");
    let said = serve("127.0.0.1:0", library.path());
    assert!(said.failed().contains("--library"), "the library is in use");
}

#[test]
fn without_straps_a_lesson_says_how_to_get_them() {
    let library = tempfile::tempdir().unwrap();
    let config = library.path().join("none.toml");
    let server =
        TestServer::start(library.path(), &["--listen", "127.0.0.1:0", "--config", config.to_str().unwrap()]);
    assert_eq!(server.get("/api/v1/state").expect(200)["virtual"], Value::Bool(false));
    let player = server.player("Somebody");
    let why = server.post("/api/v1/lesson", &serde_json::json!({ "player": player })).refused(503);
    assert!(why.contains("peakorderd straps"), "{why}");
    assert_eq!(server.get("/api/v1/sessions").expect(200), serde_json::json!([]), "no empty session is left");
}
