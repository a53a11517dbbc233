//! What several of these tests need.

use peakorder_tests::browser::Browser;
use peakorder_tests::test_server::TestServer;
use serde_json::Value;
use std::time::Duration;

/// Long enough for a loaded machine, never waited out when things go right.
pub(crate) const SOON: Duration = Duration::from_mins(1);

/// Address of a screen.
pub(crate) fn address(server: &TestServer, screen: &str) -> String {
    format!("http://{}/#{screen}", server.at)
}

/// The daemon's state, asked for beside the page.
pub(crate) fn state(server: &TestServer) -> Value {
    server.get("/api/v1/state").json()
}

/// Keeps what the page shows of every swing at the moment it shows it, and when that was.
pub(crate) fn keep_what_is_shown(browser: &Browser) {
    browser
        .run(
            "window.kept = {};
             window.told = {};
             const look = () => {
               const told = document.querySelector('.quiet-line')?.dataset.told;
               if (told) window.told[told] ??= performance.timeOrigin + performance.now();
               const title = document.querySelector('h1[data-swing]');
               const strip = document.querySelector('svg.strip');
               if (!title || !strip) return;
               const number = title.dataset.swing;
               window.kept[number] ??= { at: performance.timeOrigin + performance.now() };
               Object.assign(window.kept[number], {
                 headline: document.querySelector('.swing-page .order').textContent,
                 lead: title.classList.contains('lead-title') ? title.textContent : '',
                 kicker: document.querySelector('.swing-head .kicker').textContent,
                 strip: strip.textContent,
                 spoken: strip.getAttribute('aria-label'),
                 against: document.querySelector('.against')?.textContent ?? '',
               });
             };
             new MutationObserver(look).observe(document.getElementById('content'), { childList: true, subtree: true });
             look();
             return true",
        );
}

/// Goes to a screen, as its link does.
pub(crate) fn show(browser: &Browser, screen: &str) {
    browser.run(&format!("location.hash = '{screen}'; return true"));
}

/// What was kept, by swing number.
pub(crate) fn kept(browser: &Browser) -> Vec<(u32, Value)> {
    let kept = browser.run("return window.kept");
    let mut list: Vec<(u32, Value)> = kept
        .as_object()
        .expect("an object by swing number")
        .iter()
        .map(|(number, shown)| (number.parse().expect("a swing number"), shown.clone()))
        .collect();
    list.sort_by_key(|(number, _)| *number);
    list
}

/// Waits until the page shows a swing with this number or a later one.
pub(crate) fn swing_shown(browser: &Browser, number: u32) {
    let script =
        format!("return Number(document.querySelector('h1[data-swing]')?.dataset.swing ?? 0) >= {number}");
    browser.until(&format!("swing {number}"), &script, SOON);
}
