//! Poses of a running lesson, and a past one played again.

use peakorder_tests::test_server::{Event, TestServer};
use serde_json::Value;
use std::collections::BTreeMap;

/// What a lesson tells. A live lesson takes records in batches and assesses swings beside the
/// recording, so the three parts may be interleaved in any way, and an assessment that is
/// overtaken by the next baseline swing is not sent.
#[derive(Debug, PartialEq)]
struct Told {
    doing: Vec<Value>,
    events: Vec<(String, Value)>,
    /// The last assessment of each swing.
    extras: BTreeMap<u64, Value>,
}

/// The invented lesson's last swing.
const LAST: u64 = 26;

impl From<Vec<Event>> for Told {
    fn from(events: Vec<Event>) -> Self {
        let mut told = Self { doing: Vec::new(), events: Vec::new(), extras: BTreeMap::new() };
        for event in events {
            match event.name.as_str() {
                "doing" => told.doing.push(event.data),
                "swing_extra" => {
                    let (number, mut extra) = (event.data["number"].as_u64().unwrap(), event.data);
                    // Against the baseline the newest swing is told; which was the newest is a matter of time, but for the last.
                    if number != LAST {
                        extra["against"] = Value::Null;
                    }
                    told.extras.insert(number, extra);
                }
                "calibration" | "block" | "swing" | "mobility" | "session_ended" => {
                    told.events.push((event.name, event.data));
                }
                _ => {}
            }
        }
        told
    }
}

#[test]
fn a_played_session_tells_what_was_told_live() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let mut events = server.events("/api/v1/events");
    let session = server.lesson(&server.player("Somebody"));
    let live = Told::from(events.until("session_ended"));
    server.get(&format!("/api/v1/sessions/{session}/play?speed=0")).refused(422);
    server.get(&format!("/api/v1/sessions/{session}/play?from_s=-1")).refused(422);
    server.get("/api/v1/sessions/none/play").refused(404);
    let all = server.events(&format!("/api/v1/sessions/{session}/play?speed=64")).until("session_ended");
    assert_eq!(live.extras.len(), LAST as usize, "every swing is assessed");
    assert!(!live.extras[&LAST]["against"].as_array().unwrap().is_empty());
    assert_eq!(all[0].name, "hello");
    assert_eq!(all[0].data["played"], true);
    let poses: Vec<&Value> = all.iter().filter(|e| e.name == "pose").map(|e| &e.data).collect();
    assert!(poses.len() > 50, "{}", poses.len());
    let last = poses.last().unwrap();
    for segment in ["pelvis", "thorax"] {
        assert!(last["segments"][segment]["turn_deg"].is_f64(), "{last}");
    }
    assert!(last["segments"]["lead_arm"]["elevation_deg"].is_f64(), "{last}");
    assert_eq!(Told::from(all), live);
    // From the last block on: only what comes after it.
    let from_s = &live.events.iter().rfind(|(name, _)| name == "block").unwrap().1["t_s"];
    let late = server
        .events(&format!("/api/v1/sessions/{session}/play?speed=64&from_s={from_s}"))
        .until("session_ended");
    let numbers: Vec<u64> = late
        .iter()
        .filter(|e| e.name == "swing")
        .map(|e| e.data["swing"]["number"].as_u64().unwrap())
        .collect();
    assert_eq!(numbers, (19..=26).collect::<Vec<u64>>());
}

#[test]
fn poses_come_while_a_lesson_runs() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "8");
    let poses = server.events("/api/v1/pose");
    let session = server.lesson(&server.player("Somebody"));
    server.get(&format!("/api/v1/sessions/{session}/play")).refused(409);
    let mut before = 0.0;
    for pose in poses.take(60) {
        assert_eq!(pose.name, "pose");
        let t_s = pose.data["t_s"].as_f64().unwrap();
        assert!(t_s > before, "{t_s} after {before}");
        before = t_s;
        assert!(pose.data["segments"]["pelvis"]["speed_dps"].as_f64().unwrap() >= 0.0);
    }
}
