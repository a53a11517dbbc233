//! The Bluetooth adapter: opening it, and what it hears.

use btleplug::api::{Central as _, CentralEvent, CentralState, Manager as _, Peripheral as _, ScanFilter};
use btleplug::platform::{Adapter, Manager, Peripheral, PeripheralId};
use futures::StreamExt as _;
use std::time::{Duration, Instant};
use tokio::sync::broadcast;
use uuid::Uuid;

/// Battery service, whose data an advertisement may carry (Bluetooth assigned number 0x180F).
const BATTERY_SERVICE: Uuid = Uuid::from_u128(0x0000_180f_0000_1000_8000_0080_5f9b_34fb);
/// The Bluetooth service may still be starting.
const PATIENCE: Duration = Duration::from_secs(5);

/// Why the radio could not be used, in words for the user.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct RadioError(pub String);

impl RadioError {
    fn of(error: &btleplug::Error) -> Self {
        Self(explain(error))
    }
}

/// What a Bluetooth error means and what to do about it.
pub fn explain(error: &btleplug::Error) -> String {
    let text = error.to_string();
    let has = |s: &str| text.contains(s);
    let advice = if has("ServiceUnknown") || has("NameHasNoOwner") || has("org.bluez was not provided") {
        "the Bluetooth service is not running; install and start it: \
         sudo apt install bluez; sudo systemctl enable --now bluetooth"
    } else if has("AccessDenied")
        || has("NotAuthorized")
        || matches!(error, btleplug::Error::PermissionDenied)
    {
        if cfg!(target_os = "linux") {
            "not allowed to use Bluetooth; run: sudo usermod -aG bluetooth $USER, then log out and in"
        } else {
            "not allowed to use Bluetooth; allow it for this program in the system's privacy settings"
        }
    } else if has("FileNotFound") || has("Failed to connect to socket") || has("NoServer") {
        "the system message bus is not running, and Bluetooth is reached through it; \
         start it: sudo systemctl start dbus"
    } else if has("NotReady") || has("Not Ready") {
        "the Bluetooth adapter is switched off; run: rfkill unblock bluetooth; bluetoothctl power on"
    } else {
        return text;
    };
    format!("{advice} ({text})")
}

/// What one device says on the air.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Advert {
    /// Address; on macOS the id that the system gives.
    pub id: String,
    /// Advertised name, or empty.
    pub name: String,
    /// Signal strength, dBm; absent if it was not heard since the scan began.
    pub rssi_dbm: Option<i16>,
    /// Advertised services, 128-bit UUIDs in lower case.
    pub services: Vec<String>,
    /// Company ids of its manufacturer data.
    pub companies: Vec<u16>,
    /// Battery level if the advertisement carries it, percent.
    pub battery_percent: Option<u8>,
}

/// An adapter that is there.
#[derive(Debug, Clone)]
pub struct Radio {
    adapter: Adapter,
    lost: broadcast::Sender<PeripheralId>,
}

/// Names of all adapters, for messages.
async fn adapters(manager: &Manager) -> Result<Vec<(String, Adapter)>, btleplug::Error> {
    let mut named = Vec::new();
    for adapter in manager.adapters().await? {
        named.push((adapter.adapter_info().await?, adapter));
    }
    Ok(named)
}

impl Radio {
    /// Opens the adapter whose name begins with `wanted`, or the first. Waits a little for
    /// a Bluetooth service that is still starting.
    pub async fn open(wanted: Option<&str>) -> Result<Self, RadioError> {
        let deadline = Instant::now() + PATIENCE;
        loop {
            match Self::open_now(wanted).await {
                Err(error) if Instant::now() >= deadline => return Err(error),
                Err(_) => tokio::time::sleep(Duration::from_millis(100)).await,
                opened => return opened,
            }
        }
    }

    /// Like [`Radio::open`] without waiting.
    pub async fn open_now(wanted: Option<&str>) -> Result<Self, RadioError> {
        let manager = Manager::new().await.map_err(|e| RadioError::of(&e))?;
        let found = adapters(&manager).await.map_err(|e| RadioError::of(&e))?;
        let names: Vec<&str> = found.iter().map(|(n, _)| n.as_str()).collect();
        let chosen = match wanted {
            None if found.is_empty() => {
                return Err(RadioError(
                    "no Bluetooth adapter; plug one in, or switch on the built-in one (rfkill list shows why it is off)"
                        .into(),
                ));
            }
            None => 0,
            Some(wanted) => names.iter().position(|n| n.starts_with(wanted)).ok_or_else(|| {
                RadioError(format!(
                    "no Bluetooth adapter '{wanted}'; there is: {}. Change `adapter` in the configuration",
                    if names.is_empty() { "none".into() } else { names.join(", ") }
                ))
            })?,
        };
        let adapter =
            found.into_iter().nth(chosen).map(|(_, a)| a).ok_or_else(|| RadioError("no adapter".into()))?;
        let mut events = adapter.events().await.map_err(|e| RadioError::of(&e))?;
        let (lost, _) = broadcast::channel(64);
        let tell = lost.clone();
        // Ends with the adapter's event stream, that is with the process.
        tokio::spawn(async move {
            while let Some(event) = events.next().await {
                if let CentralEvent::DeviceDisconnected(id) = event {
                    // No strap listening is no error.
                    let _ = tell.send(id);
                }
            }
        });
        Ok(Self { adapter, lost })
    }

    /// The adapter's name.
    pub async fn name(&self) -> String {
        self.adapter.adapter_info().await.unwrap_or_else(|_| "adapter".into())
    }

    /// Is it switched on? `None` if the platform does not say.
    pub async fn powered(&self) -> Option<bool> {
        match self.adapter.adapter_state().await {
            Ok(CentralState::PoweredOn) => Some(true),
            Ok(CentralState::PoweredOff) => Some(false),
            _ => None,
        }
    }

    /// Ids of straps whose link is lost, from now on.
    pub fn lost_links(&self) -> broadcast::Receiver<PeripheralId> {
        self.lost.subscribe()
    }

    /// Starts listening; also switches the adapter on where the platform lets it. One scan
    /// at a time: `BlueZ` refuses a second one of the same program.
    pub async fn start_scan(&self) -> Result<(), RadioError> {
        // Straps are told apart by name as well, so the scan cannot filter by service.
        self.adapter.start_scan(ScanFilter::default()).await.map_err(|e| RadioError::of(&e))
    }

    /// Stops listening.
    pub async fn stop_scan(&self) {
        if let Err(error) = self.adapter.stop_scan().await {
            tracing::debug!(%error, "The scan could not be stopped.");
        }
    }

    /// Every device that the system knows.
    pub async fn known(&self) -> Result<Vec<Peripheral>, RadioError> {
        self.adapter.peripherals().await.map_err(|e| RadioError::of(&e))
    }
}

/// The id that the user sees: the address, or where the platform hides it its own id.
pub fn id_of(peripheral: &Peripheral) -> String {
    let address = peripheral.address();
    if address.into_inner() == [0; 6] { peripheral.id().to_string() } else { address.to_string() }
}

/// What `peripheral` says on the air; `None` if it is gone.
pub async fn advert(peripheral: &Peripheral) -> Option<Advert> {
    let properties = peripheral.properties().await.ok().flatten()?;
    Some(Advert {
        id: id_of(peripheral),
        name: properties.advertisement_name.or(properties.local_name).unwrap_or_default(),
        rssi_dbm: properties.rssi,
        services: properties.services.iter().map(Uuid::to_string).collect(),
        companies: properties.manufacturer_data.keys().copied().collect(),
        battery_percent: properties.service_data.get(&BATTERY_SERVICE).and_then(|d| d.first().copied()),
    })
}
