//! A swing against the baseline, the drill target, and what the coach leaves out.

mod common;

use common::{
    BASELINE, Dice, judges_nothing, rehearse, session, spoil, swing, two_blocks, without_turns, write,
};
use peakorder_analysis::against::{Against, AgainstVerdict, FEWEST, against_baseline};
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::compare::compare;
use peakorder_analysis::load::load;
use peakorder_analysis::measure::Measure;
use peakorder_analysis::render::{self, Extent, Style};
use peakorder_analysis::summary::{MeasureSummary, summarise, summarise_measure};
use peakorder_analysis::target::{AnswerKind, Tally, about, answer, default_margin, fixed};
use peakorder_analysis::{json, words};
use peakorder_protocol::Role;
use peakorder_protocol::remark::{Bound, Remarks, What};
use peakorder_protocol::swing::Swing;

/// Nothing is said of any swing.
fn said() -> Remarks {
    Remarks::default()
}

/// The lesson is about the pelvis turn only.
fn about_the_turn() -> Family {
    Family::Chosen(vec![Chosen::of(TURN)])
}

/// Swings whose only difference is the pelvis turn at the top.
fn turned(turns: &[f64]) -> Vec<Swing> {
    let one = swing(1, "baseline", &BASELINE, &mut Dice::new(3));
    let made = |(i, &turn): (usize, &f64)| {
        let mut s = one.clone();
        s.number = i as u32 + 1;
        s.segments.get_mut(&Role::Pelvis).expect("a pelvis").turn_deg.as_mut().expect("calibrated").top =
            turn;
        s
    };
    turns.iter().enumerate().map(made).collect()
}

/// Eight turns at the top, mean −35.0, SD 2.0. Were swings known not to depend on one another and not to drift, one further value would
/// lie within −40.0160 … −29.9840 (scipy 1.17, t.interval(0.95, 7, -35, 2·√(1 + 1/8))).
const EIGHT: [f64; 8] = [-35.0, -37.0, -33.0, -38.0, -32.0, -35.0, -36.0, -34.0];

fn of(rows: &[Against], m: Measure) -> &Against {
    rows.iter().find(|r| r.measure == m.key()).expect("that measure")
}

const TURN: Measure = Measure::TurnAtTop(Role::Pelvis);

fn turn_against(now: f64, baseline: &[f64]) -> Against {
    let mut swings = turned(baseline);
    let mut last = turned(&[now]).remove(0);
    last.number = 99;
    let refs: Vec<&Swing> = swings.iter_mut().map(|s| &*s).collect();
    of(&against_baseline(&last, &refs, &said(), &about_the_turn()), TURN).clone()
}

#[test]
fn the_band_allows_for_more_than_independent_swings() {
    let row = turn_against(-46.0, &EIGHT);
    let (low, high) = row.band.expect("eight swings");
    assert!((row.baseline_sd.expect("eight") - 2.0).abs() < 1e-9, "{row:?}");
    assert!(low < -40.016 && high > -29.984 && low > -44.0, "{low} {high}");
    assert!((low + high + 70.0).abs() < 1e-6, "about the mean");
    assert_eq!(row.verdict, AgainstVerdict::BeyondOrdinary);
    assert_eq!(
        row.words,
        "Pelvis turn at top 46° back, 11° more than your baseline (35° back ± 8°): more than your ordinary variation."
    );
    let inside = turn_against(-39.9, &EIGHT);
    assert_eq!(inside.verdict, AgainstVerdict::WithinOrdinary);
    assert!(inside.words.ends_with("within your ordinary variation."), "{}", inside.words);
}

#[test]
fn what_the_lesson_is_not_about_is_marked_only_when_grossly_beyond() {
    let judged = |turn: f64, family: &Family| {
        let baseline = turned(&EIGHT);
        let mut last = turned(&[turn]).remove(0);
        last.number = 99;
        let refs: Vec<&Swing> = baseline.iter().collect();
        of(&against_baseline(&last, &refs, &said(), family), TURN).clone()
    };
    let other = Family::Chosen(vec![Chosen::of(Measure::TurnAtTop(Role::Thorax))]);
    let row = judged(-44.0, &other);
    assert_eq!(row.verdict, AgainstVerdict::LookedThrough);
    assert!(row.words.ends_with("not one of the numbers that this lesson is about."), "{}", row.words);
    let row = judged(-90.0, &other);
    assert_eq!(row.verdict, AgainstVerdict::BeyondOrdinary);
    assert!(row.words.ends_with("far more than your ordinary variation."), "{}", row.words);
}

#[test]
fn too_little_is_said_to_be_too_little() {
    let row = turn_against(-60.0, &EIGHT[..FEWEST - 1]);
    assert_eq!((row.verdict, row.n, row.band), (AgainstVerdict::CannotTellYet, 4, None));
    assert!(row.words.contains("Can't tell yet: 4 of 5"), "{}", row.words);
    let row = turn_against(-60.0, &[-35.0; 8]);
    assert_eq!(row.verdict, AgainstVerdict::CannotTellYet, "no variation, nothing to judge by");
    let row = turn_against(-60.0, &[]);
    assert!(row.words.contains("no baseline"), "{}", row.words);
}

#[test]
fn what_does_not_count_is_no_baseline() {
    let mut swings = turned(&EIGHT);
    let now = swings[0].clone();
    swings[1] = rehearse(swings[1].clone());
    swings[2] = spoil(swings[2].clone());
    swings[3] = without_turns(swings[3].clone());
    for s in &mut swings[4..] {
        s.tempo.downswing_from = Role::Thorax;
    }
    let refs: Vec<&Swing> = swings.iter().collect();
    let rows = against_baseline(&now, &refs, &said(), &Family::All);
    // Itself, a rehearsal, an unusable one and one without turns: no turn is left but of
    // another definition.
    let row = of(&rows, TURN);
    assert_eq!((row.n, row.verdict), (0, AgainstVerdict::CannotTellYet));
    assert!(row.words.contains("another definition"), "{}", row.words);
    let missing = without_turns(turned(&[-40.0]).remove(0));
    let row = of(
        &against_baseline(&missing, &turned(&EIGHT).iter().collect::<Vec<_>>(), &said(), &Family::All),
        TURN,
    )
    .clone();
    assert!(row.words.contains("not measured in this swing") && row.value.is_none());
    // A rehearsal is never judged.
    let row = against_baseline(
        &rehearse(turned(&[-60.0]).remove(0)),
        &turned(&EIGHT).iter().collect::<Vec<_>>(),
        &said(),
        &Family::All,
    );
    assert!(row.iter().all(|r| r.verdict == AgainstVerdict::CannotTellYet));
}

/// Of ordinary swings no more than one in twenty lies outside the band, also where neighbours correlate by 0.4: 4000 further swings
/// after fresh baselines of eight, 200 expected at most; + 4 standard deviations of the binomial count. A band that
/// is never left would be of no use: at least one in two hundred is outside.
#[test]
fn the_band_covers_nineteen_of_twenty() {
    for correlation in [0.0, 0.4_f64] {
        let mut dice = Dice::new(11);
        let mut outside = 0;
        for _ in 0..4000 {
            let mut now = dice.normal();
            let draws: Vec<f64> = (0..9)
                .map(|_| {
                    let drawn = now;
                    now = correlation * now + (1.0 - correlation.powi(2)).sqrt() * dice.normal();
                    -35.0 + 2.0 * drawn
                })
                .collect();
            let (low, high) = turn_against(draws[8], &draws[..8]).band.expect("eight");
            outside += usize::from(draws[8] < low || draws[8] > high);
        }
        assert!((20..=200 + 55).contains(&outside), "{outside} of 4000 at {correlation}");
    }
}

#[test]
fn any_measure_can_be_said() {
    let swings = two_blocks();
    let baseline: Vec<&Swing> = swings.iter().filter(|s| s.block == "baseline").collect();
    for row in against_baseline(&swings[20], &baseline, &said(), &Family::All) {
        assert!(row.words.ends_with('.') && row.words.len() < 160, "{}", row.words);
        judges_nothing(&row.words);
        for bad in ["  ", "°°"] {
            assert!(!row.words.contains(bad), "{}", row.words);
        }
    }
}

fn baseline_of(measure: Measure, swings: &[Swing]) -> MeasureSummary {
    summarise_measure(measure, &swings.iter().collect::<Vec<_>>()).expect("measured")
}

#[test]
fn more_turn_is_further_back() {
    let baseline = baseline_of(TURN, &turned(&EIGHT));
    let target = about(TURN, &baseline, 8.0, Some(3.0), "drill").expect("a target");
    assert_eq!((target.bound, target.block.as_str()), (Bound::AtMost, "drill"));
    assert!((target.value + 43.0).abs() < 1e-9, "{}", target.value);
    assert_eq!(target.words, "pelvis turn at top: 43° back or more (baseline + 8°)");
    let less = about(TURN, &baseline, -5.0, None, "").expect("a target");
    assert_eq!(less.bound, Bound::AtLeast);
    assert!((less.value + 30.0).abs() < 1e-9);
    assert_eq!(less.words, "pelvis turn at top: 30° back or less (baseline − 5°)");
    // 1.96 × 1.4° of measuring uncertainty, in whole degrees.
    assert_eq!(default_margin(&baseline), 3.0);

    let say = |turn: f64| answer(&target, &turned(&[turn])[0]);
    for (turn, kind, spoken) in [
        (-44.0, AnswerKind::Met, "44 degrees back, met"),
        (-43.0, AnswerKind::Met, "43 degrees back, met"),
        (-42.7, AnswerKind::Nearly, "42.7 degrees back, nearly, 0.3 short"),
        (-41.0, AnswerKind::Nearly, "41 degrees back, nearly, 2 short"),
        (-36.0, AnswerKind::Not, "36 degrees back, not yet, 7 short"),
        (4.0, AnswerKind::Not, "4 degrees through, not yet, 47 short of 43 degrees back"),
    ] {
        let a = say(turn);
        assert_eq!((a.answer, a.spoken.as_str()), (kind, spoken));
    }
    let none = answer(&target, &without_turns(turned(&[-50.0]).remove(0)));
    assert_eq!((none.answer, none.value), (AnswerKind::NotMeasured, None));
    let tally = Tally::of([-44.0, -41.0, -36.0, -50.0].map(|t| say(t).answer));
    assert_eq!((tally.met, tally.nearly, tally.not, tally.measured()), (2, 1, 1, 4));
}

#[test]
fn targets_of_other_kinds() {
    let swings = two_blocks();
    let kept = Measure::SpeedKept(Role::Pelvis);
    let target = fixed(kept, 60.0, true, None, None, "").expect("a target");
    assert_eq!((target.bound, target.value, target.margin), (Bound::AtLeast, 60.0, 1.0));
    assert_eq!(target.words, "pelvis speed kept: 60 % or more");
    // A turn at the top as a bare size is a size back.
    for value in [48.0, -48.0] {
        let target = fixed(TURN, value, true, None, None, "").expect("a target");
        assert_eq!((target.bound, target.value), (Bound::AtMost, -48.0));
    }
    // A gap is more when the second peak comes later, from whichever side.
    let gap = Measure::Gap(Role::Thorax, Role::LeadArm);
    let baseline = baseline_of(gap, &swings[..2]);
    let target = about(gap, &baseline, 5.0, None, "").expect("a target");
    assert_eq!(target.bound, Bound::AtLeast);
    // To whole milliseconds, as it is said.
    assert_eq!(target.value, (baseline.sample.mean + 5.0).round());
    assert!(about(gap, &baseline, f64::NAN, None, "").is_err());
    assert!(about(gap, &baseline, 1.0, Some(-1.0), "").is_err());
    assert!(about(TURN, &baseline, 1.0, None, "").is_err());
    // Every measure of one swing can be a target, and "more" of it is met by nothing less.
    for m in Measure::ALL.into_iter().filter(|m| !m.means_only()) {
        let b = baseline_of(m, &swings[..14]);
        let t = about(m, &b, 1000.0, None, "").expect("a target");
        assert_ne!(answer(&t, &swings[0]).answer, AnswerKind::Met, "{}", t.words);
        let t = about(m, &b, -1000.0, None, "").expect("a target");
        assert_ne!(answer(&t, &swings[0]).answer, AnswerKind::Met, "{}", t.words);
    }
}

#[test]
fn what_the_coach_leaves_out_counts_nowhere_and_is_shown() {
    let keep = tempfile::Builder::new().prefix("p").rand_bytes(4).tempdir_in("/tmp").expect("/tmp");
    write(keep.path(), &session(true), &two_blocks());
    let name = keep.path().display().to_string();
    let plain = load(&name).expect("a session");
    let remarks = plain.dir.remarks();
    for what in [
        What::Exclude { swing: 5, excluded: true, reason: "phone rang".into() },
        What::Outcome { swing: 6, labels: vec!["short".into(), "left".into()] },
        What::Note { swing: Some(6), text: "late hips, he felt it".into() },
        What::Note { swing: None, text: "slow start of the backswing helps".into() },
    ] {
        remarks.append(900.0, what).expect("written");
    }
    let loaded = load(&name).expect("a session");
    assert_eq!(loaded.swings.len(), plain.swings.len(), "nothing disappears");
    let numbers = |l: &peakorder_analysis::load::Loaded| {
        l.counted("baseline").iter().map(|s| s.number).collect::<Vec<_>>()
    };
    assert_eq!(numbers(&plain), [1, 2, 4, 5, 6, 8, 9, 10, 11, 12, 13, 14]);
    assert_eq!(numbers(&loaded), [1, 2, 4, 6, 8, 9, 10, 11, 12, 13, 14]);
    let block: Vec<&Swing> = loaded.swings.iter().filter(|s| s.block == "baseline").collect();
    let summary = summarise("baseline", &block, &loaded.remarks);
    assert_eq!(summary.used, numbers(&loaded));
    assert_eq!(summary.excluded, [(5, "phone rang".to_owned())]);
    // The mean is that of the others.
    let mean = loaded
        .counted("baseline")
        .iter()
        .filter_map(|s| Measure::TempoRatio.of(s))
        .map(|v| v.value)
        .sum::<f64>()
        / 11.0;
    assert!((summary.measure(Measure::TempoRatio).expect("tempo").sample.mean - mean).abs() < 1e-12);

    let text = render::session(&loaded, Style::new(100, false));
    for wanted in [
        "11 swings used",
        "1 by the coach (5)",
        "5: left out by the coach (phone rang)",
        "6: ball short, left; late hips, he felt it",
        "Note   slow start of the backswing helps",
    ] {
        assert!(text.contains(wanted), "no '{wanted}' in\n{text}");
    }
    assert!(text.lines().any(|l| l.starts_with(" 5 ") && l.contains("left out")));
    let doc = serde_json::to_value(json::Show::from(&loaded)).expect("a document");
    assert_eq!(doc["swings"][4]["excluded"], true);
    assert_eq!(doc["remarks"]["swings"]["6"]["labels"], serde_json::json!(["short", "left"]));
    assert_eq!(doc["blocks"][0]["excluded"][0]["number"], 5);

    let sides = [":baseline", ":after"].map(|b| load(&format!("{name}{b}")).expect("a block"));
    let comparison = compare(&sides[0], &sides[1], &Family::All).expect("swings");
    assert_eq!(comparison.before.summary.used.len(), 11);
    let text = render::comparison(&comparison, Extent::Whole, Style::new(100, false));
    let unwrapped = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unwrapped.contains("left out by the coach: 1"), "{text}");
    assert_eq!(words::plural(1, "swing"), "1 swing");
}

#[test]
fn damaged_remarks_hide_no_swing() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    write(keep.path(), &session(true), &two_blocks());
    std::fs::write(keep.path().join("remarks.jsonl"), "{\"id\":1,\"t_s\":1,\"wha").expect("writable");
    let loaded = load(&keep.path().display().to_string()).expect("a session");
    assert_eq!(loaded.swings.len(), 25);
    assert!(loaded.notices[0].contains("cut off while it was written"), "{:?}", loaded.notices);
    assert!(render::session(&loaded, Style::new(100, false)).contains("cut off"));
}
