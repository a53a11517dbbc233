//! Sets up a connected strap: reads what it offers, configures it, subscribes.

use super::radio::explain;
use btleplug::api::{
    CharPropFlags, Characteristic, ConnectionParameterPreset, Peripheral as _, ValueNotification, WriteType,
};
use btleplug::platform::Peripheral;
use futures::Stream;
use peakorder_protocol::profile::{Keepalive, Op, OpKind, Profile};
use std::collections::BTreeSet;
use std::fmt;
use std::pin::Pin;
use std::time::Duration;
use uuid::Uuid;

/// `BlueZ` needs several seconds for a strap that it has not seen before.
const DISCOVER_TIMEOUT: Duration = Duration::from_secs(20);
/// A read or write may take this long.
const OP_TIMEOUT: Duration = Duration::from_secs(5);

/// A characteristic of a number assigned by the Bluetooth SIG.
const fn assigned(number: u32) -> Uuid {
    Uuid::from_u128(((number as u128) << 96) | 0x0000_0000_0000_1000_8000_0080_5f9b_34fb)
}

/// Battery Level.
const BATTERY_LEVEL: Uuid = assigned(0x2a19);
/// Characteristics of the Device Information service, with the words for them.
const DEVICE_INFORMATION: [(Uuid, &str); 4] = [
    (assigned(0x2a29), "maker"),
    (assigned(0x2a24), "model"),
    (assigned(0x2a27), "hardware"),
    (assigned(0x2a26), "firmware"),
];

/// Why a strap could not be brought up.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(super) enum LinkError {
    /// It would go wrong in the same way again.
    #[error(transparent)]
    Refused(#[from] Mismatch),
    /// It may go right the next time.
    #[error(transparent)]
    Failed(#[from] LinkFailure),
}

/// How a strap differs from its profile.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(super) enum Mismatch {
    #[error(
        "it has no characteristic {}, which profile '{profile}' uses; assign it with another profile \
         (peakorderd profile list)",
        short(characteristic)
    )]
    NoCharacteristic { characteristic: String, profile: String },
    #[error(
        "its characteristic {} does not notify; assign it with another profile (peakorderd profile list)",
        short(characteristic)
    )]
    DoesNotNotify { characteristic: String },
    #[error(
        "the link carries packets of {} bytes, profile '{profile}' needs {} (ATT MTU {mtu}, needed {needed}); \
         update the strap's firmware or this computer's Bluetooth software",
        mtu.saturating_sub(3),
        needed.saturating_sub(3)
    )]
    SmallPackets { mtu: u16, needed: u16, profile: String },
    #[error(
        "characteristic {} reads {found:02x?}, the profile expects {expected:02x?}; it is another version of \
         the strap",
        short(characteristic)
    )]
    OtherVersion { characteristic: String, found: Vec<u8>, expected: Vec<u8> },
}

/// What went wrong on the link.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(super) enum LinkFailure {
    /// The Bluetooth system refused a step; its words.
    #[error("{step}: {why}")]
    Step { step: Step, why: String },
    #[error("{0} took too long")]
    TooLong(Step),
    #[error("characteristic {} could not be read", short(.0))]
    Unreadable(String),
    /// No link came about; the connector's words.
    #[error("{0}")]
    NotConnected(String),
}

/// A step of bringing a strap up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    Services,
    Notifications,
    Write,
    Subscribe,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Services => "its services could not be read",
            Self::Notifications => "its notifications could not be listened to",
            Self::Write => "a write",
            Self::Subscribe => "subscribing",
        })
    }
}

fn failed(step: Step) -> impl FnOnce(btleplug::Error) -> LinkFailure {
    move |error| LinkFailure::Step { step, why: explain(&error) }
}

/// A strap that streams.
pub(super) struct Link {
    peripheral: Peripheral,
    /// Its notifications. They do not end with the link.
    pub(super) notifications: Pin<Box<dyn Stream<Item = ValueNotification> + Send>>,
    channels: Vec<Uuid>,
    characteristics: BTreeSet<Characteristic>,
    teardown: Vec<Op>,
    profile: String,
    /// Battery level, percent.
    pub(super) battery_percent: Option<u8>,
    /// What it says about itself, or empty.
    pub(super) information: String,
    /// Largest notification plus three bytes.
    pub(super) mtu: u16,
    /// Connection interval if the platform tells, milliseconds.
    pub(super) interval_ms: Option<f64>,
}

/// What a notification is.
pub(super) enum Kind {
    /// Samples, of this channel of the profile.
    Channel(u8),
    /// The battery level.
    Battery,
    /// Nothing that was asked for.
    Other,
}

fn find<'a>(
    all: &'a BTreeSet<Characteristic>,
    uuid: &str,
    service: Option<&str>,
) -> Option<&'a Characteristic> {
    let uuid = Uuid::parse_str(uuid).ok()?;
    let service = service.and_then(|s| Uuid::parse_str(s).ok());
    all.iter().find(|c| c.uuid == uuid && service.is_none_or(|s| c.service_uuid == s))
}

fn short(uuid: &str) -> &str {
    uuid.strip_suffix("-0000-1000-8000-00805f9b34fb").map_or(uuid, |s| s.trim_start_matches('0'))
}

async fn read(peripheral: &Peripheral, characteristic: &Characteristic) -> Option<Vec<u8>> {
    tokio::time::timeout(OP_TIMEOUT, peripheral.read(characteristic)).await.ok()?.ok()
}

/// Battery level, percent, if the strap has the service.
async fn battery(peripheral: &Peripheral, all: &BTreeSet<Characteristic>) -> Option<u8> {
    let level = all.iter().find(|c| c.uuid == BATTERY_LEVEL)?;
    read(peripheral, level).await?.first().copied().filter(|p| *p <= 100)
}

/// Text of a characteristic of the Device Information service, without what a terminal
/// would take for a command.
fn printable(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes)
        .chars()
        .filter(|c| !c.is_control())
        .take(40)
        .collect::<String>()
        .trim()
        .to_owned()
}

/// Reads the battery level of a connected strap of any kind.
pub(super) async fn battery_of(peripheral: &Peripheral) -> Option<u8> {
    tokio::time::timeout(DISCOVER_TIMEOUT, peripheral.discover_services()).await.ok()?.ok()?;
    battery(peripheral, &peripheral.characteristics()).await
}

impl Link {
    /// Looks at the connected `peripheral`, sets it up as `profile` says and subscribes.
    pub(super) async fn bring_up(peripheral: Peripheral, profile: &Profile) -> Result<Self, LinkError> {
        peripheral.discover_services_with_timeout(DISCOVER_TIMEOUT).await.map_err(failed(Step::Services))?;
        let characteristics = peripheral.characteristics();
        let mut wanted = Vec::new();
        for uuid in profile.channels() {
            let found = find(&characteristics, uuid, None).ok_or_else(|| Mismatch::NoCharacteristic {
                characteristic: uuid.clone(),
                profile: profile.id().to_owned(),
            })?;
            if !found.properties.intersects(CharPropFlags::NOTIFY | CharPropFlags::INDICATE) {
                return Err(Mismatch::DoesNotNotify { characteristic: uuid.clone() }.into());
            }
            wanted.push(found.clone());
        }
        let mtu = peripheral.mtu();
        let needed = profile.link().mtu_min;
        if mtu < needed {
            return Err(Mismatch::SmallPackets { mtu, needed, profile: profile.id().to_owned() }.into());
        }
        let mut said = Vec::new();
        for (uuid, word) in DEVICE_INFORMATION {
            if let Some(c) = characteristics.iter().find(|c| c.uuid == uuid)
                && let Some(bytes) = read(&peripheral, c).await
            {
                let text = printable(&bytes);
                if !text.is_empty() {
                    said.push(format!("{word} {text}"));
                }
            }
        }
        let battery_percent = battery(&peripheral, &characteristics).await;
        // Before subscribing: what comes in earlier than the stream is there is lost.
        let notifications = peripheral.notifications().await.map_err(failed(Step::Notifications))?;
        // Windows and Android can ask for a short connection interval; elsewhere the strap must.
        let _ =
            peripheral.request_connection_parameters(ConnectionParameterPreset::ThroughputOptimized).await;
        let link = Self {
            channels: wanted.iter().map(|c| c.uuid).collect(),
            teardown: profile.teardown().to_vec(),
            profile: profile.id().to_owned(),
            interval_ms: peripheral
                .connection_parameters()
                .await
                .ok()
                .flatten()
                .map(|p| f64::from(p.interval_us) * 1e-3),
            information: said.join(", "),
            peripheral,
            notifications,
            characteristics,
            battery_percent,
            mtu,
        };
        for op in profile.setup() {
            run(&link.peripheral, &link.characteristics, op, profile.id()).await?;
        }
        for characteristic in wanted {
            subscribe(&link.peripheral, &characteristic).await?;
        }
        let level = link
            .characteristics
            .iter()
            .find(|c| c.uuid == BATTERY_LEVEL && c.properties.contains(CharPropFlags::NOTIFY))
            .cloned();
        if let Some(level) = level
            && let Err(error) = subscribe(&link.peripheral, &level).await
        {
            tracing::debug!(%error, "The battery level does not notify.");
        }
        Ok(link)
    }

    /// What a notification is.
    pub(super) fn kind(&self, notification: &ValueNotification) -> Kind {
        match self.channels.iter().position(|c| *c == notification.uuid) {
            Some(channel) => Kind::Channel(channel as u8),
            None if notification.uuid == BATTERY_LEVEL => Kind::Battery,
            None => Kind::Other,
        }
    }

    /// A task that writes `keepalive` again and again until it is aborted.
    pub(super) fn keep_alive(&self, keepalive: &Keepalive) -> Option<tokio::task::JoinHandle<()>> {
        let at = find(&self.characteristics, &keepalive.characteristic, None)?.clone();
        let peripheral = self.peripheral.clone();
        let bytes = keepalive.bytes.clone();
        let mut due = tokio::time::interval(Duration::from_secs_f64(keepalive.every_s.clamp(0.05, 3600.0)));
        Some(tokio::spawn(async move {
            loop {
                due.tick().await;
                if let Err(error) = write(&peripheral, &at, &bytes, WriteType::WithResponse).await {
                    tracing::debug!(%error, "The strap could not be kept awake.");
                }
            }
        }))
    }

    /// Runs the profile's tear-down. Needs no link to be held meanwhile: the strap may go on
    /// sending until it has understood.
    pub(super) fn teardown(&self) -> impl Future<Output = ()> + Send + use<> {
        let (peripheral, all, ops, profile) = (
            self.peripheral.clone(),
            self.characteristics.clone(),
            self.teardown.clone(),
            self.profile.clone(),
        );
        async move {
            for op in ops {
                if let Err(error) = run(&peripheral, &all, &op, &profile).await {
                    tracing::debug!(%error, "A tear-down step failed.");
                    return;
                }
            }
        }
    }

    /// Closes the link.
    pub(super) async fn drop_link(self) {
        disconnect(&self.peripheral).await;
    }

    /// Whose link it is.
    pub(super) fn peripheral(&self) -> &Peripheral {
        &self.peripheral
    }
}

/// Closes the link to `peripheral`; a link that is gone already is no error.
pub(super) async fn disconnect(peripheral: &Peripheral) {
    let _ = tokio::time::timeout(super::connector::DISCONNECT_TIMEOUT, peripheral.disconnect()).await;
}

async fn write(
    to: &Peripheral,
    at: &Characteristic,
    bytes: &[u8],
    how: WriteType,
) -> Result<(), LinkFailure> {
    tokio::time::timeout(OP_TIMEOUT, to.write(at, bytes, how))
        .await
        .map_err(|_| LinkFailure::TooLong(Step::Write))?
        .map_err(failed(Step::Write))
}

async fn subscribe(to: &Peripheral, characteristic: &Characteristic) -> Result<(), LinkFailure> {
    tokio::time::timeout(OP_TIMEOUT, to.subscribe(characteristic))
        .await
        .map_err(|_| LinkFailure::TooLong(Step::Subscribe))?
        .map_err(failed(Step::Subscribe))
}

/// One step of a set-up or tear-down of `profile`.
async fn run(
    peripheral: &Peripheral,
    all: &BTreeSet<Characteristic>,
    op: &Op,
    profile: &str,
) -> Result<(), LinkError> {
    let characteristic = || op.characteristic.clone();
    let at = find(all, &op.characteristic, op.service.as_deref()).ok_or_else(|| {
        Mismatch::NoCharacteristic { characteristic: characteristic(), profile: profile.to_owned() }
    })?;
    match op.kind {
        OpKind::Write => write(peripheral, at, &op.bytes, WriteType::WithResponse).await?,
        OpKind::WriteWithoutResponse => write(peripheral, at, &op.bytes, WriteType::WithoutResponse).await?,
        OpKind::Read => {
            let value =
                read(peripheral, at).await.ok_or_else(|| LinkFailure::Unreadable(characteristic()))?;
            if let Some(expect) = &op.expect
                && !value.starts_with(expect)
            {
                return Err(Mismatch::OtherVersion {
                    characteristic: characteristic(),
                    found: value,
                    expected: expect.clone(),
                }
                .into());
            }
        }
        OpKind::Subscribe | OpKind::Indicate => subscribe(peripheral, at).await?,
    }
    if op.after_ms > 0 {
        tokio::time::sleep(Duration::from_millis(op.after_ms.into())).await;
    }
    Ok(())
}
