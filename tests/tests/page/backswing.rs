//! Turn or lift: the bar says what the swing file says, and its labels can be read; the body from above
//! shows where the arm would be, had only the body turned.

use crate::common::{SOON, address, show, swing_shown};
use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;
use peakorder_tests::browser::{Browser, PHONE, TABLET};
use peakorder_tests::files::swings;
use peakorder_tests::test_server::TestServer;
use serde_json::Value;

/// 1.96 standard uncertainties either way are 95 % of a normal distribution.
fn half(sd: f64) -> f64 {
    (1.96 * sd).round().max(1.0)
}

/// What must be said of the parts: name, degrees, half the band.
fn parts(swing: &Swing) -> [(&'static str, f64, f64); 3] {
    let made = swing.backswing.as_ref().expect("told");
    let hips = swing.segments[&Role::Pelvis].turn_deg.expect("calibrated");
    let trunk = swing.separation.as_ref().expect("both trunk straps");
    [
        ("hips", -hips.top, hips.sd),
        ("trunk", -trunk.top_deg, trunk.sd_deg),
        ("shoulder", made.arm_moved_deg.expect("told"), made.arm_moved_sd_deg.expect("told")),
    ]
}

const BAR: &str = "
    const svg = document.querySelector('svg.backswing-bar');
    const box = (e) => { const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
    return { said: svg.getAttribute('aria-label'), text: [...svg.querySelectorAll('text')].map((t) => t.textContent),
      svg: box(svg), parts: [...svg.querySelectorAll('.part')].map(box), labels: [...svg.querySelectorAll('text')].map(box),
      patterns: [...svg.querySelectorAll('.part-pattern')].map((e) => getComputedStyle(e).fill) };";

fn boxes(value: &Value) -> Vec<[f64; 4]> {
    let number = |v: &Value| v.as_f64().expect("a number");
    let list = value.as_array().expect("a list");
    list.iter().map(|b| [0, 1, 2, 3].map(|i| number(&b[i]))).collect()
}

#[test]
fn the_bar_is_the_swing_files_and_can_be_read() {
    let home = tempfile::tempdir().expect("a folder");
    let Some(first) = Browser::open(TABLET) else { return };
    drop(first);
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson_of(&server.player("Invented Player"));
    let all = swings(&home.path().join("sessions").join(&session));
    let told = |s: &&Swing| s.backswing.as_ref().is_some_and(|b| b.turn_share.is_some());
    let swing = all.iter().rev().find(told).expect("one swing is told");
    for size in [TABLET, PHONE] {
        let browser = Browser::open(size).expect("it opened before");
        browser.goto(&address(&server, "earlier"));
        browser.tap(&format!("[data-key=\"open-{session}\"]"));
        swing_shown(&browser, 1);
        let chosen = format!(
            "return Number(document.querySelector('h1[data-swing]').dataset.swing) === {}",
            swing.number
        );
        while browser.run(&chosen) != true {
            browser.tap("[data-key=\"The swing before\"]");
        }
        let bar = browser.until("the bar", BAR, SOON);
        let (said, text) = (bar["said"].as_str().expect("words"), bar["text"].to_string());
        let made = swing.backswing.as_ref().expect("told");
        let share = 100.0 * made.turn_share.expect("told");
        for (name, deg, sd) in parts(swing) {
            assert!(said.contains(&format!("{name} {deg:.0} plus or minus {} degrees", half(sd))), "{said}");
            assert!(text.contains(&format!("\"{name}\"")), "{text}");
            assert!(text.contains(&format!("\"{deg:.0}° ±{}\"", half(sd))), "{deg} in {text}");
        }
        assert!(said.contains("index") && text.contains(&format!("turn {share:.0} %")), "{said} {text}");
        // One after another, as long as they say, on one scale.
        let stretches = boxes(&bar["parts"]);
        let scale = (stretches[2][2] - stretches[0][0]) / parts(swing).iter().map(|p| p.1).sum::<f64>();
        for (i, (name, deg, _)) in parts(swing).into_iter().enumerate() {
            let [left, _, right, _] = stretches[i];
            assert!((right - left - scale * deg).abs() < 2.0, "{name}: {left} to {right} px for {deg}°");
        }
        // Told apart without colour.
        let patterns = bar["patterns"].as_array().expect("a list");
        assert!(patterns.iter().enumerate().all(|(i, p)| !patterns[..i].contains(p)), "{patterns:?}");
        // No label lies on another or beyond the figure.
        let labels = boxes(&bar["labels"]);
        let [left, _, right, _] = boxes(&Value::Array(vec![bar["svg"].clone()]))[0];
        for (i, a) in labels.iter().enumerate() {
            assert!(
                a[0] >= left - 1.0 && a[2] <= right + 1.0,
                "{a:?} in {left}–{right}, {}: {text}",
                size.name
            );
            for b in &labels[..i] {
                // Boxes of lines below each other may touch by their blank rims.
                let over = |k: usize, rim: f64| a[k] < b[k + 2] - rim && b[k] < a[k + 2] - rim;
                assert!(!(over(0, 1.0) && over(1, 6.0)), "{a:?} on {b:?}, {}: {text}", size.name);
            }
        }
    }
}

#[test]
fn the_arm_that_only_the_body_turned() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let session = server.whole_lesson_of(&server.player("Invented Player"));
    browser.goto(&address(&server, "earlier"));
    browser.tap(&format!("[data-key=\"open-{session}\"]"));
    swing_shown(&browser, 1);
    show(&browser, "above");
    browser.until("the controls", "return document.querySelector('[data-key=go-top]') !== null", SOON);
    let arms = "const ghost = document.querySelector('line.as-turned');
         const end = (d) => d.split('L').at(-1).split(' ').map(Number);
         return { arm: end(document.querySelector('.line.lead_arm .core').getAttribute('d')),
           turned: ghost && [Number(ghost.getAttribute('x2')), Number(ghost.getAttribute('y2'))] }";
    let at = |event: &str| {
        browser.tap(&format!("[data-key=go-{event}]"));
        browser.sees(&format!("At {event}"), SOON);
        browser.run(arms)
    };
    let apart = |seen: &Value| {
        let by = |i: usize| {
            seen["arm"][i].as_f64().expect("a number") - seen["turned"][i].as_f64().expect("a number")
        };
        by(0).hypot(by(1))
    };
    // Nothing has moved at takeaway; at the top the arm is not where the body alone would have brought it.
    let takeaway = at("takeaway");
    assert!(apart(&takeaway) < 8.0, "{takeaway}");
    let top = at("top");
    assert!(apart(&top) > 15.0, "{top}");
    browser.sees("had only the body turned", SOON);
    let impact = at("impact");
    assert!(impact["turned"].is_null(), "{impact}");

    // By hand: an arm straight ahead goes with a chest that turns to the right by 90°; one whose strap has a
    // heading of its own, 90° to the left of the chest's, is straight ahead when it points to its right.
    let turned = browser.run_async(
        "const done = arguments[arguments.length - 1];
         const h = Math.SQRT1_2;
         const ahead = [h, 0, 0, h];       // about Z by 90°: down points ahead
         const right = [0.5, -0.5, -0.5, 0.5]; // and then about Y by −90°
         const of = (role, all) => ({ role, turn_deg: [0, 0], orientation_wxyz: all });
         const chest = of('thorax', [[1, 0, 0, 0], [h, 0, -h, 0]]);
         import('/js/figure.js').then((m) => done([
           m.armAsTurned({ segments: [chest, of('lead_arm', [ahead, ahead])] }, 0, 1, 0),
           m.armAsTurned({ segments: [chest, of('lead_arm', [right, right])] }, 0, 1, 90),
           m.armAsTurned({ segments: [chest, of('lead_arm', [ahead, ahead])] }, 0, 1, undefined)]))",
    );
    for i in 0..2 {
        let [x, z] = [0, 1].map(|k| turned[i][k].as_f64().expect("a number"));
        assert!(x.abs() < 1e-9 && (z - 1.0).abs() < 1e-9, "{turned}");
    }
    assert!(turned[2].is_null(), "{turned}");
}
