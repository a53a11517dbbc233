//! Earlier lessons of a library with many: found by typing, and shown part by part.

use crate::access::axe;
use crate::common::{SOON, address};
use crate::made::{self, Size};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::json;

/// More lessons than come at a time, more players than are offered.
const SIZE: Size = Size { players: 12, sessions_each: 4, regular: 14, swings: 3 };
const SHOWN: &str = "return document.querySelectorAll('.sessions li').length";

fn shown(browser: &Browser, count: usize) {
    let script = format!("return document.querySelectorAll('.sessions li').length === {count}");
    browser.until(&format!("{count} lessons"), &script, SOON);
}

#[test]
fn lessons_are_found_by_typing_and_come_part_by_part() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let library = home.path().join("library");
    made::make(&library, SIZE, 1);
    assert_eq!(SIZE.sessions(), 62);
    let server = TestServer::virtual_lessons(&library, "max");
    browser.goto(&address(&server, "earlier"));
    shown(&browser, 50);
    browser.sees("62 lessons, the latest 50 of them here", SOON);
    assert_eq!(
        browser.run("return document.querySelectorAll('.choices .choice').length"),
        1,
        "Everyone alone"
    );
    // The rest comes by a tap, and the keyboard goes on where it begins.
    browser.tap("[data-key=more]");
    shown(&browser, 62);
    assert_eq!(browser.run("return document.querySelector('[data-key=more]')"), json!(null));
    let first_new = "return [...document.querySelectorAll('.sessions li')].findIndex((li) => li.contains(document.activeElement))";
    assert_eq!(browser.run(first_new), 50);
    assert_eq!(
        browser.run("return document.getElementById('say').textContent"),
        "62 of 62 lessons are shown."
    );
    // Every lesson once.
    let ids = browser.run(
        "return new Set([...document.querySelectorAll('[data-key^=open-]')].map((x) => x.dataset.key)).size",
    );
    assert_eq!(ids, 62);
    // By player: the field keeps the keyboard, and who fits is offered.
    browser.type_into("#seek", "player 0003");
    shown(&browser, 4);
    assert_eq!(browser.run("return document.activeElement.id"), "seek");
    browser.until(
        "what was found is said",
        "return document.getElementById('say').textContent.startsWith('4 lessons')",
        SOON,
    );
    browser.tap("[data-key='who-0000000000000003']");
    browser.until(
        "the months of one player",
        "return document.querySelector('[data-key=months]') !== null",
        SOON,
    );
    shown(&browser, 4);
    browser.tap("[data-key='who-']");
    shown(&browser, 50);
    // By goal, day and block; by nothing.
    let goal = browser.run("return document.querySelector('.sessions .fine').innerText");
    assert!(goal.as_str().is_some_and(|g| g.contains("works on:")), "{goal}");
    for (typed, count) in [("hold the finish", 12), ("2024-01-01", 2), ("nobody at all", 0)] {
        browser.run("const f = document.getElementById('seek'); f.value = ''; f.dispatchEvent(new Event('input')); return true");
        shown(&browser, 50);
        browser.type_into("#seek", typed);
        if count == 0 {
            browser.sees("in player, day, block or goal.", SOON);
        }
        browser.until(
            typed,
            &format!("return document.querySelectorAll('.sessions li').length === {count} && document.getElementById('seek').value === '{typed}'"),
            SOON,
        );
    }
    assert_eq!(browser.run(SHOWN), 0);
    if let Some(axe) = axe() {
        browser.run(&axe);
        let found = browser.run_async(
            "const done = arguments[arguments.length - 1];
             axe.run().then((r) => done(r.violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.html.slice(0, 160)}`))))
               .catch((e) => done([String(e)]))",
        );
        assert_eq!(found, json!([]));
    }
}
