//! A repetition of a drill on the Swing page: its numbers as in its file, and not held against full swings.

use crate::access::{axe, findings};
use crate::common::{SOON, show};
use peakorder_protocol::Role;
use peakorder_protocol::repetition::{Numbered, Repetition};
use peakorder_protocol::session::SessionDir;
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::programs::daemon;
use peakorder_tests::test_server::TestServer;
use serde_json::json;

fn repetitions(folder: &std::path::Path) -> Vec<Repetition> {
    let all = SessionDir::open(folder).expect("a session").0.read_all().expect("readable");
    all.into_iter().filter_map(|n| if let Numbered::Repetition(r) = n { Some(*r) } else { None }).collect()
}

#[test]
fn a_repetition_is_shown_by_its_own_numbers() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let folder = home.path().join("sessions").join("drilled");
    let out = folder.to_str().expect("text");
    let _ = daemon(["virtual", "--out", out, "--seed", "3", "--swings", "10", "--drill", "4"]).done();
    let made = repetitions(&folder);
    assert_eq!(made.len(), 4);
    let server = TestServer::virtual_lessons(home.path(), "max");
    let remark = json!({
        "what": "chosen",
        "measures": [{ "measure": "pelvis_turn_top_deg" }, { "measure": "arm_raised_deg" }],
    });
    server.post("/api/v1/sessions/drilled/remarks", &remark).expect(201);
    for repetition in &made {
        let n = repetition.number;
        browser.goto(&format!("http://{}/#swing?lesson=drilled&n={n}", server.at));
        browser.until(
            &format!("repetition {n}"),
            &format!("return document.querySelector('h1[data-swing]')?.dataset.swing === '{n}'"),
            SOON,
        );
        let text = browser.run("return document.getElementById('content').innerText");
        let text = text.as_str().expect("text");
        let turn = repetition.segments[&Role::Pelvis].turn_deg.expect("calibrated");
        let title = browser.run("return document.querySelector('h1[data-swing]').textContent");
        let title = title.as_str().expect("text");
        // The chosen number of it, with its band; what a repetition cannot have does not stand beside it.
        let back = format!("{:.0}° back", turn.top.abs());
        let half = (1.96 * turn.sd).round().max(1.0);
        assert!(title.contains(&back) && title.contains(&format!("± {half:.0}")), "{title}");
        assert!(text.contains(&format!("Repetition {n} · drill")), "{text}");
        assert!(!text.contains("your usual") && !text.contains("not measured"), "{text}");
        assert!(!text.contains("Against this player"), "a drill is not held against full swings: {text}");
        assert!(text.contains(&format!("back {:.1} s", repetition.tempo.back_s)), "{text}");
    }
    if let Some(axe) = axe() {
        let found = findings(&browser, &axe);
        assert!(found.is_empty(), "{found:?}");
    }
    // Compare has the drill between, and says that its dots are repetitions.
    show(&browser, "after?lesson=drilled");
    browser.until(
        "the drill's dots",
        "return document.getElementById('content').innerText.includes('repetitions of the drill')",
        SOON,
    );
}
