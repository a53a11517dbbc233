//! The trunk of a real golf swing turns back and through as in a drill of the pivot. Marked as a drill, with straps on pelvis
//! and thorax alone, every swing is a repetition, and its turns are those that the optical laboratory saw.

use super::{Errors, HALF, NO_ARM_DRILL, SESSIONS, data, session};
use peakorder_protocol::Role;
use peakorder_protocol::repetition::{Numbered, Repetition};
use peakorder_protocol::session::SessionDir;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// The marks of a session with a drill in place of its blocks, from the end of the calibration on.
pub(super) fn as_drill(marks: &Path, folder: &Path) -> PathBuf {
    let text = std::fs::read_to_string(marks).unwrap();
    let (header, rows) = text.split_once('\n').unwrap();
    let time = |row: &&str| row.split(',').next().unwrap().parse::<f64>().unwrap();
    let kept: Vec<&str> = rows.lines().filter(|row| row.split(',').nth(1) != Some("block")).collect();
    let calibrated = kept.iter().filter(|row| row.contains("-end")).map(time).fold(0.0, f64::max);
    let (before, after): (Vec<&str>, Vec<&str>) = kept.iter().partition(|row| time(row) <= calibrated);
    let drill = format!("{},drill,pivot", calibrated + 0.1);
    let all = [vec![header], before, vec![&drill], after].concat().join("\n");
    let to = folder.join("marks-drill.csv");
    std::fs::write(&to, all + "\n").unwrap();
    to
}

fn repetitions(folder: &Path) -> Vec<Repetition> {
    let all = SessionDir::open(folder).unwrap().0.read_all().unwrap();
    all.into_iter()
        .map(|numbered| match numbered {
            Numbered::Repetition(repetition) => *repetition,
            Numbered::Swing(swing) => panic!("a swing in a drill: {swing:?}"),
        })
        .collect()
}

#[test]
fn real_trunks_that_turn_back_and_through_are_repetitions_with_the_turns_that_optics_saw() {
    let Some(data) = data() else { return };
    let (mut thorax, mut pelvis) = (Errors(Vec::new()), Errors(Vec::new()));
    for name in SESSIONS {
        let (_keep, folder) = session(&data, name, NO_ARM_DRILL, &[]);
        let found = repetitions(&folder);
        let text = std::fs::read_to_string(data.join("sessions").join(name).join("truth.json")).unwrap();
        let truth: Value = serde_json::from_str(&text).unwrap();
        let truth = truth["swings"].as_array().unwrap();
        assert_eq!(found.len(), truth.len(), "{name}: each once, and nothing else");
        for (truth, repetition) in truth.iter().zip(&found) {
            let top_s = truth["top_s"].as_f64().unwrap();
            let events = &repetition.events;
            assert!((events.takeaway.t_s..events.finish.t_s).contains(&top_s), "{name}, {}", truth["trial"]);
            assert!(events.through.is_some(), "a swing goes through");
            for (role, errors) in [(Role::Thorax, &mut thorax), (Role::Pelvis, &mut pelvis)] {
                let turn = repetition.segments[&role].turn_deg.expect("calibrated");
                let furthest = truth["segments"][role.key()]["turn_max_away"].as_f64().unwrap();
                errors.0.push((turn.top - furthest, HALF * turn.sd));
            }
        }
    }
    for (name, errors) in [("thorax", &thorax), ("pelvis", &pelvis)] {
        let n = errors.0.len() as f64;
        let rms = (errors.0.iter().map(|e| e.0 * e.0).sum::<f64>() / n).sqrt();
        println!(
            "{name} furthest back: RMS {rms:.2}\u{b0}, bands hold {:.0} % of {n}",
            errors.held() * 100.0
        );
        // What the project asks of turns.
        assert!(rms <= 1.5 && errors.held() >= 0.93, "{name}: {rms:.2}");
    }
}
