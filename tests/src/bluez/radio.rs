//! The simulated radio behind the objects.

use super::objects::{Adapter, BluezError, Char, Device, Service};
use super::peer::Peer;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;
use zbus::names::InterfaceName;
use zbus::object_server::SignalEmitter;
use zbus::zvariant::{ObjectPath, OwnedObjectPath, Value};
use zbus::{Connection, fdo};

pub(super) const ADAPTER: &str = "/org/bluez/hci0";
/// Devices advertise this often.
const ADVERTISING: Duration = Duration::from_millis(100);
/// A connection takes this long.
const CONNECTING: Duration = Duration::from_millis(50);

struct State {
    peers: Vec<Peer>,
    powered: bool,
    discovering: bool,
    /// Connection attempts that were made while a scan or another attempt was under way.
    rude: u32,
}

/// Handle to the radio; clones are the same radio.
#[derive(Clone)]
pub(super) struct Radio {
    state: Arc<Mutex<State>>,
    bus: Connection,
    /// Held while something goes over the air, so that what comes first is first.
    air: Arc<tokio::sync::Mutex<()>>,
}

pub(super) fn path(s: &str) -> OwnedObjectPath {
    ObjectPath::try_from(s).expect("a valid object path").into()
}

type Properties = HashMap<&'static str, Value<'static>>;

impl Radio {
    /// Takes the name `org.bluez` on the bus at `address`.
    pub(super) async fn start(address: &str, peers: Vec<Peer>, powered: bool) -> zbus::Result<Self> {
        let bus =
            zbus::connection::Builder::address(address)?.serve_at("/", fdo::ObjectManager)?.build().await?;
        let state = State { peers, powered, discovering: false, rude: 0 };
        let radio = Self { state: Arc::new(Mutex::new(state)), bus, air: Arc::default() };
        radio.bus.object_server().at(ADAPTER, Adapter(radio.clone())).await?;
        radio.bus.request_name("org.bluez").await?;
        let air = radio.clone();
        tokio::spawn(async move {
            let mut due = tokio::time::interval(ADVERTISING);
            loop {
                due.tick().await;
                // A signal that cannot be sent means that the test is over.
                if air.advertise().await.is_err() {
                    return;
                }
            }
        });
        Ok(radio)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().expect("no test thread panics while it holds the radio")
    }

    pub(super) fn peer(&self, i: usize) -> Peer {
        self.state().peers[i].clone()
    }

    /// Asks without copying what was sent so far.
    pub(super) fn look<T>(&self, i: usize, f: impl FnOnce(&Peer) -> T) -> T {
        f(&self.state().peers[i])
    }

    pub(super) fn edit<T>(&self, i: usize, f: impl FnOnce(&mut Peer) -> T) -> T {
        f(&mut self.state().peers[i])
    }

    pub(super) fn rude(&self) -> u32 {
        self.state().rude
    }

    pub(super) fn powered(&self) -> bool {
        self.state().powered
    }

    pub(super) fn set_powered(&self, on: bool) {
        self.state().powered = on;
    }

    pub(super) fn discovering(&self) -> bool {
        self.state().discovering
    }

    pub(super) fn start_discovery(&self) -> Result<(), BluezError> {
        let mut state = self.state();
        if !state.powered {
            return Err(BluezError::NotReady("Resource Not Ready".into()));
        }
        if state.discovering {
            return Err(BluezError::InProgress("Operation already in progress".into()));
        }
        state.discovering = true;
        Ok(())
    }

    pub(super) fn stop_discovery(&self) -> Result<(), BluezError> {
        let mut state = self.state();
        if !state.discovering {
            return Err(BluezError::Failed("No discovery started".into()));
        }
        state.discovering = false;
        for peer in &mut state.peers {
            peer.heard = false;
        }
        Ok(())
    }

    fn device(&self, i: usize) -> String {
        format!("{ADAPTER}/dev_{}", self.look(i, |p| p.address.replace(':', "_")))
    }

    async fn changed(&self, at: &str, interface: &'static str, changed: Properties) -> zbus::Result<()> {
        let emitter = SignalEmitter::new(&self.bus, at)?;
        let interface = InterfaceName::try_from(interface)?;
        let changed = fdo::Properties::properties_changed(
            &emitter,
            interface,
            changed.into_iter().collect(),
            (&[]).into(),
        );
        changed.await
    }

    async fn advertise(&self) -> zbus::Result<()> {
        let n = self.state().peers.len();
        for i in 0..n {
            let (silent, visible, rssi) =
                self.look(i, |p| (!p.reachable || p.connected, p.visible, p.rssi_dbm));
            if silent || !self.discovering() {
                continue;
            }
            self.edit(i, |p| p.heard = true);
            if !visible {
                self.edit(i, |p| p.visible = true);
                // Emits InterfacesAdded.
                self.bus.object_server().at(self.device(i), Device { radio: self.clone(), peer: i }).await?;
            }
            let rssi = Properties::from([("RSSI", rssi.into())]);
            self.changed(&self.device(i), "org.bluez.Device1", rssi).await?;
        }
        Ok(())
    }

    pub(super) async fn connect(&self, i: usize) -> Result<(), BluezError> {
        {
            let mut state = self.state();
            if state.discovering || state.peers.iter().any(|p| p.connecting) {
                state.rude += 1;
            }
            let peer = &mut state.peers[i];
            if peer.connected {
                return Ok(());
            }
            if peer.connecting {
                return Err(BluezError::InProgress("In Progress".into()));
            }
            peer.connecting = true;
        }
        // As BlueZ does: it goes on until the peer is there, whether or not the caller still
        // waits; only Disconnect cancels.
        tokio::time::sleep(CONNECTING).await;
        while self.look(i, |p| p.connecting) && !self.look(i, |p| p.reachable) {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        if !self.edit(i, |p| std::mem::take(&mut p.connecting)) {
            // The object of an unpaired device goes with the cancelled attempt.
            self.edit(i, |p| p.visible = false);
            self.bus.object_server().remove::<Device, _>(self.device(i)).await?;
            return Err(BluezError::Failed("le-connection-abort-by-local".into()));
        }
        self.edit(i, |p| {
            p.connected = true;
            p.connections += 1;
        });
        let device = self.device(i);
        self.changed(&device, "org.bluez.Device1", Properties::from([("Connected", true.into())])).await?;
        for (at, uuid, characteristics) in self.gatt(i) {
            let server = self.bus.object_server();
            server.at(at.as_str(), Service { uuid, device: path(&device) }).await?;
            for (char_at, c) in characteristics {
                let object =
                    Char { radio: self.clone(), peer: i, uuid: c.uuid, flags: c.flags, service: path(&at) };
                server.at(char_at, object).await?;
            }
        }
        self.changed(&device, "org.bluez.Device1", Properties::from([("ServicesResolved", true.into())]))
            .await?;
        Ok(())
    }

    /// Object paths of services and characteristics, as `BlueZ` names them.
    #[allow(clippy::type_complexity, reason = "one use each way")]
    fn gatt(&self, i: usize) -> Vec<(String, String, Vec<(String, super::peer::Characteristic)>)> {
        let device = self.device(i);
        let services = self.look(i, |p| p.services.clone()).into_iter().enumerate();
        services
            .map(|(s, (uuid, characteristics))| {
                let at = format!("{device}/service{:04x}", (s + 1) * 16);
                let below = characteristics
                    .into_iter()
                    .enumerate()
                    .map(|(c, spec)| (format!("{at}/char{:04x}", (s + 1) * 16 + c + 1), spec))
                    .collect();
                (at, uuid, below)
            })
            .collect()
    }

    pub(super) async fn disconnect(&self, i: usize) -> Result<(), BluezError> {
        if self.edit(i, |p| std::mem::take(&mut p.connecting)) {
            return Ok(());
        }
        if !self.look(i, |p| p.connected) {
            return Err(BluezError::NotConnected("Not Connected".into()));
        }
        Ok(self.drop_link(i).await?)
    }

    /// The link ends, on either side's request.
    pub(super) async fn drop_link(&self, i: usize) -> zbus::Result<()> {
        let _in_turn = self.air.lock().await;
        self.edit(i, |p| {
            p.connected = false;
            p.notifying.clear();
        });
        let server = self.bus.object_server();
        for (at, _, characteristics) in self.gatt(i) {
            for (char_at, _) in characteristics {
                server.remove::<Char, _>(char_at).await?;
            }
            server.remove::<Service, _>(at).await?;
        }
        let gone = Properties::from([("ServicesResolved", false.into()), ("Connected", false.into())]);
        self.changed(&self.device(i), "org.bluez.Device1", gone).await
    }

    /// The central writes to a characteristic.
    pub(super) async fn written(&self, i: usize, uuid: &str, value: Vec<u8>) {
        let _in_turn = self.air.lock().await;
        self.edit(i, |p| p.writes.push((uuid.to_owned(), value)));
    }

    /// One notification; false if nobody has subscribed, and then nothing is sent.
    pub(super) async fn notify(&self, i: usize, uuid: &str, value: Vec<u8>) -> zbus::Result<bool> {
        let _in_turn = self.air.lock().await;
        if !self.look(i, |p| p.notifying.contains(uuid) && !p.stopped()) {
            return Ok(false);
        }
        let at = self.gatt(i).into_iter().flat_map(|s| s.2).find(|(_, c)| c.uuid == uuid).map(|(at, _)| at);
        let Some(at) = at else { return Ok(false) };
        self.edit(i, |p| p.sent.entry(uuid.to_owned()).or_default().push(value.clone()));
        self.changed(&at, "org.bluez.GattCharacteristic1", Properties::from([("Value", value.into())]))
            .await?;
        Ok(true)
    }
}
