//! `/metrics`: how the daemon stands, in numbers, for whoever watches over it. In the Prometheus text format, by hand: the
//! format is three kinds of line, and `prometheus-client` would lengthen the first build (DEVELOPERS.md).
//!
//! Roles are labels; names and addresses are told nobody here. The state's lock is held while numbers are copied, and the disk
//! is asked on a thread of its own, so that a scrape holds up nothing.

mod exposition;

use super::app_state::AppState;
use super::hub::figures::{Figures, Running};
use crate::recorder::Backlog;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use exposition::{CONTENT_TYPE, Kind, metric};
use peakorder_protocol::Role;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// A disk that does not say within this time how much of it is free is left out.
const DISK_ANSWERS_WITHIN: Duration = Duration::from_secs(1);

/// What metrics need besides the hub.
#[derive(Debug)]
pub(super) struct Metrics {
    started: Instant,
    /// The disk is being asked; on one that hangs there must not be a thread for every scrape.
    asking_disk: Arc<AtomicBool>,
}

impl Default for Metrics {
    fn default() -> Self {
        Self { started: Instant::now(), asking_disk: Arc::default() }
    }
}

/// Answers `GET /metrics`.
pub(super) async fn metrics(State(app): State<Arc<AppState>>) -> Response {
    let free_bytes = app.metrics.free_bytes(&app).await;
    let figures = app.hub.figures();
    let text = text(&figures, free_bytes, app.metrics.started.elapsed());
    ([(header::CONTENT_TYPE, CONTENT_TYPE)], text).into_response()
}

impl Metrics {
    async fn free_bytes(&self, app: &AppState) -> Option<u64> {
        if self.asking_disk.swap(true, Ordering::Acquire) {
            return None;
        }
        let (folder, asking) = (app.library.folder_path().to_owned(), Arc::clone(&self.asking_disk));
        let asked = tokio::task::spawn_blocking(move || {
            let free = fs4::available_space(folder).ok();
            asking.store(false, Ordering::Release);
            free
        });
        tokio::time::timeout(DISK_ANSWERS_WITHIN, asked).await.ok()?.ok()?
    }
}

fn text(figures: &Figures, free_bytes: Option<u64>, uptime: Duration) -> String {
    use Kind::{Counter, Gauge};
    let mut text = String::new();
    let to = &mut text;
    let totals = figures.totals;

    let build = [("version", env!("CARGO_PKG_VERSION")), ("commit", crate::COMMIT)];
    let _ =
        metric(to, "peakorder_build_info", Gauge, "Version and commit of the program.").value(&build, 1.0);
    let _ = metric(to, "peakorder_uptime_seconds", Gauge, "Time since the daemon began to serve.")
        .value(&[], uptime.as_secs_f64());

    for (name, help, value) in [
        ("peakorder_lessons_total", "Lessons begun or continued.", totals.lessons),
        ("peakorder_swings_total", "Swings measured.", totals.swings),
        ("peakorder_repetitions_total", "Repetitions of drills measured.", totals.repetitions),
        ("peakorder_troubles_total", "Troubles of the recording or the computation.", totals.troubles),
        ("peakorder_recorded_bytes_total", "Bytes of records written to recordings.", totals.recorded_bytes),
    ] {
        let _ = metric(to, name, Counter, help).value(&[], value as f64);
    }
    for (name, help, values) in [
        ("peakorder_samples_total", "Samples that came in, by where the strap is worn.", totals.samples),
        ("peakorder_samples_lost_total", "Samples missing by the straps' own count.", totals.lost),
    ] {
        let mut counter = metric(to, name, Counter, help);
        for role in Role::ALL {
            counter = counter.value(&[("role", role.key())], values[role.index()] as f64);
        }
    }

    let none = Running::default();
    let running = figures.running.as_ref().unwrap_or(&none);
    for (name, help, value) in [
        (
            "peakorder_lesson_running",
            "1 while a lesson runs.",
            f64::from(u8::from(figures.running.is_some())),
        ),
        (
            "peakorder_straps_connected",
            "Straps of the running lesson that are connected.",
            running.straps.iter().filter(|s| s.connected).count() as f64,
        ),
        (
            "peakorder_disk_backlog_bytes",
            "Records in memory that are not safe on the disk yet, roughly.",
            running.backlog_bytes as f64,
        ),
        (
            "peakorder_disk_backlog_limit_bytes",
            "Room for such records; what does not fit is lost.",
            Backlog::ROOM_BYTES as f64,
        ),
        (
            "peakorder_computation_queue_batches",
            "Batches of records that wait for the computation.",
            running.batches as f64,
        ),
    ] {
        let _ = metric(to, name, Gauge, help).value(&[], value);
    }
    type OfStrap = fn(&super::hub::figures::StrapFigures) -> Option<f64>;
    let of_straps: [(&str, &str, OfStrap); 3] = [
        ("peakorder_strap_connected", "1 while the strap is connected.", |s| {
            Some(f64::from(u8::from(s.connected)))
        }),
        ("peakorder_strap_battery_ratio", "Battery level, 0 to 1, once the strap has told it.", |s| {
            Some(s.battery_percent? / 100.0)
        }),
        (
            "peakorder_strap_clock_uncertainty_seconds",
            "Standard uncertainty of the offset of the strap's clock; absent while it settles.",
            |s| s.clock_sd_s,
        ),
    ];
    for (name, help, of) in of_straps {
        let mut gauge = metric(to, name, Gauge, help);
        for strap in &running.straps {
            if let Some(value) = of(strap) {
                gauge = gauge.value(&[("role", strap.role.key())], value);
            }
        }
    }
    if let Some(free) = free_bytes {
        let _ = metric(to, "peakorder_library_free_bytes", Gauge, "Free space on the library's disk.")
            .value(&[], free as f64);
    }
    text
}
