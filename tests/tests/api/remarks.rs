//! What the coach says of swings: kept, taken back, and felt in the summaries.

use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

fn lesson() -> (tempfile::TempDir, TestServer, String) {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let session = server.whole_lesson("Somebody");
    (library, server, session)
}

#[test]
fn remarks_of_a_past_lesson_are_kept_and_taken_back() {
    let (library, server, session) = lesson();
    let at = |tail: &str| format!("/api/v1/sessions/{session}{tail}");
    let say = |what: Value| server.post(&at("/remarks"), &what);
    say(json!({ "what": "outcome", "swing": 3, "labels": ["left", "low"] })).expect(201);
    say(json!({ "what": "note", "text": "tired today" })).expect(201);
    let last =
        say(json!({ "what": "exclude", "swing": 2, "excluded": true, "reason": "phone rang" })).expect(201);
    let shown = server.get(&at("")).expect(200);
    let remarks = &shown["remarks"];
    assert_eq!(remarks["swings"]["3"]["labels"], json!(["left", "low"]));
    assert_eq!(remarks["swings"]["2"]["excluded"], true);
    assert_eq!(remarks["notes"][0]["text"], "tired today");
    assert_eq!(remarks["last"]["id"], last["id"]);
    // Left out of the summaries, but still a swing of the lesson.
    assert_eq!(shown["swings"].as_array().unwrap().len(), 26);
    let compared = server.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:after")).expect(200);
    assert!(
        !compared["before"]["summary"]["used"].as_array().unwrap().contains(&json!(2)),
        "{}",
        compared["before"]
    );
    server.post(&at("/undo"), &json!({})).expect(200);
    assert_eq!(server.get(&at("")).expect(200)["remarks"]["swings"]["2"], Value::Null);
    for wrong in [
        json!({ "what": "outcome", "swing": 0, "labels": [] }),
        json!({ "what": "shout" }),
        json!({ "what": "note", "text": "x".repeat(5000) }),
        json!({ "what": "target", "target": null }),
    ] {
        say(wrong).refused(422);
    }
    server.post("/api/v1/sessions/none/remarks", &json!({ "what": "note", "text": "x" })).refused(404);
    server.post("/api/v1/sessions/none/undo", &json!({})).refused(404);
    let file = library.path().join("sessions").join(&session).join("remarks.jsonl");
    assert_eq!(std::fs::read_to_string(file).unwrap().lines().count(), 4, "nothing is ever removed");
    server.post(&at("/undo"), &json!({})).expect(200);
    server.post(&at("/undo"), &json!({})).expect(200);
    server.post(&at("/undo"), &json!({})).refused(409);
}

/// Baseline swings that the last swing's turn of the pelvis is set against.
fn baseline_of_last(server: &TestServer, session: &str) -> u64 {
    let shown = server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    let rows = shown["against"]["26"].as_array().expect("rows").clone();
    let row = rows.iter().find(|r| r["measure"] == "pelvis_turn_top_deg").expect("a row").clone();
    row["n"].as_u64().expect("a number")
}

#[test]
fn a_word_on_the_ball_decides_what_counts() {
    let (_library, server, session) = lesson();
    let at = |tail: &str| format!("/api/v1/sessions/{session}{tail}");
    let say = |what: Value| server.post(&at("/remarks"), &what);
    let remarks = || server.get(&at("")).expect(200)["remarks"].clone();
    let swings = server.get(&at("")).expect(200)["swings"].as_array().expect("swings").clone();
    let rehearsals: Vec<u64> = swings
        .iter()
        .filter(|s| s["kind"] == "rehearsal" && s["block"] == "baseline")
        .map(|s| s["number"].as_u64().expect("a number"))
        .collect();
    assert_eq!(rehearsals, [9, 10]);
    let plain = baseline_of_last(&server, &session);
    assert_eq!(plain, 8);

    // One swing.
    say(json!({ "what": "ball", "swing": 9, "struck": true })).expect(201);
    assert_eq!(remarks()["swings"]["9"]["struck"], true);
    assert_eq!(baseline_of_last(&server, &session), plain + 1);
    say(json!({ "what": "ball", "swing": 3, "struck": false })).expect(201);
    assert_eq!(baseline_of_last(&server, &session), plain);
    assert!(remarks()["last"]["words"].as_str().expect("words").contains("swing 3"));
    server.post(&at("/undo"), &json!({})).expect(200);
    say(json!({ "what": "ball", "swing": 9 })).expect(201);
    assert_eq!(baseline_of_last(&server, &session), plain);
    assert_eq!(remarks()["swings"]["9"], Value::Null, "nothing is said of it any more");

    // A block: only the two rehearsals count, then what was struck again.
    let block = |every_swing: bool, without_ball: bool| json!({ "what": "balls", "block": "baseline", "every_swing": every_swing, "without_ball": without_ball });
    say(block(false, true)).expect(201);
    assert_eq!(remarks()["without_ball"], json!(["baseline"]));
    assert_eq!(baseline_of_last(&server, &session), 2);
    say(json!({ "what": "balls", "block": "baseline", "every_swing": true })).expect(201);
    assert_eq!((&remarks()["balls"], &remarks()["without_ball"]), (&json!(["baseline"]), &json!([])));
    assert_eq!(baseline_of_last(&server, &session), plain, "a rehearsal that was heard to be one stays one");
    server.post(&at("/undo"), &json!({})).expect(200);
    assert_eq!(baseline_of_last(&server, &session), 2);
    say(block(false, false)).expect(201);
    assert_eq!(baseline_of_last(&server, &session), plain);
    for wrong in [
        block(true, true),
        json!({ "what": "ball", "swing": 0, "struck": true }),
        json!({ "what": "ball", "struck": true }),
        json!({ "what": "ball", "swing": 3, "struck": "yes" }),
    ] {
        say(wrong).refused(422);
    }
}

#[test]
fn a_drill_target_is_answered_swing_by_swing() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "20");
    server
        .send("PUT", "/api/v1/lesson/target", &json!({ "measure": "pelvis_turn_top_deg", "value": 40 }))
        .refused(409);
    let mut events = server.events("/api/v1/events");
    let session = server.lesson(&server.player("Somebody"));
    let ask = |body: Value| server.send("PUT", "/api/v1/lesson/target", &body);
    ask(json!({ "measure": "height", "value": 1 })).refused(422);
    ask(json!({ "measure": "pelvis_turn_top_deg" })).refused(422);
    ask(json!({ "measure": "pelvis_turn_top_deg", "change": 8 })).refused(409);
    // The second block begins: there is a baseline now.
    events.until("block");
    events.until("block");
    let set =
        ask(json!({ "measure": "pelvis_turn_top_deg", "change": 4, "block": "pivot drill" })).expect(200);
    assert!(set["target"]["value"].as_f64().unwrap() < 0.0, "back is negative: {set}");
    assert_eq!(set["target"]["bound"], "at_most");
    let told = events.until("remarks").pop().unwrap();
    assert_eq!(told.data["target"], set["target"]);
    let mut answered = 0;
    let rest = events.until("session_ended");
    for (i, swing) in rest.iter().enumerate().filter(|(_, e)| e.name == "swing") {
        // Other events, such as the straps' status once a second, may come between.
        let number = &swing.data["swing"]["number"];
        let extra = rest[i..]
            .iter()
            .find(|e| e.name == "swing_extra" && e.data["number"] == *number)
            .unwrap_or_else(|| panic!("swing {number} is not answered"));
        // Told of the newest swing only, and of a drill's not at all: it is not held against full swings.
        let against = extra.data["against"].as_array().map(Vec::is_empty);
        assert_ne!(against, Some(swing.data["swing"]["block"] != "pivot drill"), "{extra:?}");
        if swing.data["swing"]["block"] == "pivot drill" {
            let (turn, bound) = (
                swing.data["swing"]["segments"]["pelvis"]["turn_deg"]["top"].as_f64().unwrap(),
                set["target"]["value"].as_f64().unwrap(),
            );
            assert_eq!(
                extra.data["answer"]["answer"] == "met",
                turn <= bound,
                "{turn} {bound} {}",
                extra.data["answer"]
            );
            answered += 1;
        } else {
            assert_eq!(extra.data["answer"], Value::Null, "only the drill's block answers");
        }
    }
    assert_eq!(answered, 8);
    let kept = server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert_eq!(kept["answers"].as_object().unwrap().len(), 8);
    // Of the newest swing it comes with the lesson, of others it is asked for.
    assert_eq!(kept["against"].as_object().unwrap().keys().collect::<Vec<_>>(), ["26"]);
    let against = |n: u32| server.get(&format!("/api/v1/sessions/{session}/swings/{n}/against"));
    assert_eq!(against(26).expect(200), kept["against"]["26"]);
    let first = against(1).expect(200);
    assert!(first.as_array().unwrap().iter().any(|r| r["measure"] == "pelvis_turn_top_deg" && r["n"] == 7));
    assert_eq!(against(12).expect(200), json!([]), "a drill's swing");
    against(27).refused(404);
    // What is usual, and each swing's value of what the lesson is about.
    let usual = kept["usual"].as_array().unwrap();
    let turn = usual.iter().find(|u| u["measure"] == "pelvis_turn_top_deg").expect("usual");
    assert_eq!(turn["n"], 8);
    assert!(turn["words"].as_str().unwrap().ends_with("° back"), "{turn}");
    for swing in kept["swings"].as_array().unwrap() {
        let about = &kept["about"][swing["number"].to_string()][0];
        assert_eq!(about["measure"], "pelvis_turn_top_deg");
        assert_eq!(about["value"], swing["segments"]["pelvis"]["turn_deg"]["top"]);
    }
}

#[test]
fn the_report_is_one_page_that_loads_nothing() {
    let (_library, server, session) = lesson();
    let said = "<script>alert(1)</script>";
    server
        .post(&format!("/api/v1/sessions/{session}/remarks"), &json!({ "what": "note", "text": said }))
        .expect(201);
    let page = server.get(&format!("/api/v1/sessions/{session}/report?before=baseline&after=after"));
    assert_eq!(page.status, 200);
    assert!(page.header("content-type").unwrap().starts_with("text/html"));
    assert!(page.header("content-security-policy").unwrap().starts_with("default-src 'none'"));
    assert!(page.text.contains("Somebody") && !page.text.contains(said));
    server.get(&format!("/api/v1/sessions/{session}/report?after=nothing")).refused(404);
    server.get("/api/v1/sessions/none/report").refused(404);
}

/// What a lesson is about is chosen, kept, and gets the verdicts; an unknown number, a sixth or none above 0 is refused.
#[test]
fn what_the_lesson_is_about_gets_the_verdicts() {
    let (_library, server, session) = lesson();
    let at = |tail: &str| format!("/api/v1/sessions/{session}{tail}");
    let say =
        |measures: Value| server.post(&at("/remarks"), &json!({ "what": "chosen", "measures": measures }));
    let compared = |more: &str| {
        server.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:after{more}")).expect(200)
    };
    let chosen = |c: &Value| -> Vec<String> {
        let rows = c["measures"].as_array().unwrap().iter().filter(|r| r["chosen"] == true);
        rows.map(|r| r["key"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(compared("")["family"], 39);
    say(json!([{ "measure": "pelvis_turn_top_deg", "matters": 3 }, { "measure": "gap_pelvis_thorax_ms" }]))
        .expect(201);
    let remarks = server.get(&at("")).expect(200)["remarks"].clone();
    assert_eq!(remarks["chosen"]["measures"][0], json!({ "measure": "pelvis_turn_top_deg", "matters": 3.0 }));
    let c = compared("");
    assert_eq!(chosen(&c), ["pelvis_turn_top_deg", "gap_pelvis_thorax_ms"]);
    assert_eq!(c["measures"][0]["matters"], 3.0);
    assert!(
        c["measures"].as_array().unwrap().iter().all(|r| r["chosen"] == true || r["verdict"] != "changed")
    );
    assert_eq!(chosen(&compared("&about=thorax_turn_top_deg%3D2")), ["thorax_turn_top_deg"]);
    for wrong in [
        json!([{ "measure": "hips" }]),
        json!([{ "measure": "tempo_ratio", "matters": 0 }]),
        json!(
            [
                "backswing_ms",
                "downswing_ms",
                "tempo_ratio",
                "separation_top_deg",
                "separation_max_deg",
                "separation_stretch_deg"
            ]
            .map(|m| json!({ "measure": m }))
        ),
    ] {
        say(wrong).refused(422);
    }
    server.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:after&about=hips")).refused(422);
    say(json!([])).expect(201);
    assert_eq!(compared("")["family"], 39);
    // A second lesson, be it of another player: more sessions may belong to before.
    let other = server.whole_lesson("Somebody Else");
    let found = server
        .get(&format!("/api/v1/compare?a={session}:baseline&b={other}:baseline&also={session}"))
        .expect(200);
    assert_eq!(found["also_before"][0]["name"], format!("{session}:baseline"));
    assert!(found["design"].is_null() && found["measures"][0]["worn_anew_sd"].is_number());
    server.get(&format!("/api/v1/compare?a={session}:baseline&b={other}:baseline&also=none")).refused(404);
    let designs = server.get("/api/v1/designs").expect(200);
    assert!(
        designs
            .as_array()
            .unwrap()
            .iter()
            .any(|d| d["blocks"] == json!([4, 4, 4, 4, 4]) && d["swings"] == 20)
    );
}
