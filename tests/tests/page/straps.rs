//! A lesson as the coach gives it, with straps on the air (a stand-in for the Bluetooth
//! service; what they send is an invented player's): every guided movement, block and note
//! begun and ended by tapping.

use crate::common::{SOON, address, show, state, swing_shown};
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::session::SessionDir;
use peakorder_tests::bluez::{FakeBluez, assign, play, straps, wait};
use peakorder_tests::browser::{Browser, UPRIGHT};
use peakorder_tests::files::records;
use peakorder_tests::test_server::TestServer;
use peakorder_virtual_straps::Script;
use serde_json::{Value, json};
use std::time::{Duration, Instant};

/// A finger that rests for longer than the page needs to redraw.
const SLOW: Duration = Duration::from_millis(250);

#[test]
fn a_lesson_with_straps_is_led_by_tapping() {
    let Some(browser) = Browser::open(UPRIGHT) else { return };
    let Some(air) = FakeBluez::with(straps()) else { return };
    assign(&air, 3, "ref-strap-v1");
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::with_straps(&air, home.path());
    let script = Script::lesson(1).session();
    browser.goto(&address(&server, "lesson"));
    browser.tap("[data-key=add-player]");
    browser.type_into("#name", "Invented Player");
    browser.tap("input[type=checkbox]");
    browser.tap("button[type=submit]");
    browser.until("the start", "return document.querySelector('[data-key=start]')?.disabled === false", SOON);
    browser.tap("[data-key=start]");
    browser.sees("Invented Player’s lesson", SOON);
    wait("all straps are subscribed", 20, || {
        (0..3).all(|i| air.look(i, peakorder_tests::bluez::Peer::streams))
    });
    let from = Instant::now() + Duration::from_millis(300);
    play(&air, &script, from);
    let sleep_until = |t_s: f64| {
        let due = from + Duration::from_secs_f64(t_s);
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
    };
    browser.sees("3 of 3 straps connected", SOON);

    // What the script marks by itself for virtual straps is tapped here when it is due.
    let mut tapped = Vec::new();
    for mark in script.marks() {
        let t_s = mark.t_ns as f64 * 1e-9;
        let key = match mark.kind {
            MarkKind::StillStart | MarkKind::StillEnd => "cal-still",
            MarkKind::BowStart | MarkKind::BowEnd => "cal-bow",
            MarkKind::ArmRaiseStart | MarkKind::ArmRaiseEnd => "cal-arm-raise",
            // The standing turns are left out: this is long enough.
            MarkKind::TurnStart if mark.detail == "seated" => "mob-seated",
            MarkKind::TurnEnd if tapped.iter().filter(|k| **k == "mob-seated").count() == 1 => "mob-seated",
            MarkKind::Block if mark.detail == "baseline" => "block-baseline",
            _ => continue,
        };
        sleep_until(t_s);
        let begins = matches!(
            mark.kind,
            MarkKind::StillStart | MarkKind::BowStart | MarkKind::ArmRaiseStart | MarkKind::TurnStart
        );
        browser.press_long(&format!("[data-key={key}]"), SLOW);
        tapped.push(key);
        if begins {
            browser.sees("Going on for", SOON);
        }
        if key == "cal-still" && begins {
            // Live feedback while it goes on.
            browser.sees("hold still", Duration::from_secs(5));
        }
    }
    assert_eq!(
        tapped,
        [
            "cal-still",
            "cal-still",
            "cal-bow",
            "cal-bow",
            "cal-arm-raise",
            "cal-arm-raise",
            "mob-seated",
            "mob-seated",
            "block-baseline"
        ]
    );
    browser.sees("Done: how every strap sits", SOON);
    browser.sees("Now: baseline", SOON);
    // The check's result: the virtual player turns 48° each way when seated (its script).
    let cells =
        browser.run("return [...document.querySelectorAll('.course tbody tr')].map((r) => r.innerText)");
    let cells = cells.as_array().expect("rows");
    let thorax: Vec<f64> = cells[0]
        .as_str()
        .expect("words")
        .split(|c: char| !(c.is_ascii_digit() || c == '°'))
        .filter_map(|t| t.strip_suffix('°')?.parse().ok())
        .collect();
    assert!(thorax.len() == 2 && thorax.iter().all(|t| (43.0..53.0).contains(t)), "{cells:?}");

    // A block of the coach's own name, and a note.
    show(&browser, "swing");
    swing_shown(&browser, 1);
    show(&browser, "lesson");
    browser.tap("[data-key=block-own]");
    browser.type_into("#ask-input", "slow ones");
    browser.tap("dialog button[type=submit]");
    browser.sees("Now: slow ones", SOON);
    browser.tap("[data-key=lesson-note]");
    browser.type_into("#ask-input", "hips quiet");
    browser.tap("dialog button[type=submit]");
    browser.sees("hips quiet", SOON);
    let lesson = state(&server)["lesson"].clone();
    let labels: Vec<&Value> =
        lesson["blocks"].as_array().expect("blocks").iter().map(|b| &b["label"]).collect();
    assert_eq!(labels, ["baseline", "slow ones"]);
    assert_eq!(lesson["invented"], json!(false), "straps are worn: nothing is called invented");
    browser.tap("[data-key=end-lesson]");
    browser.type_into("#ask-input", "Practise: ten slow swings");
    browser.tap("dialog button[type=submit]");
    // It leads to what came of the lesson, not to an empty form.
    let session = lesson["session"].as_str().expect("an id");
    let there = format!(
        "return location.hash.includes('lesson={session}') && document.querySelector('a[href$=\"/report\"]') !== null"
    );
    browser.until("the lesson that ended", &there, SOON);
    assert_eq!(state(&server)["lesson"], Value::Null);

    // On disk: the marks where they were tapped, and a swing of the block.
    let folder = home.path().join("sessions").join(session);
    let marks: Vec<String> = records(&folder.join("samples.log"))
        .0
        .into_iter()
        .filter_map(|r| match r {
            Record::Mark(m) => Some(format!("{} {}", m.kind, m.detail).trim().to_owned()),
            _ => None,
        })
        .collect();
    assert_eq!(
        marks,
        [
            "still-start",
            "still-end",
            "bow-start",
            "bow-end",
            "arm-raise-start",
            "arm-raise-end",
            "turn-start seated",
            "turn-end",
            "block baseline",
            "block slow ones"
        ]
    );
    let (dir, _) = SessionDir::open(&folder).expect("a session");
    let swing = dir.read_swing(1).expect("a swing");
    assert_eq!(swing.block, "baseline");
    assert!(swing.segments.values().all(|s| s.turn_deg.is_some()), "calibrated: {:?}", swing.quality);
    // What was said at the end heads the page that goes home; the check is in its appendix.
    let sheet = server.get(&format!("/api/v1/sessions/{session}/report")).text;
    assert!(sheet.contains("Ten slow swings") && !sheet.contains("How far you turned"), "{sheet}");
    let whole = server.get(&format!("/api/v1/sessions/{session}/report?appendix=true")).text;
    assert!(whole.contains("How far you turned"), "{whole}");
}
