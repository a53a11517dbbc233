//! The state of the running lesson, and the events that change it.
//!
//! State and events change under one lock, so that a snapshot with number N includes exactly
//! the events up to N. The computation waits for this lock, so what is done under it is bounded:
//! [`Hub::assess`] does the long work outside.

mod assessment;
pub mod event_feed;
pub mod figures;
mod health;
pub mod lesson_state;
pub mod pose;
pub mod reach;
pub mod strap_status;
mod timed_lock;
pub mod views;

use assessment::Assessment;
pub use assessment::{SwingExtra, ToldExtra};
pub use health::Health;

use crate::engine::{Computation, Pulse, PulseWatch};
use crate::output::Told;
use crate::recorder::Backlog;
use crate::serve::viewers::{ViewersSee, remarks_without_words, without_folder};
use event_feed::{EventFeed, NumberedEvent, to_json};
use figures::Totals;
use lesson_state::LessonState;
use peakorder_analysis::words;
use peakorder_motion::pipeline::Pipeline;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{Disconnection, Record, StrapEventKind};
use peakorder_protocol::remark::Remarks;
use pose::POSE_EVERY;
use reach::{Reach, ReachTracker};
use serde_json::json;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use strap_status::StrapMonitor;
use timed_lock::{Held, TimedLock};
use tokio::sync::{Notify, broadcast, watch};
use views::{LessonView, Snapshot};

/// Even without a change it is told so often, so that a listener knows a broken connection from silence.
const REACH_EVERY: Duration = Duration::from_millis(500);

/// Tells the time on a lesson's session clock.
#[derive(Debug, Clone)]
pub enum LessonClock {
    /// The computer's clock.
    Wall(crate::ble::straps::SessionClock),
    /// The time of the newest record (virtual straps, at any speed).
    LatestRecord,
}

/// The running lesson.
#[derive(Debug)]
pub struct RunningLesson {
    /// What is known of it.
    pub state: LessonState,
    straps: StrapMonitor,
    clock: LessonClock,
    newest_ns: u64,
    next_pose: Instant,
    reach: ReachTracker,
    told_reach: Option<(Reach, Instant)>,
    backlog: Option<Arc<Backlog>>,
    watched: Option<PulseWatch>,
    troubles: u64,
    /// What it had when this program took it up.
    before: Totals,
}

impl RunningLesson {
    /// A lesson that starts now.
    pub fn new(state: LessonState, clock: LessonClock) -> Self {
        let straps = StrapMonitor::new(state.session());
        Self {
            straps,
            state,
            clock,
            newest_ns: 0,
            next_pose: Instant::now(),
            reach: ReachTracker::default(),
            told_reach: None,
            backlog: None,
            watched: None,
            troubles: 0,
            before: Totals::default(),
        }
    }

    /// That goes on at this time of its clock, with what `pipeline` has been given before.
    #[must_use]
    pub fn going_on(mut self, newest_ns: u64, pipeline: &Pipeline) -> Self {
        self.newest_ns = newest_ns;
        self.straps.count(pipeline);
        // The lesson itself counts: it is continued.
        self.before = Totals { lessons: 0, ..self.totals() };
        self
    }

    /// With what waits for the disk.
    #[must_use]
    pub fn with_backlog(self, backlog: Option<Arc<Backlog>>) -> Self {
        Self { backlog, ..self }
    }

    /// Whose engine beats here.
    #[must_use]
    pub fn with_pulse(self, pulse: Arc<Pulse>) -> Self {
        Self { watched: Some(PulseWatch::new(pulse, Instant::now())), ..self }
    }

    /// The swings so far.
    fn swings(&self) -> u32 {
        self.state.swings().len() as u32
    }

    /// Share of the memory for what waits for the disk that is taken.
    fn backlog(&self) -> f64 {
        self.backlog.as_ref().map_or(0.0, |b| b.fill())
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

    /// The lesson as the page shows it.
    pub fn view(&self) -> LessonView {
        let now_s = self.now_s();
        let lesson = self.state.view(now_s, self.straps.view(now_s));
        LessonView { disk_backlog: self.backlog(), ..lesson }
    }
}

#[derive(Debug, Default)]
struct Inner {
    feed: EventFeed,
    lesson: Option<RunningLesson>,
    /// What came of the lessons that have ended.
    ended: Totals,
}

/// Holds the state and sends its changes to all watchers.
#[derive(Debug)]
pub struct Hub {
    boot: String,
    invented: bool,
    inner: TimedLock<Inner>,
    /// One assessment at a time.
    assessing: Mutex<()>,
    unassessed: Notify,
    pose: watch::Sender<Option<Arc<str>>>,
    reach: watch::Sender<Option<Reach>>,
}

impl Hub {
    /// A hub without a lesson. `boot` names this run of the program.
    pub fn new(boot: String, invented: bool) -> Self {
        Self {
            boot,
            invented,
            inner: TimedLock::default(),
            assessing: Mutex::default(),
            unassessed: Notify::new(),
            pose: watch::Sender::new(None),
            reach: watch::Sender::new(None),
        }
    }

    /// Name of this run of the program.
    pub fn boot(&self) -> &str {
        &self.boot
    }

    fn lock(&self) -> Held<'_, Inner> {
        self.inner.lock()
    }

    /// The longest time for which the computation could have waited for the state so far.
    pub fn longest_hold(&self) -> Duration {
        self.inner.longest_hold()
    }

    /// The state at this moment.
    pub fn snapshot(&self, device: &str) -> Snapshot {
        let inner = self.lock();
        Snapshot {
            version: env!("CARGO_PKG_VERSION").into(),
            boot: self.boot.clone(),
            seq: inner.feed.seq(),
            device: device.into(),
            invented: self.invented,
            viewers: None,
            interrupted: None,
            lesson: inner.lesson.as_ref().map(|l| l.view().newest()),
        }
    }

    /// A new watcher, and the number of the newest event that it does not get.
    pub fn watch(&self) -> (u64, broadcast::Receiver<NumberedEvent>) {
        let inner = self.lock();
        (inner.feed.seq(), inner.feed.watch())
    }

    /// The newest pose as JSON. A slow watcher misses some.
    pub fn poses(&self) -> watch::Receiver<Option<Arc<str>>> {
        self.pose.subscribe()
    }

    /// Whether the player is at the target, as it changes and every half second; `None` where there is no target of position.
    pub fn reaches(&self) -> watch::Receiver<Option<Reach>> {
        self.reach.subscribe()
    }

    /// Reads or changes the running lesson. `look` runs under the lock and must be short.
    pub fn with_lesson<T>(&self, look: impl FnOnce(&mut RunningLesson) -> T) -> Option<T> {
        self.lock().lesson.as_mut().map(look)
    }

    /// The running lesson's answer to `look` if its session is `id`.
    pub fn with_session<T>(&self, id: &str, look: impl FnOnce(&mut RunningLesson) -> T) -> Option<T> {
        self.lock().lesson.as_mut().filter(|l| l.state.id() == id).map(look)
    }

    /// Id of the running lesson's session.
    pub fn running(&self) -> Option<String> {
        self.with_lesson(|l| l.state.id().to_owned())
    }

    /// Starts a lesson.
    pub fn begin(&self, lesson: RunningLesson) {
        let mut inner = self.lock();
        let event = LiveEvent::SessionStarted { session: lesson.state.id().to_owned() };
        let straps = lesson.straps.connected()[1];
        tracing::info!(
            lesson = lesson.state.id(),
            straps,
            invented = lesson.state.session().invented,
            "A lesson began."
        );
        inner.lesson = Some(lesson);
        inner.feed.publish(event_name(&event), &event);
        // One that goes on has swings already.
        self.unassessed.notify_one();
    }

    /// Tells the watchers that there is no interrupted lesson any more.
    pub fn publish_interrupted_over(&self) {
        self.lock().feed.publish("interrupted", &json!({ "session": null }));
    }

    /// Applies the records that the engine took and the events that came of them.
    pub fn update(
        &self,
        records: &[Record],
        computation: &Computation,
        events: &mut broadcast::Receiver<LiveEvent>,
    ) {
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson), .. } = &mut *inner else { return };
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
        lesson.straps.update(records, computation.pipeline(), now_s);
        while let Some(event) = next(events) {
            if matches!(event, LiveEvent::Calibration { .. }) {
                lesson.state.set_calibration(&computation.session().calibration);
            }
            self.apply(feed, lesson, &event);
        }
        self.show_pose(lesson, computation, now_s);
        self.show_reach(lesson, computation);
    }

    fn show_reach(&self, lesson: &mut RunningLesson, computation: &Computation) {
        if self.reach.receiver_count() == 0 {
            return;
        }
        let newest_s = lesson.newest_ns as f64 * 1e-9;
        let attitudes = computation.pipeline().attitudes();
        let now = lesson.reach.update(&lesson.state, &attitudes, newest_s);
        let Some(reach) = now else {
            if lesson.told_reach.take().is_some() {
                self.reach.send_replace(None);
            }
            return;
        };
        let old = lesson.told_reach.is_none_or(|(told, at)| {
            (told.reached, told.address) != (reach.reached, reach.address) || at.elapsed() >= REACH_EVERY
        });
        if old {
            lesson.told_reach = Some((reach, Instant::now()));
            self.reach.send_replace(Some(reach));
        }
    }

    fn apply(&self, feed: &mut EventFeed, lesson: &mut RunningLesson, event: &LiveEvent) {
        lesson.state.event(event);
        lesson.troubles += u64::from(matches!(event, LiveEvent::Trouble { .. }));
        log(event);
        match without_folder(event) {
            None => feed.publish(event_name(event), &Told::from(event)),
            Some(without) => {
                let name = event_name(event);
                let both = to_json(name, &Told::from(event)).zip(to_json(name, &Told::from(&without)));
                if let Some((data, without)) = both {
                    feed.publish_two(name, data, without);
                }
            }
        }
        if matches!(event, LiveEvent::Swing { .. } | LiveEvent::Repetition { .. }) {
            self.unassessed.notify_one();
        }
    }

    fn show_pose(&self, lesson: &mut RunningLesson, computation: &Computation, now_s: f64) {
        let now = Instant::now();
        if now < lesson.next_pose || self.pose.receiver_count() == 0 {
            return;
        }
        lesson.next_pose = now + POSE_EVERY;
        let handedness = lesson.state.session().player.handedness;
        if let Some(pose) = pose::of(computation.pipeline(), handedness, now_s)
            && let Ok(text) = serde_json::to_string(&pose)
        {
            self.pose.send_replace(Some(text.into()));
        }
    }

    /// Replaces the remarks of the running lesson if its session is `id`.
    pub fn set_remarks(&self, id: &str, remarks: Remarks) {
        let Some(data) = to_json("remarks", &remarks) else { return };
        let Some(without) = to_json("remarks", &remarks_without_words(&remarks)) else { return };
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson), .. } = &mut *inner else { return };
        if lesson.state.id() != id {
            return;
        }
        lesson.state.set_remarks(remarks);
        feed.publish_two("remarks", data, without);
        self.unassessed.notify_one();
    }

    /// Done when a swing waits to be assessed.
    pub async fn unassessed(&self) {
        self.unassessed.notified().await;
    }

    /// Assesses the swings that wait for it, newest first. The computation holds no lock; each
    /// result is published by itself.
    pub fn assess(&self) {
        let _one = self.assessing.lock().unwrap_or_else(PoisonError::into_inner);
        while let Some((session, assessment)) =
            self.with_lesson(|l| Some((l.state.id().to_owned(), l.state.take_assessment()?))).flatten()
        {
            self.tell_usual(&session, &assessment);
            assessment.run(|extra| {
                let extra = Arc::new(extra);
                let Some(newest) = self.with_session(&session, |l| l.state.swings().last().map(|s| s.number))
                else {
                    return false;
                };
                // Only one swing is looked at by all. What the others have against the baseline is asked for.
                let told = ToldExtra { against: newest == Some(extra.number), extra: &extra };
                let Some(data) = to_json("swing_extra", &told) else { return true };
                let mut inner = self.lock();
                let Inner { feed, lesson: Some(lesson), .. } = &mut *inner else { return false };
                let current = lesson.state.id() == session && lesson.state.accept(&assessment, extra);
                if current {
                    feed.publish_json("swing_extra", data);
                }
                current
            });
        }
    }

    /// Finds what is usual by a new baseline, and publishes it.
    fn tell_usual(&self, session: &str, assessment: &Assessment) {
        if self.with_session(session, |l| l.state.wants_usual(assessment)) != Some(true) {
            return;
        }
        let usual = assessment.usual();
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson), .. } = &mut *inner else { return };
        if lesson.state.id() == session && lesson.state.accept_usual(assessment, usual) {
            feed.publish("usual", &**lesson.state.usual());
        }
    }

    /// Ends the lesson; the last events of its engine are published first. `problem` says why
    /// the recording stopped early.
    pub fn end(&self, events: &mut broadcast::Receiver<LiveEvent>, problem: Option<&str>) {
        let mut ended = None;
        {
            let mut inner = self.lock();
            let Inner { feed, lesson: Some(lesson), .. } = &mut *inner else { return };
            while let Some(event) = next(events) {
                if matches!(event, LiveEvent::SessionEnded { .. }) {
                    ended = Some(event);
                } else {
                    self.apply(feed, lesson, &event);
                }
            }
        }
        // The last swing is answered before the lesson ends.
        self.assess();
        self.pose.send_replace(None);
        self.reach.send_replace(None);
        let mut inner = self.lock();
        let Inner { feed, lesson: slot, ended: totals } = &mut *inner;
        let Some(lesson) = slot.take() else { return };
        *totals = totals.plus(lesson.totals());
        if let Some(text) = problem {
            // The reason may name folders.
            let without = json!({ "text": "the recording stopped; the coach's device says why" });
            if let Some((data, without)) =
                to_json("problem", &json!({ "text": text })).zip(to_json("problem", &without))
            {
                feed.publish_two("problem", data, without);
            }
        }
        let ended = ended.unwrap_or_else(|| LiveEvent::SessionEnded {
            t_s: lesson.now_s(),
            swings: lesson.state.swings().last().map_or(0, |s| s.number),
        });
        feed.publish(event_name(&ended), &ended);
        drop(inner);
        let (lesson_id, swings, repetitions) =
            (lesson.state.id(), lesson.swings(), lesson.state.repetitions().len());
        tracing::info!(lesson = lesson_id, swings, repetitions, "The lesson ended.");
        tracing::debug!(longest_hold = ?self.longest_hold(), "The state's lock so far.");
    }

    /// Tells the watchers that what viewers may see has changed.
    pub fn publish_viewers(&self, see: ViewersSee) {
        self.lock().feed.publish("viewers", &see);
    }

    /// Publishes the status of the straps; once a second.
    pub fn publish_straps(&self) {
        let mut inner = self.lock();
        let Inner { feed, lesson: Some(lesson), .. } = &mut *inner else { return };
        feed.publish("straps", &lesson.straps.view(lesson.now_s()));
    }

    /// Publishes a heartbeat, by which watchers know that the connection is alive; every two seconds.
    pub fn publish_heartbeat(&self) {
        let inner = self.lock();
        let t_s = inner.lesson.as_ref().map(RunningLesson::now_s);
        let disk_backlog = inner.lesson.as_ref().map(RunningLesson::backlog);
        let seq = inner.feed.seq();
        inner.feed.publish_unnumbered(
            "heartbeat",
            &json!({ "t_s": t_s, "seq": seq, "disk_backlog": disk_backlog }),
        );
    }
}

/// What an operator should find in the log.
fn log(event: &LiveEvent) {
    match event {
        LiveEvent::Trouble { what, .. } => tracing::warn!("{}", words::trouble::sentence(what)),
        LiveEvent::Strap { role, what, .. } => {
            let role = role.key();
            match what {
                StrapEventKind::Connected { .. } => tracing::info!(%role, "Strap connected."),
                // Asked for, or told of a lesson that is continued.
                StrapEventKind::Disconnected {
                    reason: Disconnection::SessionEnded | Disconnection::NotKnown,
                } => {
                    tracing::info!(%role, "Strap disconnected.");
                }
                StrapEventKind::Disconnected { .. }
                | StrapEventKind::Refused { .. }
                | StrapEventKind::NotHeard => {
                    tracing::warn!(%role, "Strap: {}", words::strap::event(what));
                }
                _ => {}
            }
        }
        _ => {}
    }
}

/// The next event that is there already.
fn next(events: &mut broadcast::Receiver<LiveEvent>) -> Option<LiveEvent> {
    loop {
        match events.try_recv() {
            Ok(event) => return Some(event),
            // A batch of records makes a handful of events, and they are taken after every batch.
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
        LiveEvent::Wearing { .. } => "wearing",
        LiveEvent::Swing { .. } => "swing",
        LiveEvent::Repetition { .. } => "repetition",
        LiveEvent::Mobility { .. } => "mobility",
        LiveEvent::Trouble { .. } => "trouble",
        LiveEvent::SessionEnded { .. } => "session_ended",
        // A new kind of event is published under this name until it is added here.
        _ => "event",
    }
}
