//! Straps over Bluetooth Low Energy, by btleplug.
//!
//! [`radio`] opens the adapter, a connecting task brings one strap after the other up,
//! [`setup`] says which straps are worn, [`straps`] keeps them up and moves their bytes, [`shelf`] knows what they send. What is
//! thought about the bytes is apart and pure: [`watch`] (does the strap fit its profile, did
//! it restart), [`signal`] (is the signal good enough for a lesson), [`turning`] (which
//! strap is being turned).
//!
//! Written for Linux (`BlueZ`), macOS and Windows alike; only Linux is tested.

mod connector;
mod link;
pub mod radio;
pub mod setup;
pub mod shelf;
pub mod signal;
pub mod straps;
pub mod turning;
pub mod watch;

use btleplug::platform::Peripheral;

/// Connects a strap that was heard, reads its battery level (percent) and lets go of it.
/// The scan must have been stopped.
pub async fn read_battery(peripheral: &Peripheral) -> Option<u8> {
    let connected = connector::connect(peripheral).await.ok()?;
    let percent = link::battery_of(&connected).await;
    link::disconnect(&connected).await;
    percent
}
