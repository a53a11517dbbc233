//! One tap says whether a swing hit a ball; another that a block is without one.

use crate::common::{SOON, address, show, swing_shown};
use peakorder_protocol::swing::SwingKind;
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::files::swings;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

/// Lesson in which one rehearsal lost packets of the arm strap where a strike would have been.
const SEED: &str = "24";

struct Page {
    browser: Browser,
    server: TestServer,
    session: String,
}

impl Page {
    fn choose(&self, number: u32) {
        self.browser.run_async(&format!(
            "const done = arguments[arguments.length - 1];
             import('/js/store.js').then((m) => {{ m.choose({number}); done(true); }})"
        ));
        let shown = format!("return document.querySelector('h1[data-swing]')?.dataset.swing === '{number}'");
        self.browser.until(&format!("swing {number}"), &shown, SOON);
    }

    fn reads(&self, words: &str) {
        let script =
            format!("return document.querySelector('.swing-head .kicker')?.textContent.includes('{words}')");
        self.browser.until(words, &script, SOON);
    }

    fn tap(&self, key: &str) {
        self.browser.tap(&format!("[data-key=\"{key}\"]"));
    }

    fn has(&self, key: &str) -> bool {
        self.browser.run(&format!("return document.querySelector('[data-key=\"{key}\"]') !== null")) == true
    }

    fn pressed(&self, key: &str) -> Value {
        self.browser.run(&format!(
            "return document.querySelector('[data-key=\"{key}\"]')?.getAttribute('aria-pressed')"
        ))
    }

    fn remarks(&self) -> Value {
        self.server.get(&format!("/api/v1/sessions/{}", self.session)).expect(200)["remarks"].clone()
    }
}

#[test]
fn a_tap_says_whether_a_swing_hit_a_ball_and_another_of_its_block() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let arguments = ["--listen", "127.0.0.1:0", "--virtual", "--seed", SEED, "--speed", "max"];
    let server = TestServer::start(home.path(), &arguments);
    let session = server.whole_lesson("Somebody");
    let files = swings(&home.path().join("sessions").join(&session));
    let unsure = files.iter().find(|s| s.kind == SwingKind::Unsure).expect("one that is not known");
    let (number, block) = (unsure.number, unsure.block.clone());
    assert_eq!(block, "baseline");

    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    swing_shown(&browser, files.len() as u32);
    let page = Page { browser, server, session };

    // One that the straps felt needs no word.
    page.choose(1);
    assert!(!page.has("hit-ball") && !page.has("without-baseline"));

    page.choose(number);
    page.reads("ball or not: not known");
    page.tap("hit-ball");
    page.reads("hit a ball, as said");
    assert_eq!(page.pressed("hit-ball"), "true");
    assert_eq!(page.remarks()["swings"][number.to_string()]["struck"], true);
    page.tap("undo");
    page.reads("ball or not: not known");
    page.tap("no-ball");
    page.reads("without a ball, as said");
    assert_eq!(page.remarks()["swings"][number.to_string()]["struck"], false);
    assert_eq!((page.pressed("hit-ball"), page.pressed("no-ball")), (json!("false"), json!("true")));
    page.tap("no-ball");
    page.reads("ball or not: not known");
    assert_eq!(page.remarks()["swings"][number.to_string()], Value::Null);

    page.tap("all-balls");
    page.reads("hit a ball, as said of the block");
    assert!(!page.has("without-baseline"), "a block is one or the other");
    page.tap("all-balls");
    page.reads("ball or not: not known");
    page.tap("without-baseline");
    page.reads("without a ball, as said of the block");
    assert_eq!(page.remarks()["without_ball"], json!(["baseline"]));
    // A struck swing of that block says why it does not count, and can be told apart.
    page.choose(1);
    page.browser.sees("a ball was struck, in a block without one", SOON);
    assert!(page.has("no-ball"));

    show(&page.browser, "lesson");
    page.browser.sees("swings, without a ball", SOON);
    page.tap("without-baseline");
    let gone = "return !document.body.innerText.includes('swings, without a ball')";
    page.browser.until("the block to be as the straps say", gone, SOON);
    assert_eq!(page.remarks()["without_ball"], json!([]));
}
