//! The tone inside the movement: from the last sample that reaches the target to the tone's start in the page, and when it
//! sounds at all. `cargo test -p peakorder-tests --test page tone -- --nocapture`
//!
//! Engine, hub and server of the daemon run here as in `peakorderd serve`; the page is in headless Chromium on the same
//! computer. Batches of records are handed over at their own time from before each takeaway to after the finish, so that
//! nothing queues that would not queue in a lesson. Both ends read this machine's clock. What the browser itself takes
//! from a gain that is set to sound is printed apart; Bluetooth and the loudspeaker add theirs.

use crate::common::SOON;
use crate::played::Played;
use peakorder_protocol::Role;
use peakorder_protocol::remark::{Bound, Remarks, Target, TargetSet};
use peakorder_protocol::swing::Swing;
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::files::swings;
use serde_json::{Value, json};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// What every swing and half swing of the lesson reaches, deg back.
const WANTED_DEG: f64 = 14.0;
/// The bound.
const BOUND_MS: f64 = 50.0;
const SEED: u64 = 3;

fn now_ms() -> f64 {
    SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64() * 1e3
}

fn remarks() -> Remarks {
    let target = Target {
        measure: "pelvis_turn_top_deg".into(),
        bound: Bound::AtMost,
        value: -WANTED_DEG,
        margin: 1.0,
        block: String::new(),
        baseline_mean: None,
        words: "pelvis turn at top: 14° back or more".into(),
    };
    Remarks {
        target: Some(target.clone()),
        targets: vec![TargetSet { id: 1, t_s: 0.0, target: Some(target) }],
        ..Remarks::default()
    }
}

fn turn_at_top(swing: &Swing) -> f64 {
    -swing.segments[&Role::Pelvis].turn_deg.expect("calibrated").top
}

#[test]
fn tone_begins_within_fifty_milliseconds_of_the_sample_that_reaches_the_target() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let played = Played::open();
    // Once as fast as it goes: when its swings are.
    played.lesson(SEED, || {}, |_, _| {});
    let made = swings(&played.folder(&format!("lesson-{SEED}")));
    let windows: Vec<(f64, f64)> =
        made.iter().map(|s| (s.events.takeaway.t_s - 1.2, s.events.finish.t_s + 0.2)).collect();

    browser.goto(&format!("http://{}/#target", played.at));
    browser.until("the choice", "return document.querySelector('[data-key=way-tone-every]') !== null", SOON);
    browser.tap("[data-key=way-tone-every]");
    browser.tap("[data-key=mute]");
    browser.sees("sound: on", SOON);
    browser.run(
        "window.tones = [];
         document.addEventListener('tone', (e) => window.tones.push(e.detail));
         return true",
    );

    let mut handed: Vec<(f64, f64)> = Vec::new();
    let mut clock: Option<(f64, Instant)> = None;
    let begun = || {
        played.set_remarks("again", remarks());
        browser.until(
            "the tone to wait",
            "return document.querySelector('.target-now h1')?.textContent.includes('14° back')",
            SOON,
        );
        std::thread::sleep(Duration::from_millis(500));
    };
    let due = |newest_s: f64| {
        if !windows.iter().any(|(from, to)| (*from..*to).contains(&newest_s)) {
            clock = None;
            return;
        }
        let (from_s, start) = *clock.get_or_insert_with(|| (newest_s, Instant::now()));
        let at = start + Duration::from_secs_f64(newest_s - from_s);
        std::thread::sleep(at.saturating_duration_since(Instant::now()));
    };
    played.batches("again", SEED, begun, due, |newest_s, start, _| {
        handed.push((newest_s, now_ms() - start.elapsed().as_secs_f64() * 1e3));
    });
    let tones = browser.run("return window.tones");
    let tones: Vec<&Value> = tones.as_array().expect("a list").iter().collect();
    let at = |t: &Value| t["t_s"].as_f64().unwrap_or(f64::NAN);
    let latency = |t: &Value| {
        let (_, handed_ms) = handed
            .iter()
            .min_by(|a, b| (a.0 - at(t)).abs().total_cmp(&(b.0 - at(t)).abs()))
            .expect("batches were handed over");
        t["at_ms"].as_f64().expect("a time") - handed_ms
    };

    // Each movement that reaches it is heard once on its way to the top, and silent again before its finish.
    let mut latencies = Vec::new();
    for swing in &made {
        let during =
            |t: &&&Value| (swing.events.takeaway.t_s - 0.1..swing.events.finish.t_s + 0.1).contains(&at(t));
        let on: Vec<&&Value> = tones.iter().filter(during).filter(|t| t["on"] == true).collect();
        let turned = turn_at_top(swing);
        if turned > WANTED_DEG + 2.0 {
            assert_eq!(on.len(), 1, "swing {} turned {turned}°: {on:?}", swing.number);
            assert!(at(on[0]) < swing.events.top.t_s + 0.1, "swing {}: {on:?}", swing.number);
            assert!(at(on[0]) > swing.events.takeaway.t_s, "swing {}: {on:?}", swing.number);
            latencies.push(latency(on[0]));
        }
        let off = tones.iter().filter(|t| at(t) > swing.events.top.t_s).find(|t| t["on"] == false);
        assert!(
            on.is_empty() || off.is_some_and(|t| at(t) < swing.events.impact.t_s + 0.1),
            "swing {}: silent again before impact: {off:?}",
            swing.number
        );
    }
    latencies.sort_by(f64::total_cmp);
    assert!(latencies.len() >= 20, "{latencies:?}");
    let share = |s: f64| latencies[((latencies.len() - 1) as f64 * s).round() as usize];
    let browsers = browser.run_async(
        "const done = arguments[arguments.length - 1]; import('/js/tone.js').then((m) => done(m.outputLatency()))",
    );
    println!(
        "sample that reaches the target to the tone's start: median {:.1} ms, p95 {:.1} ms, largest {:.1} ms of {}; the browser's \
         own latency besides: {browsers}",
        share(0.5),
        share(0.95),
        share(1.0),
        latencies.len()
    );
    assert!(browsers["base_s"].as_f64().is_some(), "{browsers}");
    assert!(share(0.95) <= BOUND_MS, "{latencies:?}");
}

#[test]
fn tone_comes_in_the_repetitions_that_the_coach_set() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let played = Played::open();
    browser.goto(&format!("http://{}/#target", played.at));
    browser.until("the choice", "return document.querySelector('[data-key=way-tone-every]') !== null", SOON);
    let heard = |by: &str| {
        browser.run_async(&format!(
            "const done = arguments[arguments.length - 1];
             import('/js/tone.js').then((m) => done(Array.from({{ length: 24 }}, (_, i) => i + 1).filter((n) => m.sounds(n, '{by}'))))"
        ))
    };
    assert_eq!(heard("off"), json!([]));
    assert_eq!(heard("every"), json!((1..=24).collect::<Vec<u32>>()));
    assert_eq!(heard("second"), json!((1..=24).step_by(2).collect::<Vec<u32>>()));
    // All of four, two of three until the tenth, every second one until the twentieth, then none.
    assert_eq!(heard("fading"), json!([1, 2, 3, 4, 5, 6, 8, 9, 11, 13, 15, 17, 19]));
    // Kept where the page is loaded anew, and said that sound is off then; one tap brings it back.
    browser.tap("[data-key=way-tone-fading]");
    browser.tap("[data-key=mute]");
    browser.sees("sound: on", SOON);
    browser.goto("about:blank");
    browser.goto(&format!("http://{}/#target", played.at));
    browser.sees("Sound is off since the page was loaded anew", SOON);
    let pressed = "return document.querySelector('[data-key=way-tone-fading]')?.getAttribute('aria-pressed')";
    browser.until("the choice kept", &format!("{pressed} === 'true'"), SOON);
    browser.tap("[data-key=mute-again]");
    browser.sees("sound: on", SOON);
    browser.until("no alarm", "return !document.body.innerText.includes('Sound is off since')", SOON);
}
