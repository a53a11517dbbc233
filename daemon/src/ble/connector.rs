//! Connecting straps, one at a time.
//!
//! `BlueZ` takes one scan and is best given one connection attempt at a time, goes on with an
//! attempt after its caller has given up, and forgets a device whose attempt was cancelled.
//! So one task does it all: scan until one of the wanted straps is heard, stop the scan,
//! connect it, and only then turn to the next.

use super::radio::{Radio, RadioError, explain, id_of};
use crate::config::same_id;
use btleplug::api::Peripheral as _;
use btleplug::platform::Peripheral;
use std::time::Duration;
use tokio::sync::{mpsc, oneshot};

/// A connection attempt may take this long.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(10);
/// Cancelling an attempt or closing a link may take this long.
pub(super) const DISCONNECT_TIMEOUT: Duration = Duration::from_secs(5);
/// How often it is looked who was heard.
const LOOK_EVERY: Duration = Duration::from_millis(150);
/// Pause after the radio itself failed.
const RADIO_PAUSE: Duration = Duration::from_secs(1);

/// One strap to be connected.
#[derive(Debug)]
struct Request {
    id: String,
    reply: oneshot::Sender<Result<Peripheral, RadioError>>,
}

/// Hands out connected straps.
#[derive(Debug, Clone)]
pub(super) struct Connector {
    requests: mpsc::Sender<Request>,
}

impl Connector {
    /// Starts the task; it ends when the last handle is gone.
    pub(super) fn start(radio: Radio) -> Self {
        let (requests, incoming) = mpsc::channel(16);
        tokio::spawn(serve(radio, incoming));
        Self { requests }
    }

    /// Waits until the strap is heard, then connects it. Waits for ever if it is not:
    /// dropping the future ends the search.
    pub(super) async fn connect(&self, id: &str) -> Result<Peripheral, RadioError> {
        let (reply, answer) = oneshot::channel();
        let gone = || RadioError("the connecting task has ended".into());
        self.requests.send(Request { id: id.to_owned(), reply }).await.map_err(|_| gone())?;
        answer.await.map_err(|_| gone())?
    }
}

async fn serve(radio: Radio, mut incoming: mpsc::Receiver<Request>) {
    let mut waiting: Vec<Request> = Vec::new();
    loop {
        waiting.retain(|r| !r.reply.is_closed());
        if waiting.is_empty() {
            match incoming.recv().await {
                Some(request) => waiting.push(request),
                None => return,
            }
        }
        if let Err(error) = radio.start_scan().await {
            tokio::time::sleep(RADIO_PAUSE).await;
            for request in waiting.drain(..) {
                let _ = request.reply.send(Err(error.clone()));
            }
            continue;
        }
        let heard = listen(&radio, &mut waiting, &mut incoming).await;
        radio.stop_scan().await;
        if let Some((at, peripheral)) = heard {
            let request = waiting.remove(at);
            if let Err(Ok(unwanted)) = request.reply.send(connect(&peripheral).await) {
                // Nobody waits for it any more.
                let _ = tokio::time::timeout(DISCONNECT_TIMEOUT, unwanted.disconnect()).await;
            }
        }
    }
}

/// Until a wanted strap is heard: its place in `waiting`. The one that has waited longest
/// goes first. `None` when nobody waits any more.
async fn listen(
    radio: &Radio,
    waiting: &mut Vec<Request>,
    incoming: &mut mpsc::Receiver<Request>,
) -> Option<(usize, Peripheral)> {
    let mut look = tokio::time::interval(LOOK_EVERY);
    loop {
        look.tick().await;
        while let Ok(request) = incoming.try_recv() {
            waiting.push(request);
        }
        waiting.retain(|r| !r.reply.is_closed());
        if waiting.is_empty() {
            return None;
        }
        let known = match radio.known().await {
            Ok(known) => known,
            Err(error) => {
                tracing::debug!(%error, "Known devices could not be listed.");
                continue;
            }
        };
        for (at, request) in waiting.iter().enumerate() {
            let Some(peripheral) = known.iter().find(|p| same_id(&id_of(p), &request.id)) else { continue };
            if reachable(peripheral).await {
                return Some((at, peripheral.clone()));
            }
        }
    }
}

/// Heard in this scan, or connected already (a program that crashed leaves its link up, and
/// a connected strap does not advertise).
async fn reachable(peripheral: &Peripheral) -> bool {
    let heard = matches!(peripheral.properties().await, Ok(Some(p)) if p.rssi.is_some());
    heard || peripheral.is_connected().await.unwrap_or(false)
}

/// One attempt; after a failure nothing of it is left.
pub(super) async fn connect(peripheral: &Peripheral) -> Result<Peripheral, RadioError> {
    match tokio::time::timeout(CONNECT_TIMEOUT, peripheral.connect()).await {
        Ok(Ok(())) => Ok(peripheral.clone()),
        failed => {
            // BlueZ goes on trying and answers every further attempt with "in progress"
            // until it is told to stop.
            let _ = tokio::time::timeout(DISCONNECT_TIMEOUT, peripheral.disconnect()).await;
            Err(RadioError(match failed {
                Ok(Err(error)) => explain(&error),
                _ => format!("no connection within {} s", CONNECT_TIMEOUT.as_secs()),
            }))
        }
    }
}
