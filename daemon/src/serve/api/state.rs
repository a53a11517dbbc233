//! The state as a whole.

use crate::serve::Hall;
use crate::serve::board::views::Snapshot;
use crate::serve::door::pass::Device;
use axum::extract::State;
use axum::{Extension, Json};
use std::sync::Arc;

/// Everything at this moment.
#[utoipa::path(get, path = "/state", responses((status = 200, body = Snapshot)))]
pub(super) async fn state(
    State(hall): State<Arc<Hall>>,
    Extension(device): Extension<Device>,
) -> Json<Snapshot> {
    Json(hall.board.snapshot(device.key()))
}
