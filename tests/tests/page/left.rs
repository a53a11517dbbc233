//! Right- and left-handed players: the same words for the same turns, the body mirrored.

use crate::common::{SOON, address, show, swing_shown};
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Handedness, Role};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::files::swings;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};

/// What the figure of turns says of a segment.
fn turn_words(swing: &Swing, role: Role) -> String {
    let turn = swing.segments[&role].turn_deg.expect("calibrated");
    let say = |degrees: f64, sd: f64| {
        let size = degrees.abs().round();
        let way = if degrees < 0.0 { " back" } else { " through" };
        // 1.96 standard uncertainties either way are 95 % of a normal distribution.
        format!("{size}°{} ±{}", if size == 0.0 { "" } else { way }, (1.96 * sd).round().max(1.0))
    };
    let impact_sd = turn.impact_sd.expect("a swing measured now states it");
    format!("{} {} at top, {} at impact", role.label(), say(turn.top, turn.sd), say(turn.impact, impact_sd))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[test]
fn a_left_handed_player_is_the_mirror_image() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    for (handedness, side) in [(Handedness::Right, 1.0), (Handedness::Left, -1.0)] {
        let session =
            server.whole_lesson_of(&server.player_of(&format!("{handedness} hand"), handedness.key()));
        let swing = swings(&home.path().join("sessions").join(&session)).pop().expect("swings");
        assert_eq!(swing.handedness, handedness);
        // The page anew: the lesson opened before is closed.
        browser.goto("about:blank");
        browser.goto(&address(&server, "earlier"));
        browser.tap(&format!("[data-key=\"open-{session}\"]"));
        swing_shown(&browser, swing.number);

        // Signs: at the top turned back, for both.
        let said = browser.run("return document.querySelector('svg.turns').getAttribute('aria-label')");
        let said = said.as_str().expect("words");
        for role in [Role::Pelvis, Role::Thorax] {
            assert!(swing.segments[&role].turn_deg.expect("calibrated").top < -20.0);
            let words = turn_words(&swing, role);
            assert!(said.contains(&words), "“{words}” in “{said}”");
        }

        // From above at the top: target and body change sides.
        show(&browser, "above");
        browser.until("the controls", "return document.querySelector('[data-key=go-top]') !== null", SOON);
        browser.tap("[data-key=go-top]");
        browser.sees("At top", SOON);
        let drawn = browser.run(
            "const svg = document.querySelector('svg.above');
             const target = [...svg.querySelectorAll('text')].find((t) => t.textContent === 'target');
             const arm = svg.querySelector('.mark.lead_arm');
             return { target: Number(target.getAttribute('x')), spoken: svg.getAttribute('aria-label'),
               ahead: [...svg.querySelectorAll('.ahead')].map((l) => ['x1', 'y1', 'x2', 'y2'].map((k) => Number(l.getAttribute(k)))),
               arm: svg.querySelector('.line.lead_arm .core').getAttribute('d') }",
        );
        // The target is to the left of a right-handed player who faces up the page.
        assert!(number(&drawn["target"]) * side < 0.0, "{handedness}: {drawn}");
        for (i, role) in [Role::Pelvis, Role::Thorax].into_iter().enumerate() {
            let [x1, y1, x2, y2] = [0, 1, 2, 3].map(|k| number(&drawn["ahead"][i][k]));
            // Where the front of the body points, degrees to the right of straight ahead.
            let front = (x2 - x1).atan2(y1 - y2).to_degrees();
            let turn = swing.segments[&role].turn_deg.expect("calibrated").top;
            // Away is to the right of a right-handed player. The line is drawn as it is seen
            // from above, where tilt takes some degrees off the axial turn.
            assert!((front * side + turn).abs() < 8.0, "{handedness} {role}: {front} drawn, {turn} measured");
        }
        // The lead arm starts at the shoulder that was nearer the target at address: the left
        // one of a right-handed player, which has come forward (up the page) at the top.
        let start = drawn["arm"].as_str().expect("a path").trim_start_matches('M').split(['L', ' ']).take(2);
        let start: Vec<f64> = start.map(|n| n.parse().expect("a number")).collect();
        assert!(start[1] < 0.0, "{handedness}: the lead shoulder is behind: {drawn}");
    }
    // The same from the live pose: 40° away from the target is to the player's own right for a
    // right-hander and to the left for a left-hander; `[ahead, right]` of the line from hip to hip.
    let lines = browser.run_async(
        "const done = arguments[arguments.length - 1];
         import('/js/figure.js').then((m) => done(['right', 'left'].map((hand) =>
           m.fromPose({ pelvis: { turn_deg: -40, lateral_deg: 0 }, lead_arm: { direction_deg: 90, elevation_deg: 90 } }, hand))))",
    );
    for (i, side) in [1.0, -1.0].into_iter().enumerate() {
        let at = |segment: &str, k: usize| number(&lines[i][segment][k]);
        let (sin, cos) = 40_f64.to_radians().sin_cos();
        assert!(
            (at("pelvis", 0) + side * sin).abs() < 1e-9 && (at("pelvis", 1) - cos).abs() < 1e-9,
            "{lines}"
        );
        // Towards the target: to a right-hander's left.
        assert!(at("lead_arm", 0).abs() < 1e-9 && (at("lead_arm", 1) + side).abs() < 1e-9, "{lines}");
    }
    assert_eq!(lines.as_array().map(Vec::len), Some(2), "{}", json!(lines));
}
