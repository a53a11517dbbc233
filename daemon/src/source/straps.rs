//! Live straps: what they send becomes records on their way to the engine.

use crate::ble::straps::{Incoming, Straps, What};
use crate::ble::watch::{Noticed, RestFigures, StrapWatch};
use peakorder_protocol::Role;
use peakorder_protocol::log::{Arrival, Mark, MarkKind, Record, StrapEvent, StrapEventKind};
use peakorder_protocol::profile::Profile;
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

/// What a strap's link looks like from outside.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Health {
    /// The link is up.
    pub connected: bool,
    /// Battery, percent.
    pub battery: Option<u8>,
    /// Samples in the last second.
    pub rate: u64,
}

/// Moves what the straps send to the engine, and thinks about it afterwards.
pub struct Desk<F> {
    straps: Vec<(Role, Health)>,
    watches: Vec<StrapWatch>,
    counted: Vec<u64>,
    /// What was last said of each, so that the same is not recorded again and again.
    said: Vec<Option<StrapEventKind>>,
    show: F,
    refused: usize,
}

impl<F: FnMut(&[(Role, Health)])> Desk<F> {
    /// For straps worn at these places, in the order in which they were started. Once a second
    /// `show` is given how they are; what happens to them is recorded, and the engine tells it.
    pub fn new<'a>(worn: impl Iterator<Item = (Role, &'a Profile)>, show: F) -> Self {
        let (straps, watches): (Vec<_>, Vec<_>) =
            worn.map(|(role, profile)| ((role, Health::default()), StrapWatch::new(profile))).unzip();
        let n = straps.len();
        Self { counted: vec![0; n], said: vec![None; n], straps, watches, show, refused: 0 }
    }

    /// Whether every strap was given up.
    pub fn all_refused(&self) -> bool {
        self.refused == self.straps.len()
    }

    fn record(&mut self, item: &Incoming) -> Option<Record> {
        let (t_ns, role) = (item.t_ns, self.straps[item.strap].0);
        match &item.what {
            What::Packet { channel, bytes } => {
                Some(Record::Arrival(Arrival { t_ns, role, channel: *channel, bytes: bytes.clone() }))
            }
            What::Event(what) => Some(Record::Strap(StrapEvent { t_ns, role, what: what.clone() })),
            What::Say(what) => {
                let said = &mut self.said[item.strap];
                if said.as_ref() == Some(what) {
                    return None;
                }
                *said = Some(what.clone());
                Some(Record::Strap(StrapEvent { t_ns, role, what: what.clone() }))
            }
            // Said by the event that comes with it.
            What::Refused(_) => None,
        }
    }

    /// What is noticed about an item becomes a record as well.
    fn think(&mut self, item: &Incoming, records: &mut Vec<Record>) {
        let (role, health) = &mut self.straps[item.strap];
        let role = *role;
        match &item.what {
            What::Packet { channel, bytes } => {
                let mut noticed = Vec::new();
                self.watches[item.strap].packet(item.t_ns, *channel, bytes, &mut noticed);
                for noticed in noticed {
                    let what = event_of(noticed);
                    records.push(Record::Strap(StrapEvent { t_ns: item.t_ns, role, what }));
                }
            }
            What::Event(what) => match what {
                StrapEventKind::Connected { .. } => {
                    self.watches[item.strap].connected();
                    self.said[item.strap] = None;
                    health.connected = true;
                }
                StrapEventKind::Disconnected { .. } => health.connected = false,
                StrapEventKind::Battery { percent } => health.battery = Some(*percent),
                _ => {}
            },
            What::Say(_) => {}
            What::Refused(_) => self.refused += 1,
        }
    }

    /// Once a second.
    fn count(&mut self) {
        for (((_, health), watch), counted) in
            self.straps.iter_mut().zip(&self.watches).zip(&mut self.counted)
        {
            let samples = watch.samples();
            health.rate = samples - std::mem::replace(counted, samples);
        }
        (self.show)(&self.straps);
    }

    /// Works until the straps are closed, which `requests` can ask for; `stopping` is told
    /// when it was. Raw first: the engine (and so the disk) gets a notification before
    /// anything else looks at it.
    pub async fn work(
        mut self,
        mut straps: Straps,
        mut requests: mpsc::Receiver<Request>,
        to: mpsc::Sender<Vec<Record>>,
        stopping: oneshot::Sender<()>,
    ) -> Self {
        let mut stopping = Some(stopping);
        let mut asked = true;
        let mut second = tokio::time::interval(Duration::from_secs(1));
        let mut items = Vec::new();
        loop {
            let mut records = Vec::new();
            tokio::select! {
                more = straps.take(&mut items) => {
                    if !more {
                        break;
                    }
                    records.extend(items.iter().filter_map(|i| self.record(i)));
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
                _ = second.tick() => self.count(),
            }
            if !records.is_empty() && to.send(records).await.is_err() {
                break;
            }
            let mut noticed = Vec::new();
            for item in items.drain(..) {
                self.think(&item, &mut noticed);
            }
            if !noticed.is_empty() && to.send(noticed).await.is_err() {
                break;
            }
        }
        straps.close().await;
        self
    }
}

/// What was noticed, as it is recorded.
fn event_of(noticed: Noticed) -> StrapEventKind {
    match noticed {
        Noticed::Restarted => StrapEventKind::Restarted,
        Noticed::Rest(RestFigures { acc_m_s2, gyro_rad_s, .. }, fault) => {
            StrapEventKind::AtRest { acc_m_s2, gyro_rad_s, fault }
        }
    }
}
