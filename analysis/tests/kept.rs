//! What lasted from lesson to lesson: gains, what is left, practice, and intervals that hold the truth.

mod common;

use common::{BASELINE, Centre, Dice, judges_nothing, session, swing, write};
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::kept::{Kept, KeptError, kept};
use peakorder_analysis::library::Found;
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::render::{self, Style};
use peakorder_analysis::report::{self, Choice};
use peakorder_analysis::{json, words};
use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;

const TURN: Measure = Measure::TurnAtTop(Role::Pelvis);

/// A lesson's seat of the straps, the turn that was added at its start and, for a lesson, at its end.
type Day = (f64, f64, Option<f64>);

fn swings(block: &str, from: u32, added: f64, dice: &mut Dice) -> Vec<Swing> {
    let mut centre: Centre = BASELINE.clone();
    // Further away from the target is negative.
    centre.turn_top[0] -= added;
    (from..from + 8).map(|n| swing(n, block, &centre, dice)).collect()
}

fn found(days: &[Day], dice: &mut Dice) -> Found {
    let keep = tempfile::tempdir().expect("a temporary folder");
    write(keep.path(), &session(true), &[]);
    let blank = load(&keep.path().display().to_string()).expect("a session");
    let sessions = days
        .iter()
        .enumerate()
        .map(|(i, &(seat, start, end))| {
            let mut loaded: Loaded = blank.clone();
            loaded.session.id = format!("session-{i}");
            loaded.session.started_utc = format!("2026-01-{:02}T10:00:00Z", 1 + 7 * i);
            loaded.swings = swings("baseline", 1, seat + start, dice);
            loaded.blocks = vec!["baseline".into()];
            if let Some(end) = end {
                loaded.swings.extend(swings("after", 20, seat + end, dice));
                loaded.blocks.push("after".into());
            }
            loaded
        })
        .collect();
    Found { player: "Sample player".into(), sessions, left_out: Vec::new() }
}

fn about_the_turn() -> Family {
    Family::Chosen(vec![Chosen::of(TURN)])
}

fn of(days: &[Day], seed: u64) -> Kept {
    kept(&found(days, &mut Dice::new(seed)), &about_the_turn()).expect("a number was meant")
}

#[test]
fn what_a_lesson_gained_and_what_is_left_of_it() {
    let kept = of(&[(0.0, 0.0, Some(9.0)), (0.0, 4.0, None), (0.0, 5.0, Some(12.0))], 3);
    let practice: Vec<bool> = kept.lessons.iter().map(|l| l.end.is_none()).collect();
    assert_eq!(practice, [false, true, false]);
    let stages = &kept.courses[0].stages;
    let gained = stages[0].gained.expect("a lesson");
    assert!((gained.difference + 9.0).abs() < 3.0 && gained.interval.1 < 0.0, "{gained:?}");
    assert!(stages[0].left.is_none() && stages[1].gained.is_none());
    // Both are set against the last lesson, not against practice.
    let (left, since) = (stages[2].left.expect("a lesson before"), stages[2].since_end.expect("its end"));
    assert!((left.difference + 5.0).abs() < 3.0, "{left:?}");
    assert!((since.difference - 4.0).abs() < 3.0, "{since:?}");
    assert_eq!((stages[1].practised, stages[2].practised), (0, 1));
    let said = words::kept::course(&kept, &kept.courses[0]);
    assert!(said[2].contains("after 1 session of practice"), "{}", said[2]);
    assert!(said[0].ends_with("Changed in that lesson."), "{}", said[0]);
    let text = render::kept(&kept, Style::new(90, false));
    judges_nothing(&text);
    assert!(text.lines().all(|l| l.chars().count() <= 90), "{text}");
    let document = serde_json::to_value(json::Kept::from(&kept)).expect("a document");
    assert_eq!(document["schema"], "peakorder.kept/1");
    assert_eq!(document["measures"][0]["stages"][2]["practised"], 1);
}

/// 150 players who gain 6° in a lesson and lose half of it until the next, straps put on anew with 1.4° (SD, what the swing files
/// state): no more than 5 % of the intervals may miss the truth (+ 4 standard deviations of the count: 18).
#[test]
fn the_intervals_hold_what_is_left() {
    let mut dice = Dice::new(7);
    let mut missed = [0; 3];
    for i in 0..150 {
        let seats = [(); 2].map(|()| 1.4 * dice.normal());
        let kept = of(&[(seats[0], 0.0, Some(6.0)), (seats[1], 3.0, Some(8.0))], 1000 + i);
        let stages = &kept.courses[0].stages;
        let steps = [stages[0].gained, stages[1].left, stages[1].since_end];
        for (missed, (step, truth)) in missed.iter_mut().zip(steps.into_iter().zip([-6.0, -3.0, 3.0])) {
            let (low, high) = step.expect("measured").interval;
            *missed += u32::from(!(low..=high).contains(&truth));
        }
    }
    println!("missed of 150: {missed:?}");
    assert!(missed.iter().all(|m| *m <= 18), "{missed:?}");
}

#[test]
fn the_page_to_take_home_shows_it() {
    let mut dice = Dice::new(3);
    let found = found(&[(0.0, 0.0, Some(9.0)), (0.0, 5.0, Some(12.0))], &mut dice);
    let kept = kept(&found, &about_the_turn()).expect("a number was meant");
    let whole = Choice { appendix: true, ..Choice::default() };
    let page = report::html(&found.sessions[1], &whole, Some(&kept)).expect("a page");
    assert!(
        page.contains("What lasted from lesson to lesson")
            && page.contains("Pelvis turn at top from lesson to lesson")
    );
    let alone = report::html(&found.sessions[1], &whole, None).expect("a page");
    assert!(!alone.contains("What lasted"));
    let sheet = report::html(&found.sessions[1], &Choice::default(), Some(&kept)).expect("a page");
    assert!(!sheet.contains("What lasted"), "the sheet has room for one lesson");
}

#[test]
fn without_a_number_meant_it_says_what_to_do() {
    let error =
        kept(&found(&[(0.0, 0.0, None)], &mut Dice::new(1)), &Family::All).expect_err("nothing meant");
    assert_eq!(error, KeptError::NothingMeant);
    assert!(error.to_string().contains("--about"));
}
