//! What a viewer's device is told: the running lesson's numbers. Who the player is, what the player
//! works on, health words and the coach's notes are told when the coach says so.

use super::api_error::ApiError;
use super::app_state::AppState;
use super::hub::views::LessonView;
use super::library::SessionRow;
use crate::serve::access::pairing::Device;
use axum::extract::{Query, Request, State};
use axum::http::{StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use peakorder_analysis::codes::OUTCOMES;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::trouble::Trouble;
use serde::{Deserialize, Serialize};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What viewers may see besides numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct ViewersSee {
    /// The player's name, goal and limits, and the coach's notes.
    pub names: bool,
}

/// Keeps it for this run of the program; at its start viewers see numbers only.
#[derive(Debug, Default)]
pub(super) struct ViewerRules(AtomicBool);

impl ViewerRules {
    /// What viewers see now.
    pub(super) fn get(&self) -> ViewersSee {
        ViewersSee { names: self.0.load(Ordering::Relaxed) }
    }

    /// Changes it.
    pub(super) fn set(&self, see: ViewersSee) {
        self.0.store(see.names, Ordering::Relaxed);
    }

    /// Whether `device` is not told who the player is.
    pub(super) fn hide_names_from(&self, device: Device) -> bool {
        device == Device::Viewer && !self.get().names
    }
}

/// The lesson without names, health words and notes.
pub(super) fn without_names(mut lesson: LessonView) -> LessonView {
    lesson.player.id = None;
    lesson.player.name.clear();
    lesson.player.goal.clear();
    lesson.player.limits.clear();
    lesson.remarks = Arc::new(remarks_without_words(&lesson.remarks));
    lesson
}

/// The remarks without what the coach wrote.
pub(super) fn remarks_without_words(remarks: &Remarks) -> Remarks {
    let mut without = Remarks { notes: Vec::new(), practise: None, last: None, ..remarks.clone() };
    for swing in without.swings.values_mut() {
        swing.note.clear();
        swing.reason.clear();
        // The page's own words for the ball; others were typed.
        swing.labels.retain(|label| OUTCOMES.contains(&label.as_str()));
    }
    without
}

/// The event without the folder that it names; `None` where it names none.
pub(super) fn without_folder(event: &LiveEvent) -> Option<LiveEvent> {
    let LiveEvent::Trouble { t_s, what: Trouble::FileNotWritten { file, .. } } = event else { return None };
    let name = Path::new(file).file_name().unwrap_or_default().to_string_lossy().into_owned();
    let why = "the coach's device says why".into();
    Some(LiveEvent::Trouble { t_s: *t_s, what: Trouble::FileNotWritten { file: name, why } })
}

/// Of the library, the running lesson alone.
pub(super) fn running_only(rows: Vec<SessionRow>, hide_names: bool) -> Vec<SessionRow> {
    let mut rows: Vec<SessionRow> = rows.into_iter().filter(|r| r.running).collect();
    if hide_names {
        for row in &mut rows {
            row.player_id = None;
            row.player.clear();
            row.goal.clear();
            // These name folders.
            row.problems.clear();
        }
    }
    rows
}

/// Middleware of the API: refuses a viewer what is not the running lesson's.
pub(super) async fn check_viewer(State(app): State<Arc<AppState>>, request: Request, next: Next) -> Response {
    if request.extensions().get::<Device>() == Some(&Device::Viewer)
        && !may_read(request.uri(), app.hub.running().as_deref(), app.viewers.get())
    {
        let why = "a viewer sees the running lesson; players and earlier lessons are on the coach's device";
        return ApiError::new(StatusCode::FORBIDDEN, why).into_response();
    }
    next.run(request).await
}

/// Whether a viewer may read `uri` while the session `running` is recorded.
fn may_read(uri: &Uri, running: Option<&str>, see: ViewersSee) -> bool {
    // The page's files tell nothing.
    let Some(path) = uri.path().strip_prefix("/api/v1") else { return !uri.path().starts_with("/api") };
    let is_running = |id: &str| running == Some(id);
    match path.split('/').skip(1).collect::<Vec<_>>()[..] {
        ["state" | "events" | "pose" | "reach" | "measures" | "openapi.json" | "sessions" | "pair"] => true,
        ["sessions", id]
        | ["sessions", id, "swings"]
        | ["sessions", id, "swings", _, "curves" | "against"] => is_running(id),
        ["sessions", id, "report"] => is_running(id) && see.names,
        ["compare"] => Query::<Sides>::try_from_uri(uri).is_ok_and(|Query(sides)| {
            let also = sides.also.iter().flat_map(|a| a.split(',')).filter(|a| !a.is_empty());
            let mut named = [&*sides.a, &*sides.b].into_iter().chain(also);
            named.all(|side| is_running(side.split(':').next().unwrap_or_default()))
        }),
        _ => false,
    }
}

/// The sides of a comparison.
#[derive(Deserialize)]
struct Sides {
    a: String,
    b: String,
    #[serde(default)]
    also: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_folder_is_told() {
        let file = "/home/ann/library/sessions/s-1/swings/0003.json".to_owned();
        let what = Trouble::FileNotWritten { file, why: "/home/ann: disk full".into() };
        let told = without_folder(&LiveEvent::Trouble { t_s: 1.0, what }).expect("it names a folder");
        let text = format!("{told:?}");
        assert!(text.contains("0003.json") && !text.contains("ann"), "{text}");
        assert!(without_folder(&LiveEvent::Block { t_s: 1.0, label: "x".into(), drill: false }).is_none());
    }

    #[test]
    fn a_viewer_may_read_the_running_lesson_and_nothing_else() {
        let may = |uri: &str, names: bool| {
            may_read(&uri.parse().expect("an address"), Some("s-1"), ViewersSee { names })
        };
        for uri in [
            "/",
            "/js/main.js",
            "/api/v1/state",
            "/api/v1/events",
            "/api/v1/sessions",
            "/api/v1/sessions/s-1",
            "/api/v1/sessions/s-1/swings/3/curves",
            "/api/v1/sessions/s-1/swings/3/against",
            "/api/v1/sessions/s-1/swings?before=4",
            "/api/v1/compare?a=s-1:baseline&b=s-1%3Aafter",
        ] {
            assert!(may(uri, false), "{uri}");
        }
        for uri in [
            "/api/v1/players",
            "/api/v1/sessions/s-2",
            "/api/v1/sessions/s%2D2/swings/1/curves",
            "/api/v1/sessions/s-2/play",
            "/api/v1/sessions/s-1/play",
            "/api/v1/compare?a=s-1:baseline&b=s-2",
            "/api/v1/compare?a=s-1",
            "/api/v1/compare?a=s-1:baseline&b=s-1:after&also=s-2",
            "/api/v1/months?player=Ann",
            "/api/v1/something/new",
        ] {
            assert!(!may(uri, true), "{uri}");
        }
        assert!(!may("/api/v1/sessions/s-1/report", false) && may("/api/v1/sessions/s-1/report", true));
    }
}
