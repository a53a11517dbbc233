//! Checks of sessions with virtual straps, marks and radio and all, against their truth.

use crate::motion::pipeline::{Output, Pipeline};
use crate::source::virtual_session::virtual_session;
use crate::virtual_straps::Script;
use nalgebra::UnitQuaternion;
use peakorder_protocol::Role;
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::mobility::{MobilityCheck, Posture, REPETITIONS, Side};
use peakorder_protocol::session::Player;

/// Axial angle of Y–X–Z, deg: third column of the matrix, Wu 2005 axes (own formula of the
/// test, not the estimator's).
fn axial_deg(q: &UnitQuaternion<f64>) -> f64 {
    let z = q * nalgebra::Vector3::z();
    z.x.atan2(z.z).to_degrees()
}

fn wrapped(deg: f64) -> f64 {
    deg - 360.0 * (deg / 360.0).round()
}

/// Checks of a lesson, and how many swings were called within their marks.
fn checks_of(seed: u64) -> (Script, Vec<MobilityCheck>, usize) {
    let script = Script::lesson(seed);
    let p = script.player();
    let player = Player { name: p.name.clone(), handedness: p.handedness, ..Player::default() };
    let session = virtual_session(&script, "lesson", player, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&session).expect("virtual straps");
    let records = script.clone().session();
    let last_end_ns = records.marks().iter().filter(|m| m.kind == MarkKind::TurnEnd).map(|m| m.t_ns).max();
    let until_ns = last_end_ns.expect("the lesson has turns") + 5_000_000_000;
    let mut out = Vec::new();
    for record in records.records().take_while(|r: &Record| r.t_ns() < until_ns) {
        pipeline.push(&record, &mut out);
    }
    let checks: Vec<MobilityCheck> = out
        .iter()
        .filter_map(|o| match o {
            Output::Mobility(check) => Some(MobilityCheck::clone(check)),
            _ => None,
        })
        .collect();
    let within = |t_s: f64| checks.iter().any(|c| (c.start_s..=c.end_s).contains(&t_s));
    let swings = out
        .iter()
        .filter(|o| match o {
            Output::Swing(swing, _) => within(swing.events.impact.t_s),
            Output::NotASwing { t_s, .. } => within(*t_s),
            _ => false,
        })
        .count();
    (script, checks, swings)
}

#[test]
fn the_lessons_turns_are_measured_and_no_swing_is_seen_in_them() {
    for seed in 1..=4 {
        let (script, checks, swings) = checks_of(seed);
        assert_eq!(swings, 0, "seed {seed}");
        let postures: Vec<_> = checks.iter().map(|c| c.posture).collect();
        assert_eq!(postures, [Some(Posture::Seated), Some(Posture::Standing)], "seed {seed}");
        let truth = script.session();
        for check in &checks {
            let angle = |role, t: f64| axial_deg(&truth.sample_truth(role, t).orientation);
            for side in Side::ALL {
                let turns = check.side(side).unwrap_or_else(|| panic!("seed {seed}: {:?}", check.repeat));
                let short = format!("{} of {REPETITIONS} turns to the {side}", turns.repetitions.len());
                let said = check.repeat.iter().any(|r| r.contains(&short));
                assert_eq!(said, turns.repetitions.len() < REPETITIONS, "seed {seed}: {:?}", check.repeat);
                for r in &turns.repetitions {
                    for (role, got, sd) in [
                        (Role::Thorax, r.thorax_deg, r.thorax_sd_deg),
                        (Role::Pelvis, r.pelvis_deg.expect("pelvis"), r.pelvis_sd_deg.expect("pelvis")),
                    ] {
                        // The hold after the start mark is the start position.
                        let want =
                            side.sign() * wrapped(angle(role, r.t_s) - angle(role, check.start_s + 0.6));
                        let error = (got - want).abs();
                        assert!(
                            error < 2.0 && error < 3.0 * sd,
                            "seed {seed} {role} {side}: {got} ± {sd}, truth {want}"
                        );
                    }
                }
            }
            let share = check.left.as_ref().and_then(|l| l.pelvis_share).expect("share").share;
            match check.posture {
                Some(Posture::Seated) => assert!(share < 0.15, "{share}"),
                _ => assert!((0.3..0.7).contains(&share), "{share}"),
            }
        }
    }
}

#[test]
fn a_forgotten_end_does_not_hold_up_the_session() {
    let script = Script::lesson(5);
    let p = script.player();
    let player = Player { name: p.name.clone(), handedness: p.handedness, ..Player::default() };
    let session = virtual_session(&script, "lesson", player, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&session).expect("virtual straps");
    let mut out = Vec::new();
    let forgot =
        |r: &Record| !matches!(r, Record::Mark(m) if m.kind == MarkKind::TurnEnd || m.detail == "standing");
    for record in script.session().records().filter(forgot).take_while(|r| r.t_ns() < 330_000_000_000) {
        pipeline.push(&record, &mut out);
    }
    let position = |f: &dyn Fn(&Output) -> bool| out.iter().position(f);
    let check = position(
        &|o| matches!(o, Output::Mobility(c) if c.repeat.iter().any(|r| r.contains("turn-end mark"))),
    );
    let swing = position(&|o| matches!(o, Output::Swing(..)));
    assert!(check.is_some() && swing.is_some() && check < swing, "{check:?} {swing:?}");
}
