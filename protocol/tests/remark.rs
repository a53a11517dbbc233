//! Remarks: what is written comes back, a crash costs one line at most, undo takes back.

use peakorder_protocol::remark::Standing;
use peakorder_protocol::remark::{
    Bound, ChosenMeasure, Remark, RemarkError, RemarkFile, RemarkRefusal, Remarks, Target, What,
};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::{Swing, SwingKind};
use proptest::prelude::*;
use std::fs;

fn folder() -> (tempfile::TempDir, RemarkFile) {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let file = RemarkFile::of(dir.path());
    (dir, file)
}

fn note(text: &str) -> What {
    What::Note { swing: None, text: text.into() }
}

fn outcome(swing: u32, labels: &[&str]) -> What {
    What::Outcome { swing, labels: labels.iter().map(|&l| l.to_owned()).collect() }
}

fn target(value: f64, block: &str) -> Target {
    Target {
        measure: "pelvis_turn_top_deg".into(),
        bound: Bound::AtMost,
        value,
        margin: 2.0,
        block: block.into(),
        baseline_mean: Some(-35.0),
        words: "pelvis turn at top at least baseline + 8°".into(),
    }
}

#[test]
fn lines_are_what_the_contract_says() {
    let (_keep, file) = folder();
    file.append(12.5, outcome(7, &["short", " left ", "short", ""])).expect("written");
    file.append(13.0, What::Target { target: Some(target(-43.0, "drill")) }).expect("written");
    file.append(14.0, What::Target { target: None }).expect("written");
    file.append(15.0, What::Undo { id: 3 }).expect("written");
    let lines: Vec<serde_json::Value> = fs::read_to_string(file.path())
        .expect("readable")
        .lines()
        .map(|l| serde_json::from_str(l).expect("JSON"))
        .collect();
    assert_eq!(
        lines[0],
        serde_json::json!({"id": 1, "t_s": 12.5, "what": "outcome", "swing": 7, "labels": ["short", "left"]})
    );
    assert_eq!(lines[1]["what"], "target");
    assert_eq!(lines[1]["target"]["bound"], "at_most");
    assert_eq!(lines[2], serde_json::json!({"id": 3, "t_s": 14.0, "what": "target", "target": null}));
    assert_eq!(lines[3], serde_json::json!({"id": 4, "t_s": 15.0, "what": "undo", "undone": 3}));
}

#[test]
fn the_state_is_folded_and_undo_takes_back() {
    let (_keep, file) = folder();
    let say = |t_s, what| file.append(t_s, what).expect("written").id;
    say(1.0, outcome(2, &["thin"]));
    let second = say(2.0, outcome(2, &["flush"]));
    say(3.0, What::Note { swing: Some(2), text: "felt late".into() });
    say(4.0, note("first thought"));
    let excluded = say(5.0, What::Exclude { swing: 3, excluded: true, reason: "phone rang".into() });
    say(6.0, What::Undo { id: second });
    let state = file.read().expect("readable").fold();
    assert_eq!(state.swings[&2].labels, ["thin"], "the earlier label counts again");
    assert_eq!(state.swings[&2].note, "felt late");
    assert_eq!(state.excluded(3), Some("phone rang"));
    assert_eq!(state.excluded(2), None);
    assert_eq!(state.notes[0].text, "first thought");
    assert_eq!(state.last.as_ref().expect("something to undo").id, excluded);

    // Step by step back to nothing.
    let mut taken = Vec::new();
    while let Some(remark) = file.undo_last(7.0).expect("written") {
        if let What::Undo { id } = remark.what {
            taken.push(id);
        }
    }
    assert_eq!(taken, [5, 4, 3, 1]);
    assert_eq!(file.read().expect("readable").fold(), Remarks::default());
}

#[test]
fn what_is_removed_is_gone() {
    let (_keep, file) = folder();
    file.append(1.0, outcome(2, &["thin"])).expect("written");
    file.append(2.0, outcome(2, &[])).expect("written");
    file.append(3.0, What::Exclude { swing: 3, excluded: true, reason: "slip".into() }).expect("written");
    file.append(4.0, What::Exclude { swing: 3, excluded: false, reason: String::new() }).expect("written");
    assert!(file.read().expect("readable").fold().swings.is_empty());
}

/// A recorded swing, as what the straps took it for.
fn swing(number: u32, block: &str, kind: SwingKind) -> Swing {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings/baseline-right/swings/0001.json");
    let swing = Swing::from_json(&fs::read_to_string(path).expect("part of the project")).expect("a swing");
    Swing { number, block: block.into(), kind, ..swing }
}

fn balls(block: &str, every_swing: bool, without_ball: bool) -> What {
    What::Balls { block: block.into(), every_swing, without_ball }
}

fn ball(swing: u32, struck: Option<bool>) -> What {
    What::Ball { swing, struck }
}

const KINDS: [SwingKind; 3] = [SwingKind::Strike, SwingKind::Rehearsal, SwingKind::Unsure];

/// How a strike, a rehearsal and an unsure swing (numbers 1 to 3) of block `b` stand.
fn stand(remarks: &[What]) -> [Standing<'static>; 3] {
    let (_keep, file) = folder();
    for what in remarks {
        file.append(1.0, what.clone()).expect("written");
    }
    let state = file.read().expect("readable").fold();
    let mut number = 0;
    KINDS.map(|kind| {
        number += 1;
        let swing = swing(number, "b", kind);
        assert_eq!(state.counts(&swing), state.standing(&swing) == Standing::Counts);
        match state.standing(&swing) {
            Standing::Excluded(_) => Standing::Excluded(""),
            Standing::Counts => Standing::Counts,
            Standing::Rehearsal => Standing::Rehearsal,
            Standing::Unsure => Standing::Unsure,
            Standing::Struck => Standing::Struck,
            Standing::Unusable => Standing::Unusable,
        }
    })
}

#[test]
fn what_is_said_of_a_block_decides_what_counts_in_it() {
    use Standing::{Counts, Rehearsal, Struck, Unsure};
    assert_eq!(stand(&[]), [Counts, Rehearsal, Unsure]);
    assert_eq!(stand(&[balls("b", true, false)]), [Counts, Rehearsal, Counts]);
    assert_eq!(stand(&[balls("b", false, true)]), [Struck, Counts, Counts]);
    assert_eq!(stand(&[balls("b", false, true), balls("b", false, false)]), [Counts, Rehearsal, Unsure]);
    assert_eq!(stand(&[balls("b", false, true), balls("b", true, false)]), [Counts, Rehearsal, Counts]);
    assert_eq!(stand(&[balls("b", true, false), balls("b", false, true)]), [Struck, Counts, Counts]);
    assert_eq!(
        stand(&[balls("another", true, false), balls("third", false, true)]),
        [Counts, Rehearsal, Unsure]
    );
    let taken_back = [balls("b", true, false), balls("b", false, true), What::Undo { id: 2 }];
    assert_eq!(stand(&taken_back), [Counts, Rehearsal, Counts], "what was said before holds again");
}

#[test]
fn what_is_said_of_one_swing_goes_before_all_else() {
    use Standing::{Counts, Excluded, Rehearsal, Struck, Unsure};
    assert_eq!(stand(&[ball(3, Some(true))]), [Counts, Rehearsal, Counts]);
    assert_eq!(stand(&[ball(3, Some(false))]), [Counts, Rehearsal, Rehearsal]);
    assert_eq!(stand(&[ball(3, Some(true)), ball(3, None)]), [Counts, Rehearsal, Unsure]);
    assert_eq!(stand(&[ball(3, Some(true)), What::Undo { id: 1 }]), [Counts, Rehearsal, Unsure]);
    // Also what straps felt, or would have felt, and whatever is said of the block.
    assert_eq!(stand(&[ball(1, Some(false)), ball(2, Some(true))]), [Rehearsal, Counts, Unsure]);
    assert_eq!(stand(&[balls("b", true, false), ball(3, Some(false))]), [Counts, Rehearsal, Rehearsal]);
    assert_eq!(stand(&[balls("b", false, true), ball(3, Some(true))]), [Struck, Counts, Struck]);
    assert_eq!(stand(&[balls("b", false, true), ball(1, Some(false))]), [Counts, Counts, Counts]);
    let left_out = What::Exclude { swing: 3, excluded: true, reason: String::new() };
    assert_eq!(stand(&[ball(3, Some(true)), left_out]), [Counts, Rehearsal, Excluded("")]);
    let mut late = swing(3, "b", SwingKind::Unsure);
    late.quality.usable = false;
    let (_keep, file) = folder();
    file.append(1.0, ball(3, Some(true))).expect("written");
    assert_eq!(file.read().expect("readable").fold().standing(&late), Standing::Unusable);
}

/// Lines as they were before blocks without a ball, and what is said of one swing, were known.
#[test]
fn old_lines_say_what_they_said() {
    let (_keep, file) = folder();
    let old = concat!(
        r#"{"id":1,"t_s":1.0,"what":"balls","block":"b","every_swing":true}"#,
        "\n",
        r#"{"id":2,"t_s":2.0,"what":"balls","block":"c","every_swing":true}"#,
        "\n",
        r#"{"id":3,"t_s":3.0,"what":"balls","block":"c","every_swing":false}"#,
        "\n",
    );
    fs::write(file.path(), old).expect("writable");
    let read = file.read().expect("readable");
    assert!(read.notices.is_empty());
    let state = read.fold();
    assert_eq!(state.balls.iter().collect::<Vec<_>>(), ["b"]);
    assert!(state.without_ball.is_empty() && state.swings.is_empty());
    // What an old state says, read by this version.
    let old = r#"{"swings":{"2":{"labels":[],"note":"x","excluded":false,"reason":""}},"balls":["b"],"notes":[],"target":null,"targets":[],"last":null}"#;
    let state: Remarks = serde_json::from_str(old).expect("a state");
    assert_eq!(state.swings[&2].struck, None);
    assert!(state.counts(&swing(3, "b", SwingKind::Unsure)));
    // An earlier program reads a new line as far as it knows it.
    file.append(4.0, balls("d", false, true)).expect("written");
    file.append(5.0, ball(7, Some(true))).expect("written");
    let text = fs::read_to_string(file.path()).expect("readable");
    let lines: Vec<serde_json::Value> =
        text.lines().map(|l| serde_json::from_str(l).expect("JSON")).collect();
    assert_eq!(
        lines[3],
        serde_json::json!({"id":4,"t_s":4.0,"what":"balls","block":"d","every_swing":false,"without_ball":true})
    );
    assert_eq!(lines[4], serde_json::json!({"id":5,"t_s":5.0,"what":"ball","swing":7,"struck":true}));
    assert_eq!(file.read().expect("readable").remarks.len(), 5);
}

#[test]
fn a_target_holds_from_its_moment_in_its_block() {
    let (_keep, file) = folder();
    file.append(10.0, What::Target { target: Some(target(-40.0, "")) }).expect("written");
    file.append(20.0, What::Target { target: Some(target(-43.0, "drill")) }).expect("written");
    file.append(30.0, What::Target { target: None }).expect("written");
    let state = file.read().expect("readable").fold();
    let value = |t_s, block| state.target_for(t_s, block).map(|t| t.value);
    assert_eq!(value(9.9, "drill"), None);
    assert_eq!(value(10.0, "any"), Some(-40.0));
    assert_eq!(value(25.0, "drill"), Some(-43.0));
    assert_eq!(value(25.0, "after"), None);
    assert_eq!(value(31.0, "drill"), None);
    assert_eq!(state.target, None);
}

#[test]
fn a_torn_line_is_noticed_and_the_next_one_is_whole() {
    let (_keep, file) = folder();
    file.append(1.0, note("of the old session")).expect("written");
    let whole = fs::read(file.path()).expect("readable");
    file.append(2.0, note("torn")).expect("written");
    let both = fs::read(file.path()).expect("readable");
    for end in whole.len() + 1..both.len() {
        fs::write(file.path(), &both[..end]).expect("writable");
        let read = file.read().expect("readable");
        // Without its newline alone the object is whole and counts.
        let complete = end == both.len() - 1;
        assert_eq!(read.remarks.len(), if complete { 2 } else { 1 }, "cut at {end}");
        assert_eq!(read.notices.len(), usize::from(!complete), "cut at {end}");
        let next = file.append(3.0, note("next")).expect("written");
        assert_eq!(next.id, if complete { 3 } else { 2 });
        let read = file.read().expect("readable");
        assert!(read.notices.is_empty(), "{:?}", read.notices);
        assert_eq!(read.remarks.last(), Some(&next));
    }
}

#[test]
fn a_damaged_line_is_named_and_kept_on_disk() {
    let (_keep, file) = folder();
    file.append(1.0, note("one")).expect("written");
    let mut bytes = fs::read(file.path()).expect("readable");
    bytes.extend(b"{\"id\":2,\"t_s\":1,\"what\":\"from the future\"}\n\xff\xfe\n\n");
    fs::write(file.path(), &bytes).expect("writable");
    let read = file.read().expect("readable");
    assert_eq!(read.remarks.len(), 1);
    assert!(read.notices[0].contains("line 2") && read.notices[1].contains("line 3"), "{:?}", read.notices);
    file.append(2.0, note("two")).expect("written");
    assert!(fs::read(file.path()).expect("readable").starts_with(&bytes), "nothing is deleted");
}

#[test]
fn what_cannot_be_meant_is_refused() {
    let (_keep, file) = folder();
    let refused = |t_s: f64, what: What| match file.append(t_s, what) {
        Err(RemarkError::Refused(why)) => why,
        other => panic!("{other:?}"),
    };
    assert!(matches!(refused(f64::NAN, note("x")), RemarkRefusal::Time(t) if t.is_nan()));
    assert_eq!(refused(-1.0, note("x")), RemarkRefusal::Time(-1.0));
    assert_eq!(refused(1.0, note("  ")), RemarkRefusal::EmptyNote);
    let too_long = |why| match why {
        RemarkRefusal::TooLong { length, limit, .. } => (length, limit),
        other => panic!("{other}"),
    };
    assert_eq!(too_long(refused(1.0, note(&"x".repeat(4001)))), (4001, 4000));
    assert_eq!(refused(1.0, outcome(0, &["x"])), RemarkRefusal::SwingZero);
    assert_eq!(too_long(refused(1.0, outcome(1, &[&"x".repeat(61)]))), (61, 60));
    let of = |target| What::Target { target: Some(target) };
    assert_eq!(refused(1.0, of(target(f64::INFINITY, ""))), RemarkRefusal::Value);
    let negative = Target { margin: -1.0, ..target(1.0, "") };
    assert_eq!(refused(1.0, of(negative)), RemarkRefusal::Margin(-1.0));
    assert_eq!(refused(1.0, balls("b", true, true)), RemarkRefusal::BothBalls);
    assert_eq!(refused(1.0, ball(0, None)), RemarkRefusal::SwingZero);
    assert_eq!(refused(1.0, What::Undo { id: 1 }), RemarkRefusal::NoSuchRemark(1));
    assert!(file.read().expect("readable").remarks.is_empty());
    file.append(1.0, note("a")).expect("written");
    file.append(1.0, What::Undo { id: 1 }).expect("written");
    assert_eq!(refused(1.0, What::Undo { id: 1 }), RemarkRefusal::TakenBack(1));
    assert_eq!(refused(1.0, What::Undo { id: 2 }), RemarkRefusal::TookBack(2));
}

#[cfg(unix)]
#[test]
fn readable_by_its_owner_only() {
    use std::os::unix::fs::PermissionsExt as _;
    let (_keep, file) = folder();
    file.append(1.0, note("private")).expect("written");
    assert_eq!(fs::metadata(file.path()).expect("there").permissions().mode() & 0o777, 0o600);
}

#[test]
fn a_forced_new_session_has_no_remarks_of_the_old_one() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let dir = SessionDir::create(keep.path(), false).expect("an empty folder");
    dir.remarks().append(1.0, note("kept")).expect("written");
    let again = SessionDir::create(keep.path(), true).expect("forced");
    assert!(again.remarks().read().expect("readable").remarks.is_empty());
    again.remarks().append(1.0, note("kept")).expect("written");
    again.remove_swings().expect("a replay removes swings and keeps remarks");
    assert_eq!(again.remarks().read().expect("readable").remarks.len(), 1);
}

#[test]
fn two_writers_never_give_one_id_twice() {
    let (_keep, file) = folder();
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| {
                for i in 0..25 {
                    file.append(f64::from(i), note("x")).expect("written");
                }
            });
        }
    });
    let ids: Vec<u32> = file.read().expect("readable").remarks.iter().map(|r| r.id).collect();
    assert_eq!(ids, (1..=100).collect::<Vec<_>>());
}

proptest! {
    #[test]
    fn any_bytes_are_read_without_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let (_keep, file) = folder();
        fs::write(file.path(), &bytes).expect("writable");
        let read = file.read().expect("readable");
        let _ = read.fold();
        let added = file.append(1.0, note("after it")).expect("written");
        let read = file.read().expect("readable");
        prop_assert_eq!(read.remarks.last(), Some(&added));
    }

    /// Numbers come back exactly, also through the tagged and flattened form.
    #[test]
    fn what_is_written_comes_back(t_s in 0.0..1e6_f64, value in -1e4..1e4_f64, text in ".{1,80}") {
        let remark = Remark { id: 1, t_s, what: What::Target { target: Some(Target { value, words: text, ..target(0.0, "b") }) } };
        let line = serde_json::to_string(&remark).expect("JSON");
        prop_assert!(!line.contains('\n'));
        prop_assert_eq!(serde_json::from_str::<Remark>(&line).expect("a remark"), remark);
    }
}

#[test]
fn what_to_practise_is_the_last_text_and_can_be_taken_back() {
    let said = |whats: &[What]| -> Option<String> {
        let remarks: Vec<Remark> =
            (1..).zip(whats).map(|(id, w)| Remark { id, t_s: f64::from(id), what: w.clone() }).collect();
        Remarks::fold(&remarks).practise
    };
    let text = |t: &str| What::Practise { text: t.into() };
    assert_eq!(said(&[]), None);
    assert_eq!(said(&[text("ten turns"), text("five turns")]).as_deref(), Some("five turns"));
    assert_eq!(
        said(&[text("ten turns"), text("five turns"), What::Undo { id: 2 }]).as_deref(),
        Some("ten turns")
    );
    assert_eq!(said(&[text("ten turns"), text("")]), None);
    assert_eq!(text("ten turns").words(), "to practise: \"ten turns\"");
    let (_keep, file) = folder();
    let written = file.append(1.0, text("  ten turns\na day ")).expect("written");
    assert_eq!(written.what, text("ten turns\na day"));
    let line = fs::read_to_string(file.path()).expect("a file");
    assert!(line.contains(r#""what":"practise","text":"ten turns\na day""#), "{line}");
    assert!(text(&"x".repeat(4001)).check().is_err());
}

fn about(measures: &[(&str, Option<f64>)]) -> What {
    let measures = measures
        .iter()
        .map(|&(measure, matters)| ChosenMeasure { measure: measure.into(), matters })
        .collect();
    What::Chosen { measures }
}

#[test]
fn the_last_choice_holds_and_can_be_taken_back() {
    let chosen = |whats: &[What]| -> Option<Vec<String>> {
        let remarks: Vec<Remark> =
            (1..).zip(whats).map(|(id, w)| Remark { id, t_s: f64::from(id), what: w.clone() }).collect();
        let set = Remarks::fold(&remarks).chosen?;
        assert!((set.t_s - f64::from(set.id)).abs() < 1e-9);
        Some(set.measures.into_iter().map(|m| m.measure).collect())
    };
    let (one, two) = (about(&[("a_deg", Some(3.0))]), about(&[("b_ms", None), ("c_cm", None)]));
    assert_eq!(chosen(&[]), None);
    assert_eq!(chosen(&[one.clone(), two.clone()]), Some(vec!["b_ms".into(), "c_cm".into()]));
    assert_eq!(chosen(&[one.clone(), two, What::Undo { id: 2 }]), Some(vec!["a_deg".into()]));
    assert_eq!(chosen(&[one.clone(), about(&[])]), None, "an empty choice ends it");
    assert_eq!(one.words(), "the lesson is about a_deg");
    let (_keep, file) = folder();
    let twice = about(&[("a_deg", Some(3.0)), ("b_ms", None), ("a_deg", None)]);
    let written = file.append(1.0, twice).expect("written");
    assert_eq!(
        written.what,
        about(&[("a_deg", Some(3.0)), ("b_ms", None)]),
        "one that stands there twice counts once"
    );
    for wrong in [
        about(&[("", None)]),
        about(&[("a_deg", Some(0.0))]),
        about(&[("a_deg", Some(f64::NAN))]),
        about(&[("a", None), ("b", None), ("c", None), ("d", None), ("e", None), ("f", None)]),
    ] {
        assert!(wrong.check().is_err(), "{wrong:?}");
    }
}

#[test]
fn a_renamed_block_takes_with_it_what_was_said_of_it() {
    let (_keep, file) = folder();
    let rename = |block: &str, name: &str| What::Rename { block: block.into(), name: name.into() };
    let balls = |block: &str| What::Balls { block: block.into(), every_swing: true, without_ball: false };
    file.append(1.0, balls("drill")).expect("written");
    file.append(2.0, What::Target { target: Some(target(-43.0, "drill")) }).expect("written");
    file.append(3.0, rename("drill", " hips first ")).expect("written");
    let remarks = file.read().expect("readable").fold();
    assert_eq!(remarks.block("drill"), "hips first");
    assert_eq!(remarks.block("baseline"), "baseline");
    assert_eq!(remarks.balls.iter().collect::<Vec<_>>(), ["hips first"]);
    assert_eq!(remarks.target.as_ref().map(|t| t.block.as_str()), Some("hips first"));
    assert!(remarks.target_for(4.0, "hips first").is_some() && remarks.target_for(4.0, "drill").is_none());
    // Renamed again, by the name it has; then taken back, one after the other.
    file.append(4.0, rename("hips first", "pivot")).expect("written");
    assert_eq!(file.read().expect("readable").fold().block("drill"), "pivot");
    file.undo_last(5.0).expect("written");
    assert_eq!(file.read().expect("readable").fold().block("drill"), "hips first");
    file.undo_last(6.0).expect("written");
    let remarks = file.read().expect("readable").fold();
    assert_eq!((remarks.block("drill"), remarks.renamed.len()), ("drill", 0));
    assert_eq!(remarks.balls.iter().collect::<Vec<_>>(), ["drill"]);
    // Back to the recorded name is no name of its own.
    file.append(7.0, rename("drill", "x")).expect("written");
    file.append(8.0, rename("x", "drill")).expect("written");
    assert_eq!(file.read().expect("readable").fold().block("drill"), "drill");
    for name in ["", "  ", "two\nlines"] {
        let refused = file.append(9.0, rename("drill", name));
        assert!(matches!(refused, Err(RemarkError::Refused(RemarkRefusal::BlockName))), "{name:?}");
    }
}
