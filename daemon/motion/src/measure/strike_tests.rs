//! A swing whose arm strap lost samples where a strike could have been is neither strike nor rehearsal.

use crate::pipeline::{Output, Pipeline};
use peakorder_protocol::Role;
use peakorder_protocol::log::Record;
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::{Evidence, Swing, SwingKind};
use peakorder_virtual_straps::{
    LinkModel, PlayerParams, Population, PracticeOptions, Script, StrapOptions, SwingStyle, SwingTruth,
    virtual_session,
};

/// Each swing with its truth, of `script` without the arm's packets that `lost` picks by their time of arrival.
fn swings(script: Script, lost: impl Fn(f64, &[SwingTruth]) -> bool) -> Vec<(SwingTruth, Swing)> {
    let meta = virtual_session(&script, "strike", Player::default(), "2026-01-01T00:00:00Z");
    let session = script.session();
    let truth = session.truth();
    let mut pipeline = Pipeline::new(&meta).expect("a valid session");
    let mut out = Vec::new();
    for record in session.records() {
        let gone = match &record {
            Record::Arrival(a) => a.role == Role::LeadArm && lost(a.t_ns as f64 * 1e-9, &truth),
            _ => false,
        };
        if !gone {
            pipeline.push(&record, &mut out);
        }
    }
    pipeline.finish(&mut out);
    let mut found = out.into_iter().filter_map(|o| if let Output::Swing(s, _) = o { Some(*s) } else { None });
    let mut pairs = Vec::new();
    for truth in truth {
        let near = |s: &Swing| (s.events.impact.t_s - truth.impact_s).abs() < 0.3;
        let swing = found.find(near).unwrap_or_else(|| panic!("swing {} is missed", truth.number));
        pairs.push((truth, swing));
    }
    pairs
}

/// A practice in which nothing is lost by itself.
fn practice(style: SwingStyle) -> Script {
    let options = PracticeOptions { styles: vec![(style, 1.0)], ..PracticeOptions::default() };
    let player = PlayerParams::drawn_from(Population::Amateur, 6);
    let link = LinkModel { fail: 0.0, bursts_per_min: 0.0, drop: 0.0, ..LinkModel::normal() };
    Script::practice(6, player, 8, &options).with_straps(StrapOptions { link, ..StrapOptions::default() })
}

/// Packets that arrive in a hole of that length, s, which begins 60 ms before impact in swing 1, 45 ms in 2, and so on.
/// A packet holds 19 ms and arrives some 20 ms later at most.
fn in_hole(length_s: f64) -> impl Fn(f64, &[SwingTruth]) -> bool {
    move |t_s, truth| {
        truth.iter().any(|s| {
            let from_s = s.impact_s - 0.06 + 0.015 * f64::from(s.number - 1);
            (from_s..from_s + length_s).contains(&t_s)
        })
    }
}

#[test]
fn with_nothing_lost_an_arm_strap_tells() {
    for (style, kind, evidence) in [
        (SwingStyle::Full, SwingKind::Strike, Evidence::ArmShock),
        (SwingStyle::Rehearsal, SwingKind::Rehearsal, Evidence::None),
    ] {
        for (_, swing) in swings(practice(style), |_, _| false) {
            assert_eq!(
                (swing.kind, swing.events.impact.evidence),
                (kind, evidence),
                "swing {}",
                swing.number
            );
        }
    }
}

#[test]
fn a_rehearsal_with_a_hole_near_impact_is_unsure() {
    for (truth, swing) in swings(practice(SwingStyle::Rehearsal), in_hole(0.03)) {
        assert!(!truth.strike);
        assert!(swing.quality.lost_samples > 0, "swing {}", swing.number);
        assert_eq!(swing.kind, SwingKind::Unsure, "swing {}", swing.number);
        assert_eq!(swing.events.impact.evidence, Evidence::Estimated);
    }
}

/// A strike rings on for some 50 ms, so that a hole of five packets hides some and not others.
#[test]
fn a_strike_with_a_hole_near_impact_is_a_strike_or_unsure() {
    let pairs = swings(practice(SwingStyle::Full), in_hole(0.09));
    let unsure = pairs.iter().filter(|(_, s)| s.kind == SwingKind::Unsure).count();
    println!("{unsure} of {} strikes are unsure", pairs.len());
    for (_, swing) in &pairs {
        assert!(swing.quality.lost_samples > 0, "swing {}", swing.number);
        assert_ne!(swing.kind, SwingKind::Rehearsal, "swing {}", swing.number);
    }
    assert!((1..pairs.len()).contains(&unsure), "{unsure}");
}

/// A hole that begins before impact and outlasts the time in which a strike is looked for.
#[test]
fn a_long_hole_from_before_impact_on_leaves_it_unsure() {
    for style in [SwingStyle::Full, SwingStyle::Rehearsal] {
        let long = |t: f64, truth: &[SwingTruth]| {
            truth.iter().any(|s| (s.impact_s - 0.03..s.impact_s + 0.3).contains(&t))
        };
        for (_, swing) in swings(practice(style), long) {
            let told = (swing.kind, swing.events.impact.evidence);
            assert_eq!(told, (SwingKind::Unsure, Evidence::Estimated), "{style:?}, swing {}", swing.number);
        }
    }
}

/// The strap falls silent shortly before impact and is not heard for the rest of the swing: the other straps are left,
/// and feel a strike or tell nothing.
#[test]
fn a_strap_that_falls_silent_before_impact_tells_nothing() {
    let silent = |t: f64, truth: &[SwingTruth]| {
        truth.iter().any(|s| (s.impact_s - 0.05..s.impact_s + 2.5).contains(&t))
    };
    for (_, swing) in swings(practice(SwingStyle::Rehearsal), silent) {
        assert_eq!(swing.kind, SwingKind::Unsure, "swing {}", swing.number);
    }
    for (_, swing) in swings(practice(SwingStyle::Full), silent) {
        let told = (swing.kind, swing.events.impact.evidence);
        let possible = [(SwingKind::Strike, Evidence::TrunkShock), (SwingKind::Unsure, Evidence::Estimated)];
        assert!(possible.contains(&told), "swing {}: {told:?}", swing.number);
    }
}

/// The lesson that showed it: a rehearsal that had lost packets of the arm was counted as a strike.
#[test]
fn no_rehearsal_of_that_lesson_is_a_strike() {
    let pairs = swings(Script::lesson(24), |_, _| false);
    let rehearsals: Vec<SwingKind> = pairs.iter().filter(|p| !p.0.strike).map(|p| p.1.kind).collect();
    println!("{rehearsals:?}");
    assert_eq!(rehearsals.len(), 2);
    assert!(rehearsals.contains(&SwingKind::Unsure) && !rehearsals.contains(&SwingKind::Strike));
    assert!(pairs.iter().filter(|p| p.0.strike).all(|p| p.1.kind == SwingKind::Strike));
}
