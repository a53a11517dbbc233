//! Before and after as pictures, on the page and on the sheet that goes home: drawn to scale from the swings' own numbers, on
//! one side of paper of either size; and the same over months.

use crate::access::{axe, findings};
use crate::common::{SOON, address, show};
use peakorder_protocol::remark::{RemarkFile, What};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::{Handedness, Role};
use peakorder_tests::browser::{Browser, PHONE, PHONE_DARK, TABLET};
use peakorder_tests::files::swings;
use peakorder_tests::programs::{analysis, daemon};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::fs;
use std::path::Path;

/// An invented lesson in the library, the swings of its drill among it.
fn demo(home: &Path, seed: u32, id: &str) {
    let folder = home.join("sessions").join(id);
    fs::create_dir_all(folder.parent().expect("a folder")).expect("a folder");
    let seed = seed.to_string();
    let _ = daemon(["demo", "--seed", &seed, "--out", folder.to_str().expect("UTF-8")]).done();
}

fn open(browser: &Browser, server: &TestServer, session: &str) {
    browser.goto(&address(server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    browser.until("the lesson", "return document.querySelector('h1[data-swing]') !== null", SOON);
}

fn no_findings(browser: &Browser) {
    let Some(axe) = axe() else { return };
    assert_eq!(findings(browser, &axe), Vec::<String>::new(), "{}", browser.screen().name);
    let wide = "return document.getElementById('content').scrollWidth > innerWidth + 1";
    assert_eq!(browser.run(wide), json!(false), "{}: it does not fit the width", browser.screen().name);
    let small = browser.run(
        "return [...document.querySelectorAll('#content button, #content select, #content summary, #content a, #content textarea')]
           .filter((e) => e.getClientRects().length && e.getBoundingClientRect().height < 47.5).map((e) => e.outerHTML.slice(0, 90))",
    );
    assert_eq!(small, json!([]), "{}: too small to tap", browser.screen().name);
}

/// Numbers of the swings and heights of their dots, of the first picture on the page.
fn dots(browser: &Browser) -> Vec<(u32, f64)> {
    let drawn = browser.run(
        "return [...document.querySelector('[data-figure=dots]').querySelectorAll('circle[data-swing]')]
           .map((c) => [Number(c.dataset.swing), Number(c.getAttribute('cy'))])",
    );
    serde_json::from_value(drawn).expect("numbers")
}

#[test]
fn the_dots_are_the_swings_to_scale_with_the_drill_between() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    demo(home.path(), 1, "demo-1");
    let server = TestServer::virtual_lessons(home.path(), "max");
    open(&browser, &server, "demo-1");
    show(&browser, "after");
    browser.until("the picture", "return document.querySelector('[data-figure=dots] circle') !== null", SOON);

    // What the lesson is about leads: the demo chose the pelvis's turn first.
    let lead = browser.run(
        "const l = document.querySelector('.picture-lead'); return [l.dataset.reason, l.dataset.measure]",
    );
    assert_eq!(lead, json!(["lesson", "pelvis_turn_top_deg"]));
    let all = swings(&home.path().join("sessions/demo-1"));
    let turn = |number: u32| {
        let swing = all.iter().find(|s| s.number == number).expect("a swing");
        swing.segments[&Role::Pelvis].turn_deg.expect("measured").top
    };
    let told = server.get("/api/v1/compare?a=demo-1:baseline&b=demo-1:after&picture=1224").expect(200);
    let columns = told["picture"]["shown"][0]["columns"].as_array().expect("columns");
    let parts: Vec<&str> = columns.iter().filter_map(|c| c["part"].as_str()).collect();
    assert_eq!(parts, ["before", "between", "after"]);
    for column in columns {
        for dot in column["dots"].as_array().expect("dots").iter().filter(|d| d["movement"] == "swing") {
            let number = dot["number"].as_u64().expect("a number") as u32;
            assert!((dot["value"].as_f64().expect("a value") - turn(number)).abs() < 1e-9);
            let block = &all.iter().find(|s| s.number == number).expect("a swing").block;
            assert_eq!(column["title"], json!(block));
        }
    }
    // Every dot stands at the height of its value: two of them make the scale, all others follow it.
    let drawn = dots(&browser);
    let of_swings =
        |c: &Value| c["dots"].as_array().expect("dots").iter().filter(|d| d["movement"] == "swing").count();
    let wanted: usize = columns.iter().map(of_swings).sum();
    assert_eq!(drawn.len(), wanted);
    let by_turn = |a: &&(u32, f64), b: &&(u32, f64)| turn(a.0).total_cmp(&turn(b.0));
    let (most, least) = (drawn.iter().min_by(by_turn).unwrap(), drawn.iter().max_by(by_turn).unwrap());
    // Further back is higher on the screen.
    assert!(most.1 + 60.0 < least.1, "{most:?} {least:?}");
    let scale = (least.1 - most.1) / (turn(least.0) - turn(most.0));
    for (number, height) in &drawn {
        let wanted = most.1 + scale * (turn(*number) - turn(most.0));
        assert!((height - wanted).abs() < 0.3, "swing {number} at {height}, not {wanted}");
    }

    // The body from above is one figure with both, and fills its height.
    let body = browser.run(
        "const svg = document.querySelector('[data-figure=above] svg'); const box = svg.getBoundingClientRect();
         const ring = svg.querySelector('.p-ring').getBoundingClientRect();
         return { share: ring.height / box.height, hollow: svg.querySelectorAll('.p-mark.hollow').length,
           filled: svg.querySelectorAll('.p-mark:not(.hollow)').length,
           there: ['.p-head', '.p-ball', '.p-sole', '.p-feet'].every((c) => svg.querySelector(c)),
           words: [...document.querySelectorAll('[data-figure=above] li')].map((l) => l.textContent) }",
    );
    assert!(body["share"].as_f64().expect("a share") > 0.8, "{body}");
    assert_eq!([&body["hollow"], &body["filled"]], [&json!(5), &json!(5)], "{body}");
    assert_eq!(body["there"], json!(true));
    assert_eq!(body["words"].as_array().expect("words").len(), 3, "a number for every segment: {body}");
    // Tilt, bend and the arm are seen from two more sides, and the strip is there.
    for figure in ["views", "strip"] {
        let there = format!("return document.querySelector('[data-figure={figure}] svg') !== null");
        assert_eq!(browser.run(&there), json!(true), "{figure}");
    }
    let sentences = browser.run("return document.querySelectorAll('.picture-sentences li').length");
    assert!(sentences.as_u64().is_some_and(|n| (1..=3).contains(&n)), "{sentences}");
    no_findings(&browser);

    // On paper the same swings, by the same code.
    browser.goto(&format!("http://{}/api/v1/sessions/demo-1/report", server.at));
    let paper = browser.run(
        "return [...document.querySelectorAll('.sheet svg')[0].querySelectorAll('circle[data-swing]')].map((c) => Number(c.dataset.swing))",
    );
    let numbers: Vec<u32> = serde_json::from_value(paper).expect("numbers");
    assert_eq!(numbers, drawn.iter().map(|d| d.0).collect::<Vec<_>>());
}

#[test]
fn without_a_number_meant_the_largest_change_is_shown_and_said_to_be_that() {
    let Some(browser) = Browser::open(PHONE_DARK) else { return };
    let home = tempfile::tempdir().expect("a folder");
    demo(home.path(), 2, "demo-2");
    fs::remove_file(home.path().join("sessions/demo-2/remarks.jsonl")).expect("the demo's choice");
    let server = TestServer::virtual_lessons(home.path(), "max");
    open(&browser, &server, "demo-2");
    show(&browser, "after");
    browser.until("the picture", "return document.querySelector('[data-figure=dots] circle') !== null", SOON);
    let told = server.get("/api/v1/compare?a=demo-2:baseline&b=demo-2:after").expect(200);
    let effect = |r: &Value| {
        let spread = r["spread"].as_f64().unwrap_or(0.0);
        if spread > 0.0 && !r["ci95"].is_null() {
            r["difference"].as_f64().unwrap().abs() / spread
        } else {
            0.0
        }
    };
    let rows = told["measures"].as_array().expect("rows");
    let largest = rows.iter().max_by(|a, b| effect(a).total_cmp(&effect(b))).expect("a row");
    let lead = browser.run("const l = document.querySelector('.picture-lead'); return [l.dataset.reason, l.dataset.measure, l.innerText]");
    assert_eq!([&lead[0], &lead[1]], [&json!("largest"), &largest["key"]]);
    assert!(lead[2].as_str().expect("words").contains("Nobody named a number beforehand"));
    no_findings(&browser);
}

#[test]
fn what_to_practise_is_typed_on_the_page_and_stands_first_on_the_sheet() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    demo(home.path(), 1, "demo-1");
    let server = TestServer::virtual_lessons(home.path(), "max");
    open(&browser, &server, "demo-1");
    show(&browser, "after");
    browser.until("the field", "return document.querySelector('#practise') !== null", SOON);
    browser.type_into("#practise", "ten slow turns a day, arms crossed");
    browser.tap("[data-key=practise-save]");
    let kept = "return document.querySelector('#practise')?.value === 'ten slow turns a day, arms crossed' && document.querySelector('[data-key=practise-save]').disabled";
    browser.until("it is kept", kept, SOON);
    let view = server.get("/api/v1/sessions/demo-1").expect(200);
    assert_eq!(view["remarks"]["practise"], json!("ten slow turns a day, arms crossed"));
    let link = browser.run("return document.querySelector('.take-home a').href");
    browser.goto(link.as_str().expect("an address"));
    let first = browser.run("return document.querySelector('.sheet section').innerText");
    assert!(
        first.as_str().is_some_and(
            |t| t.starts_with("To practise\n") && t.contains("Ten slow turns a day, arms crossed")
        ),
        "{first}"
    );
    assert_eq!(browser.run("return document.querySelector('.appendix')"), Value::Null);
    browser.goto(&format!("http://{}/api/v1/sessions/demo-1/report?appendix=true", server.at));
    assert_ne!(browser.run("return document.querySelector('.appendix')"), Value::Null);
}

const A4: (f64, f64) = (21.0, 29.7);
const LETTER: (f64, f64) = (21.59, 27.94);

/// Changes a session folder as another lesson would have made it.
struct Changed<'a> {
    name: &'static str,
    player: &'a str,
    remarks: Vec<What>,
    left_handed: bool,
    two_straps: bool,
    before: &'static str,
}

#[test]
fn the_sheet_is_one_side_of_either_paper() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let note = |text: String| What::Note { swing: None, text };
    let five_hundred =
        "Good tempo all afternoon, and the arm stays lower than last time. ".repeat(8)[..500].to_owned();
    let lines = "one line\n".repeat(60);
    let long = format!("{} von und zu {}", "Maximiliane-Friederike".repeat(4), "x".repeat(90));
    let plain = || Changed {
        name: "plain",
        player: "Sam",
        remarks: vec![],
        left_handed: false,
        two_straps: false,
        before: "baseline",
    };
    let chosen = |keys: &[&str]| What::Chosen {
        measures: keys
            .iter()
            .map(|k| peakorder_protocol::remark::ChosenMeasure { measure: (*k).into(), matters: None })
            .collect(),
    };
    let cases = [
        plain(),
        Changed { name: "long name", player: &long, ..plain() },
        Changed {
            name: "notes of 500 characters, two numbers meant",
            remarks: vec![
                chosen(&["pelvis_turn_top_deg", "thorax_turn_top_deg"]),
                What::Practise { text: five_hundred.clone() },
                note(five_hundred.clone()),
            ],
            ..plain()
        },
        Changed {
            name: "everything at its longest",
            player: &long,
            remarks: vec![
                chosen(&["arm_raised_deg", "thorax_lateral_tilt_top_deg", "gap_pelvis_thorax_ms"]),
                What::Practise { text: lines.clone() },
                note(lines.clone()),
                note("x".repeat(4000)),
            ],
            ..plain()
        },
        Changed {
            name: "left-handed",
            left_handed: true,
            remarks: vec![note(five_hundred.clone())],
            ..plain()
        },
        Changed {
            name: "two straps",
            two_straps: true,
            remarks: vec![What::Practise { text: five_hundred }],
            ..plain()
        },
        Changed { name: "nothing meant", remarks: vec![chosen(&[])], ..plain() },
        Changed { name: "the drill against after", before: "pivot drill", ..plain() },
    ];
    for (i, case) in cases.iter().enumerate() {
        let id = format!("demo-{i}");
        demo(home.path(), 1 + i as u32 % 3, &id);
        let folder = home.path().join("sessions").join(&id);
        change(&folder, case);
        let out = home.path().join(format!("{id}.html"));
        let arguments =
            ["report", folder.to_str().unwrap(), "--out", out.to_str().unwrap(), "--before", case.before];
        let _ = analysis(arguments).done();
        browser.goto(&format!("file://{}", out.display()));
        let sheet = browser.run("return document.querySelector('.sheet').innerText");
        assert!(
            sheet.as_str().is_some_and(|t| t.contains("To practise") && t.contains("licensed practitioners")),
            "{sheet}"
        );
        let pictures = browser.run("return document.querySelectorAll('.sheet svg').length");
        assert_eq!(pictures, json!(2), "{}", case.name);
        for (paper, size) in [("A4", A4), ("Letter", LETTER)] {
            assert_eq!(browser.printed_sides(size), 1, "{} on {paper}", case.name);
        }
    }
    // A test that could not fail would count one side of anything.
    let (folder, out) = (home.path().join("sessions/demo-0"), home.path().join("whole.html"));
    let _ =
        analysis(["report", folder.to_str().unwrap(), "--out", out.to_str().unwrap(), "--appendix"]).done();
    browser.goto(&format!("file://{}", out.display()));
    assert!(browser.printed_sides(A4) > 2);
}

fn change(folder: &Path, case: &Changed<'_>) {
    let (dir, mut session) = SessionDir::open(folder).expect("a session");
    session.player.name = case.player.into();
    let mut all = swings(folder);
    for swing in &mut all {
        if case.two_straps {
            swing.segments.remove(&Role::LeadArm);
            (swing.arm, swing.backswing) = (None, None);
        }
        if case.left_handed {
            swing.handedness = Handedness::Left;
        }
    }
    if case.left_handed {
        session.player.handedness = Handedness::Left;
    }
    dir.write_session(&session).expect("written");
    for swing in &all {
        fs::write(dir.swing_path(swing.number), swing.to_json().expect("JSON")).expect("written");
    }
    for what in &case.remarks {
        RemarkFile::of(folder).append(900.0, what.clone()).expect("written");
    }
}

#[test]
fn over_months_every_lesson_has_its_start_and_its_end() {
    let Some(browser) = Browser::open(PHONE) else { return };
    let home = tempfile::tempdir().expect("a folder");
    for (i, seed) in [1_u32, 2, 3, 1].into_iter().enumerate() {
        let id = format!("lesson-{i}");
        demo(home.path(), seed, &id);
        let (dir, mut session) =
            SessionDir::open(&home.path().join("sessions").join(&id)).expect("a session");
        session.id = id.clone();
        session.player.name = "Sample player".into();
        session.started_utc = format!("2026-0{}-03T10:00:00Z", i + 2);
        dir.write_session(&session).expect("written");
    }
    let server = TestServer::virtual_lessons(home.path(), "max");
    browser.goto(&address(&server, "months?player=Sample%20player"));
    browser.until("the pictures", "return document.querySelectorAll('.months svg').length === 3", SOON);
    let told = server.get("/api/v1/months?player=Sample%20player&width=362").expect(200);
    assert_eq!(told["schema"], json!("peakorder.months/1"));
    let stages = told["kept"]["measures"][0]["stages"].as_array().expect("stages");
    assert_eq!(stages.len(), 4);
    // Start and end of each lesson, to scale.
    let drawn = browser.run(
        "const of = (c) => [...document.querySelector('.months svg').querySelectorAll(`circle.p-dot.${c}`)].map((e) => Number(e.getAttribute('cy')));
         return [of('before'), of('after')]",
    );
    let drawn: [Vec<f64>; 2] = serde_json::from_value(drawn).expect("heights");
    let mean = |stage: &Value, side: &str| stage[side]["mean"].as_f64().expect("a mean");
    let mut pairs: Vec<(f64, f64)> = Vec::new();
    for (i, stage) in stages.iter().enumerate() {
        pairs.extend([(mean(stage, "start"), drawn[0][i]), (mean(stage, "end"), drawn[1][i])]);
    }
    let (first, other) = (pairs[0], pairs[1]);
    let scale = (other.1 - first.1) / (other.0 - first.0);
    for (value, height) in &pairs {
        let wanted = first.1 + scale * (value - first.0);
        assert!((height - wanted).abs() < 0.5, "{value} at {height}, not {wanted}");
    }
    // The terminal tells the same numbers.
    let folder = home.path().join("sessions");
    let trend = analysis(["trend", folder.to_str().unwrap(), "--json"]).done();
    let trend: Value = serde_json::from_str(&trend.out).expect("JSON");
    assert_eq!(told["trend"]["measures"], trend["measures"]);
    assert!(trend["measures"][0]["slope_per_30_days"].is_number(), "four lessons make a line");
    no_findings(&browser);
    // Another number than what the lessons were about.
    browser.run(
        "const list = document.getElementById('months-about'); list.value = 'arm_raised_deg';
         list.dispatchEvent(new Event('change', { bubbles: true })); return true",
    );
    let one = "return document.querySelectorAll('.months').length === 1 && document.querySelector('.months').dataset.measure === 'arm_raised_deg'";
    browser.until("the other number", one, SOON);
}
