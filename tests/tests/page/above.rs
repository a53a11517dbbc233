//! The body from above: moving with the straps now, and swings of two lessons over or beside
//! each other; and two lessons held beside each other.

use crate::common::{SOON, address, show, swing_shown};
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Role, curves::Curves};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::files::swings;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

#[test]
fn the_body_moves_with_the_straps_now() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "4");
    let mut events = server.events("/api/v1/events");
    let poses = server.events("/api/v1/pose");
    browser.goto(&address(&server, "above"));
    browser.sees("No lesson is running", SOON);
    server.lesson(&server.player("Invented Player"));
    browser.sees("turns need a calibration", SOON);
    // The mobility turns come next: the thorax goes far to both sides.
    let mut arm = false;
    while !arm {
        arm = events.until("calibration").last().is_some_and(|e| e.data["step"] == "arm-raise");
    }
    browser.run(
        "window.turned = []; let last = '';
         const look = () => {
           const words = document.querySelector('svg.above').getAttribute('aria-label');
           const found = words.match(/thorax (\\d+)° ?(away|towards|back|through)?/);
           if (found && words !== last) window.turned.push(['away', 'back'].includes(found[2]) ? -found[1] : Number(found[1]));
           last = words;
         };
         new MutationObserver(look).observe(document.querySelector('.stage'), { childList: true, subtree: true });
         return true",
    );
    // The first check ends the seated turns.
    let told = std::thread::spawn(move || {
        let start = Instant::now();
        let in_time = poses.take_while(|_| start.elapsed() < Duration::from_secs(40));
        in_time.filter_map(|p| p.data["segments"]["thorax"]["turn_deg"].as_f64()).collect::<Vec<f64>>()
    });
    events.until("mobility");
    let turned = browser.run("return window.turned");
    let shown: Vec<f64> = turned.as_array().expect("a list").iter().filter_map(Value::as_f64).collect();
    assert!(shown.len() > 60, "{} pictures", shown.len());
    drop(server);
    let told = told.join().expect("poses");
    let ends = |turns: &[f64]| turns.iter().fold((0.0_f64, 0.0_f64), |(lo, hi), t| (lo.min(*t), hi.max(*t)));
    let (shown, told) = (ends(&shown), ends(&told));
    assert!(shown.0 < -25.0 && shown.1 > 25.0, "{shown:?}");
    // What is drawn is never further than what was told (whole degrees; seen from above), and no
    // picture in between is missed by much.
    for (shown, told) in [(-shown.0, -told.0), (shown.1, told.1)] {
        assert!(shown < told + 2.0 && shown > told - 12.0, "{shown} shown, {told} told");
    }
    // Nothing old passes for now.
    browser.sees("movement is not heard now", SOON);
    assert!(browser.run("return document.querySelector('svg.above .figure')").is_null());
}

/// Two lessons of one player, drawn from different numbers.
fn two_lessons(home: &Path) -> (TestServer, [String; 2]) {
    let start = |seed: &str| {
        let arguments = ["--listen", "127.0.0.1:0", "--virtual", "--speed", "max", "--seed", seed];
        TestServer::start(home, &arguments)
    };
    let server = start("1");
    let player = server.player("Invented Player");
    let first = server.whole_lesson_of(&player);
    assert!(server.end());
    let server = start("2");
    let second = server.whole_lesson_of(&player);
    (server, [first, second])
}

/// Turn of a segment at one of the swing's instants, degrees, from its curves.
fn turn_at(dir: &Path, swing: &Swing, role: Role, t_s: f64) -> f64 {
    let bytes =
        std::fs::read(dir.join("swings").join(format!("{:04}.curves", swing.number))).expect("curves");
    let curves = Curves::from_bytes(&bytes).expect("curves");
    let segment = curves.segments.iter().find(|s| s.role == role).expect("the segment");
    let at = ((t_s - curves.start_s) / curves.step_s).round() as usize;
    f64::from(segment.turn_deg[at])
}

#[test]
fn swings_of_two_lessons_over_and_beside_each_other() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let (server, [first, second]) = two_lessons(home.path());
    let dir = |id: &str| -> PathBuf { home.path().join("sessions").join(id) };
    let (old, new) = (swings(&dir(&first)), swings(&dir(&second)));

    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{second}\"]"));
    swing_shown(&browser, new.len() as u32);
    show(&browser, "above");
    browser.until("the other lesson to choose", "return document.querySelector('#pick-of') !== null", SOON);
    let choose = |id: &str, value: &str| {
        browser.run(&format!(
            "const e = document.querySelector('#{id}'); e.value = {}; e.dispatchEvent(new Event('change')); return true",
            json!(value)
        ));
    };
    choose("pick-of", &first);
    // Offered is a swing of the same block: the last one struck.
    let ghost =
        "return document.querySelector('.figure.ghost') !== null && document.querySelector('#pick-b').value";
    let offered = browser.until("the second body", ghost, SOON);
    let offered =
        old.iter().find(|s| Some(s.number.to_string().as_str()) == offered.as_str()).expect("a swing");
    assert_eq!(offered.block, new.last().expect("swings").block);
    choose("pick-b", "3");
    let [a, b] = [new.last().expect("swings"), old.iter().find(|s| s.number == 3).expect("the third")];
    let both = "return document.querySelector('figcaption').innerText.includes('paler: swing 3, baseline,')";
    browser.until("both in words", both, SOON);

    // At the same impact, and at the same top, each shows its own turn at that instant.
    let words = "return document.querySelector('.turn-list').innerText";
    let mut seen = Vec::new();
    for align in ["top", "impact"] {
        browser.tap(&format!("[data-key=align-{align}]"));
        browser.tap(&format!("[data-key=go-{align}]"));
        browser.sees(&format!("At {align}"), SOON);
        let text = browser.run(words).as_str().expect("words").to_owned();
        let numbers: Vec<f64> = text
            .split(|c: char| !(c.is_ascii_digit() || c == '°'))
            .filter_map(|t| t.strip_suffix('°')?.parse().ok())
            .collect();
        let at = |swing: &Swing| if align == "top" { swing.events.top.t_s } else { swing.events.impact.t_s };
        let expected: Vec<f64> = [Role::Pelvis, Role::Thorax]
            .into_iter()
            .flat_map(|role| [turn_at(&dir(&second), a, role, at(a)), turn_at(&dir(&first), b, role, at(b))])
            .map(f64::abs)
            .collect();
        assert_eq!(numbers.len(), 4, "{text}");
        for (shown, file) in numbers.iter().zip(&expected) {
            // Seen from above the lines lose some degrees to tilt.
            assert!((shown - file).abs() < 8.0, "{align}: {numbers:?} shown, {expected:?} in the files");
        }
        seen.push(numbers);
    }
    // With the tops together, the second is not at its impact when the first is, unless both
    // downswings last equally long.
    browser.tap("[data-key=align-top]");
    browser.tap("[data-key=go-impact]");
    browser.sees("At impact", SOON);
    let lag_ms =
        ((a.events.impact.t_s - a.events.top.t_s) - (b.events.impact.t_s - b.events.top.t_s)).abs() * 1e3;
    let t_s = b.events.top.t_s + (a.events.impact.t_s - a.events.top.t_s);
    let label = browser.run(words).as_str().expect("words").to_owned();
    let expected = turn_at(&dir(&first), b, Role::Pelvis, t_s).abs();
    let second_pelvis: f64 = label
        .split("paler: ")
        .nth(1)
        .and_then(|t| t.split('°').next()?.parse().ok())
        .unwrap_or_else(|| panic!("{label}"));
    assert!(
        (second_pelvis - expected).abs() < 8.0,
        "{second_pelvis} shown, {expected} in the file, {lag_ms} ms"
    );

    browser.tap("[data-key=beside]");
    let captions = browser.run("return [...document.querySelectorAll('figcaption')].map((c) => c.innerText)");
    let captions = captions.as_array().expect("a list");
    assert_eq!(captions.len(), 2);
    assert!(
        captions[0].as_str().is_some_and(|c| c == format!("Swing {}, {}", a.number, a.block)),
        "{captions:?}"
    );
    assert!(captions[1].as_str().is_some_and(|c| c.starts_with("Swing 3, baseline, ")), "{captions:?}");
    assert!(browser.run("return document.querySelector('.figure.ghost')").is_null());
}

#[test]
fn two_lessons_are_held_beside_each_other() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let (server, [first, second]) = two_lessons(home.path());
    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"hold-{second}\"]"));
    browser.sees("Choose a second lesson", SOON);
    browser.tap(&format!("[data-key=\"hold-{first}\"]"));
    // The numbers: the block both have, the earlier lesson first whichever was chosen first.
    browser.tap("[data-key=beside-numbers]");
    browser.until("the table", "return document.querySelectorAll('[data-measure]').length > 5", SOON);
    let sides = browser.run("return ['a', 'b'].map((s) => document.querySelector(`#side-${s}`).value)");
    assert_eq!(sides, json!([format!("{first}:baseline"), format!("{second}:baseline")]));
    let rows = browser.run("return [...document.querySelectorAll('[data-measure]')].map((r) => [r.dataset.measure, r.dataset.verdict])");
    let told = server.get(&format!("/api/v1/compare?a={first}:baseline&b={second}:baseline")).expect(200);
    let expected: Vec<Value> =
        told["measures"].as_array().expect("rows").iter().map(|r| json!([r["key"], r["verdict"]])).collect();
    assert_eq!(rows, Value::Array(expected));
    // The bodies.
    show(&browser, "earlier");
    browser.tap(&format!("[data-key=\"hold-{first}\"]"));
    browser.tap(&format!("[data-key=\"hold-{second}\"]"));
    browser.tap("[data-key=beside-bodies]");
    browser.until("both bodies", "return document.querySelector('.figure.ghost') !== null", SOON);
    assert_eq!(browser.run("return document.querySelector('#pick-of').value"), json!(first));
    // What an earlier lesson found is there to read: the mobility check among it.
    show(&browser, "lesson");
    browser.sees("Not a diagnosis", SOON);
    let check = &server.get(&format!("/api/v1/sessions/{second}")).expect(200)["mobility"][0];
    let mean = check["left"]["thorax"]["mean_deg"].as_f64().expect("measured");
    let cell = browser.run("return document.querySelector('.course tbody td').innerText");
    let cell = cell.as_str().expect("words");
    assert!(cell.starts_with(&format!("{}° ±", mean.round())), "{cell}: {mean}");
    assert!(
        browser.run("return document.querySelector('[data-key^=cal-], [data-key=end-lesson]')").is_null()
    );
}
