//! How long after the daemon's word a swing's numbers stand in the page: printed, never
//! asserted. `cargo test -p peakorder-tests --test page delay -- --nocapture`
//!
//! Both ends are on this machine and read the same clock. The time from the last sample to
//! the daemon's word is measured by `cargo bench -p peakorder-daemon --bench serve`.

use crate::common::{SOON, address, keep_what_is_shown, kept, swing_shown};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::served::Served;
use std::collections::BTreeMap;
use std::time::{SystemTime, UNIX_EPOCH};

#[test]
fn delay_from_the_daemons_word_to_the_page() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let served = Served::virtual_lessons(home.path(), "10");
    browser.goto(&address(&served, "swing"));
    browser.sees("No lesson is running", SOON);
    keep_what_is_shown(&browser);
    let mut events = served.events("/api/v1/events");
    served.lesson(&served.player("Invented Player"));
    let mut told_ms = BTreeMap::new();
    for event in events.by_ref() {
        if event.name == "swing" {
            let now = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970");
            let number = event.data["swing"]["number"].as_u64().expect("a number") as u32;
            told_ms.insert(number, now.as_secs_f64() * 1e3);
            if number == 20 {
                break;
            }
        }
    }
    swing_shown(&browser, 20);
    let mut delays: Vec<f64> = kept(&browser)
        .iter()
        .filter_map(|(number, shown)| Some(shown["at"].as_f64()? - told_ms.get(number)?))
        .collect();
    assert!(delays.len() >= 18, "{} of 20 swings were seen as they came", delays.len());
    delays.sort_by(f64::total_cmp);
    let at = |share: f64| delays[((delays.len() - 1) as f64 * share).round() as usize];
    println!(
        "daemon's word to numbers in the page: median {:.0} ms, p95 {:.0} ms, largest {:.0} ms of {} swings",
        at(0.5),
        at(0.95),
        at(1.0),
        delays.len()
    );
}
