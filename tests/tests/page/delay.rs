//! From a swing's last sample to its numbers in the page, as one figure: printed, never
//! asserted. `cargo test -p peakorder-tests --test page delay -- --nocapture`
//!
//! Engine, board and server of the daemon run here as they do in `peakorderd serve`; the page is
//! in headless Chromium. Timed is, for every swing, from the batch of records that completes it
//! being handed to the engine to its headline and strip standing in the document: recording,
//! measuring, files, JSON, the stream, the page. Both ends read this machine's clock. Between
//! swings the page is waited for, as in a lesson, where seconds lie between them. How fast the
//! daemon's part alone is, `cargo bench -p peakorder-daemon --bench serve` tells.

use crate::common::{SOON, keep_what_is_shown, kept};
use crate::played::Played;
use peakorder_tests::browser::{Browser, TABLET};
use std::time::{SystemTime, UNIX_EPOCH};

/// Lessons played; each has 26 swings.
const LESSONS: u64 = 8;

fn now_ms() -> f64 {
    SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64() * 1e3
}

#[test]
fn delay_from_the_last_sample_to_the_page() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let played = Played::open();
    browser.goto(&format!("http://{}/#swing", played.at));
    browser.sees("No lesson is running", SOON);

    let mut delays = Vec::new();
    for seed in 1..=LESSONS {
        let mut handed_ms = Vec::new();
        let begun = || {
            browser.sees("No swing yet", SOON);
            keep_what_is_shown(&browser);
        };
        played.lesson(seed, begun, |number, start| {
            handed_ms.push(now_ms() - start.elapsed().as_secs_f64() * 1e3);
            // A rehearsal leaves the swing before it on the page, and is told of in a line.
            let seen = format!("return {number} in window.kept || {number} in window.told");
            browser.until(&format!("swing {number}"), &seen, SOON);
        });
        for (number, shown) in kept(&browser) {
            delays.push(shown["at"].as_f64().expect("a time") - handed_ms[number as usize - 1]);
        }
        for (number, at) in browser.run("return window.told").as_object().expect("by swing number") {
            let number: usize = number.parse().expect("a swing number");
            delays.push(at.as_f64().expect("a time") - handed_ms[number - 1]);
        }
        browser.sees("No lesson is running", SOON);
    }
    assert!(delays.len() >= 200, "{} swings were seen as they came", delays.len());
    delays.sort_by(f64::total_cmp);
    let at = |share: f64| delays[((delays.len() - 1) as f64 * share).round() as usize];
    println!(
        "last sample in to numbers in the page: median {:.0} ms, p95 {:.0} ms, p99 {:.0} ms, largest {:.0} ms of {} swings",
        at(0.5),
        at(0.95),
        at(0.99),
        at(1.0),
        delays.len()
    );
}
