//! A Bluetooth-Low-Energy-like link: packets wait for connection events, events fail alone
//! and in bursts, the host is late by a jitter, packets stay in order.
//!
//! All figures are assumptions; nothing was measured on radio hardware.

mod stream;

pub(crate) use stream::{StrapStream, StreamSetup};

/// Parameters of the link.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinkModel {
    /// Connection interval, seconds.
    pub interval_s: f64,
    /// Notifications that one connection event carries.
    pub per_event: u32,
    /// Share of events that fail.
    pub fail: f64,
    /// Bursts of 50–300 ms in which most events fail, per minute.
    pub bursts_per_min: f64,
    /// Share of events that fail in a burst.
    pub fail_in_burst: f64,
    /// Share of packets that never arrive.
    pub drop: f64,
    /// From event to host at least, seconds.
    pub base_s: f64,
    /// Mean of the exponential lateness on top, seconds.
    pub jitter_s: f64,
    /// Share of packets that are late by a second, longer exponential.
    pub tail_share: f64,
    /// Mean of that, seconds.
    pub tail_s: f64,
    /// Cap of that, seconds.
    pub tail_cap_s: f64,
    /// Packets that the strap keeps while events fail.
    pub queue: f64,
    /// The host's radio clock is off by up to this much against its monotonic clock, ppm.
    pub host_ppm: f64,
    /// Packets carry the age of their predecessor's first event.
    pub event_stamps: bool,
    /// Share of those ages that are unknown.
    pub stamp_unknown: f64,
    /// SD of their error, seconds.
    pub stamp_noise_s: f64,
}

impl LinkModel {
    /// A good connection in one room, 15 ms interval.
    pub const fn normal() -> Self {
        Self {
            interval_s: 0.015,
            per_event: 4,
            fail: 0.02,
            bursts_per_min: 3.0,
            fail_in_burst: 0.92,
            drop: 0.002,
            base_s: 0.002,
            jitter_s: 0.0012,
            tail_share: 0.03,
            tail_s: 0.010,
            tail_cap_s: 0.030,
            queue: 14.0,
            host_ppm: 20.0,
            event_stamps: true,
            stamp_unknown: 0.15,
            stamp_noise_s: 0.0001,
        }
    }

    /// A crowded band and a busy host.
    pub const fn harsh() -> Self {
        Self {
            fail: 0.15,
            bursts_per_min: 12.0,
            drop: 0.02,
            jitter_s: 0.003,
            tail_share: 0.10,
            tail_s: 0.015,
            ..Self::normal()
        }
    }
}

/// The connection is lost and comes back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outage {
    /// When it is lost, session seconds.
    pub start_s: f64,
    /// How long, seconds.
    pub duration_s: f64,
    /// The strap's clock and counter begin anew, as after a reset.
    pub clock_restarts: bool,
}
