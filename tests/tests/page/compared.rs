//! What the page shows of two blocks: verdicts on what was meant, orders, curves, swings unlike
//! the others of their block. Every number is that of the daemon's document of the same sides.

use crate::access::{axe, findings};
use crate::common::{SOON, address, show};
use peakorder_tests::browser::{Browser, PHONE_DARK, TABLET};
use peakorder_tests::programs::daemon;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

/// Opens an earlier lesson, as a coach does.
fn open(browser: &Browser, server: &TestServer, session: &str) {
    browser.goto(&address(server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    browser.until("the lesson", "return document.querySelector('h1[data-swing]') !== null", SOON);
}

fn text_of(browser: &Browser, css: &str) -> String {
    let found = browser.run(&format!("return document.querySelector({})?.textContent ?? ''", json!(css)));
    plain(found.as_str().expect("text"))
}

/// Without the spaces that keep numbers and signs on one line.
fn plain(text: &str) -> String {
    text.replace('\u{a0}', " ")
}

fn words(list: &Value) -> Vec<&str> {
    list.as_array().expect("a list").iter().filter_map(Value::as_str).collect()
}

fn no_findings(browser: &Browser) {
    let Some(axe) = axe() else { return };
    browser
        .run("document.querySelectorAll('#content details').forEach((d) => { d.open = true; }); return true");
    assert_eq!(findings(browser, &axe), Vec::<String>::new(), "{}", browser.screen().name);
    let wide = "return document.getElementById('content').scrollWidth > innerWidth + 1";
    assert_eq!(browser.run(wide), json!(false), "{}: it does not fit the width", browser.screen().name);
}

#[test]
fn what_was_meant_gets_the_verdicts_and_the_curves_are_drawn() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson("Invented Player");
    open(&browser, &server, &session);

    // Nothing is meant yet: no number is folded away as not meant.
    show(&browser, "after");
    browser.until("the verdicts", "return document.querySelector('.changes .lead') !== null", SOON);
    assert_eq!(browser.run("return document.querySelector('[data-key=looked-through]')"), Value::Null);
    show(&browser, "target");
    for (count, key) in [(1, "pelvis_turn_top_deg"), (2, "thorax_turn_top_deg")] {
        browser.tap(&format!("[data-key=about-{key}]"));
        let chosen =
            format!("return document.querySelectorAll('.about-taps [aria-pressed=true]').length === {count}");
        browser.until("what is chosen", &chosen, SOON);
    }
    no_findings(&browser);

    show(&browser, "after");
    browser.until("two verdicts", "return document.querySelectorAll('.change').length === 2", SOON);
    let sides = format!("/api/v1/compare?a={session}:baseline&b={session}:after&curves=true");
    let told = server.get(&sides).expect(200);
    let shown = browser.run(
        "return [...document.querySelectorAll('.change')].map((c) => [c.dataset.measure, c.dataset.verdict])",
    );
    let judged: Vec<Value> = told["measures"]
        .as_array()
        .expect("rows")
        .iter()
        .filter(|r| r["chosen"] == true)
        .map(|r| json!([r["key"], r["verdict"]]))
        .collect();
    assert_eq!(shown, json!(judged));
    // From the script of the virtual player: the pelvis truly turns 10° further at the top.
    assert_eq!(judged[0], json!(["pelvis_turn_top_deg", "changed"]));
    let change = text_of(&browser, ".change .interval .fine");
    assert!(change.starts_with("change ") && change.matches(" more").count() == 2, "{change}");

    // The verdict on the orders, in the words of the terminal.
    let said = text_of(&browser, ".order-change");
    for sentence in words(&told["order"]["words"]) {
        assert!(said.contains(sentence), "{sentence:?} is not in {said:?}");
    }

    // The curves come by themselves; numbers are folded away until they are asked for.
    let folded = "return document.querySelector('.all-numbers').open";
    assert_eq!(browser.run(folded), json!(false));
    browser.until("the curves", "return document.querySelectorAll('.curve-panel').length === 5", SOON);
    let drawn = browser.run(
        "return [...document.querySelectorAll('[data-curve]')].map((f) => ({ key: f.dataset.curve,
           said: f.querySelector('figcaption').textContent, before: f.querySelector('path.curve-before').getAttribute('d'),
           after: f.querySelector('.line .core').getAttribute('d'),
           bars: [...f.querySelectorAll('.stretch')].map((b) => b.classList.contains('differ')) }))",
    );
    let pairs = told["curves"]["curves"].as_array().expect("curves");
    assert_eq!(pairs.len(), 5);
    let mut differing = 0;
    for pair in pairs {
        let key = format!("{}_{}", pair["segment"].as_str().unwrap(), pair["kind"].as_str().unwrap());
        let figure = drawn.as_array().unwrap().iter().find(|f| f["key"] == json!(key)).expect("its figure");
        assert_eq!(plain(figure["said"].as_str().unwrap()), words(&pair["plain"]).concat(), "{key}");
        let bars: Vec<bool> =
            pair["stretches"].as_array().unwrap().iter().map(|s| s["verdict"] == "differ").collect();
        assert_eq!(figure["bars"], json!(bars), "{key}");
        differing += bars.iter().filter(|b| **b).count();
        drawn_to_scale(&key, figure, pair);
    }
    assert!(differing > 0, "a pelvis that turns 10° further differs somewhere");
    no_findings(&browser);
}

/// Both means lie on one scale, upwards for more.
fn drawn_to_scale(key: &str, figure: &Value, pair: &Value) {
    let points: Vec<(f64, f64)> = ["before", "after"]
        .iter()
        .flat_map(|side| {
            let heights = heights(figure[side].as_str().expect("a path"));
            let means: Vec<f64> =
                pair[side]["mean"].as_array().unwrap().iter().filter_map(Value::as_f64).collect();
            assert_eq!(heights.len(), means.len(), "{key}, {side}");
            means.into_iter().zip(heights)
        })
        .collect();
    let by_mean = |a: &&(f64, f64), b: &&(f64, f64)| a.0.total_cmp(&b.0);
    let (low, high) = (points.iter().min_by(by_mean).unwrap(), points.iter().max_by(by_mean).unwrap());
    let scale = (high.1 - low.1) / (high.0 - low.0);
    assert!(scale < 0.0 && low.1 - high.1 > 60.0, "{key}: {low:?} {high:?}");
    for (mean, height) in &points {
        // Coordinates are written to a tenth of a pixel.
        assert!((low.1 + scale * (mean - low.0) - height).abs() < 0.3, "{key}: {mean} at {height}");
    }
}

/// The heights of a path's points, pixels from the top.
fn heights(path: &str) -> Vec<f64> {
    path.split(['M', 'L'])
        .filter(|p| !p.is_empty())
        .map(|p| p.split_once(' ').and_then(|(_, y)| y.parse().ok()).unwrap_or_else(|| panic!("{p:?}")))
        .collect()
}

#[test]
fn a_swing_unlike_its_block_is_left_out_with_one_tap_and_counted_again() {
    let Some(browser) = Browser::open(PHONE_DARK) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let session = "demo-3";
    let folder = home.path().join("sessions").join(session);
    std::fs::create_dir_all(folder.parent().expect("a folder")).expect("a folder");
    let _ = daemon(["demo", "--seed", "3", "--out", folder.to_str().expect("UTF-8")]).done();
    let server = TestServer::virtual_lessons(home.path(), "max");
    let sides = format!("/api/v1/compare?a={session}:baseline&b={session}:after");
    let told = server.get(&sides).expect(200);
    let flags: Vec<&Value> =
        ["before", "after"].iter().flat_map(|s| told[s]["unlike"].as_array().unwrap()).collect();
    let flag = flags.first().expect("seed 3 has a swing unlike its block");
    let number = &flag["number"];
    let used = |told: &Value| {
        ["before", "after"].iter().any(|s| told[s]["summary"]["used"].as_array().unwrap().contains(number))
    };
    assert!(used(&told), "counted by default");

    open(&browser, &server, session);
    show(&browser, "after");
    browser.tap("[data-key=all-numbers]");
    let row = format!(".unlike [data-swing=\"{number}\"]");
    browser.until("the swing", &format!("return document.querySelector({}) !== null", json!(row)), SOON);
    let said = text_of(&browser, &row);
    assert!(said.contains(flag["words"].as_str().unwrap()), "{said}");
    no_findings(&browser);

    let button = format!("[data-key=\"unlike-{session}-{number}\"]");
    // The curves of the other swings come a while after the rest, and are higher or lower. The button must not move when
    // they do, or a second tap misses it.
    let settled = "return document.querySelector('.curves:not([aria-busy]) .curve-panel') !== null";
    browser.until("the curves", settled, SOON);
    browser.run(&format!(
        "const top = () => document.querySelector({})?.getBoundingClientRect().top;
         window.moved = [];
         addEventListener('click', () => {{
           const first = top();
           const look = () => {{
             window.moved.push(top() - first);
             requestAnimationFrame(look);
           }};
           look();
         }}, {{ capture: true, once: true }});",
        json!(button)
    ));
    for (counts, after) in [(false, "count it again"), (true, "leave out")] {
        browser.tap(&button);
        let there =
            format!("return document.querySelector({})?.textContent === {}", json!(button), json!(after));
        browser.until(after, &there, SOON);
        let told = server.get(&sides).expect(200);
        assert_eq!(used(&told), counts);
        let kept: Vec<&str> = ["before", "after"]
            .iter()
            .flat_map(|s| told[s]["summary"]["excluded"].as_array().unwrap())
            .filter(|x| x["number"] == *number)
            .filter_map(|x| x["why"].as_str())
            .collect();
        assert_eq!(kept, if counts { vec![] } else { vec!["unlike the others of its block"] });
        // What is drawn is the comparison without it, or with it again.
        let swings = told["before"]["summary"]["used"].as_array().unwrap().len();
        let heading = format!("Baseline, {swings} swings");
        browser.until(
            &heading,
            &format!("return document.body.innerText.includes({})", json!(heading)),
            SOON,
        );
    }
    browser.until("the curves", settled, SOON);
    let moved_px =
        browser.run("return [window.moved.length, Math.min(...window.moved), Math.max(...window.moved)]");
    let moved_px: Vec<f64> = moved_px.as_array().unwrap().iter().filter_map(Value::as_f64).collect();
    assert!(
        moved_px[0] > 1.0 && moved_px[1..].iter().all(|px| px.abs() < 2.0),
        "what was tapped moved: {moved_px:?} px"
    );
}
