//! The program as a user meets it: output, exit codes, messages.

mod common;

use common::turns::check;
use common::{session, stored, two_blocks, write};
use peakorder_analysis::measure::Measure;
use peakorder_protocol::Role;
use peakorder_protocol::log::{Arrival, LogWriter, Mark, MarkKind, Record};
use peakorder_protocol::mobility::{Mobility, MobilityNote, NotAsAsked, Posture, Side};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::Withholding;
use peakorder_protocol::trouble::{Trouble, TroubleNote};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_peakorder"))
        .args(args)
        .env_remove("COLUMNS")
        .output()
        .expect("the program starts")
}

fn out(o: &Output) -> String {
    String::from_utf8(o.stdout.clone()).expect("UTF-8")
}

fn err(o: &Output) -> String {
    String::from_utf8(o.stderr.clone()).expect("UTF-8")
}

fn code(o: &Output) -> i32 {
    o.status.code().expect("no signal")
}

fn json(args: &[&str]) -> Value {
    let o = run(args);
    assert_eq!(code(&o), 0, "{}", err(&o));
    serde_json::from_slice(&o.stdout).expect("valid JSON")
}

/// A failure is one line on stderr, nothing on stdout.
fn fails(args: &[&str], wanted: &[&str]) {
    let o = run(args);
    assert_eq!(code(&o), 1, "{}", out(&o));
    let message = err(&o);
    assert_eq!(message.lines().count(), 1, "{message}");
    for w in wanted {
        assert!(message.contains(w), "no '{w}' in: {message}");
    }
    assert!(o.stdout.is_empty());
}

fn sample() -> (tempfile::TempDir, String) {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let path = dir.path().join("day one");
    write(&path, &session(true), &two_blocks());
    (dir, path.to_str().expect("UTF-8").to_owned())
}

#[test]
fn curves_are_compared_when_asked_for() {
    let (_keep, dir) = sample();
    let (before, after) = (format!("{dir}:baseline"), format!("{dir}:after"));
    assert!(!out(&run(&["compare", &before, &after])).contains("where along the swing"));
    let all = out(&run(&["compare", &before, &after, "--curves"]));
    assert!(
        all.contains("where along the swing") && all.contains("3 curves of 12 swings before and 11 after"),
        "{all}"
    );
    let one = json(&["compare", &before, &after, "--curves=lead_arm_speed", "--json"]);
    let curves = one["curves"]["curves"].as_array().expect("a list");
    assert_eq!(curves.len(), 1);
    assert_eq!(curves[0]["segment"], "lead_arm");
    assert_eq!(code(&run(&["compare", &before, &after, "--curves=arm"])), 2);
    fails(&["compare", &dir, &dir, "--curves"], &["both sides", "name two blocks"]);
}

fn swing_file(session: &str, n: u32, extension: &str) -> std::path::PathBuf {
    Path::new(session).join(format!("swings/{n:04}.{extension}"))
}

#[test]
fn show_a_session_a_block_and_a_swing() {
    let (_keep, dir) = sample();
    let all = run(&["show", &dir]);
    assert_eq!(code(&all), 0);
    assert!(out(&all).contains("Block baseline") && out(&all).contains("Block after"));
    assert!(!out(&all).contains('\x1b'), "no colour where nobody watches");
    let block = run(&["show", &format!("{dir}:after")]);
    assert!(!out(&block).contains("Block baseline") && out(&block).contains("Block after"));
    let one = run(&["show", &dir, "5"]);
    assert!(out(&one).contains("Swing 5") && out(&one).contains("ms before impact"));
    assert!(out(&one).contains("licensed practitioners"));
}

/// Paths and types of a document, a line each; entries of lists and values of maps by key of a
/// measure are one.
fn shape(path: &str, value: &Value, lines: &mut BTreeSet<String>) {
    let kind = match value {
        Value::Null => "null",
        Value::Bool(_) => "bool",
        Value::Number(_) => "number",
        Value::String(_) => "text",
        Value::Array(entries) => {
            for v in entries {
                shape(&format!("{path}[]"), v, lines);
            }
            "list"
        }
        Value::Object(fields) => {
            for (key, v) in fields {
                // The swing file and the remarks are contracts of their own.
                if ["swing", "remarks"].contains(&key.as_str()) {
                    lines.insert(format!("{path}.{key}: object"));
                    continue;
                }
                let key = if Measure::from_key(key).is_some() { "MEASURE" } else { key };
                shape(&format!("{path}.{key}"), v, lines);
            }
            "object"
        }
    };
    lines.insert(format!("{path}: {kind}"));
}

/// A log with a gap, in a session that has noted another one.
fn damaged_log(folder: &Path) {
    let (dir, mut session) = SessionDir::open(folder).expect("a session");
    session.troubles.push(TroubleNote { t_ms: 1, what: Trouble::PartLost { missing_ms: 2 } });
    dir.write_session(&session).expect("written");
    let mut log = LogWriter::create(&dir.log_path()).expect("no log yet");
    for t_ns in [0, 10_000_000, 50_000_000] {
        let arrival = Arrival { t_ns, role: Role::Pelvis, channel: 0, bytes: vec![1] };
        log.append(&[Record::Arrival(arrival)]).expect("written");
        if t_ns > 0 {
            log.mark_gap();
        }
    }
    let mark = Mark { t_ns: 60_000_000, kind: MarkKind::Note, detail: String::new() };
    log.append(&[Record::Mark(mark)]).expect("written");
}

/// What programs rely on: a path that goes, or a type that changes, breaks them.
#[test]
fn json_documents_keep_their_shape() {
    let (_keep, dir) = sample();
    let (before, after) = (format!("{dir}:baseline"), format!("{dir}:after"));
    let later = format!("{dir} later");
    let mut next = session(true);
    next.id = "20261126T100512Z-0001".into();
    write(Path::new(&later), &next, &two_blocks());
    let mut again = check(2, Posture::Standing, [72.0, 74.0, 73.0], [71.0, 75.0, 73.0], 0.4);
    again.ok = false;
    again.repeat = vec![NotAsAsked::TooFewTurns { side: Side::Left, seen: 2 }];
    again.notes = vec![MobilityNote::NoPelvisStrap];
    for folder in [&dir, &later] {
        let (folder, session) = SessionDir::open(Path::new(folder)).expect("a session");
        let mut mobility = Mobility::new(&session.id, session.player.handedness);
        let asked = check(1, Posture::Seated, [48.0, 50.0, 49.0], [39.0, 41.0, 40.0], 0.05);
        mobility.checks = vec![asked, again.clone()];
        folder.write_mobility(&mobility).expect("written");
    }
    let mut lines = BTreeSet::new();
    for (name, args) in [
        ("show", &["show", &dir, "--json"][..]),
        ("show-swing", &["show", &dir, "5", "--json"]),
        ("compare", &["compare", &before, &after, "--curves", "--json"]),
        ("trend", &["trend", &dir, &later, "--json"]),
        ("show-mobility", &["mobility", &dir, "--json"]),
        ("compare-mobility", &["mobility", &dir, &later, "--json"]),
    ] {
        shape(name, &json(args), &mut lines);
    }
    damaged_log(Path::new(&dir));
    let saved = format!("{dir} saved");
    let verified = run(&["verify", &dir, "--json"]);
    assert_eq!(code(&verified), 1, "{}", err(&verified));
    shape("verify", &serde_json::from_slice(&verified.stdout).expect("valid JSON"), &mut lines);
    shape("salvage", &json(&["salvage", &dir, "--into", &saved, "--json"]), &mut lines);
    stored("documents.txt", &lines.into_iter().map(|l| l + "\n").collect::<String>());
}

#[test]
fn json_documents_keep_their_keys() {
    let (_keep, dir) = sample();
    let show = json(&["show", &dir, "--json"]);
    assert_eq!(show["schema"], "peakorder.show/1");
    assert_eq!(show["swings"].as_array().expect("a list").len(), 25);
    let swing = &show["swings"][0];
    for key in [
        "number",
        "block",
        "kind",
        "usable",
        "order",
        "rising_at_impact",
        "order_text",
        "reversal_order",
        "measures",
        "withheld",
    ] {
        assert!(swing.get(key).is_some(), "swings[0].{key}");
    }
    let gap = &swing["measures"]["gap_pelvis_thorax_ms"];
    assert!(gap["value"].is_f64() && gap["measuring_sd"].is_f64() && gap["definition"].is_string());
    let block = &show["blocks"][0];
    assert_eq!(block["label"], "baseline");
    assert_eq!(block["rehearsals"], serde_json::json!([3]));
    for key in ["used", "unusable", "orders", "reversal_orders", "measures", "advice"] {
        assert!(block.get(key).is_some(), "blocks[0].{key}");
    }
    for key in ["n", "mean", "ci95_half", "sd", "measuring_sd", "definition", "other_definition"] {
        assert!(block["measures"]["tempo_ratio"].get(key).is_some(), "tempo_ratio.{key}");
    }
    for key in ["order", "order_text", "tie", "count", "of", "share", "share_ci95"] {
        assert!(block["orders"][0].get(key).is_some(), "orders[0].{key}");
    }

    let one = json(&["show", &dir, "5", "--json"]);
    assert_eq!(one["schema"], "peakorder.show-swing/1");
    assert_eq!(one["swing"]["schema"], "peakorder.swing/1");
    assert_eq!(one["curves"], true);

    let compare = json(&["compare", &format!("{dir}:baseline"), &format!("{dir}:after"), "--json"]);
    assert_eq!(compare["schema"], "peakorder.compare/1");
    assert_eq!(compare["family"], 39);
    for key in [
        "key",
        "before",
        "after",
        "difference",
        "ci95_half",
        "df",
        "t",
        "p",
        "p_holm",
        "measuring_sd",
        "verdict",
    ] {
        assert!(compare["measures"][0].get(key).is_some(), "measures[0].{key}");
    }
    assert!(compare["not_compared"].is_array() && compare["notes"].is_array());
}

#[test]
fn compare_only_what_was_meant() {
    let (_keep, dir) = sample();
    let (before, after) = (format!("{dir}:baseline"), format!("{dir}:after"));
    let only = "gap_pelvis_thorax_ms,downswing_ms";
    let c = json(&["compare", &before, &after, "--only", only, "--json"]);
    assert_eq!(c["family"], 2);
    let o = run(&["compare", &before, &after, "--only", "speed"]);
    assert_eq!(code(&o), 2);
    assert!(err(&o).contains("pelvis_peak_speed_dps"), "{}", err(&o));
}

#[test]
fn usage_errors_are_2() {
    assert_eq!(code(&run(&[])), 2);
    assert_eq!(code(&run(&["compare", "a"])), 2);
    assert_eq!(code(&run(&["show", "a", "seven"])), 2);
    assert_eq!(code(&run(&["--help"])), 0);
}

#[test]
fn what_is_not_there_is_named_with_what_is() {
    let (keep, dir) = sample();
    fails(&["show", "/nonexistent/x"], &["/nonexistent/x", "no such folder"]);
    fails(&["show", keep.path().to_str().expect("UTF-8")], &["not a session folder"]);
    fails(&["show", &format!("{dir}:befor")], &["no block 'befor'", "'baseline', 'after'"]);
    fails(&["show", &dir, "99"], &["no swing 99", "1–25"]);
    fails(&["show", &format!("{dir}:after"), "5"], &["no swing 5", "15–25"]);
}

#[test]
fn a_folder_with_a_colon_in_its_name_is_a_folder() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let path = keep.path().join("am:after");
    write(&path, &session(true), &two_blocks());
    let dir = path.to_str().expect("UTF-8");
    assert!(out(&run(&["show", dir])).contains("Block baseline"));
    let block = run(&["show", &format!("{dir}:after")]);
    assert_eq!(code(&block), 0, "{}", err(&block));
    assert!(!out(&block).contains("Block baseline"));
}

#[test]
fn a_session_without_swings_says_so() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    write(keep.path(), &session(true), &[]);
    let dir = keep.path().to_str().expect("UTF-8");
    let o = run(&["show", dir]);
    assert_eq!(code(&o), 0);
    assert!(out(&o).contains("No swings in this session yet"), "{}", out(&o));
    assert_eq!(json(&["show", dir, "--json"])["swings"], serde_json::json!([]));
    fails(&["compare", dir, dir], &["no swings to compare"]);
}

#[test]
fn a_damaged_swing_file_is_named_and_the_rest_goes_on() {
    let (_keep, dir) = sample();
    std::fs::write(swing_file(&dir, 4, "json"), "{\"schema\":").expect("writable");
    let o = run(&["show", &dir]);
    assert_eq!(code(&o), 0);
    assert!(err(&o).contains("0004.json"), "{}", err(&o));
    assert!(out(&o).contains("0004.json") && out(&o).contains("11 swings used"), "{}", out(&o));
    fails(&["show", &dir, "4"], &["0004.json", "peakorderd replay"]);
    assert_eq!(code(&run(&["show", &dir, "5"])), 0);
    // A file under another swing's name is not that swing.
    std::fs::copy(swing_file(&dir, 5, "json"), swing_file(&dir, 6, "json")).expect("writable");
    assert!(err(&run(&["show", &dir])).contains("holds swing 5, not 6"));
    for n in 1..=25 {
        std::fs::write(swing_file(&dir, n, "json"), "no").expect("writable");
    }
    fails(&["show", &dir], &["none of its 25 swing files", "0001.json", "peakorderd replay"]);
}

#[test]
fn absent_or_damaged_curves_are_said_and_the_numbers_remain() {
    let (_keep, dir) = sample();
    std::fs::remove_file(swing_file(&dir, 5, "curves")).expect("was there");
    std::fs::write(swing_file(&dir, 6, "curves"), b"POCURVES then rubbish").expect("writable");
    for n in ["5", "6"] {
        let o = run(&["show", &dir, n]);
        assert_eq!(code(&o), 0, "{}", err(&o));
        assert!(out(&o).contains("No plot:") && out(&o).contains("peak speed"), "{}", out(&o));
        assert_eq!(json(&["show", &dir, n, "--json"])["curves"], false);
    }
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let (_keep, dir) = sample();
    let mut child = Command::new(env!("CARGO_BIN_EXE_peakorder"))
        .args(["show", &dir, "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let o = child.wait_with_output().expect("it ends");
    assert_eq!(code(&o), 0);
    assert!(o.stderr.is_empty(), "{}", err(&o));
}

#[test]
fn labels_and_reasons_cannot_move_the_cursor() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let mut swings = two_blocks();
    swings[0].block = "evil\x1b[2J".into();
    swings[9].quality.withheld[0].what = Withholding::Other("\x07bell".into());
    write(keep.path(), &session(true), &swings);
    let o = run(&["show", keep.path().to_str().expect("UTF-8")]);
    assert!(!o.stdout.iter().any(|b| *b == 0x1b || *b == 7));
}
