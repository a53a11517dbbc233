//! The objects that `BlueZ` shows on the bus, as far as a GATT central uses them.
//!
//! After doc/org.bluez.{Adapter,Device,GattService,GattCharacteristic}.rst of `BlueZ`.
#![allow(
    clippy::unused_self,
    clippy::unnecessary_literal_bound,
    clippy::unnecessary_wraps,
    clippy::used_underscore_binding,
    reason = "the interfaces prescribe the methods' shapes, and zbus's macro uses every argument"
)]

use super::radio::Radio;
use std::collections::HashMap;
use zbus::object_server::SignalEmitter;
use zbus::zvariant::{OwnedObjectPath, OwnedValue, Value};
use zbus::{DBusError, fdo, interface};

/// `BlueZ`'s errors.
#[derive(DBusError, Debug)]
#[zbus(prefix = "org.bluez.Error")]
pub(super) enum BluezError {
    #[zbus(error)]
    ZBus(zbus::Error),
    Failed(String),
    NotReady(String),
    NotConnected(String),
    NotSupported(String),
    InProgress(String),
}

pub(super) struct Adapter(pub(super) Radio);

#[interface(name = "org.bluez.Adapter1")]
impl Adapter {
    fn set_discovery_filter(&self, _filter: HashMap<String, OwnedValue>) {}

    async fn start_discovery(
        &self,
        #[zbus(signal_emitter)] emitter: SignalEmitter<'_>,
    ) -> Result<(), BluezError> {
        self.0.start_discovery()?;
        Ok(self.discovering_changed(&emitter).await?)
    }

    async fn stop_discovery(
        &self,
        #[zbus(signal_emitter)] emitter: SignalEmitter<'_>,
    ) -> Result<(), BluezError> {
        self.0.stop_discovery()?;
        Ok(self.discovering_changed(&emitter).await?)
    }

    #[zbus(property)]
    fn address(&self) -> &str {
        "00:AA:01:00:00:00"
    }
    #[zbus(property)]
    fn address_type(&self) -> &str {
        "public"
    }
    #[zbus(property)]
    fn name(&self) -> &str {
        "stand-in"
    }
    #[zbus(property)]
    fn alias(&self) -> &str {
        "stand-in"
    }
    #[zbus(property)]
    fn modalias(&self) -> &str {
        "usb:v1D6Bp0246d0542"
    }
    #[zbus(property)]
    fn discovering(&self) -> bool {
        self.0.discovering()
    }
    #[zbus(property)]
    fn powered(&self) -> bool {
        self.0.powered()
    }
    #[zbus(property)]
    fn set_powered(&mut self, on: bool) {
        self.0.set_powered(on);
    }
}

pub(super) struct Device {
    pub(super) radio: Radio,
    pub(super) peer: usize,
}

#[interface(name = "org.bluez.Device1")]
impl Device {
    async fn connect(&self) -> Result<(), BluezError> {
        self.radio.connect(self.peer).await
    }
    async fn disconnect(&self) -> Result<(), BluezError> {
        self.radio.disconnect(self.peer).await
    }
    #[zbus(property)]
    fn address(&self) -> String {
        self.radio.look(self.peer, |p| p.address.clone())
    }
    #[zbus(property)]
    fn address_type(&self) -> &str {
        "random"
    }
    #[zbus(property)]
    fn name(&self) -> String {
        self.radio.look(self.peer, |p| p.name.clone())
    }
    #[zbus(property)]
    fn alias(&self) -> String {
        self.radio.look(self.peer, |p| p.name.clone())
    }
    #[zbus(property)]
    fn adapter(&self) -> OwnedObjectPath {
        super::radio::path(super::radio::ADAPTER)
    }
    #[zbus(property)]
    fn paired(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn trusted(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn blocked(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn legacy_pairing(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn connected(&self) -> bool {
        self.radio.look(self.peer, |p| p.connected)
    }
    #[zbus(property)]
    fn services_resolved(&self) -> bool {
        self.radio.look(self.peer, |p| p.connected)
    }
    #[zbus(property, name = "UUIDs")]
    fn uuids(&self) -> Vec<String> {
        self.radio.look(self.peer, |p| p.advertised.clone())
    }
    #[zbus(property)]
    fn service_data(&self) -> HashMap<String, Value<'static>> {
        let battery = self.radio.look(self.peer, |p| p.advertised_battery);
        battery.map(|b| (super::peer::assigned(0x180f), Value::from(vec![b]))).into_iter().collect()
    }
    /// There only while it is heard; a property list leaves it out otherwise.
    #[zbus(property, name = "RSSI")]
    fn rssi(&self) -> fdo::Result<i16> {
        let heard = self.radio.look(self.peer, |p| p.heard.then_some(p.rssi_dbm));
        if let Some(rssi) = heard {
            Ok(rssi)
        } else {
            Err(fdo::Error::InvalidArgs("No such property 'RSSI'".into()))
        }
    }
}

pub(super) struct Service {
    pub(super) uuid: String,
    pub(super) device: OwnedObjectPath,
}

#[interface(name = "org.bluez.GattService1")]
impl Service {
    #[zbus(property, name = "UUID")]
    fn uuid(&self) -> &str {
        &self.uuid
    }
    #[zbus(property)]
    fn primary(&self) -> bool {
        true
    }
    #[zbus(property)]
    fn device(&self) -> OwnedObjectPath {
        self.device.clone()
    }
}

pub(super) struct Char {
    pub(super) radio: Radio,
    pub(super) peer: usize,
    pub(super) uuid: String,
    pub(super) flags: Vec<&'static str>,
    pub(super) service: OwnedObjectPath,
}

impl Char {
    fn can(&self, flag: &str) -> Result<(), BluezError> {
        if !self.flags.contains(&flag) {
            return Err(BluezError::NotSupported("Operation is not supported".into()));
        }
        if !self.radio.look(self.peer, |p| p.connected) {
            return Err(BluezError::Failed("Not connected".into()));
        }
        Ok(())
    }
}

#[interface(name = "org.bluez.GattCharacteristic1")]
impl Char {
    fn start_notify(&self) -> Result<(), BluezError> {
        self.can("notify")?;
        self.radio.edit(self.peer, |p| p.notifying.insert(self.uuid.clone()));
        Ok(())
    }
    fn stop_notify(&self) -> Result<(), BluezError> {
        self.radio.edit(self.peer, |p| p.notifying.remove(&self.uuid));
        Ok(())
    }
    fn read_value(&self, _options: HashMap<String, OwnedValue>) -> Result<Vec<u8>, BluezError> {
        self.can("read")?;
        let value = self.radio.look(self.peer, |p| {
            p.services.iter().flat_map(|s| &s.1).find(|c| c.uuid == self.uuid).map(|c| c.value.clone())
        });
        value.ok_or_else(|| BluezError::Failed("Not permitted".into()))
    }
    async fn write_value(
        &self,
        value: Vec<u8>,
        _options: HashMap<String, OwnedValue>,
    ) -> Result<(), BluezError> {
        self.can("write")?;
        self.radio.written(self.peer, &self.uuid, value).await;
        Ok(())
    }
    #[zbus(property, name = "UUID")]
    fn uuid(&self) -> &str {
        &self.uuid
    }
    #[zbus(property)]
    fn service(&self) -> OwnedObjectPath {
        self.service.clone()
    }
    #[zbus(property)]
    fn flags(&self) -> Vec<&str> {
        self.flags.clone()
    }
    #[zbus(property)]
    fn notifying(&self) -> bool {
        self.radio.look(self.peer, |p| p.notifying.contains(&self.uuid))
    }
    #[zbus(property, name = "MTU")]
    fn mtu(&self) -> u16 {
        self.radio.look(self.peer, |p| p.mtu)
    }
}
