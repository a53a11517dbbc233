//! Plays a recorded session again.

use super::extract::{Path, Query, on_disk};
use super::streams::{Item, event};
use crate::output::{Told, event_of};
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::hub::lesson_state::LessonState;
use crate::serve::hub::pose::{self, POSE_EVERY};
use crate::serve::hub::{ToldExtra, event_name};
use crate::serve::past_lesson;
use crate::source::replay::Replay;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::sse::{KeepAlive, Sse};
use futures::stream::{self, Stream};
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::Record;
use serde::Deserialize;
use serde_json::json;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{OwnedSemaphorePermit, mpsc};

/// Slowest and fastest, times real time.
const SPEEDS: std::ops::RangeInclusive<f64> = 0.05..=64.0;
/// Events that may wait for the client. Beyond that the playback waits; nothing else does.
const AHEAD: usize = 32;
/// The playback checks this often whether the client is still there.
const CHECK_EVERY: Duration = Duration::from_millis(200);
/// Heartbeats, in wall time.
const HEARTBEAT_EVERY: Duration = Duration::from_secs(2);

/// How to play.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::IntoParams))]
#[cfg_attr(feature = "openapi", into_params(parameter_in = Query))]
pub(super) struct PlayOptions {
    /// Times real time, 0.05 to 64; by default 1.
    #[serde(default = "real_time")]
    #[cfg_attr(feature = "openapi", param(minimum = 0.05, maximum = 64, required = false))]
    speed: f64,
    /// Session time to start at, seconds; events before it are not sent.
    #[serde(default)]
    #[cfg_attr(feature = "openapi", param(minimum = 0, required = false))]
    from_s: f64,
}

fn real_time() -> f64 {
    1.0
}

/// Sends a recorded session through the pipeline again: the events of `/events` and
/// `/pose`, with `played: true` in `hello`; `session_ended` comes last.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/sessions/{id}/play",
    params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255), PlayOptions),
    responses((status = 200, content_type = "text/event-stream", body = super::description::StreamEvent),
        (status = 422, description = "the speed or the time is none that can be played"),
        (status = 409, description = "it is being recorded"),
        (status = 503, description = "too many are played at once"))))]
pub(super) async fn play(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Query(options): Query<PlayOptions>,
) -> Result<Sse<impl Stream<Item = Item>>, ApiError> {
    if !(SPEEDS.contains(&options.speed) && options.from_s.is_finite() && options.from_s >= 0.0) {
        return Err(ApiError::bad(format!(
            "speed must be from {} to {}, from_s 0 or more",
            SPEEDS.start(),
            SPEEDS.end()
        )));
    }
    if app.hub.running().is_some_and(|running| running == id) {
        return Err(ApiError::conflict("this lesson is being recorded; end it first"));
    }
    let permit = Arc::clone(&app.playbacks).try_acquire_owned().map_err(|_| {
        ApiError::new(StatusCode::SERVICE_UNAVAILABLE, "too many sessions are played at once; close one")
    })?;
    let library = Arc::clone(&app.library);
    let playback = on_disk(move || -> Result<_, ApiError> {
        let (dir, session) = library.open_session(&id)?;
        let replay = Replay::open(&dir.log_path()).map_err(|e| ApiError::internal(e.to_string()))?;
        let pipeline = Pipeline::new(&session).map_err(|e| ApiError::internal(e.to_string()))?;
        let mut lesson = LessonState::new(&id, session, None, past_lesson::BASELINE);
        lesson.set_remarks(dir.remarks().read()?.fold());
        Ok(Playback { replay, pipeline, lesson, options, _permit: permit })
    })
    .await?;
    let (to, from) = mpsc::channel(AHEAD);
    let boot = app.hub.boot().to_owned();
    tokio::task::spawn_blocking(move || playback.run(&boot, EventWriter { to, seq: 0 }));
    let items = stream::unfold(from, |mut from| async move { Some((from.recv().await?, from)) });
    Ok(Sse::new(app.until_closing(items)).keep_alive(KeepAlive::default()))
}

/// Writes events to the client.
struct EventWriter {
    to: mpsc::Sender<Item>,
    seq: u64,
}

/// The client has closed the stream.
struct Disconnected;

impl EventWriter {
    fn send(&mut self, name: &str, data: &impl serde::Serialize) -> Result<(), Disconnected> {
        self.seq += 1;
        let data = serde_json::to_value(data).unwrap_or_default();
        let item = event(name, &data).id(self.seq.to_string());
        self.to.blocking_send(Ok(item)).map_err(|_| Disconnected)
    }

    /// Waits until `due`, unless the client goes.
    fn wait(&self, due: Instant) -> Result<(), Disconnected> {
        loop {
            let left = due.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Ok(());
            }
            if self.to.is_closed() {
                return Err(Disconnected);
            }
            std::thread::sleep(left.min(CHECK_EVERY));
        }
    }
}

/// A session that is played on a thread of its own.
struct Playback {
    replay: Replay,
    pipeline: Pipeline,
    lesson: LessonState,
    options: PlayOptions,
    _permit: OwnedSemaphorePermit,
}

impl Playback {
    fn run(mut self, boot: &str, mut to: EventWriter) {
        let hello = json!({ "boot": boot, "seq": 0, "played": true, "session": self.lesson.id() });
        if to.send("hello", &hello).is_ok() && self.play(&mut to).is_err() {
            tracing::debug!(session = self.lesson.id(), "The client has closed the played session.");
        }
    }

    fn play(&mut self, to: &mut EventWriter) -> Result<(), Disconnected> {
        to.send("session_started", &LiveEvent::SessionStarted { session: self.lesson.id().to_owned() })?;
        let from_s = self.options.from_s;
        let start = Instant::now();
        let (mut next_pose, mut next_heartbeat) = (start, start);
        let mut outputs = Vec::new();
        let mut t_s = 0.0;
        while let Some(record) = self.replay.next() {
            t_s = record.t_ns() as f64 * 1e-9;
            let sent = t_s >= from_s;
            if sent {
                to.wait(start + Duration::from_secs_f64((t_s - from_s) / self.options.speed))?;
            }
            if let Record::Mark(mark) = &record
                && self.lesson.mark(mark)
                && sent
            {
                to.send("doing", &self.lesson.doing())?;
            }
            self.pipeline.push(&record, &mut outputs);
            self.send_outputs(&mut outputs, sent, to)?;
            let now = Instant::now();
            if sent && now >= next_pose {
                next_pose = now + POSE_EVERY;
                if let Some(pose) = pose::of(&self.pipeline, self.lesson.session().player.handedness, t_s) {
                    to.send("pose", &pose)?;
                }
            }
            if sent && now >= next_heartbeat {
                next_heartbeat = now + HEARTBEAT_EVERY;
                to.send("heartbeat", &json!({ "t_s": t_s, "seq": to.seq }))?;
            }
        }
        self.pipeline.finish(&mut outputs);
        self.send_outputs(&mut outputs, true, to)?;
        let ended = LiveEvent::SessionEnded { t_s, swings: self.pipeline.swings() };
        to.send(event_name(&ended), &ended)
    }

    fn send_outputs(
        &mut self,
        outputs: &mut Vec<Output>,
        sent: bool,
        to: &mut EventWriter,
    ) -> Result<(), Disconnected> {
        for event in outputs.drain(..).filter_map(|output| event_of(&output)) {
            self.lesson.event(&event);
            let usual = Arc::clone(self.lesson.usual());
            let extras = self.lesson.assess();
            if !sent {
                continue;
            }
            to.send(event_name(&event), &Told::from(&event))?;
            let newest = self.lesson.swings().last().map(|s| s.number);
            for extra in extras {
                let against = newest == Some(extra.number);
                to.send("swing_extra", &ToldExtra { extra: &extra, against })?;
            }
            if usual != *self.lesson.usual() {
                to.send("usual", &**self.lesson.usual())?;
            }
        }
        Ok(())
    }
}
