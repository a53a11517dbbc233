//! Whether a session's records are still taken and handed on.

use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};

/// Beats with every turn of the loop that hands records to the recorder and to the computation. Neither a disk nor a long
/// computation can hold that loop up, so one that no longer beats hangs for good. The end of a session, where the disk is
/// waited for, counts as going on.
#[derive(Debug, Default)]
pub struct Pulse {
    beats: AtomicU64,
    closing: AtomicBool,
    waiting: AtomicUsize,
}

impl Pulse {
    /// Beats so far; `None` while the session is being closed.
    pub fn beats(&self) -> Option<u64> {
        (!self.closing.load(Ordering::Relaxed)).then(|| self.beats.load(Ordering::Relaxed))
    }

    /// Batches that waited for the computation at the last beat.
    pub fn waiting(&self) -> usize {
        self.waiting.load(Ordering::Relaxed)
    }

    pub(crate) fn beat(&self, waiting: usize) {
        self.waiting.store(waiting, Ordering::Relaxed);
        self.beats.fetch_add(1, Ordering::Relaxed);
    }

    pub(crate) fn close(&self) {
        self.closing.store(true, Ordering::Relaxed);
    }
}
