//! Whether a swing hit a ball, by straps and coach, in what is shown and counted.

mod common;

use common::{session, two_blocks, write};
use peakorder_analysis::json;
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::render::{self, Style};
use peakorder_analysis::words;
use peakorder_protocol::remark::What;
use peakorder_protocol::swing::SwingKind;
use std::path::Path;

/// Two blocks; of the baseline 3 is a rehearsal, 4 and 5 are unsure.
fn lesson(folder: &Path) {
    let mut swings = two_blocks();
    for swing in swings.iter_mut().filter(|s| [4, 5].contains(&s.number)) {
        swing.kind = SwingKind::Unsure;
    }
    write(folder, &session(true), &swings);
}

fn say(folder: &Path, what: What) -> Loaded {
    let name = folder.display().to_string();
    load(&name).expect("a session").dir.remarks().append(900.0, what).expect("written");
    load(&name).expect("a session")
}

fn counted(loaded: &Loaded) -> Vec<u32> {
    loaded.counted("baseline").iter().map(|s| s.number).collect()
}

/// What stands in the column `kind` of swing `number`.
fn in_column(loaded: &Loaded, number: u32) -> &'static str {
    words::ball::in_column(loaded.swing(number).expect("there"), &loaded.remarks)
}

fn title(loaded: &Loaded, number: u32) -> String {
    let swing = loaded.swing(number).expect("there");
    let (curves, style) = (loaded.curves(number), Style::new(160, false));
    let text = render::one_swing(&loaded.session, swing, &loaded.remarks, curves.as_ref(), style);
    // A long heading takes two lines.
    let words: Vec<&str> = text.split_whitespace().collect();
    let at = words.iter().position(|w| *w == "Swing").expect("a heading");
    words[at..words.len().min(at + 40)].join(" ")
}

#[test]
fn a_single_word_makes_an_unsure_swing_count_and_is_shown() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    lesson(keep.path());
    let silent = load(&keep.path().display().to_string()).expect("a session");
    assert!(!counted(&silent).contains(&4) && !counted(&silent).contains(&5));
    assert_eq!([3, 4, 6].map(|n| in_column(&silent, n)), ["rehearsal", "unsure", "strike"]);

    let said = say(keep.path(), What::Ball { swing: 4, struck: Some(true) });
    assert!(counted(&said).contains(&4) && !counted(&said).contains(&5));
    assert_eq!(in_column(&said, 4), "strike");
    let text = render::session(&said, Style::new(100, false));
    assert!(text.contains("4: hit a ball, as the coach says"), "{text}");
    let doc = serde_json::to_value(json::Show::from(&said)).expect("a document");
    assert_eq!(doc["swings"][3]["ball"], "struck");
    assert_eq!(doc["swings"][3]["counts"], true);
    assert_eq!(doc["swings"][4]["ball"], "unknown");
    assert_eq!(doc["remarks"]["swings"]["4"]["struck"], true);

    let otherwise = say(keep.path(), What::Ball { swing: 4, struck: Some(false) });
    assert!(!counted(&otherwise).contains(&4));
    assert_eq!(in_column(&otherwise, 4), "rehearsal");
    let back = say(keep.path(), What::Undo { id: 2 });
    assert!(counted(&back).contains(&4), "the word before holds again");
}

#[test]
fn a_block_without_a_ball_counts_what_hit_none() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    lesson(keep.path());
    let without = What::Balls { block: "baseline".into(), every_swing: false, without_ball: true };
    let loaded = say(keep.path(), without);
    assert_eq!(counted(&loaded), [3, 4, 5]);
    assert_eq!([3, 4, 6].map(|n| in_column(&loaded, n)), ["no ball", "no ball", "hit, out"]);
    let text = render::session(&loaded, Style::new(100, false));
    assert!(text.contains("Without a ball, as the coach says"), "{text}");
    let doc = serde_json::to_value(json::Show::from(&loaded)).expect("a document");
    assert_eq!(doc["remarks"]["without_ball"], serde_json::json!(["baseline"]));
    assert_eq!(doc["swings"][2]["ball"], "without");
    assert_eq!([2, 5].map(|i| doc["swings"][i]["counts"] == true), [true, false]);
    // The other block is as it was.
    assert!(!loaded.counted("after").is_empty());
    // One that brushed the mat and was taken for a strike counts once that is said.
    let loaded = say(keep.path(), What::Ball { swing: 6, struck: Some(false) });
    assert_eq!(counted(&loaded), [3, 4, 5, 6]);
}

#[test]
fn the_heading_says_who_says_so_and_whether_it_counts() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    lesson(keep.path());
    let block =
        |every_swing, without_ball| What::Balls { block: "baseline".into(), every_swing, without_ball };
    for (what, number, wanted) in [
        (block(false, false), 4, "strike or rehearsal: not known (left out of the statistics)"),
        (block(false, false), 3, "rehearsal (left out of the statistics)"),
        (block(true, false), 4, "strike, as the coach says of the block"),
        (block(false, true), 4, "without a ball, as the coach says of the block,"),
        (block(false, true), 3, "rehearsal,"),
        (block(false, true), 6, "strike (left out of the statistics: the block is without a ball)"),
        (What::Ball { swing: 6, struck: Some(false) }, 6, "without a ball, as the coach says,"),
    ] {
        let loaded = say(keep.path(), what);
        let title = title(&loaded, number);
        assert!(title.contains(wanted), "no '{wanted}' in {title}");
    }
}

#[test]
fn only_blocks_that_differ_are_called_unlike() {
    assert_eq!(words::ball::unlike((false, false)), None);
    assert_eq!(words::ball::unlike((true, true)), None);
    let [before, after] = [(true, false), (false, true)].map(|w| words::ball::unlike(w).expect("unlike"));
    assert!(before.contains("before are without a ball") && after.contains("after without one"));
}
