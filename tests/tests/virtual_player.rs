//! One invented player on several days, from outside.

use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::Swing;
use peakorder_tests::files::swings;
use peakorder_tests::programs::daemon;
use std::path::Path;

/// Records `swings` swings of a player on a day, with more arguments.
fn play(
    folder: &Path,
    name: &str,
    arguments: &[&str],
) -> (SessionDir, peakorder_protocol::session::Session, Vec<Swing>) {
    let out = folder.join(name);
    let place = out.to_str().expect("a path in UTF-8");
    let _ = daemon([&["virtual", "--out", place, "--swings", "6"][..], arguments].concat()).done();
    let (dir, session) = SessionDir::open(&out).expect("a session");
    (dir, session, swings(&out))
}

fn pelvis_turn(swings: &[Swing]) -> f64 {
    let turn = |s: &Swing| s.segments[&peakorder_protocol::Role::Pelvis].turn_deg.expect("calibrated").top;
    swings.iter().map(turn).sum::<f64>() / swings.len() as f64
}

#[test]
fn one_player_has_many_days_and_each_day_is_reproducible() {
    let keep = tempfile::tempdir().expect("a folder");
    let of = |name: &str, arguments: &[&str]| play(keep.path(), name, arguments);
    let (_, first, day_1) = of("a", &["--player", "5", "--seed", "1"]);
    let (_, again, same) = of("b", &["--player", "5", "--seed", "1"]);
    let (_, second, day_2) = of("c", &["--player", "5", "--seed", "2"]);
    let (_, _, other) = of("d", &["--player", "6", "--seed", "1"]);
    assert_eq!((day_1.len(), &day_1), (6, &same));
    assert_eq!(first.id, again.id);
    assert_ne!(first.id, second.id);
    assert_eq!(first.player, second.player);
    assert_eq!(
        [&first, &second].map(|s| s.started_utc.as_str()),
        ["2026-01-02T00:00:00Z", "2026-01-03T00:00:00Z"]
    );
    assert_ne!(day_1, day_2);
    // Means of six swings of an amateur vary by about a degree, habits by six.
    let [a, b, c] = [&day_1, &day_2, &other].map(|s| pelvis_turn(s));
    assert!((a - b).abs() < 5.0, "{a} and {b}");
    println!("player 5: {a:.1} and {b:.1} deg, player 6: {c:.1} deg");

    // Player and day of one number are what that number alone was.
    let (_, _, alone) = of("e", &["--seed", "5"]);
    let (_, _, both) = of("f", &["--player", "5", "--seed", "5"]);
    let bare = |swings: &[Swing]| -> Vec<Swing> {
        swings.iter().map(|s| Swing { session: String::new(), ..s.clone() }).collect()
    };
    assert_eq!(bare(&alone), bare(&both));
}

#[test]
fn dependence_drift_skin_and_wearing_again_change_the_day_and_are_checked() {
    let keep = tempfile::tempdir().expect("a folder");
    let (_, _, plain) = play(keep.path(), "plain", &["--player", "5", "--seed", "1"]);
    for (name, arguments) in [
        ("correlation", &["--correlation", "0.5"][..]),
        ("drift", &["--drift", "-1.5"]),
        ("skin", &["--skin", "4.5"]),
    ] {
        let all = [&["--player", "5", "--seed", "1"][..], arguments].concat();
        let (_, _, changed) = play(keep.path(), name, &all);
        assert_ne!(plain, changed, "{name}");
    }
    let (_, _, twice) = play(keep.path(), "twice", &["--player", "5", "--seed", "1", "--re-wear-after", "3"]);
    assert_eq!(twice.iter().map(|s| s.wearing).collect::<Vec<_>>(), [0, 0, 0, 1, 1, 1]);
    let out = keep.path().join("none");
    for wrong in [["--correlation", "1"], ["--drift", "9"], ["--skin", "-1"], ["--player", "Ann"]] {
        let place = out.to_str().expect("a path in UTF-8");
        let _ = daemon([&["virtual", "--out", place][..], &wrong].concat()).refused();
    }
    assert!(!out.exists());
}
