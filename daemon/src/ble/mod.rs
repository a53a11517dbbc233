//! Straps over Bluetooth Low Energy, by btleplug.
//!
//! [`radio`] opens the adapter, a connecting task brings up one strap after the other,
//! [`setup`] says which straps are worn, [`profiles`] what they send, and [`straps`] keeps them
//! connected and moves their bytes. Observers of a strap's stream are apart and pure:
//! [`rest_check`] (does the strap fit its profile), [`notices`] (what a live session records of
//! that), [`signal`] (is the signal good enough for a lesson), [`turning`] (which strap turns).
//!
//! [`finding`], [`identifying`] and [`checking`] are what comes before a lesson: the commands and the page both use them.
//!
//! Written for Linux (`BlueZ`), macOS and Windows alike; only Linux is tested.

pub mod checking;
mod connector;
pub mod finding;
pub mod identifying;
mod link;
pub mod notices;
pub mod profiles;
pub mod radio;
pub mod rest_check;
pub mod setup;
pub mod signal;
pub mod straps;
pub mod turning;

use btleplug::platform::Peripheral;

/// Connects a strap that was heard, reads its battery level (percent) and lets go of it.
/// The scan must have been stopped.
pub async fn read_battery(peripheral: &Peripheral) -> Option<u8> {
    let connected = connector::connect(peripheral).await.ok()?;
    let percent = link::battery_of(&connected).await;
    link::disconnect(&connected).await;
    percent
}
