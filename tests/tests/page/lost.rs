//! When the daemon is gone nothing may look live; when it is back the page finds it by itself.

use crate::common::{SOON, address, show, swing_shown};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::json;
use std::time::{Duration, Instant};

#[test]
fn a_daemon_that_goes_and_comes_back() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "30");
    let same_port = ["--listen", &server.at.to_string(), "--virtual", "--speed", "30"].map(str::to_owned);
    server.lesson(&server.player("Invented Player"));
    browser.goto(&address(&server, "swing"));
    swing_shown(&browser, 3);
    assert_eq!(browser.run("return document.body.dataset.link"), json!("live"));
    assert!(browser.text().contains("Pelvis connected"));

    drop(server);
    let gone = Instant::now();
    browser.sees("No connection since", Duration::from_secs(10));
    // Five seconds of silence are the promise; polling and a loaded machine get two more.
    assert!(gone.elapsed() < Duration::from_secs(7), "said after {:?}", gone.elapsed());
    let text = browser.text();
    assert!(text.contains("Numbers below are from swing"), "{text}");
    assert!(!text.contains("connected"), "a strap still looks connected:\n{text}");
    let pale = browser
        .run(
            "const ink = (e) => getComputedStyle(e).color;
             return ink(document.querySelector('main h1')) !== ink(document.querySelector('#top [aria-current]'))",
        );
    assert_eq!(pale, json!(true), "the numbers are dimmed");
    show(&browser, "above");
    browser.tap("[data-key=mode-now]");
    browser.sees("movement is not heard now", SOON);

    let server = TestServer::start(home.path(), &same_port.each_ref().map(String::as_str));
    // The new process has no lesson: the old one's swings must be gone without a reload.
    browser.until(
        "the page to find the daemon",
        "return document.body.dataset.link === 'live' && !document.body.innerText.includes('No connection')",
        Duration::from_secs(15),
    );
    show(&browser, "swing");
    browser.sees("No lesson is running", SOON);
    assert_eq!(browser.run("return document.querySelector('h1[data-swing]')"), json!(null));
    // … and a new lesson appears by itself.
    server.lesson(&server.player("Second Invented Player"));
    swing_shown(&browser, 1);
}
