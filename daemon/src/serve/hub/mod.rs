//! What everybody sees: the state, and the events that change it.
//!
//! State and events change under one lock, so that a snapshot with number N holds exactly
//! the events up to N.

pub mod event_feed;
pub mod lesson_state;
pub mod pose;
pub mod strap_status;
pub mod views;

use crate::engine::Engine;
use crate::output::Told;
use event_feed::{EventFeed, NumberedEvent};
use lesson_state::LessonState;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::Record;
use peakorder_protocol::remark::Remarks;
use pose::POSE_EVERY;
use serde_json::json;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use strap_status::StrapMonitor;
use tokio::sync::{broadcast, watch};
use views::{LessonView, Snapshot};

/// Tells the time on a lesson's session clock.
#[derive(Debug, Clone)]
pub enum LessonClock {
    /// It goes by itself.
    Wall(crate::ble::straps::SessionClock),
    /// It is the time of the newest record (virtual straps, at whatever speed).
    LatestRecord,
}

/// The lesson that is running.
#[derive(Debug)]
pub struct RunningLesson {
    /// What is known of it.
    pub state: LessonState,
    straps: StrapMonitor,
    clock: LessonClock,
    newest_ns: u64,
    next_pose: Instant,
}

impl RunningLesson {
    /// A lesson that begins.
    pub fn new(state: LessonState, clock: LessonClock) -> Self {
        Self {
            straps: StrapMonitor::new(state.session()),
            state,
            clock,
            newest_ns: 0,
            next_pose: Instant::now(),
        }
    }

    /// Now on the session clock, nanoseconds.
    pub fn now_ns(&self) -> u64 {
        match &self.clock {
            LessonClock::Wall(clock) => clock.now_ns(),
            LessonClock::LatestRecord => self.newest_ns,
        }
    }

    fn now_s(&self) -> f64 {
        self.now_ns() as f64 * 1e-9
    }

    /// As the page shows it.
    pub fn view(&self) -> LessonView {
        let now_s = self.now_s();
        self.state.view(now_s, self.straps.view(now_s))
    }
}

#[derive(Debug, Default)]
struct Inner {
    feed: EventFeed,
    lesson: Option<RunningLesson>,
}

/// The hub on which the state is written.
#[derive(Debug)]
pub struct Hub {
    boot: String,
    invented: bool,
    inner: Mutex<Inner>,
    pose: watch::Sender<Option<Arc<str>>>,
}

impl Hub {
    /// An empty hub. `boot` names this run of the program.
    pub fn new(boot: String, invented: bool) -> Self {
        Self { boot, invented, inner: Mutex::default(), pose: watch::Sender::new(None) }
    }

    /// Name of this run of the program.
    pub fn boot(&self) -> &str {
        &self.boot
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Everything at this moment.
    pub fn snapshot(&self, device: &str) -> Snapshot {
        let inner = self.lock();
        Snapshot {
            version: env!("CARGO_PKG_VERSION").into(),
            boot: self.boot.clone(),
            seq: inner.feed.seq(),
            device: device.into(),
            invented: self.invented,
            lesson: inner.lesson.as_ref().map(RunningLesson::view),
        }
    }

    /// A new watcher, and the number of the newest event it will not see.
    pub fn watch(&self) -> (u64, broadcast::Receiver<NumberedEvent>) {
        let inner = self.lock();
        (inner.feed.seq(), inner.feed.watch())
    }

    /// The newest pose as JSON; who is slow misses some.
    pub fn poses(&self) -> watch::Receiver<Option<Arc<str>>> {
        self.pose.subscribe()
    }

    /// Looks at (or changes) the running lesson.
    pub fn with_lesson<T>(&self, look: impl FnOnce(&mut RunningLesson) -> T) -> Option<T> {
        self.lock().lesson.as_mut().map(look)
    }

    /// Id of the running lesson.
    pub fn running(&self) -> Option<String> {
        self.with_lesson(|l| l.state.id().to_owned())
    }

    /// A lesson begins.
    pub fn begin(&self, lesson: RunningLesson) {
        let mut inner = self.lock();
        let event = LiveEvent::SessionStarted { session: lesson.state.id().to_owned() };
        inner.lesson = Some(lesson);
        inner.feed.publish(event_name(&event), &event);
    }

    /// Shows what the engine took, and what came of it.
    pub fn update(&self, records: &[Record], engine: &Engine, events: &mut broadcast::Receiver<LiveEvent>) {
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson) } = &mut *inner else { return };
        if let Some(last) = records.last() {
            lesson.newest_ns = lesson.newest_ns.max(last.t_ns());
        }
        for record in records {
            if let Record::Mark(mark) = record
                && lesson.state.mark(mark)
            {
                feed.publish("doing", &lesson.state.doing());
            }
        }
        let now_s = lesson.now_s();
        lesson.straps.update(records, engine.pipeline(), now_s);
        while let Some(event) = next(events) {
            if matches!(event, LiveEvent::Calibration { .. }) {
                lesson.state.set_calibration(&engine.session().calibration);
            }
            apply(feed, &mut lesson.state, &event);
        }
        self.show_pose(lesson, engine, now_s);
    }

    fn show_pose(&self, lesson: &mut RunningLesson, engine: &Engine, now_s: f64) {
        let now = Instant::now();
        if now < lesson.next_pose || self.pose.receiver_count() == 0 {
            return;
        }
        lesson.next_pose = now + POSE_EVERY;
        let handedness = lesson.state.session().player.handedness;
        if let Some(pose) = pose::of(engine.pipeline(), handedness, now_s)
            && let Ok(text) = serde_json::to_string(&pose)
        {
            self.pose.send_replace(Some(text.into()));
        }
    }

    /// What the coach says of the swings of lesson `id` has changed.
    pub fn remarked(&self, id: &str, remarks: Remarks) {
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson) } = &mut *inner else { return };
        if lesson.state.id() != id {
            return;
        }
        let changed = lesson.state.set_remarks(remarks);
        feed.publish("remarks", lesson.state.remarks());
        for extra in changed {
            feed.publish("swing_extra", &extra);
        }
    }

    /// Something to be told that the recording does not have.
    pub fn tell(&self, event: &LiveEvent) {
        self.lock().feed.publish(event_name(event), &Told::from(event));
    }

    /// The lesson has ended; what its engine still had to say is told first. `problem` says
    /// why it broke off.
    pub fn end(&self, events: &mut broadcast::Receiver<LiveEvent>, problem: Option<&str>) {
        let mut inner = self.lock();
        let Inner { feed, lesson: slot } = &mut *inner;
        let Some(mut lesson) = slot.take() else { return };
        self.pose.send_replace(None);
        let mut told = false;
        while let Some(event) = next(events) {
            told |= matches!(event, LiveEvent::SessionEnded { .. });
            apply(feed, &mut lesson.state, &event);
        }
        if let Some(text) = problem {
            feed.publish("problem", &json!({ "text": text }));
        }
        if !told {
            let swings = lesson.state.swings().last().map_or(0, |s| s.number);
            let event = LiveEvent::SessionEnded { t_s: lesson.now_s(), swings };
            feed.publish(event_name(&event), &event);
        }
    }

    /// Once a second: how the straps are.
    pub fn publish_straps(&self) {
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson) } = &mut *inner else { return };
        feed.publish("straps", &lesson.straps.view(lesson.now_s()));
    }

    /// Every two seconds: all is well, even when nothing happens.
    pub fn beat(&self) {
        let inner = self.lock();
        let t_s = inner.lesson.as_ref().map(RunningLesson::now_s);
        inner.feed.beat("heartbeat", &json!({ "t_s": t_s, "seq": inner.feed.seq() }));
    }
}

fn apply(feed: &mut EventFeed, state: &mut LessonState, event: &LiveEvent) {
    let said = state.event(event);
    feed.publish(event_name(event), &Told::from(event));
    for extra in said {
        feed.publish("swing_extra", &extra);
    }
}

/// The next event that is there already.
fn next(events: &mut broadcast::Receiver<LiveEvent>) -> Option<LiveEvent> {
    loop {
        match events.try_recv() {
            Ok(event) => return Some(event),
            // One batch of records makes a handful of events, and they are taken after every batch.
            Err(broadcast::error::TryRecvError::Lagged(missed)) => {
                tracing::error!(missed, "Events were lost on their way to the page.");
            }
            Err(_) => return None,
        }
    }
}

/// The event's tag.
pub fn event_name(event: &LiveEvent) -> &'static str {
    match event {
        LiveEvent::SessionStarted { .. } => "session_started",
        LiveEvent::Strap { .. } => "strap",
        LiveEvent::Calibration { .. } => "calibration",
        LiveEvent::Block { .. } => "block",
        LiveEvent::Swing { .. } => "swing",
        LiveEvent::Mobility { .. } => "mobility",
        LiveEvent::SessionEnded { .. } => "session_ended",
        // New events are told under this name until they get their own here.
        _ => "event",
    }
}
