//! Straps kept connected: connect, move bytes, notice silence, connect again.

use super::connector::Connector;
use super::link::{Kind, Link, LinkError, LinkFailure, disconnect};
use super::radio::Radio;
use btleplug::api::Peripheral as _;
use btleplug::platform::PeripheralId;
use futures::StreamExt as _;
use peakorder_motion::clock::time::SessionTime;
use peakorder_motion::stream::StrapStream;
use peakorder_protocol::log::{Disconnection, StrapEventKind, interval_of_ms};
use peakorder_protocol::profile::Profile;
use std::pin::Pin;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{broadcast, mpsc, watch};
use tokio::task::JoinSet;

/// Room for the notifications of three straps over well more than a minute: a slow disk
/// delays no strap.
const QUEUE: usize = 16_384;
/// A strap that is not heard for this long is reported.
const NOT_HEARD: Duration = Duration::from_secs(8);
/// First pause after a failure; it doubles.
const FIRST_PAUSE: Duration = Duration::from_millis(300);
/// Longest pause after a failure.
const LONGEST_PAUSE: Duration = Duration::from_secs(5);
/// A link that held this long was a good one: the next failure starts over.
const GOOD_LINK: Duration = Duration::from_secs(10);
/// The first packet may take this long after the set-up.
const FIRST_PACKET: Duration = Duration::from_secs(5);
/// A stream that is silent for this many packet intervals is dead.
const SILENT_PACKETS: f64 = 50.0;
/// Shortest and longest silence that ends a stream.
const SILENT: (Duration, Duration) = (Duration::from_millis(1500), Duration::from_secs(5));
/// How often silence is looked for.
const LOOK_EVERY: Duration = Duration::from_millis(200);

/// The session clock: monotonic.
#[derive(Debug, Clone, Copy)]
pub struct SessionClock {
    since: Instant,
    /// What it showed then, nanoseconds.
    from_ns: u64,
}

impl SessionClock {
    /// Starts now, at zero.
    pub fn start() -> Self {
        Self::going_on(0)
    }

    /// Goes on now, at `from_ns`.
    pub fn going_on(from_ns: u64) -> Self {
        Self { since: Instant::now(), from_ns }
    }

    /// Nanoseconds since the session's start.
    pub fn now_ns(&self) -> u64 {
        let passed = u64::try_from(self.since.elapsed().as_nanos()).unwrap_or(u64::MAX);
        self.from_ns.saturating_add(passed)
    }
}

/// A strap to be kept connected.
#[derive(Debug, Clone)]
pub struct StrapTarget {
    /// Its id, see [`Advert::id`](super::radio::Advert::id).
    pub id: String,
    /// What it sends.
    pub profile: Arc<Profile>,
}

/// Something that came from a strap.
#[derive(Debug, Clone, PartialEq)]
pub struct Incoming {
    /// Index into the straps wanted.
    pub strap: usize,
    /// Session clock, nanoseconds.
    pub t_ns: u64,
    /// Kind.
    pub kind: IncomingKind,
}

/// What came from a strap.
#[derive(Debug, Clone, PartialEq)]
pub enum IncomingKind {
    /// A notification of this channel of the profile.
    Packet {
        /// Index into the profile's channels.
        channel: u8,
        /// The bytes as sent.
        bytes: Vec<u8>,
    },
    /// Something happened to the link or the battery.
    Event(StrapEventKind),
    /// The strap's status; repeated until it changes.
    Status(StrapEventKind),
    /// The strap is given up: what is wrong, and what to do.
    GivenUp(String),
}

impl Incoming {
    /// Passes it to the strap's stream; true if it brought a notification, which
    /// [`StrapStream::received`] then shows.
    pub fn pass_to(&self, stream: &mut StrapStream) -> bool {
        match &self.kind {
            IncomingKind::Packet { channel, bytes } => {
                stream.notification(SessionTime::from_ns(self.t_ns), *channel, bytes);
                return true;
            }
            IncomingKind::Event(what) => stream.event(what),
            IncomingKind::Status(_) | IncomingKind::GivenUp(_) => {}
        }
        false
    }
}

/// Straps that are kept connected until they are closed.
#[derive(Debug)]
pub struct Straps {
    incoming: mpsc::Receiver<Incoming>,
    stop: watch::Sender<bool>,
    tasks: JoinSet<()>,
}

impl Straps {
    /// Starts connecting `wanted` over `radio`.
    pub fn start(radio: &Radio, wanted: Vec<StrapTarget>, clock: SessionClock) -> Self {
        let connector = Connector::start(radio.clone());
        let (to, incoming) = mpsc::channel(QUEUE);
        let (stop, stopped) = watch::channel(false);
        let mut tasks = JoinSet::new();
        for (strap, wanted) in wanted.into_iter().enumerate() {
            let task = Task {
                strap,
                wanted,
                clock,
                connector: connector.clone(),
                lost: radio.lost_links(),
                to: to.clone(),
                stopped: stopped.clone(),
            };
            tasks.spawn(task.run());
        }
        Self { incoming, stop, tasks }
    }

    /// Receives what came in, waiting for the first; false when all straps are done with.
    pub async fn receive(&mut self, out: &mut Vec<Incoming>) -> bool {
        const AT_ONCE: usize = 256;
        self.incoming.recv_many(out, AT_ONCE).await > 0
    }

    /// Asks all straps to stop; what they still send comes through [`Straps::receive`].
    pub fn stop(&self) {
        self.stop.send_replace(true);
    }

    /// Stops, and waits until the links are closed.
    pub async fn close(mut self) {
        self.stop();
        self.incoming.close();
        let mut rest = Vec::new();
        while self.receive(&mut rest).await {
            rest.clear();
        }
        while self.tasks.join_next().await.is_some() {}
    }
}

/// How a stream ended.
enum End {
    Stopped,
    Lost(Disconnection),
}

/// Keeps one strap connected.
struct Task {
    strap: usize,
    wanted: StrapTarget,
    clock: SessionClock,
    connector: Connector,
    lost: broadcast::Receiver<PeripheralId>,
    to: mpsc::Sender<Incoming>,
    stopped: watch::Receiver<bool>,
}

impl Task {
    async fn send(&self, kind: IncomingKind) {
        let item = Incoming { strap: self.strap, t_ns: self.clock.now_ns(), kind };
        // If nobody listens any more, the stop signal ends this task.
        let _ = self.to.send(item).await;
    }

    async fn event(&self, what: StrapEventKind) {
        self.send(IncomingKind::Event(what)).await;
    }

    async fn run(mut self) {
        let mut stopped = self.stopped.clone();
        let mut pause = FIRST_PAUSE;
        loop {
            match self.connect(&mut stopped).await {
                Ok(None) => return,
                Ok(Some(link)) => {
                    let since = Instant::now();
                    if self.stream(link, &mut stopped).await {
                        return;
                    }
                    if since.elapsed() >= GOOD_LINK {
                        pause = FIRST_PAUSE;
                    }
                }
                Err(LinkError::Refused(mismatch)) => {
                    let why = mismatch.to_string();
                    self.event(StrapEventKind::Refused { why: why.clone() }).await;
                    self.send(IncomingKind::GivenUp(why)).await;
                    return;
                }
                Err(LinkError::Failed(failure)) => {
                    let why = failure.to_string();
                    self.send(IncomingKind::Status(StrapEventKind::NotConnectedYet { why })).await;
                }
            }
            tokio::select! {
                () = tokio::time::sleep(pause) => {}
                () = stop_requested(&mut stopped) => return,
            }
            pause = (pause * 2).min(LONGEST_PAUSE);
        }
    }

    /// Connects until the strap streams; `None` if it is asked to stop before that.
    async fn connect(&self, stopped: &mut watch::Receiver<bool>) -> Result<Option<Link>, LinkError> {
        let connecting = self.connector.connect(&self.wanted.id);
        tokio::pin!(connecting);
        let peripheral = loop {
            tokio::select! {
                connected = &mut connecting => break connected.map_err(|e| LinkFailure::NotConnected(e.0))?,
                () = stop_requested(stopped) => return Ok(None),
                () = tokio::time::sleep(NOT_HEARD) => {
                    self.send(IncomingKind::Status(StrapEventKind::NotHeard)).await;
                }
            }
        };
        let brought_up = tokio::select! {
            link = Link::bring_up(peripheral.clone(), &self.wanted.profile) => link.map(Some),
            () = stop_requested(stopped) => Ok(None),
        };
        if !matches!(brought_up, Ok(Some(_))) {
            disconnect(&peripheral).await;
        }
        brought_up
    }

    /// Moves bytes until the link is lost; true if it was asked to stop.
    async fn stream(&mut self, mut link: Link, stopped: &mut watch::Receiver<bool>) -> bool {
        let (information, mtu) = (link.information.clone(), Some(link.mtu));
        self.event(StrapEventKind::Connected { information, mtu }).await;
        if let Some(percent) = link.battery_percent {
            self.event(StrapEventKind::Battery { percent }).await;
        }
        if let Some(interval) = link.interval_ms.and_then(interval_of_ms) {
            self.event(StrapEventKind::Interval { interval }).await;
        }
        let awake = self.wanted.profile.keepalive().and_then(|k| link.keep_alive(k));
        let end = self.forward(&mut link, stopped).await;
        if let Some(awake) = awake {
            awake.abort();
        }
        match end {
            End::Stopped => {
                link.drop_link().await;
                self.event(StrapEventKind::Disconnected { reason: Disconnection::SessionEnded }).await;
                true
            }
            End::Lost(reason) => {
                self.event(StrapEventKind::Disconnected { reason }).await;
                link.drop_link().await;
                false
            }
        }
    }

    async fn forward(&mut self, link: &mut Link, stopped: &mut watch::Receiver<bool>) -> End {
        let id = link.peripheral().id();
        // Links lost before this one do not matter. The watchdog sees what is missed here.
        self.lost = self.lost.resubscribe();
        let mut look = tokio::time::interval(LOOK_EVERY);
        let mut last = Instant::now();
        let mut packets = 0_u32;
        let mut mean_gap_s = 0.0_f64;
        let mut teardown: Option<Teardown> = None;
        loop {
            // The order matters: packets that are here already are taken before the link
            // counts as lost or stopped.
            tokio::select! {
                biased;
                () = stop_requested(stopped), if teardown.is_none() => teardown = Some(Box::pin(link.teardown())),
                notification = link.notifications.next() => {
                    let t_ns = self.clock.now_ns();
                    let Some(notification) = notification else { return End::Lost(Disconnection::ServiceGone) };
                    let kind = match link.kind(&notification) {
                        Kind::Channel(channel) => {
                            let now = Instant::now();
                            if packets > 0 {
                                mean_gap_s += ((now - last).as_secs_f64() - mean_gap_s) * 0.05;
                            }
                            packets = packets.saturating_add(1);
                            last = now;
                            IncomingKind::Packet { channel, bytes: notification.value }
                        }
                        Kind::Battery => match notification.value.first() {
                            Some(&percent) => IncomingKind::Event(StrapEventKind::Battery { percent }),
                            None => continue,
                        },
                        Kind::Other => continue,
                    };
                    let item = Incoming { strap: self.strap, t_ns, kind };
                    if self.to.send(item).await.is_err() {
                        return End::Stopped;
                    }
                }
                () = finished(&mut teardown) => return End::Stopped,
                lost = self.lost.recv() => {
                    if lost.is_ok_and(|lost| lost == id) {
                        return if teardown.is_some() { End::Stopped } else { End::Lost(Disconnection::LinkLost) };
                    }
                }
                _ = look.tick() => {
                    let limit = if packets < 2 {
                        FIRST_PACKET
                    } else {
                        Duration::from_secs_f64((SILENT_PACKETS * mean_gap_s).clamp(0.0, 3600.0)).clamp(SILENT.0, SILENT.1)
                    };
                    if teardown.is_none() && last.elapsed() > limit {
                        return End::Lost(if packets == 0 { Disconnection::SentNothing } else { Disconnection::FellSilent });
                    }
                }
            }
        }
    }
}

/// A tear-down that runs.
type Teardown = Pin<Box<dyn Future<Output = ()> + Send>>;

/// Ends with the tear-down; never ends without one.
async fn finished(teardown: &mut Option<Teardown>) {
    match teardown {
        Some(teardown) => teardown.await,
        None => std::future::pending().await,
    }
}

/// Ends when the straps are asked to stop.
async fn stop_requested(stopped: &mut watch::Receiver<bool>) {
    // An error means that nobody can ask any more.
    let _ = stopped.wait_for(|s| *s).await;
}
