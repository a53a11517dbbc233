//! Checks through the whole pipeline: virtual straps with marks and radio and all, and known
//! turns as another logger's samples.

use super::tests::{Scene, assert_recovered, ramp, three_each};
use crate::pipeline::{Output, Pipeline};
use nalgebra::UnitQuaternion;
use peakorder_protocol::log::{Arrival, Mark, MarkKind, Record};
use peakorder_protocol::mobility::{MobilityCheck, NotAsAsked, Posture, REPETITIONS, Side};
use peakorder_protocol::packet::common_clock;
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::{Player, Session};
use peakorder_protocol::{Handedness, Role};
use peakorder_virtual_straps::Script;
use peakorder_virtual_straps::virtual_session;

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
                let seen = turns.repetitions.len() as u32;
                let said = check.repeat.contains(&NotAsAsked::TooFewTurns { side, seen });
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
    let check =
        position(&|o| matches!(o, Output::Mobility(c) if c.repeat.contains(&NotAsAsked::EndNotMarked)));
    let swing = position(&|o| matches!(o, Output::Swing(..)));
    assert!(check.is_some() && swing.is_some() && check < swing, "{check:?} {swing:?}");
}

/// Session time at which the turns begin: still, two bows and a rest come before.
const TURNS_S: f64 = 18.0;

/// The scene after a calibration, as records of another logger's straps on a common clock.
fn records(scene: &Scene) -> Vec<Record> {
    let mut records = Vec::new();
    let mut end_s = 0.0;
    for (i, role) in [Role::Thorax, Role::Pelvis].into_iter().enumerate() {
        let knots = scene.knots(i);
        end_s = TURNS_S + knots.last().expect("knots").0;
        let samples = scene.sensor(i, end_s + 1.0, |t| {
            let bow_deg = if (6.0..14.0).contains(&t) {
                20.0 * (1.0 - ((t - 6.0) * std::f64::consts::FRAC_PI_2).cos())
            } else {
                0.0
            };
            let bow =
                UnitQuaternion::from_axis_angle(&nalgebra::Vector3::z_axis(), -f64::to_radians(bow_deg));
            let turned = scene.orientation(i, &knots, (t - TURNS_S).max(0.0));
            bow.slerp(&turned, ramp(1.0 - (TURNS_S - t) / 2.0))
        });
        let packed: Vec<common_clock::Sample> = (0..samples.t_s.len())
            .map(|k| common_clock::Sample {
                t_ns: (samples.t_s[k] * 1e9) as i64,
                gyro_rad_s: samples.gyro[k].map(|v| v as f32).into(),
                acc_m_s2: samples.acc[k].map(|v| v as f32).into(),
            })
            .collect();
        records.extend(packed.chunks(8).map(|chunk| {
            let t_ns = chunk.last().map_or(0, |s| s.t_ns as u64) + 30_000_000;
            Record::Arrival(Arrival { t_ns, role, channel: 0, bytes: common_clock::encode(chunk) })
        }));
    }
    let marks = [
        (1.0, MarkKind::StillStart, ""),
        (5.5, MarkKind::StillEnd, ""),
        (6.0, MarkKind::BowStart, ""),
        (14.0, MarkKind::BowEnd, ""),
        (TURNS_S, MarkKind::TurnStart, "Seated "),
        (end_s, MarkKind::TurnEnd, ""),
    ];
    records.extend(
        marks.map(|(t, kind, detail)| {
            Record::Mark(Mark { t_ns: (t * 1e9) as u64, kind, detail: detail.into() })
        }),
    );
    records.sort_by_key(Record::t_ns);
    records
}

fn imported(handedness: Handedness) -> Session {
    let profile = Profile::builtin(common_clock::PROFILE_ID).expect("built in");
    let strap =
        serde_json::json!({"name": "imported", "profile": common_clock::PROFILE_ID, "profile_toml": profile});
    serde_json::from_value(serde_json::json!({
        "format": peakorder_protocol::session::FORMAT, "id": "a", "started_utc": "2026-01-01T00:00:00Z", "zone": "UTC",
        "recorded_by": "", "computed_by": "", "source": "import",
        "player": {"name": "", "handedness": handedness},
        "straps": {"pelvis": strap, "thorax": strap},
    }))
    .expect("a session's fields")
}

/// Three each take longer than a strap's ring of samples keeps (30 s).
#[test]
fn three_known_turns_to_each_side_go_through_the_whole_pipeline() {
    let scene = Scene {
        plans: three_each([50.0, 53.0, 48.0], [41.0, 44.0, 45.0], 0.05),
        bias_dps: nalgebra::Vector3::new(0.2, -0.3, 0.5),
        lean_deg: 2.0,
        hold_first_s: 6.0,
        ..Scene::default()
    };
    let records = records(&scene);
    let run = |handedness| {
        let mut pipeline = Pipeline::new(&imported(handedness)).expect("two straps");
        let mut out = Vec::new();
        for record in &records {
            pipeline.push(record, &mut out);
        }
        pipeline.finish(&mut out);
        out
    };
    let out = run(Handedness::Right);
    let check =
        out.iter().find_map(|o| if let Output::Mobility(c) = o { Some(c) } else { None }).expect("a check");
    assert!(check.end_s - check.start_s > 30.0);
    assert!(check.ok, "{:?}", check.repeat);
    assert_eq!((check.number, check.posture), (1, Some(Posture::Seated)));
    assert_recovered(&scene, check, 1.5, "pipeline");
    assert!(!out.iter().any(|o| matches!(o, Output::Swing(..))));
    // The same records give the same check, to the digit.
    let again = run(Handedness::Right);
    assert!(again.iter().any(|o| matches!(o, Output::Mobility(c) if c == check)));
}
