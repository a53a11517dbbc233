//! Round trip: what is exported for import and imported again gives the same swings.

use crate::fixture::{lesson, paths};
use peakorder_analysis::codes::Codes;
use peakorder_analysis::export::{ExportError, Kind, Wanted, export};
use peakorder_daemon::engine::{Engine, Recording};
use peakorder_daemon::source::import::{Import, SampleFile, read_marks};
use peakorder_protocol::packet::common_clock;
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::{Player, Session, SessionDir, SourceKind, Strap};
use peakorder_protocol::{Handedness, Role};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;

/// Imports the files in `from` as `peakorderd import` does.
fn imported(from: &Path, into: &Path, like: &Session) -> SessionDir {
    let name = |role: Role| from.join(format!("{}.csv", role.key().replace('_', "-")));
    let files: Vec<SampleFile> = Role::ALL.map(|role| SampleFile::open(role, &name(role)).unwrap()).into();
    let marks = read_marks(&from.join("marks.csv")).unwrap();
    let import = Import::new(files, marks);
    assert_eq!(import.shift_s(), 0.0, "session times stay");
    let profile = Profile::builtin(common_clock::PROFILE_ID).unwrap();
    let strap = Strap {
        name: "imported".into(),
        profile: common_clock::PROFILE_ID.into(),
        profile_toml: profile.into(),
        latency_ms: 0.0,
        latency_sd_ms: None,
        interval_ms: None,
    };
    let session = Session {
        source: SourceKind::Import,
        straps: Role::ALL.map(|role| (role, strap.clone())).into(),
        player: Player { handedness: like.player.handedness, ..Player::default() },
        calibration: Vec::new(),
        ..like.clone()
    };
    let dir = SessionDir::create(into, false).unwrap();
    let mut engine = Engine::new(dir, session, Recording::Unpaced).unwrap();
    for record in import {
        engine.push(&[record]);
    }
    engine.finish().unwrap().0
}

/// Largest differences of numbers, by kind of number.
#[derive(Default)]
struct Differences {
    by_kind: BTreeMap<&'static str, (f64, String)>,
}

impl Differences {
    fn number(&mut self, path: &str, difference: f64) {
        let unit = |ends: &[&str]| ends.iter().any(|e| path.contains(e));
        let kind = if unit(&["sd", "band", "within_2pct"]) {
            // How well something is known depends on the clock, which an import need not estimate.
            return;
        } else if path.starts_with("repetition") && unit(&["/t_s", "/tempo/"]) {
            "turning points of repetitions, s"
        } else if unit(&["heading_deg"]) {
            "heading of the arm, deg"
        } else if unit(&["/t_s"]) {
            "time, s"
        } else if unit(&["_ms"]) {
            "peaks and gaps, ms"
        } else if unit(&["turn_deg"]) {
            "turns, deg"
        } else if unit(&["_deg"]) {
            "other angles, deg"
        } else if unit(&["_dps"]) {
            "speeds, deg/s"
        } else if unit(&["_cm"]) {
            "hips, cm"
        } else {
            "other"
        };
        let most = self.by_kind.entry(kind).or_default();
        if difference >= most.0 {
            *most = (difference, path.to_owned());
        }
    }

    fn compare(&mut self, path: &str, a: &Value, b: &Value) {
        match (a, b) {
            (Value::Object(a), Value::Object(b)) => {
                let keys = |m: &serde_json::Map<String, Value>| m.keys().cloned().collect::<Vec<_>>();
                assert_eq!(keys(a), keys(b), "{path}");
                for (key, value) in a.iter().filter(|(key, _)| *key != "crc32c") {
                    self.compare(&format!("{path}/{key}"), value, &b[key]);
                }
            }
            (Value::Array(a), Value::Array(b)) => {
                assert_eq!(a.len(), b.len(), "{path}");
                for (i, (a, b)) in a.iter().zip(b).enumerate() {
                    self.compare(&format!("{path}/{i}"), a, b);
                }
            }
            (Value::Number(a), Value::Number(b)) => {
                self.number(path, (a.as_f64().unwrap() - b.as_f64().unwrap()).abs());
            }
            _ => assert_eq!(a, b, "{path}"),
        }
    }
}

fn numbered(dir: &SessionDir) -> Vec<Value> {
    let numbers = dir.swing_numbers().unwrap();
    let read = |n: &u32| serde_json::from_slice(&std::fs::read(dir.swing_path(*n)).unwrap()).unwrap();
    numbers.iter().map(read).collect()
}

#[test]
fn what_is_exported_for_import_gives_the_same_swings() {
    let folder = tempfile::tempdir().unwrap();
    for handedness in [Handedness::Right, Handedness::Left] {
        let dir = lesson(folder.path(), handedness).dir;
        let session = SessionDir::open(dir.path()).unwrap().1;
        let into = folder.path().join(format!("{}-files", handedness.key()));
        let codes = Codes::fresh().unwrap();
        let sessions = paths(&[&dir]);
        let wanted = Wanted {
            sessions: &sessions,
            into: &into,
            kind: Kind::ForImport,
            only: &[],
            codes: &codes,
            names: true,
        };
        let done = export(&wanted).unwrap();
        assert!(done.import.unwrap().contains("--lead-arm "));
        let again = imported(&into, &folder.path().join(format!("{}-again", handedness.key())), &session);
        let (was, is) = (numbered(&dir), numbered(&again));
        assert_eq!(was.len(), is.len(), "as many swings and repetitions");
        assert!(was.len() >= 6, "{}", was.len());
        let mut differences = Differences::default();
        for (mut a, mut b) in was.into_iter().zip(is) {
            for swing in [&mut a, &mut b] {
                // Labels are those in force; a remark renamed one.
                swing.as_object_mut().unwrap().remove("block");
            }
            let kind = a["kind"].as_str().unwrap().to_owned();
            differences.compare(&format!("{kind} {}", a["number"]), &a, &b);
        }
        println!("{}: {:#?}", handedness.key(), differences.by_kind);
        let most = |kind: &str| differences.by_kind[kind].0;
        assert!(most("time, s") < 0.1e-3);
        // Where a trunk is furthest is read off its samples, which are 4.8 ms apart: of a flat top the neighbour may win.
        assert!(most("turning points of repetitions, s") < 1.05 / 208.0);
        assert!(most("peaks and gaps, ms") < 0.1);
        assert!(most("turns, deg") < 0.1);
        assert!(most("other angles, deg") < 0.1);
        assert!(most("speeds, deg/s") < 1.0);
        assert!(most("hips, cm") < 0.3);
    }
}

#[test]
fn files_for_import_are_of_one_session() {
    let folder = tempfile::tempdir().unwrap();
    let (a, b) = (lesson(folder.path(), Handedness::Right).dir, lesson(folder.path(), Handedness::Left).dir);
    let (codes, sessions) = (Codes::fresh().unwrap(), paths(&[&a, &b]));
    let into = folder.path().join("out");
    let wanted = Wanted {
        sessions: &sessions,
        into: &into,
        kind: Kind::ForImport,
        only: &[],
        codes: &codes,
        names: false,
    };
    assert!(matches!(export(&wanted), Err(ExportError::SeveralForImport(2))));
    assert!(!into.exists());
}
