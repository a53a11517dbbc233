//! Live straps: what they send becomes records on their way to the engine.

use crate::ble::straps::{Incoming, IncomingKind, Straps};
use peakorder_protocol::Role;
use peakorder_protocol::log::{Arrival, Mark, MarkKind, Record, StrapEvent, StrapEventKind};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot};

/// The straps must have closed their links this long after the stop.
pub const CLOSING: Duration = Duration::from_secs(12);

/// What somebody asks of a running session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Request {
    /// Put a mark on the session clock.
    Mark(Mark),
    /// End the session.
    Stop,
}

impl Request {
    /// A mark at `t_ns` (session clock, nanoseconds).
    pub fn mark(t_ns: u64, kind: MarkKind, detail: &str) -> Self {
        Self::Mark(Mark { t_ns, kind, detail: detail.to_owned() })
    }
}

/// Turns what the straps send into records for the engine.
pub struct LiveSource {
    roles: Vec<Role>,
    /// What was last said of each, so that the same is not recorded again and again.
    said: Vec<Option<StrapEventKind>>,
    refused: usize,
}

impl LiveSource {
    /// For straps worn at `roles`, in the order in which they were started.
    pub fn new(roles: Vec<Role>) -> Self {
        Self { said: vec![None; roles.len()], roles, refused: 0 }
    }

    /// Whether every strap was given up.
    pub fn all_refused(&self) -> bool {
        self.refused == self.roles.len()
    }

    fn record(&mut self, item: Incoming) -> Option<Record> {
        let (t_ns, role) = (item.t_ns, self.roles[item.strap]);
        match item.kind {
            IncomingKind::Packet { channel, bytes } => {
                Some(Record::Arrival(Arrival { t_ns, role, channel, bytes }))
            }
            IncomingKind::Event(what) => {
                if matches!(what, StrapEventKind::Connected { .. }) {
                    self.said[item.strap] = None;
                }
                Some(Record::Strap(StrapEvent { t_ns, role, what }))
            }
            IncomingKind::Status(what) => {
                let said = &mut self.said[item.strap];
                if said.as_ref() == Some(&what) {
                    return None;
                }
                *said = Some(what.clone());
                Some(Record::Strap(StrapEvent { t_ns, role, what }))
            }
            // The event that comes with it says why.
            IncomingKind::GivenUp(_) => {
                self.refused += 1;
                None
            }
        }
    }

    /// Runs until the straps are closed, which `requests` can ask for; `stopping` is told
    /// when it was.
    pub async fn run(
        mut self,
        mut straps: Straps,
        mut requests: mpsc::Receiver<Request>,
        to: mpsc::Sender<Vec<Record>>,
        stopping: oneshot::Sender<()>,
    ) -> Self {
        let mut stopping = Some(stopping);
        let mut asked = true;
        let mut items = Vec::new();
        loop {
            let mut records = Vec::new();
            tokio::select! {
                more = straps.receive(&mut items) => {
                    if !more {
                        break;
                    }
                    records.extend(items.drain(..).filter_map(|i| self.record(i)));
                }
                request = requests.recv(), if asked => match request {
                    Some(Request::Mark(mark)) => records.push(Record::Mark(mark)),
                    Some(Request::Stop) => {
                        straps.stop();
                        if let Some(stopping) = stopping.take() {
                            // The engine may have ended first.
                            let _ = stopping.send(());
                        }
                    }
                    None => asked = false,
                },
            }
            if !records.is_empty() && to.send(records).await.is_err() {
                break;
            }
        }
        straps.close().await;
        self
    }
}
