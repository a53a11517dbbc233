//! The lock of the state in a long lesson: every swing is of the baseline, so each new one changes
//! what all earlier ones are compared with.

use peakorder_daemon::engine::{Engine, Recording};
use peakorder_daemon::serve::hub::lesson_state::LessonState;
use peakorder_daemon::serve::hub::{Hub, LessonClock, RunningLesson};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_protocol::swing::Swing;
use peakorder_virtual_straps::{Script, virtual_session};
use std::time::{Duration, Instant};
use tokio::sync::broadcast;

/// Swings of the lesson.
const SWINGS: u32 = 240;
const BASELINE: &str = "baseline";

/// Swings of an invented lesson, repeated with new numbers.
fn swings(folder: &std::path::Path) -> Vec<Swing> {
    let script = Script::lesson(1);
    let session = virtual_session(&script, "short", Player::default(), "2026-01-01T00:00:00Z");
    let dir = SessionDir::create(&folder.join("short"), false).expect("a new folder");
    let mut engine = Engine::new(dir, session, Recording::Unpaced).expect("a valid session");
    let records: Vec<_> = script.session().records().collect();
    engine.push(&records);
    let (dir, _) = engine.finish().expect("it ends");
    let numbers = dir.swing_numbers().expect("the folder has swings");
    let played: Vec<Swing> = numbers.iter().map(|n| dir.read_swing(*n).expect("a swing")).collect();
    (1..=SWINGS)
        .zip(played.iter().cycle())
        .map(|(number, swing)| Swing { number, block: BASELINE.into(), ..swing.clone() })
        .collect()
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

pub(crate) fn measure() {
    let folder = tempfile::tempdir().expect("a folder for the sessions");
    let swings = swings(folder.path());
    let script = Script::lesson(2);
    let session = virtual_session(&script, "long", Player::default(), "2026-01-01T00:00:00Z");
    let dir = SessionDir::create(&folder.path().join("long"), false).expect("a new folder");
    let engine = Engine::new(dir, session.clone(), Recording::Unpaced).expect("a valid session");
    let hub = Hub::new("bench".into(), true);
    let state = || LessonState::new("long", session.clone(), None, BASELINE);
    hub.begin(RunningLesson::new(state(), LessonClock::LatestRecord));

    let (to, mut events) = broadcast::channel(16);
    let (mut update, mut assess) = (Duration::ZERO, Duration::ZERO);
    for swing in &swings {
        let _ = to.send(LiveEvent::Swing { swing: Box::new(swing.clone()) });
        let start = Instant::now();
        hub.update(&[], engine.computation(), &mut events);
        update = update.max(start.elapsed());
        let start = Instant::now();
        hub.assess();
        assess = assess.max(start.elapsed());
        drop(hub.snapshot("coach"));
    }
    println!(
        "lesson of {SWINGS} swings: longest hold of the state's lock {:.2} ms; the recording's longest update \
         {:.2} ms; comparing all swings with a new baseline, outside the lock, {:.1} ms",
        ms(hub.longest_hold()),
        ms(update),
        ms(assess)
    );
}
