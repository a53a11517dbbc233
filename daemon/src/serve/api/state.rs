//! The state as a whole.

use super::extract::Body;
use crate::serve::access::pairing::Device;
use crate::serve::app_state::AppState;
use crate::serve::hub::views::Snapshot;
use crate::serve::viewers::{ViewersSee, without_names};
use axum::extract::State;
use axum::{Extension, Json};
use std::sync::Arc;

/// The state at this moment.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/state", responses((status = 200, body = Snapshot))))]
pub(super) async fn state(
    State(app): State<Arc<AppState>>,
    Extension(device): Extension<Device>,
) -> Json<Snapshot> {
    let mut snapshot = app.hub.snapshot(device.key());
    snapshot.viewers = (!app.access.pairing.is_open()).then(|| app.viewers.get());
    snapshot.interrupted = match device {
        Device::Coach => app.lessons.interrupted(),
        Device::Viewer => None,
    };
    if app.viewers.hide_names_from(device) {
        snapshot.lesson = snapshot.lesson.map(without_names);
    }
    Json(snapshot)
}

/// Says what viewers may see from now on.
#[cfg_attr(feature = "openapi", utoipa::path(put, path = "/viewers", request_body = ViewersSee,
    responses((status = 200, body = ViewersSee))))]
pub(super) async fn set_viewers(
    State(app): State<Arc<AppState>>,
    Body(see): Body<ViewersSee>,
) -> Json<ViewersSee> {
    app.viewers.set(see);
    app.hub.publish_viewers(see);
    Json(see)
}
