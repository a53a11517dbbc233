//! Pictures of before and after: which swings are drawn, as what, and that they say what was measured.

mod common;

use common::{AFTER, BASELINE, Centre, Dice, judges_nothing, session, swing, write};
use peakorder_analysis::chosen::Family;
use peakorder_analysis::compare::compare;
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::picture::{Layout, Movement, Part, Picture, Reason, Sides, picture};
use peakorder_protocol::Role;
use peakorder_protocol::remark::{Bound, ChosenMeasure, Target, What};
use peakorder_protocol::repetition::{
    KIND, Repetition, RepetitionAngle, RepetitionEvents, RepetitionKind, RepetitionSegment, RepetitionTempo,
};
use peakorder_protocol::swing::{Swing, SwingKind};
use std::collections::BTreeMap;

const KEY: &str = "pelvis_turn_top_deg";

/// Eight swings of a baseline, four of a drill without a ball, eight after.
fn lesson(whats: &[What]) -> (tempfile::TempDir, Loaded) {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let mut dice = Dice::new(5);
    let drill = Centre { turn_top: [-52.0, -90.0], ..BASELINE };
    let mut swings: Vec<Swing> = Vec::new();
    for (block, centre, count) in [("baseline", &BASELINE, 8), ("drill", &drill, 4), ("after", &AFTER, 8)] {
        for _ in 0..count {
            let number = swings.len() as u32 + 1;
            swings.push(swing(number, block, centre, &mut dice));
        }
    }
    for s in swings.iter_mut().filter(|s| s.block == "drill") {
        s.kind = SwingKind::Rehearsal;
    }
    write(keep.path(), &session(true), &swings);
    let loaded = load(&keep.path().display().to_string()).expect("a session");
    for what in whats {
        loaded.dir.remarks().append(1.0, what.clone()).expect("written");
    }
    let loaded = load(&keep.path().display().to_string()).expect("a session");
    (keep, loaded)
}

fn drawn(whole: &Loaded, layout: Layout) -> Picture {
    let (before, after) = (whole.only("baseline"), whole.only("after"));
    let compared = compare(&before, &after, &Family::of_remarks(&whole.remarks)).expect("two blocks");
    let sides = Sides { before: &before, also_before: &[], after: &after, whole };
    picture(&compared, sides, layout).expect("a picture")
}

fn meant() -> What {
    What::Chosen { measures: vec![ChosenMeasure { measure: KEY.into(), matters: None }] }
}

fn repetition(of: &Swing, number: u32, block: &str, pelvis_top: f64) -> Repetition {
    let angle = RepetitionAngle { top: pelvis_top, sd: 0.5, ..RepetitionAngle::default() };
    let pelvis = RepetitionSegment { turn_deg: Some(angle), ..RepetitionSegment::default() };
    Repetition {
        schema: of.schema.clone(),
        session: of.session.clone(),
        number,
        block: block.into(),
        wearing: 0,
        handedness: of.handedness,
        kind: RepetitionKind::Repetition,
        events: RepetitionEvents {
            takeaway: of.events.takeaway,
            top: of.events.top,
            through: None,
            finish: of.events.finish,
        },
        segments: BTreeMap::from([(Role::Pelvis, pelvis)]),
        separation: None,
        pelvis_share: None,
        tempo: RepetitionTempo {
            back_s: 1.0,
            back_sd_s: 0.01,
            hold_s: 0.5,
            hold_sway_deg: None,
            forward_s: 1.0,
            forward_sd_s: 0.01,
        },
        angle_order: of.angle_order.clone(),
        bone_prior: of.bone_prior.clone(),
        quality: of.quality.clone(),
    }
}

#[test]
fn the_drill_stands_between_and_its_swings_without_a_ball_are_told_apart() {
    let (_keep, whole) = lesson(&[meant()]);
    let p = drawn(&whole, Layout::Screen(1200.0));
    assert_eq!(p.reason, Reason::Lesson);
    let shown = &p.shown[0];
    assert_eq!(shown.measure, Measure::TurnAtTop(Role::Pelvis));
    let parts: Vec<(Part, usize)> = shown.columns.iter().map(|c| (c.part, c.dots.len())).collect();
    assert_eq!(parts, [(Part::Before, 8), (Part::Between, 4), (Part::After, 8)]);
    for column in &shown.columns {
        let kind = if column.part == Part::Between { Movement::WithoutBall } else { Movement::Swing };
        assert!(column.dots.iter().all(|d| d.movement == kind), "{column:?}");
        let mean = column.dots.iter().map(|d| d.value).sum::<f64>() / column.dots.len() as f64;
        assert!((column.mean - mean).abs() < 1e-9);
        for dot in &column.dots {
            let swing = whole.swings.iter().find(|s| s.number == dot.number).expect("a swing");
            assert!(
                (swing.segments[&Role::Pelvis].turn_deg.expect("measured").top - dot.value).abs() < 1e-12
            );
        }
    }
    assert!(shown.figure.note.contains("Triangles pointing up: swings without a ball."));
    assert_eq!(shown.figure.svg.matches("data-swing").count(), 20);
    judges_nothing(&format!("{} {} {:?} {}", shown.headline, shown.detail, p.sentences, p.sure));
}

#[test]
fn repetitions_of_a_drill_are_drawn_as_such_even_in_a_block_of_their_own() {
    let (_keep, mut whole) = lesson(&[meant()]);
    assert_eq!(KIND, "repetition");
    // A block of nothing else, between drill and after by its numbers.
    for s in whole.swings.iter_mut().filter(|s| s.block == "after") {
        s.number += 10;
    }
    let like = whole.swings[0].clone();
    whole.repetitions = (13..18).map(|n| repetition(&like, n, "pivots", -50.0 - f64::from(n))).collect();
    let p = drawn(&whole, Layout::Screen(400.0));
    let pivots = p.shown[0].columns.iter().find(|c| c.title == "pivots").expect("a column of their own");
    assert_eq!((pivots.part, pivots.dots.len()), (Part::Between, 5));
    assert!(pivots.dots.iter().all(|d| d.movement == Movement::Repetition));
    assert!((pivots.mean + 65.0).abs() < 1e-9, "{}", pivots.mean);
    assert!(p.shown[0].figure.note.contains("Triangles pointing down: repetitions of the drill"));
    // What a repetition does not have is not drawn of it.
    let speed = What::Chosen {
        measures: vec![ChosenMeasure { measure: "pelvis_peak_speed_dps".into(), matters: None }],
    };
    whole.dir.remarks().append(2.0, speed).expect("written");
    whole.remarks = whole.dir.remarks().read().expect("remarks").fold();
    let p = drawn(&whole, Layout::Screen(400.0));
    assert!(p.shown[0].columns.iter().all(|c| c.title != "pivots"));
}

#[test]
fn a_target_is_a_line_and_a_reason() {
    let target = Target {
        measure: KEY.into(),
        bound: Bound::AtMost,
        value: -50.0,
        margin: 2.0,
        block: String::new(),
        baseline_mean: None,
        words: "pelvis turn at top at least 50°".into(),
    };
    let (_keep, whole) = lesson(&[What::Target { target: Some(target) }]);
    let p = drawn(&whole, Layout::Sheet);
    assert_eq!(p.reason, Reason::Target);
    assert!(p.shown[0].figure.svg.contains("target 50°"));
    assert_eq!(p.shown[0].figure.lines[0].words, "Target: pelvis turn at top at least 50°.");
}

#[test]
fn the_first_picture_of_the_body_is_the_one_that_shows_the_measure() {
    let first = |key: &str| {
        let chosen = What::Chosen { measures: vec![ChosenMeasure { measure: key.into(), matters: None }] };
        let (_keep, whole) = lesson(&[chosen]);
        drawn(&whole, Layout::Screen(900.0)).figures.first().map(|f| f.key)
    };
    assert_eq!(first("thorax_turn_top_deg"), Some("above"));
    assert_eq!(first("thorax_lateral_tilt_top_deg"), Some("views"));
    let (_keep, whole) = lesson(&[]);
    assert_eq!(drawn(&whole, Layout::Screen(900.0)).reason, Reason::Largest);
}

#[test]
fn every_drawing_is_well_formed_and_takes_its_colours_from_the_style() {
    let (_keep, whole) = lesson(&[meant()]);
    for width in [240.0, 390.0, 700.0, 1300.0] {
        let p = drawn(&whole, Layout::Screen(width));
        for figure in p.shown.iter().map(|s| &s.figure).chain(&p.figures) {
            let svg = &figure.svg;
            assert!(svg.starts_with("<svg") && svg.ends_with("</svg>") && svg.contains("<desc"), "{svg}");
            assert!(!svg.contains("NaN") && !svg.contains("inf") && !svg.contains("fill=\"#"), "{svg}");
            let drawn: f64 = svg
                .split_once("width=\"")
                .and_then(|(_, t)| t.split('"').next()?.parse().ok())
                .expect("a width");
            assert!(drawn <= width, "{} of {width}: {drawn}", figure.key);
        }
    }
}
