//! The whole chain from outside: the same input gives the same bytes, however it comes.

use peakorder_daemon::engine::{Engine, Recording};
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::calibration::JudgedStep;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{Disconnection, Record, StrapEvent, StrapEventKind};
use peakorder_protocol::repetition::Numbered;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_protocol::{Handedness, Role};
use peakorder_tests::files::{assert_same, computed, records, swings};
use peakorder_tests::programs::{analysis, daemon, workspace};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{Outage, PlayerParams, Population, PracticeOptions, Script, StrapOptions};
use std::path::Path;
use std::time::Duration;

fn text(path: &Path) -> &str {
    path.to_str().expect("temporary paths are UTF-8")
}

#[test]
fn a_replay_gives_the_live_sessions_files_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let live = folder.path().join("live");
    let again = folder.path().join("again");
    let _ = daemon(["virtual", "--out", text(&live), "--seed", "3", "--swings", "4"]).done();
    let before = computed(&live);
    assert_eq!(
        before
            .keys()
            .filter(|n| n.split_once('.').is_some_and(|(_, end)| end == "json") && n.starts_with("00"))
            .count(),
        4
    );
    let _ = daemon(["replay", text(&live), "--into", text(&again)]).done();
    assert_same(&before, &computed(&again));
    // In place, and from where the folder was moved to.
    let moved = folder.path().join("moved");
    std::fs::rename(&again, &moved).unwrap();
    let _ = daemon(["replay", text(&moved)]).done();
    assert_same(&before, &computed(&moved));
    // At another speed.
    let paced = folder.path().join("paced");
    let _ = daemon(["replay", text(&live), "--into", text(&paced), "--speed", "200"]).done();
    assert_same(&before, &computed(&paced));
}

/// A drill is computed again from its recording to the byte, at any speed and in any batches.
#[test]
fn a_replay_of_a_drill_gives_its_repetitions() {
    let folder = tempfile::tempdir().unwrap();
    let live = folder.path().join("live");
    let again = folder.path().join("again");
    let made =
        daemon(["virtual", "--out", text(&live), "--seed", "3", "--swings", "2", "--drill", "4"]).done();
    assert!(made.out.contains("2 swings and 4 repetitions"), "{}", made.out);
    let before = computed(&live);
    let _ = daemon(["replay", text(&live), "--into", text(&again), "--speed", "300"]).done();
    assert_same(&before, &computed(&again));
    let all = SessionDir::open(&live).unwrap().0.read_all().unwrap();
    let kinds: Vec<bool> = all.iter().map(|n| matches!(n, Numbered::Repetition(_))).collect();
    assert_eq!(kinds, [false, true, true, true, true, false], "numbered in one row");
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_does_not() {
    let folder = tempfile::tempdir().unwrap();
    let make = |name: &str, seed: &str| {
        let out = folder.path().join(name);
        let _ = daemon(["virtual", "--out", text(&out), "--seed", seed, "--swings", "2"]).done();
        (std::fs::read(out.join("samples.log")).unwrap(), computed(&out))
    };
    let (a, b, c) = (make("a", "7"), make("b", "7"), make("c", "8"));
    assert!(a.0 == b.0, "the logs differ");
    assert_same(&a.1, &b.1);
    assert!(a.0 != c.0);
}

fn outputs(script: &Script) -> Vec<String> {
    let p = script.player();
    let player = Player { handedness: p.handedness, ..Player::default() };
    let session = virtual_session(script, "chunks", player, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&session).unwrap();
    let mut out = Vec::new();
    for record in script.clone().session().records() {
        pipeline.push(&record, &mut out);
    }
    pipeline.finish(&mut out);
    out.iter()
        .filter_map(|o| match o {
            Output::Swing(swing, _) => Some(swing.to_json().expect("finite")),
            Output::Repetition(repetition) => Some(repetition.to_json().expect("finite")),
            _ => None,
        })
        .collect()
}

#[test]
fn how_records_are_batched_changes_nothing() {
    let player = PlayerParams::drawn_from(Population::Professional, 21);
    let script = Script::practice(21, player, 3, &PracticeOptions::default());
    let all: Vec<Record> = script.clone().session().records().collect();
    let folder = tempfile::tempdir().unwrap();
    let record = |batch: usize| {
        let path = folder.path().join(batch.to_string());
        let session = virtual_session(&script, "batches", Player::default(), "2026-01-01T00:00:00Z");
        let dir = SessionDir::create(&path, false).unwrap();
        let mut engine = Engine::new(dir, session, Recording::Unpaced).unwrap();
        for records in all.chunks(batch) {
            engine.push(records);
        }
        assert_eq!(engine.finish().unwrap().1.swings, 3);
        assert_eq!(records(&path.join("samples.log")).0, all, "{batch} at once");
        computed(&path)
    };
    let one = record(1);
    for batch in [7, 1000, all.len()] {
        assert_same(&one, &record(batch));
    }
}

/// Watchers are told of every strap event of the log, in its order, and of the same in a replay.
#[test]
fn watchers_hear_of_every_strap_event_live_and_in_a_replay() {
    let player = PlayerParams::drawn_from(Population::Amateur, 4);
    let outage = Outage { start_s: 20.0, duration_s: 3.0, clock_restarts: true };
    let straps = StrapOptions { outages: vec![(Role::Thorax, outage)], ..StrapOptions::default() };
    let script = Script::practice(4, player, 1, &PracticeOptions::default()).with_straps(straps);
    let mut all: Vec<Record> = script.clone().session().records().collect();
    let t_ns = all.last().unwrap().t_ns();
    all.push(Record::Strap(StrapEvent {
        t_ns,
        role: Role::Pelvis,
        what: StrapEventKind::Battery { percent: 87 },
    }));
    let folder = tempfile::tempdir().unwrap();
    let live = folder.path().join("live");
    let session = virtual_session(&script, "straps", Player::default(), "2026-01-01T00:00:00Z");
    let mut engine =
        Engine::new(SessionDir::create(&live, false).unwrap(), session, Recording::Unpaced).unwrap();
    let mut watch = engine.watch();
    let mut heard = Vec::new();
    for batch in all.chunks(50) {
        engine.push(batch);
        while let Ok(event) = watch.try_recv() {
            if let LiveEvent::Strap { t_s, role, what } = event {
                heard.push((t_s, role, what));
            }
        }
    }
    engine.finish().unwrap();
    let logged: Vec<_> = all
        .iter()
        .filter_map(|r| match r {
            Record::Strap(e) => Some((e.t_ns as f64 * 1e-9, e.role, e.what.clone())),
            _ => None,
        })
        .collect();
    assert_eq!(heard, logged);
    let of_thorax: Vec<&StrapEventKind> =
        heard.iter().filter(|h| h.1 == Role::Thorax).map(|h| &h.2).collect();
    let up = [StrapEventKind::CONNECTED, StrapEventKind::Interval { interval: Duration::from_millis(15) }];
    let lost = StrapEventKind::Disconnected { reason: Disconnection::NotKnown };
    assert_eq!(of_thorax, [&up[0], &up[1], &lost, &up[0], &up[1]]);
    assert_eq!(heard.last().unwrap().2, StrapEventKind::Battery { percent: 87 });
    let said = daemon(["replay", text(&live), "--json"]).done().out;
    let replayed: Vec<_> = said
        .lines()
        .filter_map(|line| match serde_json::from_str(line).expect("a line of JSON each") {
            LiveEvent::Strap { t_s, role, what } => Some((t_s, role, what)),
            _ => None,
        })
        .collect();
    assert_eq!(replayed, logged);
}

#[test]
fn left_handers_turn_away_with_the_same_sign() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("left");
    let _ = daemon(["virtual", "--out", text(&out), "--seed", "5", "--swings", "3", "--handedness", "left"])
        .done();
    let swings = swings(&out);
    assert_eq!(swings.len(), 3);
    for swing in swings {
        assert_eq!(swing.handedness, Handedness::Left);
        let thorax = swing.segments[&Role::Thorax].turn_deg.expect("calibrated").top;
        assert!((-130.0..-50.0).contains(&thorax), "{thorax}");
    }
}

#[test]
fn without_an_arm_strap_the_arm_is_absent() {
    let player = PlayerParams::drawn_from(Population::Amateur, 9);
    let straps = StrapOptions { roles: vec![Role::Pelvis, Role::Thorax], ..StrapOptions::default() };
    let script = Script::practice(9, player, 3, &PracticeOptions::default()).with_straps(straps);
    let swings = outputs(&script);
    assert_eq!(swings.len(), 3);
    for swing in swings {
        let value: serde_json::Value = serde_json::from_str(&swing).unwrap();
        assert!(value["segments"].get("lead_arm").is_none());
        assert!(value["segments"].get("thorax").is_some());
    }
}

#[test]
fn the_demo_shows_its_lesson_and_compares_before_with_after() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("demo");
    let said = daemon(["demo", "--out", text(&out)]).done().out;
    for part in ["nvented", "block after", "changed", "can't tell", "Go on:", "stop on pain"] {
        assert!(said.contains(part), "no '{part}' in\n{said}");
    }
    let said = daemon(["demo", "--full", "--out", text(&out)]).done().out;
    for part in ["nvented", "Block baseline", "Block after", "changed", "can't tell", "Go on:", "Stop on"] {
        assert!(said.contains(part), "no '{part}' in\n{said}");
    }
    let (_, session) = SessionDir::open(&out).unwrap();
    assert!(session.invented);
    assert!(session.calibration.iter().all(JudgedStep::passed));
    let spec = |block: &str| format!("{}:{block}", text(&out));
    let compared = analysis(["compare", &spec("baseline"), &spec("after"), "--json"]).done().out;
    let compared: serde_json::Value = serde_json::from_str(&compared).unwrap();
    assert_eq!(compared["schema"], "peakorder.compare/1");
    let shown = analysis(["show", text(&out), "1"]).done().out;
    assert!(shown.contains("speed, °/s"), "{shown}");
    // A demo session is replaced without being asked; anybody else's is not.
    let _ = daemon(["demo", "--out", text(&out)]).done();
    let mine = folder.path().join("mine");
    std::fs::create_dir(&mine).unwrap();
    std::fs::write(mine.join("notes.txt"), "keep").unwrap();
    let message = daemon(["demo", "--out", text(&mine)]);
    assert_eq!(message.code, Some(1));
    assert_eq!(std::fs::read_to_string(mine.join("notes.txt")).unwrap(), "keep");
}

#[test]
fn every_recording_in_the_repository_shows_and_replays_to_its_committed_files() {
    let recordings = workspace().join("recordings");
    let folder = tempfile::tempdir().unwrap();
    let mut seen = 0;
    for entry in std::fs::read_dir(&recordings).unwrap() {
        let path = entry.unwrap().path();
        if !path.is_dir() {
            continue;
        }
        seen += 1;
        let _ = analysis(["show", text(&path)]).done();
        let again = folder.path().join(path.file_name().unwrap());
        let _ = daemon(["replay", text(&path), "--into", text(&again)]).done();
        assert_same(&computed(&path), &computed(&again));
    }
    assert!(seen >= 2, "{seen} recordings");
}

#[test]
fn the_running_filter_can_be_chosen_is_recorded_and_stays_chosen() {
    let recording = workspace().join("recordings/professional");
    let folder = tempfile::tempdir().unwrap();
    let (chosen, again) = (folder.path().join("chosen"), folder.path().join("again"));
    let _ = daemon(["replay", text(&recording), "--into", text(&chosen), "--filter", "vqf"]).done();
    let (_, session) = SessionDir::open(&chosen).unwrap();
    assert_eq!(session.settings.get("filter").and_then(|f| f.as_str()), Some("vqf"));
    // A later replay computes with what the session says.
    let _ = daemon(["replay", text(&chosen), "--into", text(&again)]).done();
    assert_same(&computed(&chosen), &computed(&again));
    assert_eq!(swings(&chosen).len(), swings(&recording).len());

    let message =
        daemon(["replay", text(&recording), "--into", text(&again), "--filter", "kalman"]).refused();
    assert!(message.contains("use madgwick, mahony or vqf"), "{message}");
}
