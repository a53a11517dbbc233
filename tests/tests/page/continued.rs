//! A lesson that a kill interrupted, as the coach finds it again; and blocks in an order, counted.

use crate::common::{SOON, address, show, state, swing_shown};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

#[test]
fn an_interrupted_lesson_is_offered_and_continued() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "15");
    let session = server.lesson(&server.player("Invented Player"));
    browser.goto(&address(&server, "swing"));
    swing_shown(&browser, 4);
    // Dropping the server kills it.
    drop(server);

    let server = TestServer::virtual_lessons(home.path(), "15");
    let told = state(&server)["interrupted"].clone();
    browser.goto(&address(&server, "earlier"));
    browser.sees("Invented Player’s lesson was interrupted", SOON);
    browser.goto(&format!("http://{}/", server.at));
    browser.sees("Invented Player’s lesson was interrupted", SOON);
    let swings = told["swings"].as_u64().expect("swings");
    let text = browser.text();
    assert!(text.contains(&format!("after {swings} swing")), "{text}");
    assert!(text.contains(told["calibration"].as_str().expect("words")), "{text}");
    browser.tap("[data-key=continue-lesson]");
    browser.sees("Invented Player’s lesson", SOON);
    show(&browser, "swing");
    swing_shown(&browser, swings as u32 + 1);
    assert_eq!(state(&server)["lesson"]["session"], json!(session));
    // Ended by the coach, it leads to what came of it.
    show(&browser, "lesson");
    browser.tap("[data-key=end-lesson]");
    browser.tap("dialog button[type=submit]");
    let there = format!(
        "return location.hash.includes('lesson={session}') && document.querySelector('a[href*=\"/report\"]') !== null"
    );
    browser.until("the lesson that ended", &there, SOON);
}

#[test]
fn an_order_of_blocks_is_one_tap_and_counted() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "6");
    server.lesson(&server.player("Invented Player"));
    browser.goto(&address(&server, "lesson"));
    // The virtual player begins with a baseline of his own.
    browser.until("the orders", "return document.querySelector('[data-key=orders]') !== null", SOON);
    browser.tap("[data-key=orders]");
    let designs = server.get("/api/v1/designs").json();
    let text = browser.text();
    for design in designs.as_array().expect("designs") {
        assert!(text.contains(design["words"].as_str().expect("words")), "{design}: {text}");
    }
    browser.tap("[data-key='order-4-4-4-4-4']");
    browser.tap("dialog button[type=submit]");
    browser.sees("block 1 of 5", SOON);
    // Counted on every screen, and the next block is one tap when it is full.
    show(&browser, "swing");
    browser.until(
        "the count",
        "return /^baseline [0-4] of 4$/.test(document.querySelector('.order-count')?.innerText ?? '')",
        SOON,
    );
    browser.until(
        "the next block",
        "return document.querySelector('#top [data-key=plan-next]') !== null",
        SOON * 2,
    );
    browser.tap("#top [data-key=plan-next]");
    browser.until(
        "the new way",
        "return document.querySelector('.order-count')?.innerText.startsWith('new way')",
        SOON,
    );
    assert_eq!(state(&server)["lesson"]["block"], json!("new way"));
}

#[test]
fn a_block_is_renamed_and_what_was_recorded_stays() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    browser.goto(&format!("http://{}/#lesson?lesson={session}", server.at));
    browser.tap("[data-key='rename-pivot drill']");
    browser.run("document.querySelector('#ask-input').value = ''; return true");
    browser.type_into("#ask-input", "hips first");
    browser.tap("dialog button[type=submit]");
    browser.until(
        "the new name",
        "return [...document.querySelectorAll('.block-name')].some((x) => x.innerText === 'hips first')",
        SOON,
    );
    let told = server.get(&format!("/api/v1/sessions/{session}")).json();
    let blocks: Vec<&Value> =
        told["blocks"].as_array().expect("blocks").iter().map(|b| &b["label"]).collect();
    assert_eq!(blocks, ["baseline", "hips first", "after"]);
    assert_eq!(
        server.get("/api/v1/sessions").json()[0]["blocks"],
        json!(["baseline", "hips first", "after"])
    );
    let compared = server.get(&format!("/api/v1/compare?a={session}:baseline&b={session}:hips%20first"));
    assert_eq!(compared.status, 200, "{}", compared.text);
    let file = std::fs::read_dir(home.path().join("sessions").join(&session).join("swings")).expect("swings");
    let recorded = file
        .filter_map(|f| std::fs::read_to_string(f.ok()?.path()).ok())
        .filter(|text| text.contains("\"pivot drill\""))
        .count();
    assert!(recorded > 3, "the files keep what was recorded: {recorded}");
}
