//! Straps that are taken off and put on again through the whole chain: another wearing, calibrated anew.

use crate::pipeline::{Output, Pipeline};
use peakorder_protocol::Role;
use peakorder_protocol::calibration::JudgedStep;
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::{Reason, Swing, Withholding};
use peakorder_virtual_straps::{
    PlayerParams, Population, PracticeOptions, Script, SwingTruth, virtual_session,
};

const A_WEARING: u32 = 8;

struct Seen {
    swings: Vec<Swing>,
    truth: Vec<SwingTruth>,
    put_on: Vec<(f64, u32)>,
    steps: Vec<JudgedStep>,
}

/// Two wearings of eight swings each; `keep` says which marks after the straps were put on again are made.
fn seen(seed: u64, keep: impl Fn(MarkKind) -> bool) -> Seen {
    let options = PracticeOptions { wear_again_after: Some(A_WEARING), ..PracticeOptions::default() };
    let player = PlayerParams::drawn_from(Population::Amateur, 3);
    let script = Script::practice(seed, player, 2 * A_WEARING, &options);
    let handedness = script.player().handedness;
    let meta = virtual_session(
        &script,
        "wearing",
        Player { handedness, ..Player::default() },
        "2026-01-01T00:00:00Z",
    );
    let session = script.session();
    let again_ns = session.marks().iter().find(|m| m.kind == MarkKind::ReWear).expect("put on again").t_ns;
    let mut pipeline = Pipeline::new(&meta).expect("a valid session");
    let mut out = Vec::new();
    for record in session.records() {
        let made = match &record {
            Record::Mark(mark) => mark.t_ns <= again_ns || keep(mark.kind),
            _ => true,
        };
        if made {
            pipeline.push(&record, &mut out);
        }
    }
    pipeline.finish(&mut out);
    let mut seen = Seen { swings: Vec::new(), truth: session.truth(), put_on: Vec::new(), steps: Vec::new() };
    for output in out {
        match output {
            Output::Swing(swing, _) => seen.swings.push(*swing),
            Output::Wearing { t_s, wearing } => seen.put_on.push((t_s, wearing)),
            Output::Calibration(judged) => seen.steps.push(judged),
            _ => {}
        }
    }
    seen
}

fn withheld(swing: &Swing, role: Role) -> Option<Reason> {
    swing.quality.withheld.iter().find(|w| w.what == Withholding::Angles(role)).map(|w| w.why)
}

#[test]
fn swings_name_their_wearing_and_turns_are_right_in_both() {
    // Some seats are upside down or on another side: nothing of the first wearing fits the second.
    for seed in [21, 22, 23] {
        let seen = seen(seed, |_| true);
        assert_eq!(seen.put_on.iter().map(|p| p.1).collect::<Vec<_>>(), [1]);
        let passed = |after: bool| {
            seen.steps.iter().filter(|s| s.passed() && (s.t_s > seen.put_on[0].0) == after).count()
        };
        assert_eq!((passed(false), passed(true)), (6, 6), "{:?}", seen.steps);
        assert_eq!(seen.swings.len(), 2 * A_WEARING as usize, "seed {seed}");
        for (swing, truth) in seen.swings.iter().zip(&seen.truth) {
            assert_eq!(swing.wearing, u32::from(truth.number > A_WEARING), "swing {}", truth.number);
            for role in [Role::Pelvis, Role::Thorax] {
                assert_eq!(withheld(swing, role), None, "seed {seed}, swing {}", swing.number);
                let turn = swing.segments[&role].turn_deg.expect("calibrated");
                let off = turn.top - truth.segments[&role].turn_deg.top;
                assert!(off.abs() < 3.0 * turn.sd, "seed {seed}, swing {}, {role}: {off:.1}", swing.number);
            }
        }
    }
}

#[test]
fn a_wearing_that_was_not_calibrated_has_no_angles() {
    let seen = seen(21, |_| false);
    let (first, second): (Vec<&Swing>, Vec<&Swing>) = seen.swings.iter().partition(|s| s.wearing == 0);
    assert!(first.len() == A_WEARING as usize && second.len() >= A_WEARING as usize - 1);
    assert!(first.iter().all(|s| s.segments[&Role::Thorax].turn_deg.is_some()));
    for swing in second {
        assert_eq!(withheld(swing, Role::Thorax), Some(Reason::NotCalibrated), "swing {}", swing.number);
        assert!(swing.segments[&Role::Thorax].turn_deg.is_none());
    }
}

/// Files of sessions with one wearing are as they were.
#[test]
fn a_wearing_is_written_only_from_the_second_on() {
    let seen = seen(21, |_| true);
    let json = |i: usize| seen.swings[i].to_json().expect("finite numbers");
    assert!(!json(0).contains("\"wearing\":") && json(15).contains("\"wearing\": 1"));
    assert_eq!(Swing::from_json(&json(15)).expect("a swing").wearing, 1);
    assert_eq!(Swing::from_json(&json(0)).expect("a swing").wearing, 0);
}
