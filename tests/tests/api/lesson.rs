//! The invented lesson through the API, from the first player to the comparison.

use peakorder_tests::served::Served;
use serde_json::{Value, json};
use std::collections::BTreeMap;

#[test]
fn a_whole_lesson_is_told_shown_and_kept() {
    let library = tempfile::tempdir().unwrap();
    let served = Served::virtual_lessons(library.path(), "max");
    let state = served.get("/api/v1/state").expect(200);
    assert_eq!(
        (&state["lesson"], &state["device"], &state["virtual"]),
        (&Value::Null, &json!("coach"), &json!(true))
    );

    let mut events = served.events("/api/v1/events");
    let hello = events.next().unwrap();
    assert_eq!((hello.name.as_str(), &hello.data["boot"]), ("hello", &state["boot"]));
    let session = served.lesson(&served.player("Somebody"));
    let told = events.until("session_ended");
    let mut count: BTreeMap<&str, usize> = BTreeMap::new();
    for event in &told {
        *count.entry(event.name.as_str()).or_default() += 1;
    }
    // Three straps standing still, two in the bow, one in the arm raise.
    assert_eq!(
        (count["swing"], count["calibration"], count["block"], count["mobility"]),
        (26, 6, 3, 2),
        "{count:?}"
    );
    // Five movements begin and end: still, bow, arm raise, turns seated and standing.
    assert_eq!(count["doing"], 10);
    let numbers: Vec<u64> = told.iter().filter_map(|e| e.id).collect();
    assert!(numbers.is_sorted() && numbers[0] > hello.data["seq"].as_u64().unwrap(), "{numbers:?}");
    assert!(!count.contains_key("lagged"));

    let shown = served.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert_eq!(
        (&shown["invented"], &shown["source"], &shown["calibrated"]),
        (&json!(true), &json!("virtual"), &json!(true))
    );
    assert_eq!(shown["player"]["name"], "Somebody");
    let blocks: Vec<(&str, u64)> = shown["blocks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|b| (b["label"].as_str().unwrap(), b["first_swing"].as_u64().unwrap()))
        .collect();
    assert_eq!(blocks, [("baseline", 1), ("pivot drill", 11), ("after", 19)]);
    let swings: Vec<&Value> = told.iter().filter(|e| e.name == "swing").map(|e| &e.data["swing"]).collect();
    assert_eq!(shown["swings"].as_array().unwrap().iter().collect::<Vec<_>>(), swings, "told and kept alike");
    assert_eq!(shown["mobility"].as_array().unwrap().len(), 2);
    assert_eq!(shown["calibration"].as_array().unwrap().len(), 6);

    let rows = served.get("/api/v1/sessions?player=Somebody").expect(200);
    assert_eq!(
        (&rows[0]["id"], &rows[0]["swings"], &rows[0]["running"]),
        (&json!(session), &json!(26), &json!(false))
    );
    assert_eq!(served.get("/api/v1/sessions?player=Nobody").expect(200), json!([]));
}

#[test]
fn curves_agree_with_the_swing_they_belong_to() {
    let library = tempfile::tempdir().unwrap();
    let served = Served::virtual_lessons(library.path(), "max");
    let session = served.whole_lesson("Somebody");
    let swing = &served.get(&format!("/api/v1/sessions/{session}")).expect(200)["swings"][0];
    let curves = served.get(&format!("/api/v1/sessions/{session}/swings/1/curves")).expect(200);
    let number = |v: &Value| v.as_f64().unwrap();
    let (start, step) = (number(&curves["start_s"]), number(&curves["step_s"]));
    for segment in curves["segments"].as_array().unwrap() {
        let role = segment["role"].as_str().unwrap();
        let length = segment["speed_dps"].as_array().unwrap().len();
        for series in ["turn_deg", "lateral_deg", "flexion_deg", "orientation_wxyz"] {
            assert_eq!(segment[series].as_array().unwrap().len(), length, "{role} {series}");
        }
        let measured = &swing["segments"][role];
        for (instant, key) in [("top", "top"), ("impact", "impact")] {
            let at = ((number(&swing["events"][instant]["t_s"]) - start) / step).round() as usize;
            for (series, angle) in [
                ("turn_deg", "turn_deg"),
                ("lateral_deg", "lateral_tilt_deg"),
                ("flexion_deg", "flexion_deg"),
            ] {
                let (curve, value) = (number(&segment[series][at]), number(&measured[angle][key]));
                // Half a step of 5 ms at the speed of the segment lies between the two.
                let slack = 0.5 + 0.003 * number(&segment["speed_dps"][at]).abs();
                assert!((curve - value).abs() < slack, "{role} {series} at {instant}: {curve} and {value}");
            }
        }
    }
    served.get(&format!("/api/v1/sessions/{session}/swings/99/curves")).refused(404);
}

#[test]
fn before_and_after_are_compared_by_the_code_of_the_terminal() {
    let library = tempfile::tempdir().unwrap();
    let served = Served::virtual_lessons(library.path(), "max");
    let session = served.whole_lesson("Somebody");
    let folder = library.path().join("sessions").join(&session);
    let mut told = served.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:after")).expect(200);
    let side = |block: &str| format!("{}:{block}", folder.display());
    let said =
        peakorder_tests::programs::analysis(["compare", &side("baseline"), &side("after"), "--json"]).done();
    let said: Value = serde_json::from_str(&said.out).unwrap();
    // Only the way the sides are named may differ.
    for end in ["before", "after"] {
        told[end]["name"] = said[end]["name"].clone();
    }
    assert_eq!(told, said);
    served.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:nothing")).refused(404);
    served.get(&format!("/api/v1/compare?a={session}:baseline")).refused(400);
}

#[test]
fn marks_of_the_coach_are_recorded_on_the_session_clock() {
    let library = tempfile::tempdir().unwrap();
    let served = Served::virtual_lessons(library.path(), "20");
    served.post("/api/v1/lesson/mark", &json!({ "mark": "note", "detail": "x" })).refused(409);
    let mut events = served.events("/api/v1/events");
    let session = served.lesson(&served.player("Somebody"));
    served.post("/api/v1/lesson", &json!({ "player": "x" })).refused(404);
    events.until("straps");
    let marked =
        served.post("/api/v1/lesson/mark", &json!({ "mark": "block", "detail": "my own" })).expect(200);
    let told = events.until("block").pop().unwrap();
    assert_eq!((&told.data["label"], &told.data["t_s"]), (&json!("my own"), &marked["t_s"]));
    served.post("/api/v1/lesson/mark", &json!({ "mark": "bow-start" })).expect(200);
    let doing = events.until("doing").pop().unwrap();
    assert_eq!(doing.data["what"], "bow");
    let state = served.get("/api/v1/state").expect(200);
    assert_eq!(state["lesson"]["block"], "my own");
    assert_eq!(state["lesson"]["straps"].as_array().unwrap().len(), 3);
    for (mark, detail, status) in
        [("block", "", 422), ("block", "two\nlines", 422), ("turn-start", "lying", 422), ("jump", "", 422)]
    {
        served.post("/api/v1/lesson/mark", &json!({ "mark": mark, "detail": detail })).refused(status);
    }
    assert_eq!(served.post("/api/v1/lesson/end", &json!({})).expect(200)["session"], session.as_str());
    assert_eq!(served.get("/api/v1/state").expect(200)["lesson"], Value::Null);
    served.post("/api/v1/lesson/end", &json!({})).refused(409);
    let kept = served.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert!(kept["blocks"].as_array().unwrap().iter().any(|b| b["label"] == "my own"), "{}", kept["blocks"]);
}

#[test]
fn players_are_kept_and_nobody_is_recorded_without_consent() {
    let library = tempfile::tempdir().unwrap();
    let served = Served::virtual_lessons(library.path(), "1");
    let about = |name: &str, consent: bool| json!({ "name": name, "handedness": "left", "goal": "g", "limits": "l", "consent": consent });
    let added = served.post("/api/v1/players", &about("  Ann ", false)).expect(201);
    assert_eq!((&added["name"], &added["consent_utc"]), (&json!("Ann"), &Value::Null));
    let id = added["id"].as_str().unwrap();
    served.post("/api/v1/players", &about("ann", true)).refused(422);
    served.post("/api/v1/players", &about(" ", true)).refused(422);
    served.post("/api/v1/players", &about(&"x".repeat(81), true)).refused(422);
    served.post("/api/v1/players", &json!({ "name": "Bo", "handedness": "both" })).refused(422);
    assert!(served.post("/api/v1/lesson", &json!({ "player": id })).refused(409).contains("agreed"));
    assert!(
        std::fs::read_dir(library.path().join("sessions")).unwrap().next().is_none(),
        "nothing was recorded"
    );
    let changed = served.send("PUT", &format!("/api/v1/players/{id}"), &about("Ann", true)).expect(200);
    assert!(changed["consent_utc"].is_string());
    served.send("PUT", "/api/v1/players/none", &about("C", true)).refused(404);
    let session = served.lesson(id);
    let state = served.get("/api/v1/state").expect(200);
    assert_eq!(
        state["lesson"]["player"],
        json!({ "id": id, "name": "Ann", "handedness": "left", "goal": "g", "limits": "l" })
    );
    assert_eq!(state["lesson"]["session"], session.as_str());
    served.post("/api/v1/lesson", &json!({ "player": id })).refused(409);
}

#[test]
fn measures_and_the_description_of_the_api_are_there() {
    let library = tempfile::tempdir().unwrap();
    let served = Served::virtual_lessons(library.path(), "1");
    let measures = served.get("/api/v1/measures").expect(200);
    assert!(
        measures.as_array().unwrap().iter().any(|m| m["key"] == "pelvis_turn_top_deg" && m["unit"] == "°")
    );
    let description = served.get("/api/v1/openapi.json").expect(200);
    assert!(description["openapi"].as_str().unwrap().starts_with("3."), "{}", description["openapi"]);
    let paths = description["paths"].as_object().unwrap();
    for path in
        ["/api/v1/state", "/api/v1/events", "/api/v1/players/{id}", "/api/v1/sessions/{id}/swings/{n}/curves"]
    {
        assert!(paths.contains_key(path), "{path} is not described");
    }
    // Every reference leads somewhere.
    let text = description.to_string();
    for reference in text.split("\"$ref\":\"#").skip(1) {
        let pointer = reference.split('"').next().unwrap();
        assert!(description.pointer(pointer).is_some(), "{pointer}");
    }
}
