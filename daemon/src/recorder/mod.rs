//! Raw first: records are on disk before they are interpreted.
//!
//! The recorder works on a thread of its own and shares nothing with the computation but the
//! records. Writing never waits for a sync, and a record is kept in memory until a sync has
//! covered it, so that a disk which loses what it took can be given it again.

mod durable_log;
#[cfg(test)]
mod model;
#[cfg(test)]
mod power_cut;
mod thread;

pub use durable_log::{DurableLog, SyncTicket};
pub(crate) use thread::broken;
pub use thread::{Backlog, Recorder, WhenFull};

use std::time::Duration;

/// A sync begins this long after the one before, whether that has ended or not. A power cut loses
/// what came within this time and the time that the disk takes for a sync: a quarter of a second
/// on a disk of ordinary speed.
pub const SYNC_EVERY: Duration = Duration::from_millis(200);
/// A disk that refused a write is tried again this often.
const RETRY_EVERY: Duration = Duration::from_millis(250);
