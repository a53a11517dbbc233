//! A stand-in for the system's Bluetooth service on a private message bus, with straps on
//! the air, for the unmodified program to talk to. What it models of `BlueZ`: scans (signal
//! strength only while scanning, one at a time), connection attempts that go on until
//! cancelled and then forget the device, services, reads, writes, notifications, lost links.

mod bus;
mod daemon_run;
mod objects;
mod peer;
mod radio;
mod three_straps;

pub use bus::{Bus, runtime};
pub use daemon_run::DaemonRun;
pub use peer::{Characteristic, Peer, assigned};
pub use three_straps::{assign, play, straps};

use radio::Radio;
use std::time::{Duration, Instant};
use tokio::runtime::Runtime;

/// A bus with the stand-in on it.
pub struct FakeBluez {
    // Dropped first: the service must be gone before its bus.
    runtime: Runtime,
    radio: Option<Radio>,
    bus: Bus,
}

impl FakeBluez {
    /// A bus, an adapter that is on, and `peers` on the air. `None` without `dbus-daemon`.
    pub fn with(peers: Vec<Peer>) -> Option<Self> {
        Some(Self::silent()?.serve(peers, true))
    }

    /// The same with an adapter that is off.
    pub fn switched_off() -> Option<Self> {
        Some(Self::silent()?.serve(Vec::new(), false))
    }

    /// A bus without a Bluetooth service.
    pub fn silent() -> Option<Self> {
        let bus = Bus::start()?;
        let runtime = runtime();
        Some(Self { runtime, radio: None, bus })
    }

    fn serve(mut self, peers: Vec<Peer>, powered: bool) -> Self {
        let radio = self.runtime.block_on(Radio::start(&self.bus.address(), peers, powered));
        self.radio = Some(radio.expect("the stand-in starts"));
        self
    }

    fn radio(&self) -> &Radio {
        self.radio.as_ref().expect("a bus with a Bluetooth service")
    }

    /// The bus.
    pub fn bus(&self) -> &Bus {
        &self.bus
    }

    /// Kills the bus and everything on it.
    pub fn kill_bus(&mut self) {
        self.bus.kill();
    }

    /// How a peer is now.
    pub fn peer(&self, i: usize) -> Peer {
        self.radio().peer(i)
    }

    /// Asks about a peer without copying what it sent.
    pub fn look<T>(&self, i: usize, f: impl FnOnce(&Peer) -> T) -> T {
        self.radio().look(i, f)
    }

    /// Changes a peer.
    pub fn edit(&self, i: usize, f: impl FnOnce(&mut Peer)) {
        self.radio().edit(i, f);
    }

    /// Connection attempts that were made during a scan or another attempt.
    pub fn rude_attempts(&self) -> u32 {
        self.radio().rude()
    }

    /// Ends a peer's link.
    pub fn drop_link(&self, i: usize) {
        self.runtime.block_on(self.radio().drop_link(i)).expect("the link is dropped");
    }

    /// Sends one notification; false if nobody has subscribed.
    pub fn notify(&self, i: usize, uuid: &str, value: Vec<u8>) -> bool {
        self.runtime.block_on(self.radio().notify(i, uuid, value)).expect("the notification is sent")
    }

    /// Sends `packets` (seconds after `from`, bytes) of a peer in the background, each when
    /// it is due; those that nobody has subscribed to are lost.
    pub fn play(
        &self,
        i: usize,
        uuid: &str,
        from: Instant,
        packets: impl Iterator<Item = (f64, Vec<u8>)> + Send + 'static,
    ) {
        let (radio, uuid) = (self.radio().clone(), uuid.to_owned());
        self.runtime.spawn(async move {
            for (at_s, bytes) in packets {
                tokio::time::sleep_until((from + Duration::from_secs_f64(at_s)).into()).await;
                if radio.notify(i, &uuid, bytes).await.is_err() {
                    return;
                }
            }
        });
    }
}

/// Waits until `so` holds; fails the test after `limit_s` seconds, naming `what`.
pub fn wait(what: &str, limit_s: u64, so: impl Fn() -> bool) {
    let deadline = Instant::now() + Duration::from_secs(limit_s);
    while !so() {
        assert!(Instant::now() < deadline, "waited {limit_s} s in vain: {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}
