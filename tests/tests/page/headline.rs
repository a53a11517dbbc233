//! What the lesson is about leads the page of a swing, large enough to be read from the mat; a rehearsal takes neither the
//! page nor the taps.

use crate::access::{axe, findings};
use crate::common::{SOON, address, keep_what_is_shown, kept, show, swing_shown};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::words::said;
use peakorder_protocol::Role;
use peakorder_protocol::swing::SwingKind;
use peakorder_tests::browser::{Browser, PHONE_DARK, TABLET};
use peakorder_tests::files::swings;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

/// 15 and 8 arc minutes at two metres on a 10-inch tablet, whose 1280 CSS pixels are 217 mm wide.
const MATTERS_PX: f64 = 8.7 / 217.0 * 1280.0;
const NEEDED_PX: f64 = 4.7 / 217.0 * 1280.0;

/// Heights of the digits and capitals of the elements `css`, px, as the font draws them.
const HEIGHTS: &str = "
    const context = document.createElement('canvas').getContext('2d');
    window.heights = (css) => [...document.querySelectorAll(css)].filter((e) => e.textContent.trim()).map((e) => {
      const style = getComputedStyle(e);
      context.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
      return context.measureText('8').actualBoundingBoxAscent;
    });
    return true";

fn smallest(browser: &Browser, css: &str) -> f64 {
    let found = browser.run(&format!("return window.heights({})", json!(css)));
    let found: Vec<f64> = found.as_array().expect("heights").iter().filter_map(Value::as_f64).collect();
    assert!(!found.is_empty(), "nothing is {css}");
    found.into_iter().fold(f64::INFINITY, f64::min)
}

#[test]
fn what_the_lesson_is_about_leads() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    let files = swings(&home.path().join("sessions").join(&session));
    let last = files.last().expect("swings");
    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    swing_shown(&browser, last.number);
    assert_eq!(
        browser.run("return document.querySelector('h1').className"),
        "order",
        "nothing is chosen: the order of peaks leads"
    );

    show(&browser, "target");
    let chosen = [Measure::TurnAtTop(Role::Pelvis), Measure::ArmRaised];
    for (count, measure) in chosen.iter().enumerate() {
        browser.tap(&format!("[data-key=\"about-{}\"]", measure.key()));
        let there = format!(
            "return document.querySelectorAll('.about-taps [aria-pressed=true]').length === {}",
            count + 1
        );
        browser.until("the choice", &there, SOON);
    }
    show(&browser, "swing");
    browser.until("the headline", "return document.querySelectorAll('.lead-row').length === 2", SOON);
    let rows = browser.run(
        "return [...document.querySelectorAll('.lead-row')].map((r) => [r.dataset.measure,
           r.querySelector('.lead-title').textContent, [...r.querySelectorAll('.lead-label')].map((t) => t.textContent)])",
    );
    let baseline: Vec<_> =
        files.iter().filter(|s| s.block == "baseline" && s.kind == SwingKind::Strike).collect();
    let expected: Vec<Value> = chosen
        .iter()
        .map(|m| {
            let now = m.of(last).expect("measured");
            let half = (1.96 * now.sd.expect("stated")).max(1.0);
            let values: Vec<f64> = baseline.iter().filter_map(|s| Some(m.of(s)?.value)).collect();
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let label = m.label();
            let (first, rest) = label.split_at(1);
            let title = format!("{}{rest} {} ± {half:.0}", first.to_uppercase(), said::value(*m, now.value));
            json!([m.key(), title, [format!("your usual {}", said::amount(*m, mean))]])
        })
        .collect();
    let trimmed: Vec<Value> = rows
        .as_array()
        .expect("rows")
        .iter()
        .map(|r| json!([r[0], r[1].as_str().expect("a title").trim_end(), r[2]]))
        .collect();
    assert_eq!(trimmed, expected);
    // The order is a picture below.
    assert_eq!(browser.run("return document.querySelector('h2 .order') !== null"), true);

    browser.run(HEIGHTS);
    let matters = smallest(&browser, ".lead-number");
    assert!(matters >= MATTERS_PX, "{matters} px of {MATTERS_PX}");
    for css in [".lead-name", ".lead-way", ".lead-band", ".lead-label"] {
        let height = smallest(&browser, css);
        assert!(height >= NEEDED_PX, "{css}: {height} px of {NEEDED_PX}");
    }
    // Headline, picture and taps without scrolling, and fingers' room.
    let below = browser.run(
        "const end = document.getElementById('content').getBoundingClientRect().bottom;
         return [...document.querySelectorAll('.leads, .taps')].filter((e) => e.getBoundingClientRect().bottom > end).length",
    );
    assert_eq!(below, 0);
    fingers(&browser);

    // An older swing's comparison is asked for.
    browser.tap("[aria-label=\"The swing before\"]");
    let against = format!("/api/v1/sessions/{session}/swings/{}/against", last.number - 1);
    let told = server.get(&against).expect(200);
    for measure in chosen {
        let row =
            told.as_array().expect("rows").iter().find(|r| r["measure"] == measure.key()).expect("a row");
        let words = row["words"].as_str().expect("words");
        browser.until(
            words,
            &format!("return document.querySelector('.against')?.textContent.includes({})", json!(words)),
            SOON,
        );
    }
    // Nothing that was not chosen speaks.
    assert_eq!(browser.run("return document.querySelectorAll('.differences .difference').length"), 2);
    if let Some(axe) = axe() {
        assert_eq!(findings(&browser, &axe), Vec::<String>::new());
    }
    let wide = "return document.getElementById('content').scrollWidth > innerWidth + 1";
    assert_eq!(browser.run(wide), json!(false), "it does not fit the width");
}

/// Nothing to tap is lower than 48 px but the lines of the run, for which the steps stand.
fn fingers(browser: &Browser) {
    let small = browser.run(
        "return [...document.querySelectorAll('#content button, #content select, #content input:not([type=checkbox]), #content a')]
           .filter((e) => !e.matches('.run-open') && e.offsetParent).map((e) => [e.textContent, e.getBoundingClientRect().height])
           .filter(([, height]) => height < 47.5)",
    );
    assert_eq!(small, json!([]), "too low for a finger");
}

#[test]
fn the_target_page_has_room_for_fingers_and_last_lessons_choice_is_one_tap() {
    let Some(browser) = Browser::open(PHONE_DARK) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let player = server.player("Invented Player");
    let before = server.whole_lesson_of(&player);
    let about =
        json!([{ "measure": "separation_top_deg", "matters": 4.0 }, { "measure": "pelvis_turn_top_deg" }]);
    server
        .post(&format!("/api/v1/sessions/{before}/remarks"), &json!({ "what": "chosen", "measures": about }))
        .expect(201);
    let session = server.whole_lesson_of(&player);
    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    swing_shown(&browser, 1);
    show(&browser, "target");
    browser.sees("As last time: Separation at top, Pelvis turn at top", SOON);
    fingers(&browser);
    browser.tap("[data-key=about-as-before]");
    let there = "return document.querySelectorAll('.about-taps [aria-pressed=true]').length === 2";
    browser.until("the choice", there, SOON);
    let kept =
        server.get(&format!("/api/v1/sessions/{session}")).expect(200)["remarks"]["chosen"]["measures"]
            .clone();
    assert_eq!(kept, about);
    if let Some(axe) = axe() {
        assert_eq!(findings(&browser, &axe), Vec::<String>::new());
    }
    let wide = "return document.getElementById('content').scrollWidth > innerWidth + 1";
    assert_eq!(browser.run(wide), json!(false), "it does not fit the width");
}

#[test]
fn a_rehearsal_takes_neither_the_page_nor_the_taps() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "24");
    let mut events = server.events("/api/v1/events");
    browser.goto(&address(&server, "swing"));
    let session = server.lesson(&server.player("Invented Player"));
    browser.sees("No swing yet", SOON);
    keep_what_is_shown(&browser);
    browser.run(
        "window.quiet = new Set();
         new MutationObserver(() => {
           const line = document.querySelector('.quiet-line');
           if (line) window.quiet.add(`${document.querySelector('h1[data-swing]').dataset.swing}: ${line.textContent}`);
         }).observe(document.getElementById('content'), { childList: true, subtree: true });
         return true",
    );
    events.until("session_ended");
    let files = swings(&home.path().join("sessions").join(&session));
    let rehearsals: Vec<u32> =
        files.iter().filter(|s| s.kind == SwingKind::Rehearsal).map(|s| s.number).collect();
    assert_eq!(rehearsals, [9, 10]);
    let shown: Vec<u32> = kept(&browser).into_iter().map(|(number, _)| number).collect();
    assert!(shown.len() > 15 && shown.contains(&8), "{shown:?}");
    assert!(!rehearsals.iter().any(|n| shown.contains(n)), "{shown:?}");
    let quiet = browser.run("return [...window.quiet]");
    let quiet: Vec<&str> = quiet.as_array().expect("a list").iter().filter_map(Value::as_str).collect();
    assert_eq!(quiet, ["8: Swing 9 was a rehearsal. look at it", "8: 2 rehearsals since. look at it"]);

    // It can be looked at all the same.
    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    swing_shown(&browser, 26);
    browser.run_async("const done = arguments[arguments.length - 1]; import('/js/store.js').then((m) => { m.choose(9); done(true); })");
    browser.until("swing 9", "return document.querySelector('h1[data-swing]')?.dataset.swing === '9'", SOON);
    browser.sees("rehearsal, no strike", SOON);
}
