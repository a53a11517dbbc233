//! The numbered events that watchers follow.

use serde::Serialize;
use std::sync::Arc;
use tokio::sync::broadcast;

/// A watcher that is further behind than this loses the oldest events and reads the state again.
const BACKLOG: usize = 256;

/// One event, serialised once for all watchers.
#[derive(Debug, Clone)]
pub struct NumberedEvent {
    /// Number of the event.
    pub seq: u64,
    /// Name of the event.
    pub event: &'static str,
    /// JSON.
    pub data: Arc<str>,
    /// The same for those who are not told names and notes, where it differs.
    pub without_names: Option<Arc<str>>,
}

/// Numbers events and sends them to all watchers.
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

/// An event's data as JSON; `None`, with an error in the log, if it cannot be serialised.
pub fn to_json(event: &'static str, data: &impl Serialize) -> Option<Arc<str>> {
    serde_json::to_string(data)
        .inspect_err(|why| tracing::error!(event, %why, "An event could not be serialised."))
        .ok()
        .map(Into::into)
}

impl EventFeed {
    /// Number of the newest event.
    pub fn seq(&self) -> u64 {
        self.seq
    }

    /// A new watcher: it gets the events after [`EventFeed::seq`].
    pub fn watch(&self) -> broadcast::Receiver<NumberedEvent> {
        self.to.subscribe()
    }

    /// Sends an event to all watchers.
    pub fn publish(&mut self, event: &'static str, data: &impl Serialize) {
        if let Some(data) = to_json(event, data) {
            self.publish_json(event, data);
        }
    }

    /// The same for data that is serialised already.
    pub fn publish_json(&mut self, event: &'static str, data: Arc<str>) {
        self.seq += 1;
        self.send(event, data, None);
    }

    /// The same with other data for those who are not told names and notes.
    pub fn publish_two(&mut self, event: &'static str, data: Arc<str>, without_names: Arc<str>) {
        self.seq += 1;
        self.send(event, data, Some(without_names));
    }

    /// Sends an event that changes nothing in the state: it gets no number of its own.
    pub fn publish_unnumbered(&self, event: &'static str, data: &impl Serialize) {
        if let Some(data) = to_json(event, data) {
            self.send(event, data, None);
        }
    }

    fn send(&self, event: &'static str, data: Arc<str>, without_names: Option<Arc<str>>) {
        // The only error is that nobody watches.
        let _ = self.to.send(NumberedEvent { seq: self.seq, event, data, without_names });
    }
}
