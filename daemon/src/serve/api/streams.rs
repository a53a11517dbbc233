//! Streams of events.

use crate::serve::access::pairing::Device;
use crate::serve::app_state::AppState;
use crate::serve::hub::event_feed::NumberedEvent;
use axum::Extension;
use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures::stream::{self, Stream, StreamExt as _};
use serde_json::json;
use std::convert::Infallible;
use std::sync::Arc;
use tokio::sync::broadcast::error::RecvError;

/// An event of a stream.
pub(super) type Item = Result<Event, Infallible>;

pub(super) fn event(name: &str, data: &serde_json::Value) -> Event {
    Event::default().event(name).data(data.to_string())
}

fn framed(frame: &NumberedEvent, hide_names: bool) -> Event {
    let data = frame.without_names.as_ref().filter(|_| hide_names).unwrap_or(&frame.data);
    Event::default().event(frame.event).id(frame.seq.to_string()).data(&**data)
}

/// Events of the lesson: `hello {boot, seq}` first, then `session_started`, `strap`,
/// `calibration`, `block`, `wearing` (the straps were put on again), `swing`, `mobility`, `session_ended`, `straps` (each second),
/// `doing`, `remarks`, `usual`, `swing_extra` (with `against` for the newest swing only), `heartbeat` (each two seconds), `problem`,
/// `viewers`. `lagged` means that events were
/// missed: read the state again.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/events", responses((status = 200, content_type = "text/event-stream", body = super::description::StreamEvent))))]
pub(super) async fn events(
    State(app): State<Arc<AppState>>,
    Extension(device): Extension<Device>,
) -> Sse<impl Stream<Item = Item>> {
    let (seq, feed) = app.hub.watch();
    let hello = event("hello", &json!({ "boot": app.hub.boot(), "seq": seq }));
    let viewers = Arc::clone(&app.viewers);
    let news = stream::unfold((feed, viewers), move |(mut feed, viewers)| async move {
        let item = match feed.recv().await {
            Ok(frame) => framed(&frame, viewers.hide_names_from(device)),
            Err(RecvError::Lagged(missed)) => event("lagged", &json!({ "missed": missed })),
            Err(RecvError::Closed) => return None,
        };
        Some((Ok(item), (feed, viewers)))
    });
    let all = stream::once(async { Ok(hello) }).chain(news);
    Sse::new(app.until_closing(all)).keep_alive(KeepAlive::default())
}

/// Whether the player is at the drill target now, for a tone inside the movement: `reach {t_s, reached, address}`, as it
/// changes and every half second, while a target of turn, tilt or separation is in force; `null` when it ends. Turns
/// count from the last still pose.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/reach",
    responses((status = 200, content_type = "text/event-stream", body = super::description::StreamEvent))))]
pub(super) async fn reach(State(app): State<Arc<AppState>>) -> Sse<impl Stream<Item = Item>> {
    let reaches = stream::unfold(app.hub.reaches(), |mut reaches| async move {
        reaches.changed().await.ok()?;
        let newest = *reaches.borrow_and_update();
        Some((Ok(event("reach", &json!(newest))), reaches))
    });
    Sse::new(app.until_closing(reaches)).keep_alive(KeepAlive::default())
}

/// The pose of the body, about 25 times a second while a lesson runs: `pose {t_s, segments}`.
/// Turns are relative to the last address, or to the calibration before the first swing.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/pose",
    responses((status = 200, content_type = "text/event-stream", body = super::description::StreamEvent))))]
pub(super) async fn pose(State(app): State<Arc<AppState>>) -> Sse<impl Stream<Item = Item>> {
    let poses = stream::unfold(app.hub.poses(), |mut poses| async move {
        loop {
            poses.changed().await.ok()?;
            let newest = poses.borrow_and_update().clone();
            if let Some(pose) = newest {
                return Some((Ok(Event::default().event("pose").data(&*pose)), poses));
            }
        }
    });
    Sse::new(app.until_closing(poses)).keep_alive(KeepAlive::default())
}
