//! What is damaged is told, and what is left is saved: `peakorder verify` and `peakorder salvage`.

use peakorder_analysis::integrity::{Wanted, salvage};
use peakorder_protocol::Role;
use peakorder_protocol::log::{FindingKind, LogReader, LogWriter, Record};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::trouble::{Trouble, TroubleNote};
use peakorder_tests::files::{assert_same, computed, contents, records};
use peakorder_tests::programs::{CommandOutput, analysis, daemon, workspace};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// A copy of a committed recording.
fn recording(name: &str, folder: &Path) -> PathBuf {
    let to = folder.join(name);
    for (file, bytes) in contents(&workspace().join("recordings").join(name)) {
        let path = to.join(file);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    to
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// What `verify --json` says of one folder, and its exit code.
fn verify(folder: &Path) -> (Value, Option<i32>) {
    let said = analysis(["verify", text(folder), "--json"]);
    assert_eq!(said.err, "");
    let document: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(document["schema"], "peakorder.verify/1");
    let session = document["sessions"][0].clone();
    assert_eq!(session["whole"], said.code == Some(0), "{session}");
    (session, said.code)
}

fn holes(session: &Value) -> Vec<&str> {
    session["recording"]["holes"].as_array().unwrap().iter().map(|h| h["kind"].as_str().unwrap()).collect()
}

/// Offset and length of every frame (`docs/formats/log.md`).
fn frames(log: &[u8]) -> Vec<(usize, usize)> {
    let (mut out, mut at) = (Vec::new(), 16);
    while at < log.len() {
        let length = 24 + u32::from_le_bytes(log[at + 8..at + 12].try_into().unwrap()) as usize;
        out.push((at, length));
        at += length;
    }
    out
}

/// Every command that reads a session works on this one.
fn works_everywhere(folder: &Path, other: &Path, scratch: &Path) -> CommandOutput {
    let _ = analysis(["show", text(folder)]).done();
    let _ = analysis(["show", text(folder), "1"]).done();
    let _ = analysis(["compare", text(folder), text(other)]).done();
    let _ = analysis(["export", text(folder)]).done();
    let again = scratch.join("again");
    let said = daemon(["replay", text(folder), "--into", text(&again)]).done();
    let _ = analysis(["show", text(&again)]).done();
    let _ = daemon(["replay", text(&again)]).done();
    said
}

#[test]
fn a_whole_session_is_called_whole() {
    let recordings = workspace().join("recordings");
    let names = ["baseline-left", "baseline-right", "professional"].map(|n| recordings.join(n));
    let said = analysis(["verify", text(&names[0]), text(&names[1]), text(&names[2])]).done();
    assert_eq!(said.out.matches(": whole\n").count(), 3, "{}", said.out);
    let (session, _) = verify(&names[2]);
    assert_eq!((&session["swings"], &session["curves"]), (&4.into(), &4.into()));
    assert!(session["recording"]["seconds"].as_f64().unwrap() > 80.0);
}

#[test]
fn what_a_damaged_part_held_is_lost_and_all_else_is_saved() {
    let scratch = tempfile::tempdir().unwrap();
    let damaged = recording("professional", scratch.path());
    let other = workspace().join("recordings/baseline-right");
    let log = damaged.join("samples.log");
    let whole = fs::read(&log).unwrap();
    let (all, _) = records(&log);
    // One bit in each of two frames, far from one another.
    let frames = frames(&whole);
    let mut bytes = whole.clone();
    for at in [frames.len() / 4, frames.len() / 2] {
        bytes[frames[at].0 + 100] ^= 1;
    }
    fs::write(&log, &bytes).unwrap();
    let before = contents(&damaged);
    let (left, _) = records(&log);

    let (session, code) = verify(&damaged);
    assert_eq!((holes(&session), code), (vec!["damage", "damage"], Some(1)));
    // What each strap lacks: the notifications that are gone, at the strap's usual interval.
    let sent = |records: &[Record], role: Role| {
        let of = |r: &Record| matches!(r, Record::Arrival(a) if a.role == role);
        records.iter().filter(|r| of(r)).count() as f64
    };
    let end_s = all.last().unwrap().t_ns() as f64 * 1e-9;
    for role in Role::ALL {
        let usual_s = end_s / sent(&all, role);
        let gone_s = (sent(&all, role) - sent(&left, role)) * usual_s;
        let said_s = session["recording"]["straps"][role.key()]["missing_s"].as_f64().unwrap();
        assert!(gone_s > 0.0);
        // Notifications wait for a connection event, 15 ms apart, and two holes have four ends.
        let jitter_s = 4.0 * (0.015 + usual_s);
        assert!((said_s - gone_s).abs() < jitter_s, "{role}: {said_s} s said, {gone_s} s gone");
    }
    let words = analysis(["verify", text(&damaged)]);
    for part in ["not whole", "damaged at", "pelvis", "lead arm", "peakorder salvage"] {
        assert!(words.out.contains(part), "{part}: {}", words.out);
    }

    let saved = scratch.path().join("saved");
    let said = analysis(["salvage", text(&damaged), "--into", text(&saved)]).done();
    assert!(said.out.contains("4 copied, curves of 4"), "{}", said.out);
    assert_same(&contents(&damaged), &before);
    assert_eq!(records(&saved.join("samples.log")).0, left, "every whole frame");
    assert_same(&computed(&saved), &computed(&damaged));

    let (session, code) = verify(&saved);
    assert_eq!((holes(&session), code), (vec!["known-gap", "known-gap"], Some(1)));
    let lost: Vec<&Value> = session["troubles"].as_array().unwrap().iter().map(|t| &t["kind"]).collect();
    assert_eq!(lost, ["part_lost", "part_lost"]);
    let replayed = works_everywhere(&saved, &other, scratch.path());
    assert!(replayed.err.contains("The session tells of it"), "{}", replayed.err);

    // Never over something that is there.
    let refused = analysis(["salvage", text(&damaged), "--into", text(&saved)]).failed();
    assert!(refused.contains("not empty"), "{refused}");
}

#[test]
fn a_lost_session_file_is_written_anew_after_another_session() {
    let scratch = tempfile::tempdir().unwrap();
    let damaged = recording("professional", scratch.path());
    let like = workspace().join("recordings/baseline-right");
    let saved = scratch.path().join("saved");
    for content in [None, Some("format = \"peakorder.session/1\"\nid = [")] {
        let file = damaged.join("session.toml");
        let _ = fs::remove_file(&file);
        if let Some(content) = content {
            fs::write(&file, content).unwrap();
        }
        let (session, code) = verify(&damaged);
        assert!(session["session_problem"].is_string() && code == Some(1), "{session}");
        let refused = analysis(["salvage", text(&damaged), "--into", text(&saved)]).failed();
        assert!(refused.contains("--like SESSION") && !saved.exists(), "{refused}");

        let arguments = ["salvage", text(&damaged), "--into", text(&saved), "--like", text(&like), "--json"];
        let said: Value = serde_json::from_str(&analysis(arguments).done().out).unwrap();
        assert_eq!(said["schema"], "peakorder.salvage/1");
        assert_eq!(said["assumed"].as_array().unwrap().len(), 3, "{said}");
        let (_, session) = SessionDir::open(&saved).unwrap();
        assert_eq!(session.id, "virtual-13", "as the swing files say");
        assert_eq!(verify(&saved).1, Some(0), "no part of the recording is lost");
        let _ = works_everywhere(&saved, &like, scratch.path());
        // The straps are the same, so the same swings come of it.
        let again = scratch.path().join("again");
        assert_same(&computed(&again), &computed(&workspace().join("recordings/professional")));
        fs::remove_dir_all(&saved).unwrap();
        fs::remove_dir_all(&again).unwrap();
    }
    // Without swing files nothing names the session, and the start can be given.
    fs::remove_dir_all(damaged.join("swings")).unwrap();
    let started = "2026-03-04T10:00:00Z";
    let arguments =
        ["salvage", text(&damaged), "--into", text(&saved), "--like", text(&like), "--started", started];
    let said = analysis(arguments).done();
    assert!(said.out.contains("peakorderd replay"), "{}", said.out);
    let (_, session) = SessionDir::open(&saved).unwrap();
    assert!(session.id.starts_with("salvaged-") && session.started_utc == started, "{session:?}");
    let _ = daemon(["replay", text(&saved)]).done();
    assert_eq!(verify(&saved).0["swings"], 4);
}

#[test]
fn damaged_and_missing_computed_files_are_named_and_a_replay_makes_them() {
    let scratch = tempfile::tempdir().unwrap();
    let session = recording("baseline-left", scratch.path());
    let whole = computed(&session);
    let swing = session.join("swings/0002.json");
    let mut bytes = fs::read(&swing).unwrap();
    bytes[900] ^= 2;
    fs::write(&swing, bytes).unwrap();
    fs::remove_file(session.join("swings/0003.json")).unwrap();
    fs::remove_file(session.join("swings/0004.curves")).unwrap();
    let (said, code) = verify(&session);
    assert_eq!((&said["swings"], &said["curves"], code), (&2.into(), &3.into(), Some(1)), "{said}");
    let files = said["files"].as_array().unwrap();
    let named: Vec<(bool, bool)> = files
        .iter()
        .map(|f| (f["missing"].as_bool().unwrap(), f["text"].as_str().unwrap().contains("peakorderd replay")))
        .collect();
    assert_eq!(named, [(false, true), (true, true), (true, true)], "{said}");
    let shown = analysis(["show", text(&session)]);
    assert!(shown.err.contains("0002.json") && shown.err.contains("replay makes it anew"), "{}", shown.err);
    let _ = daemon(["replay", text(&session)]).done();
    assert_same(&computed(&session), &whole);
    assert_eq!(verify(&session).1, Some(0));
}

#[test]
fn a_torn_end_is_told_and_cut_off() {
    let scratch = tempfile::tempdir().unwrap();
    let session = recording("baseline-left", scratch.path());
    let log = session.join("samples.log");
    let bytes = fs::read(&log).unwrap();
    fs::write(&log, &bytes[..bytes.len() - 9]).unwrap();
    let (said, _) = verify(&session);
    assert_eq!(holes(&said), ["torn-end"]);
    let lost = said["recording"]["straps"]["pelvis"]["missing_s"].as_f64().unwrap();
    assert!(lost > 0.0 && lost < 1.0, "{lost}");
    let saved = scratch.path().join("saved");
    let _ = analysis(["salvage", text(&session), "--into", text(&saved)]).done();
    assert!(records(&saved.join("samples.log")).1.is_empty());
    let (said, code) = verify(&saved);
    assert_eq!((said["troubles"][0]["kind"].as_str(), code), (Some("part_lost"), Some(1)), "it stays known");
    let _ = daemon(["replay", text(&saved)]).done();
}

/// As a full disk leaves it: a gap in the numbers that the session knows of, or does not.
#[test]
fn a_gap_that_the_session_tells_of_is_no_failure_of_a_replay() {
    let scratch = tempfile::tempdir().unwrap();
    let session = recording("baseline-right", scratch.path());
    let log = session.join("samples.log");
    let (all, _) = records(&log);
    fs::remove_file(&log).unwrap();
    let mut writer = LogWriter::create(&log).unwrap();
    let cut = all.len() * 3 / 4;
    writer.append(&all[..cut]).unwrap();
    writer.mark_gap();
    writer.append(&all[cut + 40..]).unwrap();
    writer.finish().unwrap();

    assert_eq!(holes(&verify(&session).0), ["gap"]);
    let failed = daemon(["replay", text(&session)]);
    assert_eq!(failed.code, Some(1), "{}", failed.err);

    let (dir, mut file) = SessionDir::open(&session).unwrap();
    let what = Trouble::RecordingAgain { dropped: 40, missing_ms: 300 };
    file.troubles.push(TroubleNote { t_ms: all[cut].t_ns() / 1_000_000, what });
    dir.write_session(&file).unwrap();
    assert_eq!(holes(&verify(&session).0), ["known-gap"]);
    let said = daemon(["replay", text(&session)]).done();
    assert!(said.err.contains("1 frame(s) missing") && said.err.contains("no failure"), "{}", said.err);
    assert_eq!(said.err.trim_end().lines().count(), 1, "{}", said.err);
}

#[test]
fn what_cannot_be_read_at_all_is_refused_and_nothing_is_written() {
    let scratch = tempfile::tempdir().unwrap();
    let session = recording("baseline-left", scratch.path());
    let log = session.join("samples.log");
    let saved = scratch.path().join("saved");
    for content in [None, Some(&b"something else entirely, and long enough"[..])] {
        let _ = fs::remove_file(&log);
        if let Some(content) = content {
            fs::write(&log, content).unwrap();
        }
        let refused = analysis(["salvage", text(&session), "--into", text(&saved)]).failed();
        assert!(refused.contains("samples.log") && refused.contains("nothing was written"), "{refused}");
        assert!(!saved.exists());
        let (said, code) = verify(&session);
        assert!(said["recording"].is_null() && code == Some(1), "{said}");
        assert!(said["recording_problem"].as_str().unwrap().contains("samples.log"), "{said}");
    }
    let nowhere = scratch.path().join("nowhere");
    let said = analysis(["verify", text(&nowhere)]).failed();
    assert!(said.contains("not a session folder"), "{said}");
}

/// Whatever happens to a log, what is saved is exactly what can be read of it, and the session tells
/// of every gap, so that a replay takes it.
#[test]
fn every_saved_log_holds_what_could_be_read_and_tells_of_its_gaps() {
    let scratch = tempfile::tempdir().unwrap();
    let from = scratch.path().join("from");
    fs::create_dir(&from).unwrap();
    let source = workspace().join("recordings/professional");
    fs::copy(source.join("session.toml"), from.join("session.toml")).unwrap();
    let whole = fs::read(source.join("samples.log")).unwrap();
    let starts: Vec<usize> = frames(&whole).into_iter().map(|(at, _)| at).filter(|at| *at < 29_000).collect();
    let whole = whole[..30_000].to_vec();
    // xorshift64 (Marsaglia 2003).
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut below = |n: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % n as u64) as usize
    };
    let mut kinds = BTreeMap::new();
    for round in 0..150 {
        let mut bytes = whole.clone();
        for _ in 0..=below(4) {
            // Anywhere, or where a frame begins (unless something before it has moved it).
            let anywhere = 16 + below(bytes.len() - 16);
            let at = if below(2) == 0 { anywhere } else { starts[below(starts.len())].min(bytes.len() - 1) };
            let end = (at + 1 + below(500)).min(bytes.len());
            match below(4) {
                0 => bytes[at] ^= 1 << below(8),
                1 => drop(bytes.drain(at..end)),
                2 => bytes[at..end].fill(0xf7),
                _ => {
                    let again = bytes[at..end].to_vec();
                    drop(bytes.splice(at..at, again));
                }
            }
        }
        fs::write(from.join("samples.log"), &bytes).unwrap();
        let into = scratch.path().join(format!("{round}"));
        let wanted = Wanted { from: &from, into: &into, like: None, started: None };
        salvage(&wanted).unwrap_or_else(|e| panic!("round {round}: {e}"));
        let (left, found) = records(&from.join("samples.log"));
        for finding in &found {
            *kinds.entry(format!("{:?}", finding.kind).split(' ').next().unwrap().to_owned()).or_insert(0) +=
                1;
        }
        let (saved, gaps) = records(&into.join("samples.log"));
        assert_eq!(saved, left, "round {round}");
        assert!(
            gaps.iter().all(|f| matches!(f.kind, FindingKind::SequenceGap { .. })),
            "round {round}: {gaps:?}"
        );
        let (_, session) = SessionDir::open(&into).unwrap();
        assert!(gaps.len() <= session.known_gaps(), "round {round}: {gaps:?} {:?}", session.troubles);
        assert!(LogReader::open(&into.join("samples.log")).is_ok());
    }
    assert!(
        ["BadCrc", "Garbage", "SequenceGap", "TornTail"].iter().all(|k| kinds.contains_key(*k)),
        "{kinds:?}"
    );
}
