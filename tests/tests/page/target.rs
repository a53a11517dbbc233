//! Tally and trend of a drill as the page shows them, against numbers computed anew from the
//! swing files.

use crate::common::{SOON, address, show, state, swing_shown};
use peakorder_analysis::measure::Measure;
use peakorder_protocol::Role;
use peakorder_protocol::remark::Bound;
use peakorder_tests::browser::{Browser, PHONE, TABLET};
use peakorder_tests::files::swings;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

#[test]
fn tally_and_trend_are_those_of_the_swing_files() {
    let Some(browser) = Browser::open(PHONE) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "40");
    let mut events = server.events("/api/v1/events");
    let session = server.lesson(&server.player("Invented Player"));
    // Set before the drill begins, so that no swing of it comes too early on a busy machine.
    let block = "pivot drill";
    // The drill's half swings turn some 20°: a value in their midst, so that all answers come.
    let (value, margin) = (20.5, 1.0);
    let target =
        json!({ "measure": "pelvis_turn_top_deg", "value": value, "margin": margin, "block": block });
    server.send("PUT", "/api/v1/lesson/target", &target).expect(200);
    browser.goto(&address(&server, "target"));
    events.until("session_ended");

    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    swing_shown(&browser, 1);
    show(&browser, "target");
    browser.until("the trend", "return document.querySelector('svg.trend') !== null", SOON);

    // Back is negative in the file; further back is more.
    let turns: Vec<(u32, f64)> = swings(&home.path().join("sessions").join(&session))
        .iter()
        .filter(|s| s.block == block)
        .map(|s| (s.number, -s.segments[&Role::Pelvis].turn_deg.expect("calibrated").top))
        .collect();
    assert_eq!(turns.len(), 8);
    let answer = |turn: f64| {
        if turn >= value {
            "met"
        } else if turn >= value - margin {
            "nearly"
        } else {
            "not"
        }
    };
    let count = |kind: &str| turns.iter().filter(|(_, t)| answer(*t) == kind).count();
    let tally = browser.run(
        "return [...document.querySelectorAll('.tally div')].map((d) => d.innerText.split(/\\s*\\n\\s*/))",
    );
    let expected = [("met", "met"), ("nearly", "nearly"), ("not yet", "not")];
    assert_eq!(tally, json!(expected.map(|(words, kind)| [words.to_owned(), count(kind).to_string()])));
    assert!(
        expected.iter().filter(|(_, kind)| count(kind) > 0).count() >= 2,
        "one answer alone proves little: {turns:?}"
    );

    let trend = browser.run(
        "const svg = document.querySelector('svg.trend');
         return { words: svg.getAttribute('aria-label'), level: Number(svg.querySelector('.level').getAttribute('y1')),
           marks: [...svg.querySelectorAll('circle.answer-ring')].map((c) => [Number(c.getAttribute('cx')), Number(c.getAttribute('cy')),
             c.parentElement.querySelectorAll('.answer-fill').length ? c.parentElement.querySelector('.answer-fill').tagName : '']) }",
    );
    let words: Vec<String> = turns.iter().map(|(n, t)| format!("swing {n} {t:.1}° back")).collect();
    assert_eq!(trend["words"], json!(format!("Values in order: {}", words.join(", "))));
    let marks: Vec<(f64, f64, &str)> = trend["marks"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|m| (m[0].as_f64().expect("x"), m[1].as_f64().expect("y"), m[2].as_str().expect("a name")))
        .collect();
    assert_eq!(marks.len(), turns.len());
    assert!(marks.is_sorted_by(|a, b| a.0 < b.0), "in order of time: {marks:?}");
    let level = trend["level"].as_f64().expect("y");
    // One scale for all: pixels a degree, upwards for more.
    let scale: Vec<f64> = marks.iter().zip(&turns).map(|(m, (_, t))| (level - m.1) / (t - value)).collect();
    for (s, ((mark, (number, turn)), first)) in
        scale.iter().zip(marks.iter().zip(&turns).zip(std::iter::repeat(scale[0])))
    {
        assert!(*s > 0.0 && (s / first - 1.0).abs() < 0.05, "swing {number}: {scale:?}");
        // Met is full, nearly half full, not empty.
        let filled = match answer(*turn) {
            "met" => "circle",
            "nearly" => "path",
            _ => "",
        };
        assert_eq!(mark.2, filled, "swing {number}, {turn}°");
    }
    let last = browser.run("return document.querySelector('.target-answer').innerText");
    let (number, turn) = turns.last().expect("swings");
    let last = last.as_str().expect("words");
    // Value and target never look the same where it is not met.
    let said = peakorder_analysis::words::said::answer(
        Measure::TurnAtTop(Role::Pelvis),
        -value,
        Bound::AtMost,
        -turn,
    );
    assert!(last.contains(&said.value) && last.contains(&format!("swing {number}")), "{last}");
    let first = said.correction.map_or("Met".to_owned(), |c| c);
    assert!(last.starts_with(&first), "{last}");
    let shown: Value = browser.run("return document.querySelector('[data-answer]').dataset.answer");
    assert_eq!(shown, json!(answer(*turn)));
}

#[test]
fn an_undone_target_takes_its_answers_off_the_page() {
    let Some(browser) = Browser::open(PHONE) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "20");
    let session = server.lesson(&server.player("Invented Player"));
    let target = json!({ "measure": "pelvis_turn_top_deg", "value": 20.5 });
    server.send("PUT", "/api/v1/lesson/target", &target).expect(200);
    browser.goto(&address(&server, "swing"));
    swing_shown(&browser, 2);
    // An earlier swing stays on the page while new ones come.
    browser.tap("[aria-label=\"The swing before\"]");
    let answer = |there: bool| format!("return (document.querySelector('p.answer') !== null) === {there}");
    browser.until("the answer", &answer(true), SOON);
    server.post(&format!("/api/v1/sessions/{session}/undo"), &json!({})).expect(200);
    browser.until("no answer", &answer(false), SOON);
    let newest = browser.run("return document.querySelector('[data-key=newest]') === null");
    assert_eq!(newest, json!(false), "the earlier swing is still on the page");
}

#[test]
fn the_form_has_the_running_targets_values_and_a_target_of_less_answers_too_much() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "16");
    server.lesson(&server.player("Invented Player"));
    let target = json!({ "measure": "pelvis_turn_top_deg", "value": 24, "at_most": true, "margin": 2 });
    server.send("PUT", "/api/v1/lesson/target", &target).expect(200);
    browser.goto(&address(&server, "target"));
    let form = "return document.getElementById('target-value')?.value";
    browser.until("the form", &format!("{form} === '24'"), SOON);
    let shown = browser.run(
        "return [document.querySelector('[data-key=target-less]').getAttribute('aria-pressed'),
           document.getElementById('target-block').value, document.querySelector('.target-form h2').textContent]",
    );
    assert_eq!(shown, json!(["true", "", "Change the target"]));
    browser.tap("[data-key=more]");
    let preview = "return document.getElementById('target-preview').textContent";
    browser.until("25", &format!("{preview}.startsWith('Pelvis turn at top: 25° back or less')"), SOON);
    browser.tap(".target-form button[type=submit]");
    let set = || state(&server)["lesson"]["remarks"]["target"].clone();
    browser.until(
        "the target",
        "return document.querySelector('.target-now h1').textContent.includes('25° back or less')",
        SOON,
    );
    assert_eq!((&set()["value"], &set()["bound"]), (&json!(-25.0), &json!("at_least")));

    // The baseline's swings turn some 31°: whoever is told "1 short" would turn further still.
    show(&browser, "swing");
    browser.until("an answer", "return document.querySelector('.leads [data-answer]') !== null", SOON);
    let said = browser.run(
        "const row = document.querySelector('.lead-row');
         return [Number(row.querySelector('.lead-title').dataset.swing), row.querySelector('.lead-answer').textContent.trim()]",
    );
    let answer = &state(&server)["lesson"]["answers"][said[0].to_string()];
    assert_eq!(said[1], answer["correction"], "{answer}");
    let by = answer["short_by"].as_f64().expect("it misses");
    assert!(by > 1.0, "{answer}");
    assert!(answer["spoken"].as_str().expect("words").ends_with(" too much"), "{answer}");
}
