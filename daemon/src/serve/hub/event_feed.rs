//! Events on their way to those who watch.

use serde::Serialize;
use std::sync::Arc;
use tokio::sync::broadcast;

/// A watcher further behind than this has to look anew; nobody waits for it.
const BACKLOG: usize = 256;

/// One event, written out once for all.
#[derive(Debug, Clone)]
pub struct NumberedEvent {
    /// Its number.
    pub seq: u64,
    /// What it is.
    pub event: &'static str,
    /// JSON.
    pub data: Arc<str>,
}

/// Numbers events and hands them to all watchers.
#[derive(Debug)]
pub struct EventFeed {
    seq: u64,
    to: broadcast::Sender<NumberedEvent>,
}

impl Default for EventFeed {
    fn default() -> Self {
        Self { seq: 0, to: broadcast::channel(BACKLOG).0 }
    }
}

impl EventFeed {
    /// Number of the newest event.
    pub fn seq(&self) -> u64 {
        self.seq
    }

    /// A new watcher: sees what comes after [`EventFeed::seq`].
    pub fn watch(&self) -> broadcast::Receiver<NumberedEvent> {
        self.to.subscribe()
    }

    /// Tells everybody.
    pub fn publish(&mut self, event: &'static str, data: &impl Serialize) {
        self.seq += 1;
        self.send(event, data);
    }

    /// Tells everybody what is no news: it gets no number of its own.
    pub fn beat(&self, event: &'static str, data: &impl Serialize) {
        self.send(event, data);
    }

    fn send(&self, event: &'static str, data: &impl Serialize) {
        match serde_json::to_string(data) {
            // Nobody watching is no error.
            Ok(data) => drop(self.to.send(NumberedEvent { seq: self.seq, event, data: data.into() })),
            Err(why) => tracing::error!(event, %why, "An event could not be written."),
        }
    }
}
