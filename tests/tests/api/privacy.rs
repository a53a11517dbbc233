//! Consent with its dates, and forgetting a player.

use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::path::Path;

fn toml(path: &Path) -> toml::Table {
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

#[test]
fn consent_is_kept_with_its_dates_and_withdrawn() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let about = |consent: bool| json!({ "name": "Ann Sample", "handedness": "right", "consent": consent });
    let added = server.post("/api/v1/players", &about(false)).expect(201);
    assert_eq!(added.get("consents"), None, "nothing was said yet");
    let path = format!("/api/v1/players/{}", added["id"].as_str().unwrap());
    let say = |consent: bool| server.send("PUT", &path, &about(consent)).expect(200);
    let agreed = say(true);
    assert_eq!(agreed["consents"][0]["what"], "recording");
    assert_eq!(agreed["consents"][0]["at_utc"], agreed["consent_utc"]);
    assert_eq!(say(true)["consents"], agreed["consents"], "the same answer again changes nothing");
    let session = server.whole_lesson_of(added["id"].as_str().unwrap());
    let file = toml(&library.path().join("sessions").join(&session).join("session.toml"));
    assert_eq!(
        file["player"]["consent_utc"].as_str(),
        agreed["consent_utc"].as_str(),
        "the session notes it"
    );

    let withdrawn = say(false);
    assert_eq!(withdrawn["consents"][0], agreed["consents"][0], "the earlier answer stays");
    assert_eq!((&withdrawn["consents"][1]["agreed"], withdrawn.get("consent_utc")), (&json!(false), None));
    assert!(server.post("/api/v1/lesson", &json!({ "player": added["id"] })).refused(409).contains("agreed"));
    server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert_eq!(say(true)["consents"].as_array().unwrap().len(), 3);
    assert_eq!(server.get("/api/v1/players").expect(200)[0]["consents"].as_array().unwrap().len(), 3);
}

#[test]
fn a_player_is_forgotten_by_name_and_not_during_the_lesson() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "20");
    let about = json!({ "name": "Zaphyra", "handedness": "right", "consent": true, "goal": "quietly", "limits": "knee" });
    let id = server.post("/api/v1/players", &about).expect(201)["id"].as_str().unwrap().to_owned();
    let other = server.player("Ann Sample");
    let path = format!("/api/v1/players/{id}");
    let forget = |name: &str| server.send("DELETE", &path, &json!({ "name": name }));
    let session = server.lesson(&id);
    assert!(forget("Zaphyra").refused(409).contains("running"));
    server.post("/api/v1/lesson/end", &json!({})).expect(200);
    server.get("/api/v1/sessions").expect(200);

    let kept = server.get(&format!("{path}/kept")).expect(200);
    assert_eq!((&kept["name"], &kept["sessions"][0]["id"]), (&json!("Zaphyra"), &json!(session)));
    assert!(kept["sessions"][0]["bytes"].as_u64().unwrap() > 1000);
    assert!(forget("zaph").refused(409).contains("Zaphyra"));
    server.send("DELETE", &path, &json!({})).refused(422);
    server.send("DELETE", "/api/v1/players/../sessions", &json!({ "name": "x" }));
    server.send("DELETE", "/api/v1/players/none", &json!({ "name": "x" })).refused(404);

    // Somebody else's lesson does not stand in the way.
    server.lesson(&other);
    assert_eq!(forget(" Zaphyra ").expect(200)["sessions"][0]["id"], session);
    forget("Zaphyra").refused(404);
    server.get(&format!("{path}/kept")).refused(404);
    server.get(&format!("/api/v1/sessions/{session}")).refused(404);
    server.post("/api/v1/lesson/end", &json!({})).expect(200);
    for path in ["/api/v1/state", "/api/v1/sessions", "/api/v1/players"] {
        let text = server.get(path).expect(200).to_string();
        assert!(
            !text.contains("Zaphyra") && !text.contains(&session) && !text.contains(&id),
            "{path}: {text}"
        );
    }
    let left: Vec<String> = peakorder_tests::files::contents(library.path())
        .into_iter()
        .filter(|(name, bytes)| {
            [id.as_str(), session.as_str(), "Zaphyra", "quietly"]
                .iter()
                .any(|w| name.contains(w) || bytes.windows(w.len()).any(|b| b == w.as_bytes()))
        })
        .map(|(name, _)| name)
        .collect();
    assert_eq!(left, Vec::<String>::new());
    let players: Value = server.get("/api/v1/players").expect(200);
    assert_eq!(players.as_array().unwrap().len(), 1);
}

#[test]
fn a_viewer_neither_forgets_nor_looks_what_is_kept_and_is_told_no_typed_word() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::start(library.path(), &["--listen", "0.0.0.0:0", "--virtual", "--speed", "60"]);
    let (coach, viewer) = server.links();
    let cookie = |token: &str| {
        let paired = server.get(&format!("/pair/{token}"));
        paired.header("set-cookie").unwrap().split(';').next().unwrap().to_owned()
    };
    let (coachs, viewers) = (cookie(&coach), cookie(&viewer));
    let about = json!({ "name": "Zaphyra", "handedness": "right", "consent": true });
    let player = server.send_as("POST", "/api/v1/players", &about, &coachs).expect(201);
    let path = format!("/api/v1/players/{}", player["id"].as_str().unwrap());
    server.get_as(&format!("{path}/kept"), &viewers).refused(403);
    server.send_as("DELETE", &path, &json!({ "name": "Zaphyra" }), &viewers).refused(403);
    let started =
        server.send_as("POST", "/api/v1/lesson", &json!({ "player": player["id"] }), &coachs).expect(201);
    let session = started["session"].as_str().unwrap();
    let swings = || {
        server.get_as("/api/v1/state", &coachs).expect(200)["lesson"]["swings"].as_array().map_or(0, Vec::len)
    };
    let start = std::time::Instant::now();
    while swings() < 1 && start.elapsed() < peakorder_tests::test_server::PATIENCE {
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    let outcome = json!({ "what": "outcome", "swing": 1, "labels": ["thin", "like Zaphyra"] });
    server.send_as("POST", &format!("/api/v1/sessions/{session}/remarks"), &outcome, &coachs).expect(201);
    let state = server.get_as("/api/v1/state", &viewers).expect(200);
    assert_eq!(state["lesson"]["remarks"]["swings"]["1"]["labels"], json!(["thin"]));
    assert!(!state.to_string().contains("Zaphyra"));
}
