//! Addresses: what is looked at is found again by reload, back and link. Names that are long, and many players.

use crate::access::axe;
use crate::common::{SOON, address, show};
use peakorder_tests::browser::{Browser, PHONE, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

const TITLE: &str = "return document.querySelector('h1[data-swing]')?.dataset.swing";

#[test]
fn an_opened_lesson_has_an_address() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    // A link that was sent: lesson and swing.
    browser.goto(&format!("http://{}/#swing?lesson={session}&n=3", server.at));
    browser.until("swing 3", "return document.querySelector('h1[data-swing]')?.dataset.swing === '3'", SOON);
    browser.until("the line of the opened lesson", "return document.querySelector('.opened') !== null", SOON);
    // Stepping changes the address, a reload keeps the swing.
    browser.tap("[data-key='The next swing']");
    browser.until("swing 4", "return location.hash.endsWith('n=4')", SOON);
    browser.run("location.reload(); return true");
    browser.until(
        "swing 4 again",
        "return document.querySelector('h1[data-swing]')?.dataset.swing === '4'",
        SOON,
    );
    // Another screen is of the same lesson; back leads back to the swing.
    browser.tap("[data-key=nav-after]");
    browser.until(
        "the pair",
        "return location.hash.startsWith('#after') && location.hash.includes(':baseline')",
        SOON,
    );
    let pair = browser.run("return location.hash");
    assert!(pair.as_str().is_some_and(|p| p.contains(&format!("lesson={session}"))), "{pair}");
    browser.run("history.back(); return true");
    browser.until("swing 4 by the way back", "return location.hash.startsWith('#swing') && document.querySelector('h1[data-swing]')?.dataset.swing === '4'", SOON);
    // The pair by its address alone.
    browser.goto("about:blank");
    browser.goto(&format!("http://{}/{}", server.at, pair.as_str().expect("text")));
    browser.until("the comparison", "return document.querySelectorAll('[data-measure]').length > 5", SOON);
    // Closed, the address is the running lesson's again.
    browser.tap("[data-key=close-opened]");
    browser.until("no lesson in the address", "return !location.hash.includes('lesson=')", SOON);
    // A lesson that is not there is said, and nothing else is lost.
    browser.goto("about:blank");
    browser.goto(&format!("http://{}/#swing?lesson=nobody", server.at));
    browser.sees("no such session", SOON);
    assert_eq!(browser.run(TITLE), Value::Null);
    // Requests that the page makes by itself leave the message; one that follows a tap clears it.
    let says_after_an_answer = |words: &str| {
        browser.run_async(&format!(
            "const done = arguments[arguments.length - 1];
             Promise.all([import('/js/store.js'), import('/js/api.js')])
               .then(([{{ attempt }}, {{ get }}]) => attempt(() => get('/measures')))
               .then(() => done(document.getElementById('alarm').innerText.includes({})));",
            json!(words)
        ))
    };
    assert_eq!(says_after_an_answer("no such session"), json!(true));
    browser.tap("[data-key=nav-lesson]");
    assert_eq!(says_after_an_answer("no such session"), json!(false));
    // What the daemon tells of a recording stays until it is closed.
    browser.run_async(
        "const done = arguments[arguments.length - 1];
         import('/js/store.js').then(({ tellTrouble }) => done(tellTrouble('The disk is full.')));",
    );
    browser.tap("[data-key=nav-swing]");
    assert_eq!(says_after_an_answer("The disk is full."), json!(true));
    browser.tap("[data-key=close-trouble]");
    assert_eq!(says_after_an_answer("The disk is full."), json!(false));
}

#[test]
fn a_session_folder_that_was_renamed_shows_its_curves() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    let sessions = home.path().join("sessions");
    std::fs::rename(sessions.join(&session), sessions.join("spring lesson")).expect("renamed");
    browser.goto(&format!("http://{}/#swing?lesson=spring%20lesson&n=2", server.at));
    browser.until("its curves", "return document.querySelectorAll('.time .line .core').length >= 3", SOON);
    // Every swing can be reached by a tap, not only the last twelve.
    browser.tap("[data-key=all-swings]");
    browser.tap("[data-key=swing-1]");
    browser.until("swing 1", "return document.querySelector('h1[data-swing]')?.dataset.swing === '1'", SOON);
}

#[test]
fn long_names_break_and_players_are_found_by_typing() {
    let Some(browser) = Browser::open(PHONE) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let long = "Donaudampfschifffahrtselektrizitaetenhauptbetriebswerkbauunterbeamtengesellschaft";
    let session = server.whole_lesson(&long[..80]);
    for i in 0..13 {
        server.player(&format!("Player {i}"));
    }
    for screen in [
        "lesson".to_owned(),
        "earlier".into(),
        format!("lesson?lesson={session}"),
        format!("swing?lesson={session}"),
    ] {
        browser.goto("about:blank");
        browser.goto(&address(&server, &screen));
        browser.until("the screen", "return document.querySelector('main h1') !== null", SOON);
        let out = browser.run(
            "return [...document.querySelectorAll('main *, #opened *')].filter((e) => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('svg, .wide-table, .unseen'))
               .map((e) => `${e.tagName}.${e.className}`).slice(0, 5)",
        );
        assert_eq!(out, json!([]), "{screen}");
    }
    browser.goto("about:blank");
    browser.goto(&address(&server, "lesson"));
    browser.type_into("#seek", "player 11");
    browser.until(
        "one player",
        "return [...document.querySelectorAll('.people .choice')].some((x) => x.innerText === 'Player 11')",
        SOON,
    );
    show(&browser, "earlier");
    browser.until("the list", "return document.querySelector('.sessions li') !== null", SOON);
}

/// Figure of the promise: a bay's network may carry 400 kbit/s.
#[test]
fn the_first_view_comes_over_a_slow_network() {
    const KBIT_S: f64 = 400.0;
    const LATENCY_MS: f64 = 50.0;
    const AT_MOST_S: f64 = 5.0;
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    browser.slow_network(KBIT_S, LATENCY_MS);
    for (screen, there) in [
        ("lesson".to_owned(), "document.querySelector('[data-key=start]')"),
        (format!("swing?lesson={session}"), "document.querySelector('h1[data-swing]')"),
    ] {
        browser.goto("about:blank");
        browser.goto(&address(&server, &screen));
        let took = browser.until(
            "the first view",
            &format!("return {there} ? performance.now() / 1000 : null"),
            SOON,
        );
        let took = took.as_f64().expect("seconds");
        let bytes = browser.run(
            "return performance.getEntriesByType('resource').reduce((sum, e) => sum + e.transferSize, 0)",
        );
        println!(
            "#{screen}: first view after {took:.2} s at {KBIT_S} kbit/s, {LATENCY_MS} ms; {bytes} bytes"
        );
        // What an earlier lesson weighs is the lesson's matter; the page itself comes in time.
        if screen == "lesson" {
            assert!(took <= AT_MOST_S, "#{screen}: {took:.2} s, {bytes} bytes");
        }
        // What was loaded comes from the cache the next time, and would prove nothing.
        browser.clear_cache();
    }
}

/// The two rules that the scan of every screen does not count as serious, on lessons that were opened.
#[test]
fn opened_lessons_lie_in_landmarks_and_scroll_by_keyboard() {
    let Some(axe) = axe() else { return };
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    for (screen, there) in [
        ("swing", "h1[data-swing]"),
        ("above", "svg.above .figure"),
        ("lesson", ".block-list li"),
        ("after", "[data-measure]"),
        ("earlier", ".sessions li"),
    ] {
        browser.goto("about:blank");
        browser.goto(&address(&server, &format!("{screen}?lesson={session}")));
        browser.until("the screen", &format!("return document.querySelector('{there}') !== null"), SOON);
        browser.run(&axe);
        let found = browser.run_async(
            "const done = arguments[arguments.length - 1];
             axe.run({ runOnly: { type: 'rule', values: ['region', 'scrollable-region-focusable'] } })
               .then((r) => done(r.violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.html.slice(0, 160)}`))))
               .catch((e) => done([String(e)]))",
        );
        assert_eq!(found, json!([]), "{screen}");
    }
}
