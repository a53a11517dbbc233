//! What is on the air: devices, their services, and what was done to them.

use std::collections::{BTreeMap, BTreeSet};

/// Bluetooth assigned numbers as 128-bit UUIDs.
pub fn assigned(number: u16) -> String {
    format!("0000{number:04x}-0000-1000-8000-00805f9b34fb")
}

/// One characteristic.
#[derive(Debug, Clone)]
pub struct Characteristic {
    /// UUID, lower case.
    pub uuid: String,
    /// As `BlueZ` writes them: `read`, `write`, `notify` …
    pub flags: Vec<&'static str>,
    /// What a read returns.
    pub value: Vec<u8>,
}

impl Characteristic {
    /// One with these flags and value.
    pub fn new(uuid: &str, flags: &[&'static str], value: &[u8]) -> Self {
        Self { uuid: uuid.into(), flags: flags.to_vec(), value: value.to_vec() }
    }
}

/// One device.
#[allow(clippy::struct_excessive_bools, reason = "independent facts about a device")]
#[derive(Debug, Clone)]
pub struct Peer {
    /// Address.
    pub address: String,
    /// Advertised name.
    pub name: String,
    /// Signal strength, dBm.
    pub rssi_dbm: i16,
    /// Advertised services.
    pub advertised: Vec<String>,
    /// Battery level in the advertisement (service data of 0x180f).
    pub advertised_battery: Option<u8>,
    /// Services by UUID.
    pub services: Vec<(String, Vec<Characteristic>)>,
    /// ATT MTU that the link gets.
    pub mtu: u16,
    /// In range and switched on.
    pub reachable: bool,
    /// Connected.
    pub connected: bool,
    /// Characteristics that notify.
    pub notifying: BTreeSet<String>,
    /// Everything written to it, in order: characteristic and bytes.
    pub writes: Vec<(String, Vec<u8>)>,
    /// Notifications that went out, by characteristic, in order.
    pub sent: BTreeMap<String, Vec<Vec<u8>>>,
    /// How often it was connected.
    pub connections: u32,
    /// An attempt is under way.
    pub(super) connecting: bool,
    /// `BlueZ` shows an object for it.
    pub(super) visible: bool,
    /// Heard since the scan began: only then `BlueZ` knows a signal strength.
    pub(super) heard: bool,
}

impl Peer {
    /// A device that is no strap: it advertises `service`.
    pub fn stranger(k: u8, service: u16) -> Self {
        Self {
            address: format!("5A:00:00:00:00:{k:02X}"),
            name: format!("thing {k}"),
            rssi_dbm: -50 - i16::from(k),
            advertised: vec![assigned(service)],
            advertised_battery: None,
            services: Vec::new(),
            mtu: 23,
            reachable: true,
            connected: false,
            notifying: BTreeSet::new(),
            writes: Vec::new(),
            sent: BTreeMap::new(),
            connections: 0,
            connecting: false,
            visible: false,
            heard: false,
        }
    }

    /// A reference strap.
    pub fn strap(k: u8) -> Self {
        use peakorder_protocol::packet::{CONTROL_UUID, DATA_UUID, SERVICE_UUID};
        let battery = Characteristic::new(&assigned(0x2a19), &["read", "notify"], &[80 + k]);
        let firmware = Characteristic::new(&assigned(0x2a26), &["read"], b"1.2.3");
        Self {
            address: format!("C0:FF:EE:00:00:{k:02X}"),
            name: format!("strap {k}"),
            rssi_dbm: -60 - i16::from(k),
            advertised: vec![SERVICE_UUID.into()],
            services: vec![
                (
                    SERVICE_UUID.into(),
                    vec![
                        Characteristic::new(CONTROL_UUID, &["write"], &[]),
                        Characteristic::new(DATA_UUID, &["notify"], &[]),
                    ],
                ),
                (assigned(0x180f), vec![battery]),
                (assigned(0x180a), vec![firmware]),
            ],
            mtu: 247,
            ..Self::stranger(k, 0x1812)
        }
    }

    /// Was it told to stop? (Byte 0 to a reference strap's control characteristic.)
    pub fn stopped(&self) -> bool {
        self.writes
            .last()
            .is_some_and(|(at, bytes)| at == peakorder_protocol::packet::CONTROL_UUID && bytes == &[0])
    }

    /// Does the data characteristic of a reference strap notify?
    pub fn streams(&self) -> bool {
        self.notifying.contains(peakorder_protocol::packet::DATA_UUID)
    }
}
