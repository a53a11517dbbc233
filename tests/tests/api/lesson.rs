//! The invented lesson through the API, from the first player to the comparison.

use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::collections::BTreeMap;

#[test]
fn a_whole_lesson_is_told_shown_and_kept() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let state = server.get("/api/v1/state").expect(200);
    assert_eq!(
        (&state["lesson"], &state["device"], &state["virtual"]),
        (&Value::Null, &json!("coach"), &json!(true))
    );

    let mut events = server.events("/api/v1/events");
    let hello = events.next().unwrap();
    assert_eq!((hello.name.as_str(), &hello.data["boot"]), ("hello", &state["boot"]));
    let session = server.lesson(&server.player("Somebody"));
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

    let shown = server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert_eq!(
        (&shown["invented"], &shown["source"], &shown["calibrated"]),
        (&json!(true), &json!("virtual"), &json!(true))
    );
    assert_eq!(shown["player"]["name"], "Somebody");
    let blocks: Vec<&str> =
        shown["blocks"].as_array().unwrap().iter().map(|b| b["label"].as_str().unwrap()).collect();
    assert_eq!(blocks, ["baseline", "pivot drill", "after"]);
    let swings: Vec<&Value> = told.iter().filter(|e| e.name == "swing").map(|e| &e.data["swing"]).collect();
    assert_eq!(shown["swings"].as_array().unwrap().iter().collect::<Vec<_>>(), swings, "told and kept alike");
    assert_eq!(shown["mobility"].as_array().unwrap().len(), 2);
    assert_eq!(shown["calibration"].as_array().unwrap().len(), 6);

    let rows = server.get("/api/v1/sessions?player=Somebody").expect(200);
    assert_eq!(
        (&rows[0]["id"], &rows[0]["swings"], &rows[0]["running"]),
        (&json!(session), &json!(26), &json!(false))
    );
    assert_eq!(server.get("/api/v1/sessions?player=Nobody").expect(200), json!([]));
}

#[test]
fn curves_agree_with_the_swing_they_belong_to() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let session = server.whole_lesson("Somebody");
    let swing = &server.get(&format!("/api/v1/sessions/{session}")).expect(200)["swings"][0];
    let curves = server.get(&format!("/api/v1/sessions/{session}/swings/1/curves")).expect(200);
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
    server.get(&format!("/api/v1/sessions/{session}/swings/99/curves")).refused(404);
}

#[test]
fn before_and_after_are_compared_by_the_code_of_the_terminal() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let session = server.whole_lesson("Somebody");
    let folder = library.path().join("sessions").join(&session);
    let mut told = server.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:after")).expect(200);
    let side = |block: &str| format!("{}:{block}", folder.display());
    let said =
        peakorder_tests::programs::analysis(["compare", &side("baseline"), &side("after"), "--json"]).done();
    let said: Value = serde_json::from_str(&said.out).unwrap();
    // Only the way the sides are named may differ.
    for end in ["before", "after"] {
        told[end]["name"] = said[end]["name"].clone();
    }
    assert_eq!(told, said);
    server.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:nothing")).refused(404);
    // Curves only where they are asked for, and then those of the terminal.
    assert_eq!(told["curves"], Value::Null);
    let sides = format!("/api/v1/compare?a={session}:baseline&b={session}:after");
    let with = |word: &str| server.get(&format!("{sides}&curves={word}"));
    assert_eq!(with("false").expect(200)["curves"], Value::Null);
    let said = peakorder_tests::programs::analysis([
        "compare",
        &side("baseline"),
        &side("after"),
        "--curves",
        "--json",
    ])
    .done();
    let said: Value = serde_json::from_str(&said.out).unwrap();
    let told = with("true").expect(200);
    assert_eq!(told["curves"], said["curves"]);
    assert_eq!(told["curves"]["curves"].as_array().map(Vec::len), Some(5), "{}", told["curves"]);
    with("perhaps").refused(400);
    let itself =
        server.get(&format!("/api/v1/compare?a={session}&b={session}:after&curves=true")).refused(422);
    assert!(itself.contains("some swings are on both sides"), "{itself}");
    server.get(&format!("/api/v1/compare?a={session}:baseline")).refused(400);
}

#[test]
fn marks_of_the_coach_are_recorded_on_the_session_clock() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "20");
    server.post("/api/v1/lesson/mark", &json!({ "mark": "note", "detail": "x" })).refused(409);
    let mut events = server.events("/api/v1/events");
    let session = server.lesson(&server.player("Somebody"));
    server.post("/api/v1/lesson", &json!({ "player": "x" })).refused(404);
    events.until("straps");
    let marked =
        server.post("/api/v1/lesson/mark", &json!({ "mark": "block", "detail": "my own" })).expect(200);
    let told = events.until("block").pop().unwrap();
    assert_eq!((&told.data["label"], &told.data["t_s"]), (&json!("my own"), &marked["t_s"]));
    server.post("/api/v1/lesson/mark", &json!({ "mark": "bow-start" })).expect(200);
    let doing = events.until("doing").pop().unwrap();
    assert_eq!(doing.data["what"], "bow");
    let state = server.get("/api/v1/state").expect(200);
    assert_eq!(state["lesson"]["block"], "my own");
    assert_eq!(state["lesson"]["straps"].as_array().unwrap().len(), 3);
    for (mark, detail, status) in
        [("block", "", 422), ("block", "two\nlines", 422), ("turn-start", "lying", 422), ("jump", "", 422)]
    {
        server.post("/api/v1/lesson/mark", &json!({ "mark": mark, "detail": detail })).refused(status);
    }
    assert_eq!(server.post("/api/v1/lesson/end", &json!({})).expect(200)["session"], session.as_str());
    assert_eq!(server.get("/api/v1/state").expect(200)["lesson"], Value::Null);
    server.post("/api/v1/lesson/end", &json!({})).refused(409);
    let kept = server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert!(kept["blocks"].as_array().unwrap().iter().any(|b| b["label"] == "my own"), "{}", kept["blocks"]);
}

#[test]
fn straps_that_are_put_on_again_are_to_be_calibrated_anew() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "40");
    let mut events = server.events("/api/v1/events");
    let session = server.lesson(&server.player("Somebody"));
    // The baseline has begun, so the virtual player is calibrated.
    events.until("block");
    let state = || server.get("/api/v1/state").expect(200)["lesson"].clone();
    assert_eq!(
        (state()["calibrated"].clone(), state()["calibration"].as_array().unwrap().len()),
        (json!(true), 6)
    );
    server.post("/api/v1/lesson/mark", &json!({ "mark": "re-wear" })).expect(200);
    let told = events.until("wearing").pop().unwrap();
    assert_eq!(told.data["wearing"], 1);
    assert_eq!((state()["calibrated"].clone(), state()["calibration"].clone()), (json!(false), json!([])));
    let swing = loop {
        let swing = events.until("swing").pop().unwrap().data["swing"].clone();
        if swing["wearing"] == 1 {
            break swing;
        }
    };
    let withheld = swing["quality"]["withheld"].as_array().unwrap();
    assert!(withheld.iter().any(|w| w["why"] == "not-calibrated"), "{withheld:?}");
    server.post("/api/v1/lesson/end", &json!({})).expect(200);
    let kept = server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert!(kept["swings"].as_array().unwrap().iter().any(|s| s["wearing"] == 1));
}

#[test]
fn players_are_kept_and_nobody_is_recorded_without_consent() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "1");
    let about = |name: &str, consent: bool| json!({ "name": name, "handedness": "left", "goal": "g", "limits": "l", "consent": consent });
    let added = server.post("/api/v1/players", &about("  Ann ", false)).expect(201);
    assert_eq!((&added["name"], &added["consent_utc"]), (&json!("Ann"), &Value::Null));
    let id = added["id"].as_str().unwrap();
    server.post("/api/v1/players", &about("ann", true)).refused(409);
    server.post("/api/v1/players", &about(" ", true)).refused(422);
    server.post("/api/v1/players", &about(&"x".repeat(81), true)).refused(422);
    server.post("/api/v1/players", &json!({ "name": "Bo", "handedness": "both" })).refused(422);
    assert!(server.post("/api/v1/lesson", &json!({ "player": id })).refused(409).contains("agreed"));
    assert!(
        std::fs::read_dir(library.path().join("sessions")).unwrap().next().is_none(),
        "nothing was recorded"
    );
    let changed = server.send("PUT", &format!("/api/v1/players/{id}"), &about("Ann", true)).expect(200);
    assert!(changed["consent_utc"].is_string());
    server.send("PUT", "/api/v1/players/none", &about("C", true)).refused(404);
    let session = server.lesson(id);
    let state = server.get("/api/v1/state").expect(200);
    assert_eq!(
        state["lesson"]["player"],
        json!({ "id": id, "name": "Ann", "handedness": "left", "goal": "g", "limits": "l" })
    );
    assert_eq!(state["lesson"]["session"], session.as_str());
    server.post("/api/v1/lesson", &json!({ "player": id })).refused(409);
}

#[test]
fn a_player_who_is_renamed_keeps_the_earlier_lessons() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let session = server.whole_lesson("Somebody");
    let rows = || server.get("/api/v1/sessions").expect(200);
    let id = rows()[0]["player_id"].as_str().expect("the player's id").to_owned();
    // As a session that was recorded before ids were kept, or elsewhere.
    let old = library.path().join("sessions").join("20250101T000000Z-old");
    std::fs::create_dir_all(old.join("swings")).unwrap();
    let text =
        std::fs::read_to_string(library.path().join("sessions").join(&session).join("session.toml")).unwrap();
    let without: Vec<&str> = text.lines().filter(|l| !l.contains(&id)).collect();
    assert_eq!(without.len() + 1, text.lines().count(), "the id stands in the file once");
    std::fs::write(old.join("session.toml"), without.join("\n")).unwrap();
    let names = || -> Vec<Value> { rows().as_array().unwrap().iter().map(|r| r["player"].clone()).collect() };
    assert_eq!(names(), ["Somebody", "Somebody"]);

    let about = json!({ "name": "Somebody Else", "handedness": "right", "consent": true });
    server.send("PUT", &format!("/api/v1/players/{id}"), &about).expect(200);
    // Only the name leads to the old one, and the name is another now.
    let now = names();
    assert!(now.contains(&json!("Somebody")) && now.contains(&json!("Somebody Else")), "{now:?}");
    let found = server.get("/api/v1/sessions?player=Somebody%20Else").expect(200);
    assert_eq!((found.as_array().unwrap().len(), &found[0]["id"]), (1, &json!(session)));
    let kept = server.get(&format!("/api/v1/sessions/{session}")).expect(200);
    assert_eq!((&kept["player"]["id"], &kept["player"]["name"]), (&json!(id), &json!("Somebody")));
}

#[test]
fn the_rate_of_the_straps_is_right_at_any_speed() {
    let library = tempfile::tempdir().unwrap();
    for speed in ["4", "40"] {
        let server = TestServer::virtual_lessons(&library.path().join(speed), speed);
        let mut events = server.events("/api/v1/events");
        server.lesson(&server.player("Somebody"));
        let mut looked_at = 0;
        for event in events.by_ref().filter(|e| e.name == "straps").skip(2).take(4) {
            for strap in event.data.as_array().unwrap() {
                let number = |key: &str| strap[key].as_f64().unwrap();
                let sent = number("rate_hz") / (1.0 - number("lost_percent") / 100.0);
                // A tally ends with a packet or just before one: four samples in two seconds, and
                // what is lost is counted over a longer time.
                assert!((sent / number("nominal_hz") - 1.0).abs() < 0.05, "at {speed}: {strap}");
                looked_at += 1;
            }
        }
        assert_eq!(looked_at, 12);
    }
}

#[test]
fn measures_and_the_description_of_the_api_are_there() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "1");
    let measures = server.get("/api/v1/measures").expect(200);
    assert!(
        measures.as_array().unwrap().iter().any(|m| m["key"] == "pelvis_turn_top_deg" && m["unit"] == "°")
    );
    let description = server.get("/api/v1/openapi.json").expect(200);
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

/// What a schema refers to, or itself.
fn resolved<'a>(description: &'a Value, schema: &'a Value) -> &'a Value {
    match schema["$ref"].as_str() {
        Some(reference) => resolved(description, description.pointer(&reference[1..]).unwrap()),
        None => schema,
    }
}

/// Keys of `value` that the description does not know, and those it promises and `value` lacks.
fn undescribed(description: &Value, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    let schema = resolved(description, schema);
    // All parts describe one object together.
    if let Some(parts) = schema["allOf"].as_array() {
        let mut whole = json!({ "properties": {}, "required": [] });
        // Of variants the one whose fixed keys the value has.
        let variant = |part: &Value| -> Value {
            let fits = |v: &Value| {
                let fields = v["properties"].as_object().into_iter().flatten();
                fields
                    .filter_map(|(key, s)| Some((key, s["enum"].as_array()?)))
                    .all(|(k, e)| e.contains(&value[k]))
            };
            let variants = part["oneOf"].as_array().into_iter().flatten().map(|v| resolved(description, v));
            variants.into_iter().find(|v| fits(v)).cloned().unwrap_or_else(|| part.clone())
        };
        for part in parts.iter().map(|p| variant(resolved(description, p))) {
            for (key, value) in part["properties"].as_object().into_iter().flatten() {
                whole["properties"][key] = value.clone();
            }
            let required = part["required"].as_array().cloned().unwrap_or_default();
            whole["required"].as_array_mut().expect("a list").extend(required);
        }
        undescribed(description, &whole, value, at, found);
        return;
    }
    // What may be absent is one of null and something.
    if let Some(choice) = schema["oneOf"].as_array().and_then(|all| all.iter().find(|s| s["type"] != "null"))
    {
        if !value.is_null() {
            undescribed(description, choice, value, at, found);
        }
        return;
    }
    match value {
        Value::Object(fields) => {
            let known = &schema["properties"];
            for (key, value) in fields {
                let schema = if known[key].is_null() { &schema["additionalProperties"] } else { &known[key] };
                if schema.is_null() {
                    found.push(format!("{at}.{key}"));
                } else {
                    undescribed(description, schema, value, &format!("{at}.{key}"), found);
                }
            }
            for key in schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
                if !fields.contains_key(key) {
                    found.push(format!("{at}.{key} is missing"));
                }
            }
        }
        Value::Array(items) if schema["prefixItems"].is_null() => {
            for item in items {
                undescribed(description, &schema["items"], item, &format!("{at}[]"), found);
            }
        }
        _ => {}
    }
}

#[test]
fn swings_and_all_else_of_a_lesson_are_as_described() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let session = server.whole_lesson("Somebody");
    let path = format!("/api/v1/sessions/{session}");
    let note = json!({ "what": "outcome", "swing": 3, "labels": ["solid"] });
    server.post(&format!("{path}/remarks"), &note).expect(201);
    let description = server.get("/api/v1/openapi.json").expect(200);
    let schema = |name: &str| {
        let schema = &description["components"]["schemas"][name];
        assert!(schema["properties"].is_object(), "{name} has no fields: {schema}");
        schema
    };
    let lesson = server.get(&path).expect(200);
    let curves = server.get(&format!("{path}/swings/1/curves")).expect(200);
    let mut found = Vec::new();
    undescribed(&description, schema("LessonView"), &lesson, "lesson", &mut found);
    undescribed(&description, schema("CurvesView"), &curves, "curves", &mut found);
    found.sort();
    found.dedup();
    assert!(found.is_empty(), "{found:#?}");
    // The whole depth was looked at.
    for name in ["Swing", "Peak", "MobilityCheck", "SideTurns", "Against", "SwingRemarks"] {
        schema(name);
    }
    let mut wrong = lesson["swings"][0].clone();
    wrong["segments"]["pelvis"]["peak"]["made_up"] = json!(1);
    wrong.as_object_mut().unwrap().remove("kind");
    undescribed(&description, schema("Swing"), &wrong, "swing", &mut found);
    assert_eq!(found, ["swing.segments.pelvis.peak.made_up", "swing.kind is missing"]);
}
