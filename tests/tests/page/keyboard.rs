//! The whole way with the keyboard alone: no pointer is used. And with a slow hand.

use crate::common::{SOON, address, show, state, swing_shown};
use peakorder_tests::browser::{Browser, DESK, PHONE_DARK, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::time::Duration;

/// WebDriver's key codes (W3C WebDriver, section 17.4.2, keyboard actions).
const TAB: &str = "\u{e004}";
const ENTER: &str = "\u{e007}";
const SPACE: &str = "\u{e00d}";
const LEFT: &str = "\u{e012}";
const RIGHT: &str = "\u{e014}";

/// Presses Tab until what has the focus is called `name`.
fn tab_to(browser: &Browser, name: &str) {
    let mut passed = Vec::new();
    for _ in 0..90 {
        let focused = browser.focused();
        // The content itself has the focus after a change of screen; it is no control.
        let control = !focused.starts_with("MAIN") && !focused.starts_with("BODY");
        if control && focused.to_lowercase().contains(&name.to_lowercase()) {
            let ring = browser.run("const s = getComputedStyle(document.activeElement); return s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2");
            assert_eq!(ring, Value::Bool(true), "{focused} shows no focus");
            return;
        }
        passed.push(focused);
        browser.press(TAB);
    }
    panic!("Tab does not reach “{name}”; it passed {passed:#?}");
}

#[test]
fn a_lesson_by_keyboard() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "20");
    browser.goto(&address(&server, "lesson"));
    browser.sees("Whose lesson?", SOON);
    tab_to(&browser, "add a player");
    browser.press(ENTER);
    browser.sees("A new player", SOON);
    tab_to(&browser, "INPUT   name");
    browser.press("Invented Player");
    for field in ["goal", "limits"] {
        tab_to(&browser, &format!("TEXTAREA   {field}"));
        browser.press("as invented");
    }
    tab_to(&browser, "INPUT   hip_breadth_cm");
    browser.press(TAB);
    browser.press(SPACE);
    tab_to(&browser, "Save");
    browser.press(ENTER);
    browser.sees("agreed to", SOON);
    tab_to(&browser, "Start a demo lesson");
    browser.press(ENTER);
    browser.sees("Invented Player’s lesson", SOON);
    browser.until(
        "the lesson to run",
        "return document.querySelector('footer').innerText.includes('connected')",
        SOON,
    );

    browser.goto(&address(&server, "swing"));
    swing_shown(&browser, 3);
    // Left steps back and stays there while new swings come.
    browser.press(LEFT);
    let shown = browser.run("return Number(document.querySelector('h1[data-swing]').dataset.swing)");
    browser.sees("to the newest", SOON);
    swing_count(&browser, &server, shown.as_u64().expect("a number") + 2);
    assert_eq!(browser.run("return Number(document.querySelector('h1[data-swing]').dataset.swing)"), shown);
    tab_to(&browser, "thin");
    browser.press(SPACE);
    browser.until(
        "the tap to be kept",
        "return document.querySelector('[data-key=ball-thin]').getAttribute('aria-pressed') === 'true'",
        SOON,
    );
    assert!(browser.focused().contains("thin"), "the focus stays where it was");
    let said = state(&server)["lesson"]["remarks"]["swings"][shown.to_string()]["labels"].clone();
    assert_eq!(said, json!(["thin"]));

    // The body from above, frame by frame.
    show(&browser, "above");
    browser.until("the figure", "return document.querySelector('svg.above .figure') !== null", SOON);
    let ms = "return Number(document.querySelector('input[type=range]').value)";
    browser.sees("At impact", SOON);
    let at_impact = browser.run(ms).as_f64().expect("a number");
    let spoken = browser.run("return document.querySelector('svg.above').getAttribute('aria-label')");
    for _ in 0..10 {
        browser.press(LEFT);
    }
    let before = browser.run(ms).as_f64().expect("a number");
    // Ten frames of the 208 Hz recording are 48 ms.
    assert!((at_impact - before - 48.0).abs() < 4.0, "{at_impact} to {before}");
    assert_ne!(browser.run("return document.querySelector('svg.above').getAttribute('aria-label')"), spoken);
    browser.press(RIGHT);
    browser.press("t");
    browser.sees("At top", SOON);
}

#[test]
fn a_slow_click_is_felt_while_swings_come() {
    let Some(browser) = Browser::open(DESK) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "20");
    server.lesson(&server.player("Invented Player"));
    browser.goto(&address(&server, "swing"));
    swing_shown(&browser, 3);
    browser.tap("[data-key=run-2]");
    browser.sees("to the newest", SOON);
    let before = swings_so_far(&server);
    browser.press_long("[data-key=ball-thin]", Duration::from_secs(4));
    browser.until(
        "the tap to be kept",
        "return document.querySelector('[data-key=ball-thin]').getAttribute('aria-pressed') === 'true'",
        SOON,
    );
    assert_eq!(state(&server)["lesson"]["remarks"]["swings"]["2"]["labels"], json!(["thin"]));
    // The page was drawn anew under it, and again once it was lifted.
    assert!(swings_so_far(&server) >= before + 2, "too few swings came for this to prove anything");
    let newest = swings_so_far(&server);
    browser.until(
        "the run to go on",
        &format!("return document.querySelector('[data-key=run-{newest}]') !== null"),
        SOON,
    );
}

/// Browsers send the click of a finger after it was lifted, not with it (W3C Touch Events, interaction with mouse events;
/// from memory). What comes to be drawn in between waits for it.
#[test]
fn the_click_of_a_finger_comes_before_what_is_drawn_anew() {
    let Some(browser) = Browser::open(PHONE_DARK) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    browser.goto(&address(&server, "swing"));
    let said = browser.run_async(
        "const done = arguments[arguments.length - 1];
         const wait = (ms) => new Promise((ready) => setTimeout(ready, ms));
         import('/js/dom.js').then(async ({ button, show, h }) => {
           const region = h('div', {});
           document.body.append(region);
           const said = [];
           const finger = (kind) => region.firstChild.dispatchEvent(
             new PointerEvent(kind, { bubbles: true, pointerType: 'touch', isPrimary: true }));
           for (const taps of [true, false]) {
             show(region, button('old', 'tried', () => said.push('tapped')));
             finger('pointerdown');
             show(region, button('new', 'tried', () => said.push('wrong one')));
             finger('pointerup');
             await wait(20);
             said.push(region.textContent);
             if (taps) region.firstChild.click();
             await wait(taps ? 20 : 400);
             said.push(region.textContent);
           }
           done(said);
         }, (e) => done(String(e)));",
    );
    assert_eq!(said, json!(["old", "tapped", "new", "old", "new"]));
}

fn swings_so_far(server: &TestServer) -> usize {
    state(server)["lesson"]["swings"].as_array().map_or(0, Vec::len)
}

fn swing_count(browser: &Browser, server: &TestServer, count: u64) {
    let start = std::time::Instant::now();
    while (swings_so_far(server) as u64) < count {
        assert!(start.elapsed() < SOON, "{count} swings; the page says {}", browser.text());
        std::thread::sleep(std::time::Duration::from_millis(200));
    }
}
