//! A viewer's device: sees everything, and has nothing to change it with.

use crate::common::{SOON, show, swing_shown};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

/// What a viewer may tap, by the start of its key: ways of looking, and this device's own sound.
const LOOKING: [&str; 24] = [
    "nav-",
    "mute",
    "theme",
    "run-",
    "The swing before",
    "The next swing",
    "newest",
    "all-swings",
    "swing-",
    "ordinary",
    "mode-",
    "go-",
    "play",
    "speed-",
    "frame-",
    "hear-",
    "way-",
    "who-",
    "open-",
    "hold-",
    "straps",
    "slider",
    "pick-",
    "side-",
];

/// Keys of everything that can be tapped or filled in, in the content of the screen.
fn controls(browser: &Browser) -> Vec<String> {
    let found = browser.run(
        "return [...document.querySelectorAll('#content button, #content input, #content select, #content textarea')]
           .filter((e) => !e.disabled).map((e) => e.dataset.key ?? `no key: ${e.outerHTML.slice(0, 120)}`)",
    );
    found.as_array().expect("a list").iter().filter_map(Value::as_str).map(str::to_owned).collect()
}

#[test]
fn a_viewer_looks_and_cannot_change() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::start(home.path(), &["--listen", "0.0.0.0:0", "--virtual", "--speed", "20"]);
    let (coach, viewer) = server.links();
    let paired = server.get(&format!("/pair/{coach}"));
    let coachs = paired.header("set-cookie").and_then(|c| c.split(';').next()).expect("a cookie").to_owned();
    let change = |path: &str, body: &Value| server.send_as("POST", path, body, &coachs);

    // Unpaired, the page says so and how to get in.
    browser.goto(&format!("http://{}/#swing", server.at));
    browser.sees("not paired", SOON);
    browser.goto(&format!("http://{}/pair/{viewer}", server.at));
    browser.sees("watching", SOON);
    show(&browser, "lesson");
    browser.sees("The coach starts it", SOON);
    assert!(
        browser.run("return document.querySelector('[data-key=start], [data-key=add-player]')").is_null()
    );

    let about = json!({ "name": "Invented Player", "handedness": "right", "consent": true });
    let player = change("/api/v1/players", &about).expect(201)["id"].clone();
    let session = change("/api/v1/lesson", &json!({ "player": player })).expect(201)["session"].clone();
    show(&browser, "swing");
    swing_shown(&browser, 2);
    let remarks = format!("/api/v1/sessions/{}/remarks", session.as_str().expect("an id"));
    change(&remarks, &json!({ "what": "outcome", "swing": 2, "labels": ["thin"] })).expect(201);
    browser.tap("[data-key=run-2]");
    // What the coach says is there to read.
    let said = "return document.querySelector('.swing-head').innerText.includes('thin')";
    browser.until("the coach's word", said, SOON);

    for (screen, there) in [
        ("swing", "h1[data-swing]"),
        ("above", "svg.above .figure"),
        ("lesson", ".course"),
        ("target", ".target-sounds button"),
        ("after", "select"),
    ] {
        show(&browser, screen);
        let there = format!("return document.querySelector({}) !== null", json!(there));
        browser.until(screen, &there, SOON);
        for key in controls(&browser) {
            assert!(LOOKING.iter().any(|l| key.starts_with(l)), "{screen}: a viewer is offered “{key}”");
        }
    }
    // Who it is, the coach has not shown.
    show(&browser, "lesson");
    browser.until(
        "the lesson",
        "return document.querySelector('.lesson-head h1')?.innerText === 'The lesson'",
        SOON,
    );
    assert!(browser.run("return document.querySelector('[data-key=nav-earlier]')").is_null());
    server.send_as("PUT", "/api/v1/viewers", &json!({ "names": true }), &coachs).expect(200);
    browser.sees("Invented Player", SOON);
    // Asked all the same, the daemon refuses, in words.
    let refused = browser.run_async(
        "const done = arguments[arguments.length - 1];
         fetch('/api/v1/lesson/end', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: '{}' })
           .then(async (r) => done([r.status, (await r.json()).error]))",
    );
    assert_eq!(refused[0], 403, "{refused}");
    assert!(refused[1].as_str().expect("words").contains("look, not change"), "{refused}");
    assert_eq!(server.get_as("/api/v1/state", &coachs).expect(200)["lesson"]["session"], session);
}

#[test]
fn the_passcode_pairs_a_device_until_it_is_forgotten() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let file = home.path().join("passcode");
    std::fs::write(&file, "correct horse\n").expect("written");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600)).expect("its owner's only");
    }
    let library = home.path().join("library");
    let start = |listen: &str, more: &[&str]| {
        let file = file.to_str().expect("UTF-8");
        TestServer::start(
            &library,
            &[&["--listen", listen, "--virtual", "--passcode-file", file], more].concat(),
        )
    };
    let server = start("0.0.0.0:0", &[]);
    let listen = format!("0.0.0.0:{}", server.at.port());
    browser.goto(&format!("http://{}/", server.at));
    browser.sees("not paired", SOON);
    assert!(!browser.text().contains("No connection"), "{}", browser.text());
    browser.type_into("#passcode", "wrong horse");
    browser.tap("button[type=submit]");
    browser.sees("this is not the passcode", SOON);
    browser.type_into("#passcode", "correct horse");
    browser.tap("button[type=submit]");
    browser.sees("Whose lesson?", SOON);
    // A restart does not part them …
    assert!(server.end());
    browser.until("the loss to be seen", "return document.body.dataset.link !== 'live'", SOON);
    let server = start(&listen, &[]);
    let live =
        "return document.body.dataset.link === 'live' && document.body.innerText.includes('Whose lesson?')";
    browser.until("the page to go on", live, SOON);
    // … until the coach has all devices forgotten; then the page says so instead of waiting.
    assert!(server.end());
    let _served = start(&listen, &["--forget-devices"]);
    browser.sees("not paired", SOON);
    browser.type_into("#passcode", "correct horse");
    browser.tap("button[type=submit]");
    browser.sees("Whose lesson?", SOON);
}
