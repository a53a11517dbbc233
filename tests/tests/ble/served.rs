//! Straps set up from the page's API, by the code of the commands, and a lesson with straps that goes on after a kill.

use crate::common::{assign, moving, practice, still, straps};
use peakorder_daemon::config::Config;
use peakorder_protocol::Role;
use peakorder_protocol::log::{LogReader, Record, StrapEventKind};
use peakorder_protocol::packet::DATA_UUID;
use peakorder_tests::bluez::{FakeBluez, Peer, play, wait};
use peakorder_tests::programs::daemon;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Asks until the setup is as wanted.
fn until(server: &TestServer, what: &str, so: impl Fn(&Value) -> bool) -> Value {
    let begun = Instant::now();
    loop {
        let view = server.get("/api/v1/straps").expect(200);
        if so(&view) {
            return view;
        }
        assert!(begun.elapsed() < Duration::from_mins(2), "waited in vain for {what}: {view:#}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

fn post(server: &TestServer, path: &str) -> Value {
    server.post(&format!("/api/v1/straps/{path}"), &json!({})).expect(200)
}

#[test]
fn straps_are_found_placed_by_a_twist_checked_and_replaced_without_a_terminal() {
    let mut peers = straps();
    peers.push(Peer::stranger(9, 0x180d));
    let Some(air) = FakeBluez::with(peers) else { return };
    let home = tempfile::tempdir().unwrap();
    let server = TestServer::with_straps(&air, home.path());
    let view = server.get("/api/v1/straps").expect(200);
    assert_eq!((&view["available"], &view["doing"]), (&json!(true), &json!("nothing")));
    assert!(view["places"].as_array().unwrap().iter().all(|p| p["id"].is_null()), "{view}");
    server.post("/api/v1/straps/check", &json!({})).refused(503);

    // Found.
    post(&server, "scan");
    let view = until(&server, "three straps", |v| v["found"].as_array().unwrap().len() == 3);
    assert!(view["found"].as_array().unwrap().iter().all(|s| s["rssi_dbm"].as_i64().is_some()), "{view}");
    assert_eq!(view["other_devices"], 1);
    assert_eq!(post(&server, "stop")["doing"], "nothing");

    // Told apart: the strap that is asked for is turned, the others sway.
    let turned = Arc::new(AtomicUsize::new(usize::MAX));
    let from = Instant::now();
    for strap in 0..3 {
        let turned = Arc::clone(&turned);
        air.play(
            strap,
            DATA_UUID,
            from,
            moving(180.0, 0.0, move |t| {
                let on = turned.load(Ordering::Relaxed) == strap;
                if on { [0.0, 250.0 * (6.0 * t).sin(), 0.0] } else { [2.0, -3.0, 1.0] }
            }),
        );
    }
    let roles = ["lead_arm", "pelvis", "thorax"];
    let begun = Instant::now();
    server.post("/api/v1/straps/identify", &json!({ "roles": roles })).expect(200);
    for (strap, role) in [2, 0, 1].into_iter().zip(roles) {
        until(&server, &format!("the {role} being asked for"), |v| v["twist"] == role);
        turned.store(strap, Ordering::Relaxed);
    }
    let view = until(&server, "all being placed", |v| v["doing"] == "nothing");
    println!("three straps told apart in {:.1} s", begun.elapsed().as_secs_f64());
    turned.store(usize::MAX, Ordering::Relaxed);
    assert_eq!(view["problem"], Value::Null, "{view:#}");
    let config = || Config::load(&air.bus().file("config.toml")).unwrap();
    let places = [(Role::LeadArm, 3), (Role::Pelvis, 1), (Role::Thorax, 2)];
    for (role, n) in places {
        assert_eq!(config().straps[&role].id, format!("C0:FF:EE:00:00:0{n}"), "{role}");
    }
    assert!(view["found"].as_array().unwrap().iter().all(|s| s["worn_on"].is_string()), "{view:#}");

    // Checked, lying still.
    let begun = Instant::now();
    post(&server, "check");
    let view = until(&server, "the figures", |v| v["doing"] == "nothing");
    println!("three straps checked in {:.1} s", begun.elapsed().as_secs_f64());
    assert_eq!(view["checks"].as_array().unwrap().len(), 3, "{view:#}");
    for strap in view["checks"].as_array().unwrap() {
        let rate = strap["rate_hz"].as_f64().unwrap();
        assert!((rate / strap["nominal_hz"].as_f64().unwrap() - 1.0).abs() < 0.03, "{strap}");
        assert!(
            strap["battery_percent"].as_u64().is_some() && strap["noise_dps"].as_f64().is_some(),
            "{strap}"
        );
    }
    assert_eq!(view["ready"], json!(true), "{view:#}");

    // Replaced by hand, and taken away.
    server.send("PUT", "/api/v1/straps/pelvis", &json!({ "id": "C0:FF:EE:00:00:02" })).expect(200);
    assert_eq!(config().straps[&Role::Pelvis].id, "C0:FF:EE:00:00:02");
    assert!(!config().straps.contains_key(&Role::Thorax), "a strap has one place");
    server.send("DELETE", "/api/v1/straps/pelvis", &json!({})).expect(200);
    assert!(!config().straps.contains_key(&Role::Pelvis));
    server.send("DELETE", "/api/v1/straps/pelvis", &json!({})).refused(409);
    server.send("PUT", "/api/v1/straps/pelvis", &json!({ "id": "C0:FF:EE:00:00:77" })).refused(409);
    server.send("PUT", "/api/v1/straps/elbow", &json!({ "id": "x" })).refused(404);
    server.post("/api/v1/straps/identify", &json!({ "roles": [] })).refused(422);
    assert_eq!(air.rude_attempts(), 0);
}

#[test]
fn nobody_twists_nothing_changes_and_it_is_said() {
    let Some(air) = FakeBluez::with(straps()) else { return };
    assign(&air, 1, "ref-strap-v1");
    let home = tempfile::tempdir().unwrap();
    let server = TestServer::with_straps(&air, home.path());
    for strap in 0..3 {
        air.play(strap, DATA_UUID, Instant::now(), still(120.0));
    }
    server.post("/api/v1/straps/identify", &json!({ "roles": ["thorax"] })).expect(200);
    until(&server, "the twist being asked for", |v| v["twist"] == "thorax");
    // Stopped in the middle.
    let view = post(&server, "stop");
    assert_eq!(
        (&view["doing"], &view["twist"], &view["problem"]),
        (&json!("nothing"), &Value::Null, &Value::Null)
    );
    let config = Config::load(&air.bus().file("config.toml")).unwrap();
    assert_eq!(config.straps.keys().collect::<Vec<_>>(), [&Role::Pelvis]);
    // More are asked for than there are.
    let Some(air) = FakeBluez::with(straps().into_iter().take(1).collect()) else { return };
    let home = tempfile::tempdir().unwrap();
    let server = TestServer::with_straps(&air, home.path());
    server.post("/api/v1/straps/identify", &json!({ "roles": ["thorax", "pelvis"] })).expect(200);
    let view = until(&server, "the refusal", |v| v["doing"] == "nothing");
    assert!(view["problem"].as_str().unwrap().contains("1 strap(s) heard, 2 needed"), "{view:#}");
}

#[test]
fn without_bluetooth_the_page_is_told_what_to_do() {
    let Some(air) = FakeBluez::silent() else { return };
    let home = tempfile::tempdir().unwrap();
    let server = TestServer::with_straps(&air, home.path());
    post(&server, "scan");
    let view = until(&server, "the problem", |v| v["doing"] == "nothing");
    let problem = view["problem"].as_str().unwrap();
    assert!(problem.contains("systemctl enable --now bluetooth"), "{problem}");
    // Virtual straps need none.
    let virtual_straps = TestServer::virtual_lessons(&home.path().join("other"), "1");
    assert_eq!(virtual_straps.get("/api/v1/straps").expect(200)["available"], json!(false));
    virtual_straps.post("/api/v1/straps/scan", &json!({})).refused(409);
}

/// Name and bytes of the swing files.
fn swings(session: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = std::fs::read_dir(session.join("swings")).unwrap().map(|entry| entry.unwrap().path());
    files
        .map(|f| (f.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read(&f).unwrap()))
        .collect()
}

#[test]
fn a_lesson_with_straps_goes_on_after_a_kill() {
    let Some(air) = FakeBluez::with(straps()) else { return };
    assign(&air, 3, "ref-strap-v1");
    let home = tempfile::tempdir().unwrap();
    let server = TestServer::with_straps(&air, home.path());
    let session = server.lesson(&server.player("Somebody"));
    let folder = home.path().join("sessions").join(&session);
    wait("all straps are subscribed", 20, || (0..3).all(|i| air.look(i, Peer::streams)));
    let mut events = server.events("/api/v1/events");
    // The straps go on sending, whoever listens: their clocks run through.
    play(&air, &practice(14), Instant::now() + Duration::from_millis(300));
    events.until("swing");
    events.until("swing");
    drop(events);
    drop(server);
    for strap in 0..3 {
        air.drop_link(strap);
    }

    let server = TestServer::with_straps(&air, home.path());
    let left = server.get("/api/v1/state").expect(200)["interrupted"].clone();
    assert_eq!((&left["session"], &left["calibration_holds"]), (&json!(session), &json!(false)));
    assert!(left["calibration"].as_str().unwrap().contains("not calibrated"), "{left}");
    let before = left["swings"].as_u64().unwrap();
    assert!(before >= 2, "{left}");
    let mut events = server.events("/api/v1/events");
    server.post("/api/v1/lesson/continue", &json!({})).expect(200);
    let next = events.until("swing").pop().unwrap().data["swing"].clone();
    assert!(next["number"].as_u64().unwrap() > before, "{next}");
    server.post("/api/v1/lesson/end", &json!({})).expect(200);

    // One gap, and the links told of: gone, and up again.
    let mut log = LogReader::open(&folder.join("samples.log")).unwrap();
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while log.next_batch(&mut batch).unwrap() {
        all.append(&mut batch);
    }
    assert!(log.findings().len() <= 1, "{:?}", log.findings());
    let events_of = |role: Role| {
        let one = |r: &Record| match r {
            Record::Strap(e) if e.role == role => match e.what {
                StrapEventKind::Connected { .. } => Some("up"),
                StrapEventKind::Disconnected { .. } => Some("gone"),
                _ => None,
            },
            _ => None,
        };
        all.iter().filter_map(one).collect::<Vec<_>>()
    };
    for role in Role::ALL {
        assert_eq!(events_of(role), ["up", "gone", "up", "gone"], "{role}");
    }
    // The gap is as long as it was: seconds of starting and asking, not none.
    let session_file = std::fs::read_to_string(folder.join("session.toml")).unwrap();
    let missing: f64 = session_file
        .lines()
        .find_map(|l| l.strip_prefix("missing_ms = "))
        .and_then(|n| n.parse().ok())
        .unwrap_or_else(|| panic!("{session_file}"));
    assert!((100.0..60_000.0).contains(&missing), "{missing} ms");

    let have = swings(&folder);
    let replayed = daemon(["replay".as_ref(), folder.as_os_str()]);
    assert_eq!(replayed.code, Some(0), "{}", replayed.err);
    assert_eq!(swings(&folder), have);
}
