//! A lesson that a kill breaks off is found at the next start, continued, and replays to the same files.

use peakorder_tests::programs::daemon;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Name and bytes of the swing files.
fn swings(session: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = fs::read_dir(session.join("swings")).unwrap().map(|entry| entry.unwrap().path());
    files.map(|f| (f.file_name().unwrap().to_string_lossy().into_owned(), fs::read(&f).unwrap())).collect()
}

/// A lesson, killed after swing `swings`; what the page had of it.
fn killed(library: &Path, swings: u64) -> (String, Value) {
    let server = TestServer::virtual_lessons(library, "20");
    let mut events = server.events("/api/v1/events");
    let session = server.lesson(&server.player("Somebody"));
    loop {
        if events.until("swing").last().unwrap().data["swing"]["number"] == swings {
            break;
        }
    }
    let target = json!({ "measure": "pelvis_turn_top_deg", "value": 40.0, "block": "" });
    server.send("PUT", "/api/v1/lesson/target", &target).expect(200);
    let note = json!({ "what": "note", "text": "before the kill", "swing": null });
    server.post(&format!("/api/v1/sessions/{session}/remarks"), &note).expect(201);
    let state = server.get("/api/v1/state").expect(200);
    assert_eq!(state["interrupted"], Value::Null);
    // Dropping it is SIGKILL.
    drop(server);
    (session, state["lesson"].clone())
}

#[test]
fn a_killed_lesson_is_continued_and_replays_to_the_same_files() {
    let library = tempfile::tempdir().unwrap();
    let (session, before) = killed(library.path(), 9);
    let folder = library.path().join("sessions").join(&session);
    let at_kill = swings(&folder);

    let server = TestServer::virtual_lessons(library.path(), "20");
    let state = server.get("/api/v1/state").expect(200);
    assert_eq!(state["lesson"], Value::Null);
    let told = &state["interrupted"];
    assert_eq!((&told["session"], &told["player"]), (&json!(session), &json!("Somebody")));
    assert_eq!(told["swings"].as_u64().unwrap() * 2, at_kill.len() as u64);
    assert_eq!((&told["calibration_holds"], &told["started_utc"]), (&json!(true), &before["started_utc"]));
    assert!(told["last_utc"].as_str() > told["started_utc"].as_str(), "{told}");
    assert!(told["calibration"].as_str().unwrap().contains("holds"), "{told}");

    let mut events = server.events("/api/v1/events");
    events.until("hello");
    assert_eq!(server.post("/api/v1/lesson/continue", &json!({})).expect(200)["session"], json!(session));
    server.post("/api/v1/lesson/continue", &json!({})).refused(409);
    let state = server.get("/api/v1/state").expect(200);
    let lesson = &state["lesson"];
    assert_eq!((&lesson["session"], &state["interrupted"]), (&json!(session), &Value::Null));
    assert_eq!((&lesson["calibrated"], &lesson["player"]["name"]), (&json!(true), &json!("Somebody")));
    assert_eq!(lesson["remarks"]["target"], before["remarks"]["target"]);
    assert_eq!(lesson["remarks"]["notes"][0]["text"], "before the kill");
    assert_eq!(lesson["baseline_block"], before["baseline_block"]);
    assert!(lesson["t_s"].as_f64() > before["t_s"].as_f64());
    // The swings of before are there, and the next has the next number.
    let first = events.until("swing").pop().unwrap().data["swing"]["number"].as_u64().unwrap();
    assert_eq!(first, told["swings"].as_u64().unwrap() + 1);
    events.until("session_ended");
    assert!(!library.path().join("running.toml").exists());

    let have = swings(&folder);
    assert!(have.len() > 40, "{} files", have.len());
    for (name, bytes) in &at_kill {
        assert_eq!(have.get(name), Some(bytes), "{name}");
    }
    let session_file = fs::read_to_string(folder.join("session.toml")).unwrap();
    assert!(session_file.contains("kind = \"interrupted\""), "{session_file}");
    // In place and into another folder: the gap is known, so both are a success.
    let replayed = daemon(["replay".as_ref(), folder.as_os_str()]);
    assert_eq!(replayed.code, Some(0), "{}", replayed.err);
    assert_eq!(swings(&folder), have);
    let into = library.path().join("copy");
    let copied = daemon(["replay".as_ref(), folder.as_os_str(), "--into".as_ref(), into.as_os_str()]);
    assert_eq!(copied.code, Some(0), "{}", copied.err);
    assert_eq!(swings(&into), have);
}

#[test]
fn an_interrupted_lesson_can_be_left_and_is_then_an_earlier_one() {
    let library = tempfile::tempdir().unwrap();
    let (session, _) = killed(library.path(), 2);
    let server = TestServer::virtual_lessons(library.path(), "20");
    assert_eq!(server.post("/api/v1/lesson/leave", &json!({})).expect(200)["session"], json!(session));
    assert_eq!(server.get("/api/v1/state").expect(200)["interrupted"], Value::Null);
    server.post("/api/v1/lesson/leave", &json!({})).refused(409);
    server.post("/api/v1/lesson/continue", &json!({})).refused(409);
    let rows = server.get("/api/v1/sessions").expect(200);
    assert_eq!((&rows[0]["id"], &rows[0]["running"]), (&json!(session), &json!(false)));
}

#[test]
fn a_lesson_that_ended_was_not_interrupted() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    server.whole_lesson("Somebody");
    drop(server);
    let server = TestServer::virtual_lessons(library.path(), "5");
    assert_eq!(server.get("/api/v1/state").expect(200)["interrupted"], Value::Null);
    // A program that is asked to end closes its lesson.
    server.lesson(server.get("/api/v1/players").expect(200)[0]["id"].as_str().unwrap());
    assert!(server.end());
    let server = TestServer::virtual_lessons(library.path(), "5");
    assert_eq!(server.get("/api/v1/state").expect(200)["interrupted"], Value::Null);
}

/// Killed twice, it goes on twice; the note of the session counts both gaps.
#[test]
fn a_lesson_that_is_killed_again_goes_on_again() {
    let library = tempfile::tempdir().unwrap();
    let (session, _) = killed(library.path(), 3);
    for _ in 0..2 {
        let server = TestServer::virtual_lessons(library.path(), "20");
        let mut events = server.events("/api/v1/events");
        events.until("hello");
        server.post("/api/v1/lesson/continue", &json!({})).expect(200);
        events.until("swing");
    }
    let folder = library.path().join("sessions").join(&session);
    let have = swings(&folder);
    // A torn end, where the last kill left one, is no damage.
    let replayed = daemon(["replay".as_ref(), folder.as_os_str()]);
    assert!(replayed.code == Some(0) || replayed.err.contains("ends inside a frame"), "{}", replayed.err);
    let again = swings(&folder);
    // The last kill may have come between a swing's file and its records, or in the middle of a swing.
    for (name, bytes) in &again {
        assert!(have.get(name).is_none_or(|b| b == bytes), "{name}");
    }
    assert!(again.len() + 2 >= have.len(), "{} of {}", again.len(), have.len());
    let session_file = fs::read_to_string(folder.join("session.toml")).unwrap();
    assert_eq!(session_file.matches("kind = \"interrupted\"").count(), 2, "{session_file}");
}

#[test]
fn the_demo_is_one_request_and_marked_as_invented() {
    let library = tempfile::tempdir().unwrap();
    let config = library.path().join("none.toml");
    let server = TestServer::start(
        &library.path().join("library"),
        &["--listen", "127.0.0.1:0", "--config", config.to_str().unwrap()],
    );
    let session = server.post("/api/v1/demo", &json!({})).expect(201)["session"].clone();
    let lesson = &server.get("/api/v1/state").expect(200)["lesson"];
    assert_eq!((&lesson["session"], &lesson["invented"]), (&session, &json!(true)));
    assert_eq!((&lesson["source"], &lesson["player"]["name"]), (&json!("virtual"), &json!("Demo player")));
    server.post("/api/v1/demo", &json!({})).refused(409);
    server.post("/api/v1/lesson/end", &json!({})).expect(200);
    assert_eq!(server.get("/api/v1/sessions").expect(200)[0]["invented"], json!(true));
}
