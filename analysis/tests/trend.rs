//! A player over sessions: found, followed, and not fooled by straps put on anew.

mod common;

use common::{BASELINE, Centre, Dice, session, stored, swing, two_blocks, write};
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::compare::{Verdict, compare};
use peakorder_analysis::library::{FindError, Found, find};
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::render::{self, Style};
use peakorder_analysis::trend::{Trend, trend};
use peakorder_analysis::{export, json};
use peakorder_protocol::Role;
use peakorder_protocol::remark::What;
use peakorder_protocol::session::SessionDir;
use std::path::Path;

const TURN: Measure = Measure::TurnAtTop(Role::Pelvis);

/// Sessions two weeks apart, eight swings each; `shift_deg` is added to the turns of each.
fn sessions(blank: &Loaded, shifts_deg: &[f64], dice: &mut Dice) -> Found {
    let sessions = shifts_deg
        .iter()
        .enumerate()
        .map(|(i, shift)| {
            let mut centre: Centre = BASELINE.clone();
            for turn in centre.turn_top.iter_mut().chain(&mut centre.turn_impact) {
                *turn += shift;
            }
            let mut loaded = blank.clone();
            let day = 14 * i;
            loaded.session.id = format!("session-{i}");
            loaded.session.started_utc = format!("2026-{:02}-{:02}T10:00:00Z", 1 + day / 28, 1 + day % 28);
            loaded.swings = (1..=8).map(|n| swing(n, "baseline", &centre, dice)).collect();
            loaded.blocks = vec!["baseline".into()];
            loaded
        })
        .collect();
    Found { player: "Sample player".into(), sessions, left_out: Vec::new() }
}

fn blank() -> (tempfile::TempDir, Loaded) {
    let keep = tempfile::tempdir().expect("a temporary folder");
    write(keep.path(), &session(true), &[]);
    let loaded = load(&keep.path().display().to_string()).expect("a session");
    (keep, loaded)
}

fn verdict(trend: &Trend, measure: Measure) -> Verdict {
    trend.rows.iter().find(|r| r.measure == measure).expect("measured").verdict
}

#[test]
fn a_change_over_months_is_found() {
    let (_keep, blank) = blank();
    // Large enough to stand out among thirty measures looked at (Holm).
    let shifts = [0.0, -4.0, -8.0, -11.5, -16.0, -19.0];
    let trend = trend(&sessions(&blank, &shifts, &mut Dice::new(5)), "baseline", &Family::All);
    assert_eq!(verdict(&trend, TURN), Verdict::Changed);
    assert_eq!(verdict(&trend, Measure::Backswing), Verdict::CantTell);
    let row = trend.rows.iter().find(|r| r.measure == TURN).expect("measured");
    // 19° in 70 days, so 8.1° in 30.
    let line = row.line.expect("six sessions");
    assert!((line.slope + 19.0 / 70.0 * 30.0).abs() < line.half_width, "{line:?}");
    assert!(row.words.contains("more than the first"), "{}", row.words);
}

/// Straps sit a little differently each time: 1.4° (SD, what the swing files state) on all
/// turns of a session. Of 300 players who did not change, no more than one in twenty may be
/// told of a change in anything (15; + 4 standard deviations of the binomial count).
#[test]
fn straps_put_on_anew_are_no_trend() {
    let (_keep, blank) = blank();
    for count in [2, 3, 5] {
        let mut dice = Dice::new(17);
        let alarms = (0..300)
            .filter(|_| {
                let shifts: Vec<f64> = (0..count).map(|_| 1.4 * dice.normal()).collect();
                let trend = trend(&sessions(&blank, &shifts, &mut dice), "baseline", &Family::All);
                trend.rows.iter().any(|r| r.verdict == Verdict::Changed)
            })
            .count();
        assert!(alarms <= 15 + 15, "{alarms} of 300 with {count} sessions");
    }
}

#[test]
fn two_sessions_are_first_and_last_with_the_straps_in_mind() {
    let (_keep, blank) = blank();
    // By the seat alone (√2 · 1.05 · 1.4°, Student's factor for 4 degrees of freedom) 95 % lie within 5.8°.
    let meant = Family::Only(vec![Chosen::of(TURN)]);
    let small = trend(&sessions(&blank, &[0.0, -3.5], &mut Dice::new(2)), "baseline", &meant);
    assert_eq!(verdict(&small, TURN), Verdict::CantTell);
    let large = trend(&sessions(&blank, &[0.0, -9.0], &mut Dice::new(2)), "baseline", &meant);
    assert_eq!(verdict(&large, TURN), Verdict::Changed);
    // With a session more it is known how well this player's straps are put on again, and less is enough.
    let three = trend(&sessions(&blank, &[0.0, 0.2, -5.5], &mut Dice::new(2)), "baseline", &meant);
    assert_eq!(verdict(&three, TURN), Verdict::Changed);
    assert!(large.rows.iter().all(|r| r.line.is_none()));
    let one = trend(&sessions(&blank, &[0.0], &mut Dice::new(2)), "baseline", &Family::All);
    assert!(one.rows.is_empty());
    assert!(render::trend(&one, Style::new(100, false)).contains("One session only"));
}

#[test]
fn excluded_swings_and_other_blocks_do_not_count() {
    let (_keep, blank) = blank();
    let mut found = sessions(&blank, &[0.0, 0.0], &mut Dice::new(2));
    let remark = |id, what| peakorder_protocol::remark::Remark { id, t_s: 1.0, what };
    let out = remark(1, What::Exclude { swing: 3, excluded: true, reason: String::new() });
    found.sessions[0].remarks = peakorder_protocol::remark::Remarks::fold(&[out]);
    found.sessions[1].swings[0].block = "drill".into();
    let trend = trend(&found, "baseline", &Family::All);
    assert_eq!(trend.sessions[0].summary.used, [1, 2, 4, 5, 6, 7, 8]);
    assert_eq!(trend.sessions[1].summary.used, [2, 3, 4, 5, 6, 7, 8]);
}

#[test]
fn trend_at_100_columns() {
    let (_keep, blank) = blank();
    let five = trend(
        &sessions(&blank, &[0.0, -2.0, -5.0, -7.5, -10.0], &mut Dice::new(5)),
        "baseline",
        &Family::All,
    );
    stored("trend-100.txt", &render::trend(&five, Style::new(100, false)));
    let two = trend(&sessions(&blank, &[0.0, -3.5], &mut Dice::new(5)), "baseline", &Family::All);
    stored("trend-two-80.txt", &render::trend(&two, Style::new(80, false)));
    for width in [60, 80, 120] {
        for line in render::trend(&five, Style::new(width, false)).lines() {
            assert!(line.chars().count() <= width, "wider than {width}: {line}");
        }
    }
    let document = serde_json::to_value(json::Follow::from(&five)).expect("a document");
    assert_eq!(document["schema"], "peakorder.trend/1");
    assert_eq!(document["sessions"].as_array().expect("a list").len(), 5);
    let turn = document["measures"].as_array().expect("a list").iter().find(|m| m["key"] == TURN.key());
    assert!(turn.expect("the turn")["slope_per_30_days"].as_f64().expect("a number") < 0.0);
}

fn on_disk(at: &Path, id: &str, name: &str, day: u32) {
    let mut s = session(true);
    s.id = id.into();
    s.player.name = name.into();
    s.started_utc = format!("2026-03-{day:02}T10:00:00Z");
    write(at, &s, &two_blocks());
}

#[test]
fn sessions_are_found_by_folder_library_and_player() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let place = |n: &str| keep.path().join("sessions").join(n);
    std::fs::create_dir_all(keep.path().join("sessions")).expect("writable");
    on_disk(&place("b"), "b", "Ada", 20);
    on_disk(&place("a"), "a", "ada ", 27);
    on_disk(&place("c"), "c", "Bo", 1);
    std::fs::create_dir_all(place("broken")).expect("writable");
    std::fs::write(place("broken").join("session.toml"), "no").expect("writable");
    let library = [keep.path().to_owned()];
    let found = find(&library, Some("ADA")).expect("two sessions");
    let ids: Vec<&str> = found.sessions.iter().map(|l| l.session.id.as_str()).collect();
    assert_eq!((ids, found.left_out.len()), (vec!["b", "a"], 1));
    assert!(matches!(find(&library, None), Err(FindError::Player { asked: None, .. })));
    let e = find(&library, Some("Cy")).expect_err("no such player").to_string();
    assert!(e.contains("'Cy'") && e.contains("'ada'") && e.contains("'Bo'"), "{e}");
    // The same session by two names counts once.
    let twice = find(&[place("c"), place("c")], None).expect("one session");
    assert_eq!(twice.sessions.len(), 1);
    assert!(matches!(find(&[place("none")], None), Err(FindError::NoFolder(_))));
    assert!(matches!(find(&[place("c").join("swings")], None), Err(FindError::NoSession(_))));
}

#[test]
fn a_player_keeps_earlier_sessions_under_a_new_name() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let on = |id: &str, person: Option<&str>, name: &str, day: u32| {
        let at = keep.path().join(id);
        on_disk(&at, id, name, day);
        let (dir, mut session) = SessionDir::open(&at).expect("a session");
        session.player.id = person.map(Into::into);
        dir.write_session(&session).expect("written");
    };
    // Recorded before ids were kept; with one; renamed; another person who took the old name.
    on("a", None, "Ada", 1);
    on("b", Some("p1"), "ada", 2);
    on("c", Some("p1"), "Ada King", 3);
    on("d", Some("p2"), "Ada", 4);
    let ids = |name: &str| -> Vec<String> {
        let found = find(&[keep.path().to_owned()], Some(name)).expect("sessions");
        found.sessions.iter().map(|l| l.session.id.clone()).collect()
    };
    assert_eq!(ids("Ada King"), ["a", "b", "c"]);
    // Who is called so now.
    assert_eq!(ids("Ada"), ["d"]);
    let load = |id: &str| load(&keep.path().join(id).display().to_string()).expect("a session");
    let apart = |a: &str, b: &str| {
        let compared = compare(&load(a), &load(b), &Family::All).expect("comparable");
        compared.notes.iter().any(|n| n.starts_with("Different players"))
    };
    assert!(!apart("b", "c") && !apart("a", "b"));
    assert!(apart("b", "d") && apart("a", "c"), "another id; another name and no id to go by");
}

#[test]
fn csv_has_a_row_a_swing_and_the_unit_in_every_name() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    write(keep.path(), &session(true), &two_blocks());
    let name = keep.path().display().to_string();
    let remarks = load(&name).expect("a session").dir.remarks();
    remarks
        .append(1.0, What::Note { swing: Some(1), text: "=1+1, \"quoted\"\nand more".into() })
        .expect("written");
    remarks.append(1.0, What::Exclude { swing: 2, excluded: true, reason: String::new() }).expect("written");
    let text = export::csv(&load(&name).expect("a session")).expect("CSV");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = reader.headers().expect("a header").clone();
    let at = |column: &str| header.iter().position(|h| h == column).expect(column);
    for h in header.iter().skip(16) {
        let unit =
            ["_ms", "_deg", "_dps", "_cm", "_percent", "_ratio", "_ratio_sd", "_ratio_bone_sd", "_def"];
        assert!(unit.iter().any(|u| h.ends_with(u)), "{h}");
    }
    let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect("a row")).collect();
    assert_eq!(rows.len(), 25);
    assert_eq!(&rows[0][at("note")], "'=1+1, \"quoted\"\nand more");
    let flags = |i: usize| (&rows[i][at("counted")], &rows[i][at("left_out")]);
    assert_eq!(flags(0), ("1", "0"));
    assert_eq!(flags(1), ("0", "1"));
    assert_eq!(flags(2), ("0", "0"), "a rehearsal");
    assert_eq!(&rows[9][at("pelvis_turn_top_deg")], "", "withheld");
    let loaded = load(&name).expect("a session");
    let gap = Measure::Gap(Role::Pelvis, Role::Thorax).of(&loaded.swings[0]).expect("measured");
    let cell = |column: &str| rows[0][at(column)].parse::<f64>().expect("a number");
    assert!((cell("gap_pelvis_thorax_ms") - gap.value).abs() < 1e-4);
    assert!((cell("gap_pelvis_thorax_sd_ms") - gap.sd.expect("stated")).abs() < 1e-4);
}
