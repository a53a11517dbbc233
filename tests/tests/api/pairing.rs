//! Beyond the loopback address a device must be paired.

use peakorder_tests::test_server::{Answer, TestServer};
use serde_json::json;
use std::path::Path;

fn server(library: &Path, more: &[&str]) -> TestServer {
    let arguments = [&["--listen", "0.0.0.0:0", "--virtual"], more].concat();
    TestServer::start(library, &arguments)
}

fn cookie(answer: &Answer) -> String {
    let set = answer.header("set-cookie").expect("a cookie");
    for part in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age="] {
        assert!(set.contains(part), "{set}");
    }
    set.split(';').next().unwrap().to_owned()
}

const PLAYER: fn() -> serde_json::Value = || json!({ "name": "X", "handedness": "right", "consent": true });

#[test]
fn the_coachs_link_works_once_and_the_viewers_may_only_look() {
    let library = tempfile::tempdir().unwrap();
    let server = server(library.path(), &[]);
    let (coach, viewer) = server.links();
    assert_eq!((coach.len(), viewer.len()), (32, 32), "128 bits");
    assert!(server.greeting.contains('█'), "a code to scan");

    let refused = server.get("/api/v1/state");
    assert!(refused.refused(401).contains("link"));
    assert_eq!(refused.json()["passcode"], false);
    server.get("/api/v1/events").refused(401);
    server.post("/api/v1/players", &PLAYER()).refused(401);
    assert_eq!(server.get("/").status, 200, "the page itself tells nothing");

    let head = format!("HEAD /pair/{coach} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", server.at);
    assert_eq!(server.raw(&head), 405, "a look ahead does not use the link up");
    let paired = server.get(&format!("/pair/{coach}"));
    assert_eq!((paired.status, paired.header("location")), (303, Some("/")));
    let coachs = cookie(&paired);
    server.get(&format!("/pair/{coach}")).refused(403);
    assert_eq!(server.get_as("/api/v1/state", &coachs).expect(200)["device"], "coach");
    server.send_as("POST", "/api/v1/players", &PLAYER(), &coachs).expect(201);

    let viewers = cookie(&server.get(&format!("/pair/{viewer}")));
    let again = cookie(&server.get(&format!("/pair/{viewer}")));
    assert_ne!(viewers, again, "several viewers");
    assert_eq!(server.get_as("/api/v1/state", &viewers).expect(200)["device"], "viewer");
    for (method, path) in [
        ("POST", "/api/v1/players"),
        ("PUT", "/api/v1/players/x"),
        ("POST", "/api/v1/lesson"),
        ("POST", "/api/v1/lesson/end"),
        ("POST", "/api/v1/lesson/mark"),
        ("PUT", "/api/v1/lesson/target"),
        ("DELETE", "/api/v1/lesson/target"),
        ("POST", "/api/v1/sessions/x/remarks"),
        ("POST", "/api/v1/sessions/x/undo"),
    ] {
        server.send_as(method, path, &PLAYER(), &viewers).refused(403);
    }
    for wrong in
        ["peakorder=", "peakorder=00000000000000000000000000000000", "other=x", &coachs[..coachs.len() - 1]]
    {
        server.get_as("/api/v1/state", wrong).refused(401);
    }
    server.get("/pair/00000000000000000000000000000000").refused(403);
}

#[test]
fn a_viewer_sees_the_running_lessons_numbers_and_names_when_the_coach_says_so() {
    let library = tempfile::tempdir().unwrap();
    let server = server(library.path(), &["--speed", "60"]);
    let (coach, viewer) = server.links();
    let coachs = cookie(&server.get(&format!("/pair/{coach}")));
    let viewers = cookie(&server.get(&format!("/pair/{viewer}")));
    let about = json!({ "name": "Zaphyra", "handedness": "right", "consent": true,
        "goal": "turn quietly", "limits": "knee with 2 operations" });
    let player = server.send_as("POST", "/api/v1/players", &about, &coachs).expect(201)["id"].clone();
    let lesson = |what: &str| {
        let body = if what.is_empty() { json!({ "player": player }) } else { json!({}) };
        server.send_as("POST", &format!("/api/v1/lesson{what}"), &body, &coachs)
    };
    let earlier = lesson("").expect(201)["session"].as_str().unwrap().to_owned();
    lesson("/end");
    let running = lesson("").expect(201)["session"].as_str().unwrap().to_owned();
    let note = json!({ "what": "note", "text": "spares the knee" });
    server.send_as("POST", &format!("/api/v1/sessions/{running}/remarks"), &note, &coachs).expect(201);

    let secret = ["Zaphyra", "quietly", "operations", "spares"];
    let paths = ["/api/v1/state".into(), "/api/v1/sessions".into(), format!("/api/v1/sessions/{running}")];
    for path in &paths {
        let text = server.get_as(path, &viewers).expect(200).to_string();
        assert!(text.contains(&running), "{path} has the running lesson");
        for word in secret {
            assert!(!text.contains(word), "{path} tells a viewer “{word}”");
        }
        assert!(!text.contains(&earlier), "{path} tells of an earlier lesson");
    }
    for path in [
        "/api/v1/players".to_owned(),
        format!("/api/v1/sessions/{earlier}"),
        format!("/api/v1/sessions/{earlier}/play"),
        format!("/api/v1/sessions/{earlier}/report"),
        format!("/api/v1/sessions/{running}/report"),
        format!("/api/v1/compare?a={running}:baseline&b={earlier}:baseline"),
    ] {
        server.get_as(&path, &viewers).refused(403);
    }

    server.send_as("PUT", "/api/v1/viewers", &json!({ "names": true }), &viewers).refused(403);
    let see = server.send_as("PUT", "/api/v1/viewers", &json!({ "names": true }), &coachs).expect(200);
    assert_eq!(see, json!({ "names": true }));
    let text = server.get_as("/api/v1/state", &viewers).expect(200).to_string();
    assert!(secret.iter().all(|word| text.contains(word)), "{text}");
    server.get_as(&format!("/api/v1/sessions/{earlier}"), &viewers).refused(403);
}

#[test]
fn who_is_paired_stays_paired_over_a_restart_until_forgotten() {
    let library = tempfile::tempdir().unwrap();
    let first = server(library.path(), &[]);
    let (coach, viewer) = first.links();
    let coachs = cookie(&first.get(&format!("/pair/{coach}")));
    let viewers = cookie(&first.get(&format!("/pair/{viewer}")));
    assert!(first.end());

    let second = server(library.path(), &[]);
    assert_eq!(second.get_as("/api/v1/state", &coachs).expect(200)["device"], "coach");
    assert_eq!(second.get_as("/api/v1/state", &viewers).expect(200)["device"], "viewer");
    second.send_as("POST", "/api/v1/players", &PLAYER(), &viewers).refused(403);
    second.send_as("POST", "/api/v1/players", &PLAYER(), &coachs).expect(201);
    second.get(&format!("/pair/{coach}")).refused(403);
    second.get(&format!("/pair/{viewer}")).refused(403);
    // The file opens no door by itself.
    let file = std::fs::read_to_string(library.path().join("devices.toml")).unwrap();
    for token in [&coachs, &viewers] {
        assert!(!file.contains(token.strip_prefix("peakorder=").unwrap()));
    }
    for hash in file.split('"').filter(|t| t.len() == 64) {
        second.get_as("/api/v1/state", &format!("peakorder={hash}")).refused(401);
    }
    #[cfg(unix)]
    for (path, mode) in peakorder_tests::test_server::modes(library.path()) {
        assert!(path.is_dir() || mode == 0o600, "{}: {mode:o}", path.display());
    }
    assert!(second.end());

    let third = server(library.path(), &["--forget-devices"]);
    third.get_as("/api/v1/state", &coachs).refused(401);
    third.get_as("/api/v1/state", &viewers).refused(401);
}

#[test]
fn a_passcode_lets_the_coach_in_and_cannot_be_guessed() {
    let library = tempfile::tempdir().unwrap();
    let file = library.path().join("passcode");
    std::fs::write(&file, "correct horse\n").unwrap();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600)).unwrap();
    }
    let server = server(library.path(), &["--passcode-file", file.to_str().unwrap()]);
    assert_eq!(server.get("/api/v1/state").json()["passcode"], true);
    let try_it = |passcode: &str| server.post("/api/v1/pair", &json!({ "passcode": passcode }));
    let coachs = cookie(&try_it("correct horse"));
    assert_eq!(server.get_as("/api/v1/state", &coachs).expect(200)["device"], "coach");
    for wrong in ["", "correct horse ", "Correct horse", "correct"] {
        try_it(wrong).refused(403);
    }
    let stopped = try_it("wrong");
    stopped.refused(429);
    assert!(stopped.header("retry-after").unwrap().parse::<u64>().unwrap() > 30);
    try_it("correct horse").refused(429);
    assert_eq!(server.get_as("/api/v1/state", &coachs).status, 200, "who is in stays in");
}

#[test]
#[cfg(unix)]
fn a_passcode_that_others_can_read_or_guess_is_refused() {
    use std::os::unix::fs::PermissionsExt as _;
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("passcode");
    let start = |listen: &str| {
        let library = dir.path().join("library");
        let arguments = ["serve", "--virtual", "--listen", listen, "--library", library.to_str().unwrap()];
        peakorder_tests::programs::daemon(
            arguments.iter().copied().chain(["--passcode-file", file.to_str().unwrap()]),
        )
        .failed()
    };
    std::fs::write(&file, "correct horse\n").unwrap();
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o644)).unwrap();
    assert!(start("0.0.0.0:0").contains("chmod 600"));
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600)).unwrap();
    assert!(start("127.0.0.1:0").contains("--listen"));
    std::fs::write(&file, "1234\n").unwrap();
    assert!(start("0.0.0.0:0").contains('8'));
}
