//! The page writes values, changes and targets by the rule of `peakorder_analysis::words::said`: both are asked the same.

use crate::common::{SOON, address};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::words::said;
use peakorder_protocol::remark::Bound;
use peakorder_tests::browser::{Browser, DESK};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

const VALUES: [f64; 15] =
    [-1234.5, -88.76, -41.25, -30.5, -5.0, -0.44, -0.02, 0.0, 0.04, 0.5, 2.85, 12.0, 31.5, 40.049, 712.3];
const CHANGES: [(f64, f64); 6] =
    [(-9.0, 7.0), (-11.2, -5.0), (2.0, 9.4), (-45.0, 50.0), (0.0, 3.0), (-2.5, 0.0)];

/// What the page is asked: `[key, value, from, low, high]`.
fn questions() -> Vec<(Measure, f64, f64, f64)> {
    let mut all = Vec::new();
    for measure in Measure::ALL {
        for value in VALUES {
            for (low, high) in CHANGES {
                all.push((measure, value, low, high));
            }
        }
    }
    all
}

/// The answers of the program, by the same functions that the terminal and the speech use.
fn told(measure: Measure, value: f64, low: f64, high: f64) -> Value {
    let decimals = measure.decimals();
    let change = |c| {
        said::change_to(measure, value, c, decimals)
            .unwrap_or_else(|| said::amount_to(measure, 0.0, decimals))
    };
    json!([
        said::value(measure, value),
        said::value_to(measure, value, decimals),
        change(low),
        change(high),
        said::range_to(measure, value, (low, high), decimals),
        said::bound(measure, Bound::AtLeast, value),
        said::bound(measure, Bound::AtMost, value),
    ])
}

#[test]
fn the_page_says_what_the_program_says() {
    let Some(browser) = Browser::open(DESK) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    browser.goto(&address(&server, "lesson"));
    browser.until("the page", "return document.querySelector('#top nav a') !== null", SOON);
    let questions = questions();
    let asked: Vec<Value> = questions.iter().map(|(m, v, l, h)| json!([m.key(), v, l, h])).collect();
    let script = format!(
        "const done = arguments[arguments.length - 1];
         Promise.all([import('/js/said.js'), import('/js/measures.js').then((m) => m.readMeasures())]).then(([said, all]) => {{
           const of = new Map(all.map((m) => [m.key, m]));
           done({}.map(([key, value, low, high]) => {{
             const m = of.get(key);
             return [said.measureWords(m, value, m.spoken_decimals), said.measureWords(m, value), said.changeWords(m, value, low),
               said.changeWords(m, value, high), said.rangeWords(m, value, low, high),
               said.boundWords(m, true, value), said.boundWords(m, false, value)];
           }}));
         }}, (why) => done(String(why)))",
        json!(asked)
    );
    let answers = browser.run_async(&script);
    let answers = answers.as_array().unwrap_or_else(|| panic!("{answers}"));
    assert_eq!(answers.len(), questions.len());
    for (answer, (measure, value, low, high)) in answers.iter().zip(questions) {
        assert_eq!(*answer, told(measure, value, low, high), "{} at {value}, {low} to {high}", measure.key());
    }
    let turn = browser.run_async("const done = arguments[arguments.length - 1]; import('/js/said.js').then((m) => done([m.turnWords(-26.2), m.turnWords(0.3), m.turnWords(8)]))");
    assert_eq!(turn, json!(["26° back", "0°", "8° through"]));
}
