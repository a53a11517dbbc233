//! Three straps of an invented player, on the air.

use super::{FakeBluez, Peer};
use peakorder_protocol::Role;
use peakorder_protocol::log::Record;
use peakorder_protocol::packet::DATA_UUID;
use peakorder_virtual_straps::Session;
use std::fmt::Write as _;
use std::time::Instant;

/// The three straps, as they are assigned by [`assign`].
pub fn straps() -> Vec<Peer> {
    (1..=3).map(Peer::strap).collect()
}

/// Writes the configuration: the first peers of the air are pelvis, thorax, lead arm.
pub fn assign(air: &FakeBluez, n: usize, profile: &str) {
    let mut text = String::new();
    for (i, role) in Role::ALL.iter().take(n).enumerate() {
        let address = air.peer(i).address;
        writeln!(text, "[straps.{}]\nid = \"{address}\"\nprofile = \"{profile}\"", role.key()).expect("text");
    }
    std::fs::write(air.bus().file("config.toml"), text).expect("a writable folder");
}

/// Sends every strap's packets when the model says that they come in.
pub fn play(air: &FakeBluez, session: &Session, from: Instant) {
    for (i, role) in Role::ALL.into_iter().enumerate() {
        let packets: Vec<(f64, Vec<u8>)> = session
            .records()
            .filter_map(|r| match r {
                Record::Arrival(a) if a.role == role => Some((a.t_ns as f64 * 1e-9, a.bytes)),
                _ => None,
            })
            .collect();
        air.play(i, DATA_UUID, from, packets.into_iter());
    }
}
