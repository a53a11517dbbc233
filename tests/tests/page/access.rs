//! Every screen, in light and dark, on tablet and phone, looked through by axe-core: no
//! serious and no critical finding.
//!
//! axe-core (MPL-2.0, Deque Systems) is not part of the project; `.ci/run` fetches the pinned
//! package and names its `axe.min.js` in `PEAKORDER_AXE`.

use crate::common::{SOON, address, show, swing_shown};
use peakorder_tests::browser::{Browser, NEEDED, PHONE, PHONE_DARK, Screen, TABLET, TABLET_DARK, UPRIGHT};
use peakorder_tests::test_server::TestServer;
use serde_json::Value;

const SCREENS: [(&str, &str); 6] = [
    ("swing", "h1[data-swing]"),
    ("above", "svg.above .figure"),
    ("lesson", ".lesson-page h1"),
    ("target", ".target-form form"),
    ("after", ".wide-table td"),
    ("earlier", ".sessions li"),
];

pub(crate) fn axe() -> Option<String> {
    let Some(file) = std::env::var_os("PEAKORDER_AXE") else {
        assert!(std::env::var_os(NEEDED).is_none(), "PEAKORDER_AXE names no axe.min.js; .ci/run fetches it");
        eprintln!("SKIPPED: PEAKORDER_AXE names no axe.min.js; .ci/run fetches it");
        return None;
    };
    Some(std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display())))
}

pub(crate) fn findings(browser: &Browser, axe: &str) -> Vec<String> {
    browser.run(axe);
    let result = browser
        .run_async(
            "const done = arguments[arguments.length - 1];
             axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })
               .then((r) => done({ rules: r.passes.length, found: r.violations.filter((v) => v.impact === 'serious' || v.impact === 'critical')
                 .map((v) => `${v.id}: ${v.nodes[0].html.slice(0, 200)} ${v.nodes[0].failureSummary}`) }))
               .catch((e) => done({ rules: 0, found: [String(e)] }))",
        );
    // A scan that looked at nothing finds nothing.
    assert!(result["rules"].as_u64() > Some(10), "axe ran: {result}");
    result["found"].as_array().expect("a list").iter().filter_map(Value::as_str).map(str::to_owned).collect()
}

fn look_through(screen: Screen) {
    let Some(axe) = axe() else { return };
    let Some(browser) = Browser::open(screen) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "15");
    browser.goto(&address(&server, "lesson"));
    browser.until("the players", "return document.querySelector('[data-key=add-player]') !== null", SOON);
    let mut found = findings(&browser, &axe);
    browser.tap("[data-key=add-player]");
    found.extend(findings(&browser, &axe));
    server.lesson(&server.player("Invented Player"));
    browser.goto(&address(&server, "swing"));
    // Far enough for two blocks to compare; the lesson goes on meanwhile.
    swing_shown(&browser, 13);
    for (name, there) in SCREENS {
        show(&browser, name);
        let script = format!("return document.querySelector({}) !== null", serde_json::json!(there));
        browser.until(&format!("the screen {name}"), &script, SOON);
        let dark = browser.run("return matchMedia('(prefers-color-scheme: dark)').matches && getComputedStyle(document.documentElement).backgroundColor !== 'rgb(255, 255, 255)'");
        assert_eq!(dark, Value::Bool(screen.dark), "{}: {name}", screen.name);
        let wide = browser.run("return document.documentElement.scrollWidth > innerWidth + 1 || document.getElementById('content').scrollWidth > innerWidth + 1");
        assert_eq!(wide, Value::Bool(false), "{}: {name} does not fit the width", screen.name);
        found.extend(findings(&browser, &axe).into_iter().map(|f| format!("{name}: {f}")));
    }
    assert!(found.is_empty(), "{}:\n{}", screen.name, found.join("\n"));
}

#[test]
fn tablet_light() {
    look_through(TABLET);
}

#[test]
fn tablet_dark() {
    look_through(TABLET_DARK);
}

#[test]
fn tablet_upright() {
    look_through(UPRIGHT);
}

#[test]
fn phone_light() {
    look_through(PHONE);
}

#[test]
fn phone_dark() {
    look_through(PHONE_DARK);
}
