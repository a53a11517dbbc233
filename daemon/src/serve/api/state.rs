//! The state as a whole.

use crate::serve::AppState;
use crate::serve::access::pairing::Device;
use crate::serve::hub::views::Snapshot;
use axum::extract::State;
use axum::{Extension, Json};
use std::sync::Arc;

/// Everything at this moment.
#[utoipa::path(get, path = "/state", responses((status = 200, body = Snapshot)))]
pub(super) async fn state(
    State(app): State<Arc<AppState>>,
    Extension(device): Extension<Device>,
) -> Json<Snapshot> {
    Json(app.hub.snapshot(device.key()))
}
