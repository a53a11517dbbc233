//! What everybody sees: the state, and the events that change it.
//!
//! State and events change under one lock, so that a snapshot with number N holds exactly
//! the events up to N.

pub mod book;
pub mod feed;
pub mod pose;
pub mod straps;
pub mod views;

use crate::engine::Engine;
use book::Book;
use feed::{Feed, Frame};
use peakorder_analysis::order::heading;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::Record;
use peakorder_protocol::remark::Remarks;
use pose::POSE_EVERY;
use serde::Serialize;
use serde_json::json;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use straps::StrapBoard;
use tokio::sync::{broadcast, watch};
use views::{LessonView, Snapshot};

/// Tells the time on a lesson's session clock.
#[derive(Debug, Clone)]
pub enum Clock {
    /// It goes by itself.
    Running(crate::ble::straps::SessionClock),
    /// It is the time of the newest record (virtual straps, at whatever speed).
    OfRecords,
}

/// The lesson that is running.
#[derive(Debug)]
pub struct Running {
    /// What is known of it.
    pub book: Book,
    straps: StrapBoard,
    clock: Clock,
    newest_ns: u64,
    next_pose: Instant,
}

impl Running {
    /// A lesson that begins.
    pub fn new(book: Book, clock: Clock) -> Self {
        Self { straps: StrapBoard::new(book.session()), book, clock, newest_ns: 0, next_pose: Instant::now() }
    }

    /// Now on the session clock, nanoseconds.
    pub fn now_ns(&self) -> u64 {
        match &self.clock {
            Clock::Running(clock) => clock.now_ns(),
            Clock::OfRecords => self.newest_ns,
        }
    }

    fn now_s(&self) -> f64 {
        self.now_ns() as f64 * 1e-9
    }

    /// As the page shows it.
    pub fn view(&self) -> LessonView {
        let now_s = self.now_s();
        self.book.view(now_s, self.straps.view(now_s))
    }
}

#[derive(Debug, Default)]
struct Inner {
    feed: Feed,
    lesson: Option<Running>,
}

/// The board on which the state is written.
#[derive(Debug)]
pub struct Board {
    boot: String,
    invented: bool,
    inner: Mutex<Inner>,
    pose: watch::Sender<Option<Arc<str>>>,
}

impl Board {
    /// An empty board. `boot` names this run of the program.
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
            lesson: inner.lesson.as_ref().map(Running::view),
        }
    }

    /// A new watcher, and the number of the newest event it will not see.
    pub fn watch(&self) -> (u64, broadcast::Receiver<Frame>) {
        let inner = self.lock();
        (inner.feed.seq(), inner.feed.watch())
    }

    /// The newest pose as JSON; who is slow misses some.
    pub fn poses(&self) -> watch::Receiver<Option<Arc<str>>> {
        self.pose.subscribe()
    }

    /// Looks at (or changes) the running lesson.
    pub fn with<T>(&self, look: impl FnOnce(&mut Running) -> T) -> Option<T> {
        self.lock().lesson.as_mut().map(look)
    }

    /// Id of the running lesson.
    pub fn running(&self) -> Option<String> {
        self.with(|l| l.book.id().to_owned())
    }

    /// A lesson begins.
    pub fn begin(&self, lesson: Running) {
        let mut inner = self.lock();
        let event = LiveEvent::SessionStarted { session: lesson.book.id().to_owned() };
        inner.lesson = Some(lesson);
        inner.feed.tell(name_of(&event), &event);
    }

    /// Shows what the engine took, and what came of it.
    pub fn seen(&self, records: &[Record], engine: &Engine, events: &mut broadcast::Receiver<LiveEvent>) {
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson) } = &mut *inner else { return };
        if let Some(last) = records.last() {
            lesson.newest_ns = lesson.newest_ns.max(last.t_ns());
        }
        for record in records {
            if let Record::Mark(mark) = record
                && lesson.book.mark(mark)
            {
                feed.tell("doing", &lesson.book.doing());
            }
        }
        let now_s = lesson.now_s();
        lesson.straps.seen(records, engine.pipeline(), now_s);
        while let Some(event) = next(events) {
            if matches!(event, LiveEvent::Calibration { .. }) {
                lesson.book.set_calibration(&engine.session().calibration);
            }
            tell(feed, &mut lesson.book, &event);
        }
        self.show_pose(lesson, engine, now_s);
    }

    fn show_pose(&self, lesson: &mut Running, engine: &Engine, now_s: f64) {
        let now = Instant::now();
        if now < lesson.next_pose || self.pose.receiver_count() == 0 {
            return;
        }
        lesson.next_pose = now + POSE_EVERY;
        let handedness = lesson.book.session().player.handedness;
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
        if lesson.book.id() != id {
            return;
        }
        let changed = lesson.book.set_remarks(remarks);
        feed.tell("remarks", lesson.book.remarks());
        for extra in changed {
            feed.tell("swing_extra", &extra);
        }
    }

    /// Something to be told that the recording does not have.
    pub fn tell(&self, event: &LiveEvent) {
        self.lock().feed.tell(name_of(event), event);
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
            tell(feed, &mut lesson.book, &event);
        }
        if let Some(text) = problem {
            feed.tell("problem", &json!({ "text": text }));
        }
        if !told {
            let swings = lesson.book.swings().last().map_or(0, |s| s.number);
            let event = LiveEvent::SessionEnded { t_s: lesson.now_s(), swings };
            feed.tell(name_of(&event), &event);
        }
    }

    /// Once a second: how the straps are.
    pub fn tell_straps(&self) {
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson) } = &mut *inner else { return };
        feed.tell("straps", &lesson.straps.view(lesson.now_s()));
    }

    /// Every two seconds: all is well, even when nothing happens.
    pub fn beat(&self) {
        let inner = self.lock();
        let t_s = inner.lesson.as_ref().map(Running::now_s);
        inner.feed.beat("heartbeat", &json!({ "t_s": t_s, "seq": inner.feed.seq() }));
    }
}

fn tell(feed: &mut Feed, book: &mut Book, event: &LiveEvent) {
    let said = book.event(event);
    feed.tell(name_of(event), &for_page(event));
    for extra in said {
        feed.tell("swing_extra", &extra);
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

/// An event with the words that the page shows of it.
#[derive(Serialize)]
pub struct ForPage<'a> {
    #[serde(flatten)]
    event: &'a LiveEvent,
    /// Of a swing: the order of its peaks.
    #[serde(skip_serializing_if = "Option::is_none")]
    order_words: Option<String>,
}

/// Puts into words what the page shows of an event.
pub fn for_page(event: &LiveEvent) -> ForPage<'_> {
    let order_words = match event {
        LiveEvent::Swing { swing } => Some(heading(&swing.sequence)),
        _ => None,
    };
    ForPage { event, order_words }
}

/// The event's tag.
pub fn name_of(event: &LiveEvent) -> &'static str {
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
