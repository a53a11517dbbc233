//! What a comparison says: the four answers, what was meant and what was only looked through, orders of swings, lessons against
//! several, and how many swings more.

mod common;

use common::{BASELINE, Centre, Dice, judges_nothing, session, swing, write};
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::compare::{Comparison, How, Question, Standing, Verdict, answer, compare};
use peakorder_analysis::design::{Design, PROPOSALS};
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::render::{self, Extent, Style};
use peakorder_analysis::stats::{Rule, Series, change};
use peakorder_protocol::Role;
use peakorder_protocol::remark::{ChosenMeasure, Remark, Remarks, What};
use peakorder_protocol::swing::Swing;

const TURN: Measure = Measure::TurnAtTop(Role::Pelvis);

fn blank() -> Loaded {
    let keep = tempfile::tempdir().expect("a temporary folder");
    write(keep.path(), &session(true), &[]);
    load(&keep.path().display().to_string()).expect("a session")
}

/// Swings with so many degrees more of pelvis turn, numbered from `from`.
fn swings(block: &str, from: u32, n: u32, more_deg: f64, dice: &mut Dice) -> Vec<Swing> {
    let mut centre: Centre = BASELINE.clone();
    centre.turn_top[0] -= more_deg;
    (from..from + n).map(|i| swing(i, block, &centre, dice)).collect()
}

fn side(id: &str, swings: Vec<Swing>) -> Loaded {
    let mut loaded = blank();
    loaded.session.id = id.into();
    loaded.swings = swings;
    loaded
}

/// Blocks of these sizes, before and after in turn, of one session.
fn lesson(blocks: &[u32], more_deg: f64, seed: u64) -> (Loaded, Loaded) {
    let mut dice = Dice::new(seed);
    let mut sides = [Vec::new(), Vec::new()];
    let mut next = 1;
    for (i, &n) in blocks.iter().enumerate() {
        let after = i % 2;
        let more = if after == 1 { more_deg } else { 0.0 };
        sides[after].extend(swings(["old", "new"][after], next, n, more, &mut dice));
        next += n;
    }
    let [before, after] = sides;
    (side("one", before), side("one", after))
}

fn meant(measures: &[(Measure, Option<f64>)]) -> Family {
    Family::Chosen(measures.iter().map(|&(measure, matters)| Chosen { measure, matters }).collect())
}

fn compared(blocks: &[u32], more_deg: f64, family: &Family) -> Comparison {
    let (before, after) = lesson(blocks, more_deg, 5);
    compare(&before, &after, family).expect("swings on both sides")
}

fn of(c: &Comparison, m: Measure) -> Verdict {
    c.rows.iter().find(|r| r.measure == m).expect("compared").verdict
}

#[test]
fn there_are_four_answers() {
    let family = meant(&[(TURN, Some(4.0))]);
    assert_eq!(of(&compared(&[6, 8, 6], 9.0, &family), TURN), Verdict::Changed);
    assert_eq!(of(&compared(&[20, 20, 20], 0.0, &family), TURN), Verdict::NoneThatMatters);
    let open = compared(&[4, 4], 0.0, &family);
    assert_eq!(of(&open, TURN), Verdict::CantTell);
    // A change that shows, but less than the coach says matters.
    let small = compared(&[30, 30, 30, 30], 3.0, &meant(&[(TURN, Some(6.0))]));
    let row = &small.rows[0];
    assert!(row.p_adjusted.expect("known") < 0.05 && row.interval.expect("known").1 < 0.0, "{row:?}");
    assert_eq!(row.verdict, Verdict::NoneThatMatters);
    // Where nobody says what matters, a change that shows is a change.
    assert_eq!(of(&compared(&[30, 30, 30, 30], 3.0, &meant(&[(TURN, None)])), TURN), Verdict::Changed);
}

#[test]
fn what_was_not_meant_gets_no_verdict() {
    let c = compared(&[8, 8], 14.0, &meant(&[(Measure::TurnAtTop(Role::Thorax), None)]));
    let judged = c.rows.iter().filter(|r| r.standing == Standing::Judged).count();
    assert_eq!((judged, c.rows.len()), (1, 39));
    assert_eq!(c.rows[0].measure, Measure::TurnAtTop(Role::Thorax));
    assert_eq!(of(&c, TURN), Verdict::Perhaps);
    assert!(c.rows[1..].iter().all(|r| matches!(r.verdict, Verdict::Perhaps | Verdict::CantTell)));
    let style = Style::new(100, false);
    let short = render::comparison(&c, Extent::Short, style);
    assert!(short.contains("perhaps: pelvis turn at top"), "{short}");
    assert!(!short.contains("arm elevation, gravity"), "collapsed");
    assert!(render::comparison(&c, Extent::Whole, style).contains("arm elevation, gravity"));
    judges_nothing(&short);
}

#[test]
fn the_few_that_were_meant_show_more_than_all() {
    let alone = compared(&[8, 8], 6.5, &meant(&[(TURN, None)]));
    let among_all = compared(&[8, 8], 6.5, &Family::All);
    let p = |c: &Comparison| {
        c.rows.iter().find(|r| r.measure == TURN).expect("compared").p_adjusted.expect("known")
    };
    assert!(p(&alone) < 0.05 && p(&among_all) > 0.05, "{} {}", p(&alone), p(&among_all));
    assert!(among_all.notes.iter().any(|n| n.starts_with("Nothing was meant beforehand")));
}

#[test]
fn the_order_of_swings_is_known_and_what_it_shows_is_said() {
    let straight = compared(&[8, 8], 0.0, &Family::All);
    let design = straight.design.as_ref().expect("one wearing");
    assert_eq!((design.text().as_str(), design.returns()), ("8 before, 8 after", false));
    let back = compared(&[6, 8, 6], 0.0, &Family::All);
    let design = back.design.as_ref().expect("one wearing");
    assert_eq!(design.text(), "6 before, 8 after, 6 before");
    assert!(back.notes.iter().any(|n| n.contains("switched on and off")), "{:?}", back.notes);
    // A drift looks like a change only where the old way was not gone back to.
    let half = |c: &Comparison| c.rows[0].half_width().expect("known");
    assert!(half(&back) < half(&straight));
    // Swings that are left out keep their places.
    let (before, mut after) = lesson(&[8, 8], 0.0, 5);
    for swing in &mut after.swings {
        swing.number += 16;
    }
    let apart = compare(&before, &after, &Family::All).expect("swings on both sides");
    assert!((half(&apart) - half(&straight)).abs() > 1e-6);
}

#[test]
fn the_proposals_are_what_they_say() {
    for p in PROPOSALS {
        assert_eq!(Design::of(&p.sides()).runs.len(), p.blocks.len(), "{}", p.key);
        assert_eq!(p.sides().len(), p.swings());
        assert!(p.found.windows(2).all(|f| f[0] <= f[1]), "more meant, less found: {}", p.key);
    }
}

/// What is told of an order is what the bench measured last: the larger of its two correlations.
#[test]
fn the_proposals_find_what_the_bench_found() {
    let report = include_str!("../benches/promise/PROMISE.md");
    for p in PROPOSALS {
        for (meant, told) in [1, 3, 5].iter().zip(p.found) {
            let found = [0.0, 0.4].map(|r| {
                let start = format!("| {} | {r} | {meant} |", p.key);
                let row = report.lines().find(|l| l.starts_with(&start)).expect("a row of the bench");
                row.trim_end_matches([' ', '|'])
                    .rsplit('|')
                    .next()
                    .expect("a cell")
                    .trim()
                    .parse::<f64>()
                    .expect("a number")
            });
            assert_eq!(told, found[0].max(found[1]), "{} with {meant} meant", p.key);
        }
    }
}

/// The number of swings named is enough: with so many more a block, a change of that size is found at least 3 times in 4 (8 in 10 are
/// meant; the number is from one lesson's swings). 40 lessons of 4 and 4 and 4, new ones of the size named.
#[test]
fn so_many_more_swings_would_do() {
    let rule = Rule::standard();
    let (mut found, mut of) = (0, 0);
    let mut dice = Dice::new(9);
    for seed in 0..40 {
        let (before, after) = lesson(&[4, 4, 4], 0.0, 100 + seed);
        let c = compare(&before, &after, &meant(&[(TURN, Some(6.0))])).expect("swings on both sides");
        let Some(more) = c.rows[0].more else { continue };
        let How::Swings(n) = more.how else { continue };
        let sides = c.design.as_ref().expect("one wearing").longer(n);
        let places: Vec<f64> = (0..sides.len()).map(|i| i as f64).collect();
        for _ in 0..10 {
            let values: Vec<f64> =
                sides.iter().map(|after| 2.5 * dice.normal() + if *after { 6.0 } else { 0.0 }).collect();
            let series = Series { values: &values, places: &places };
            let p = change(series, &sides, &rule).expect("it varies").difference.two_sided_p(0.0);
            found += u32::from(p < 0.05);
            of += 1;
        }
    }
    println!("found {found} of {of}");
    assert!(of >= 100, "{of}: too few lessons in which it could not be told");
    assert!(f64::from(found) >= 0.75 * f64::from(of), "{found} of {of}");
}

/// A lesson against three before: three say how far sessions differ, so that the same difference is known better than from one.
#[test]
fn several_lessons_before_make_it_known_better() {
    let mut dice = Dice::new(2);
    let mut day = |id: &str, more: f64| side(id, swings("b", 1, 16, more, &mut dice));
    let (a, b, c, new) = (day("a", 0.0), day("b", 0.4), day("c", -0.3), day("new", 4.5));
    let family = meant(&[(TURN, None)]);
    let one = compare(&a, &new, &family).expect("swings on both sides");
    let also = [b, c];
    let question = Question { before: &a, also_before: &also, after: &new, worn_anew: &[], family: &family };
    let three = answer(question).expect("swings on both sides");
    let (one_row, three_row) = (&one.rows[0], &three.rows[0]);
    assert!(three_row.half_width().expect("known") < 0.7 * one_row.half_width().expect("known"));
    assert_eq!((one_row.verdict, three_row.verdict), (Verdict::CantTell, Verdict::Changed));
    assert!(one_row.wearing_factor.is_none() && three_row.wearing_factor.is_some());
    assert!(matches!(one_row.more.expect("told").how, How::Lessons | How::Swings(_)));
    assert_eq!(three.also_before.len(), 2);
    // So does a check with the straps put on anew.
    let check = vec![vec![day("d", 0.2), day("e", -0.2)]];
    let question = Question { before: &a, also_before: &[], after: &new, worn_anew: &check, family: &family };
    let checked = answer(question).expect("swings on both sides");
    assert!(checked.rows[0].half_width().expect("known") < one_row.half_width().expect("known"));
}

#[test]
fn what_was_chosen_after_the_swings_is_said_to_be_late() {
    let (before, mut after) = lesson(&[8, 8], 0.0, 5);
    let chosen = |t_s: f64| {
        let measures = vec![ChosenMeasure { measure: TURN.key(), matters: Some(3.0) }];
        Remarks::fold(&[Remark { id: 1, t_s, what: What::Chosen { measures } }])
    };
    let late = |after: &Loaded| {
        let c = compare(&before, after, &Family::of_remarks(&after.remarks)).expect("swings on both sides");
        assert_eq!(c.rows[0].matters, Some(3.0));
        c.notes.iter().any(|n| n.starts_with("What the lesson is about was said only after 8 swings"))
    };
    after.remarks = chosen(1.0);
    assert!(!late(&after));
    after.remarks = chosen(1e6);
    assert!(late(&after));
}

#[test]
fn a_choice_is_read_with_its_smallest_change() {
    let one: Chosen = "pelvis_turn_top_deg=2.5".parse().expect("a choice");
    assert_eq!(one, Chosen { measure: TURN, matters: Some(2.5) });
    assert_eq!("pelvis_turn_top_deg".parse::<Chosen>().expect("a choice"), Chosen::of(TURN));
    for (bad, said) in [
        ("hips", "no measure 'hips'; there are"),
        ("pelvis_turn_top_deg=0", "above 0"),
        ("pelvis_turn_top_deg=x", "write pelvis_turn_top_deg=3"),
    ] {
        let error = bad.parse::<Chosen>().expect_err("no choice").to_string();
        assert!(error.contains(said), "{error}");
    }
}

/// Two one-sided tests at 2.5 % each (Schuirmann DJ 1987, *J Pharmacokinet Biopharm* 15:657–680) are the 95 % interval's lying within the
/// margin: of 400 pairs with a true change just as large as what matters, no more than 2.5 % are called none that matters (+ 4
/// standard deviations of the count: 10 + 13).
#[test]
fn no_change_that_matters_is_said_of_a_change_that_matters_in_few_cases() {
    let rule = Rule::standard();
    let mut dice = Dice::new(21);
    let sides: Vec<bool> = (0..24).map(|i| (i / 4) % 2 == 1).collect();
    let places: Vec<f64> = (0..24).map(f64::from).collect();
    let margin = 2.0;
    let mut called = 0;
    for _ in 0..400 {
        let values: Vec<f64> = sides.iter().map(|a| dice.normal() + if *a { margin } else { 0.0 }).collect();
        let (low, high) = change(Series { values: &values, places: &places }, &sides, &rule)
            .expect("it varies")
            .difference
            .interval(0.95)
            .expect("an interval");
        called += u32::from(low > -margin && high < margin);
    }
    assert!(called <= 23, "{called} of 400");
}

/// Straps taken off and put on again within a session: its blocks are of two wearings, and a label that was swung in both is a check.
#[test]
fn wearings_of_one_session_are_told_apart() {
    let mut dice = Dice::new(4);
    let mut all = swings("baseline", 1, 8, 0.0, &mut dice);
    all.extend(swings("baseline", 9, 8, 0.3, &mut dice));
    all.extend(swings("after", 17, 8, 5.0, &mut dice));
    for swing in &mut all[8..] {
        swing.wearing = 1;
    }
    let mut session = side("one", all);
    session.blocks = vec!["baseline".into(), "after".into()];
    let checks = session.worn_anew();
    assert_eq!(checks.len(), 1, "only the baseline was swung in both");
    assert_eq!(checks[0].iter().map(|w| w.swings.len()).collect::<Vec<_>>(), [8, 8]);
    let family = meant(&[(TURN, None)]);
    // The baseline of both wearings against swings of the second: not one wearing.
    let c =
        compare(&session.only("baseline"), &session.only("after"), &family).expect("swings on both sides");
    assert!(c.design.is_none() && c.rows[0].worn_anew_sd.is_some());
    assert_eq!(c.before.wearings, [0, 1]);
    assert!(c.notes.iter().any(|n| n.contains("put on again within these swings")), "{:?}", c.notes);
    // Its second wearing alone is one with what came after.
    let (second, after) = (&checks[0][1], session.only("after"));
    let within = compare(second, &after, &family).expect("swings on both sides");
    assert!(within.design.is_some() && within.rows[0].worn_anew_sd.is_none());
    // The check makes it known how well the straps are put on again.
    let (before, after) = (&checks[0][0], &after);
    let half = |worn_anew: &[Vec<Loaded>]| {
        let question = Question { before, also_before: &[], after, worn_anew, family: &family };
        let c = answer(question).expect("swings on both sides");
        (c.rows[0].half_width().expect("known"), c.rows[0].wearing_factor)
    };
    let (alone, checked) = (half(&[]), half(&checks));
    assert!(alone.1.is_none() && checked.1.is_some());
    assert!(checked.0 < alone.0, "{checked:?} {alone:?}");
}
