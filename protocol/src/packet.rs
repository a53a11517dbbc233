//! The open reference strap's packet, and the packet that imported samples are kept in.
//!
//! Only encoding is here: decoding goes through the built-in profiles `ref-strap-v1` and
//! `common-clock-v1` like every other strap's (see [`crate::profile`]).
//!
//! Long form (little-endian), for an ATT MTU of at least 27; 19 samples fit an MTU of 247:
//!
//! | offset | type | field |
//! |---|---|---|
//! | 0 | u8 | 0x11 = version 1, long form |
//! | 1 | u8 | flags: bits 0–3 `back`, 4 sensor saturated, 5 samples dropped before this packet, 6 clock restarted, 7 zero |
//! | 2 | u16 | packet sequence |
//! | 4 | u32 | µs of the first sample |
//! | 8 | u16 | measured sample period, 0.2 µs; 0 = not measured |
//! | 10 | u16 | event age, 10 µs: for the packet `back` places earlier, device time from its last sample to the first connection event that could carry it; 0xffff = unknown |
//! | 12 | 12 each | gyro x y z i16 (0.070 °/s), acc x y z i16 (0.488 mg) |
//!
//! Short form, exactly the 20 bytes that an MTU of 23 carries: u8 0x12, u8 sequence,
//! u32 µs, u16 event age (`back` = 1), one sample.

/// Strap service.
pub const SERVICE_UUID: &str = "f0b70001-5c3e-4d2a-9a6e-2f6d7374724b";
/// Control characteristic (write with response).
pub const CONTROL_UUID: &str = "f0b70002-5c3e-4d2a-9a6e-2f6d7374724b";
/// Data characteristic (notify).
pub const DATA_UUID: &str = "f0b70003-5c3e-4d2a-9a6e-2f6d7374724b";
/// Information characteristic (read).
pub const INFO_UUID: &str = "f0b70004-5c3e-4d2a-9a6e-2f6d7374724b";

/// First byte of the long form.
pub const TYPE_LONG: u8 = 0x11;
/// First byte of the short form.
pub const TYPE_SHORT: u8 = 0x12;
/// Gyroscope scale, degrees per second per count.
pub const GYRO_DPS_PER_COUNT: f64 = 0.070;
/// Accelerometer scale, milli-g per count.
pub const ACC_MG_PER_COUNT: f64 = 0.488;
/// Bits of `flags` that say which earlier packet the event age is about.
pub const FLAG_BACK_MASK: u8 = 0x0f;
/// A sample of this packet is at the sensor's range limit.
pub const FLAG_SATURATED: u8 = 0x10;
/// Samples were dropped before this packet.
pub const FLAG_DROPPED: u8 = 0x20;
/// The strap's clock started anew.
pub const FLAG_RESTARTED: u8 = 0x40;
/// Event age that means "not known".
pub const EVENT_AGE_UNKNOWN: u16 = 0xffff;
/// Length of the long form's header.
pub const LONG_HEADER_LEN: usize = 12;
/// Length of one sample.
pub const SAMPLE_LEN: usize = 12;
/// Samples that fit a notification at an ATT MTU of 247.
pub const MAX_SAMPLES_MTU_247: usize = (247 - 3 - LONG_HEADER_LEN) / SAMPLE_LEN;

/// One sample as sensor counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RawCounts {
    /// Gyroscope, [`GYRO_DPS_PER_COUNT`].
    pub gyro: [i16; 3],
    /// Accelerometer, [`ACC_MG_PER_COUNT`].
    pub acc: [i16; 3],
}

/// One packet of the reference strap.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReferencePacket {
    /// `FLAG_*` bits and, in bits 0–3, `back`.
    pub flags: u8,
    /// Packet counter, wrapping (the short form sends its low 8 bits).
    pub sequence: u16,
    /// Device clock at the first sample, microseconds, wrapping.
    pub t_first_us: u32,
    /// Measured sample period, fifths of a microsecond; 0 = not measured.
    pub period_fifth_us: u16,
    /// Device time from the last sample of the packet `back` places earlier to the first
    /// connection event that could carry it, 10 µs; [`EVENT_AGE_UNKNOWN`].
    pub event_age_10us: u16,
    /// The samples, oldest first.
    pub samples: Vec<RawCounts>,
}

impl ReferencePacket {
    /// Appends the long form to `out`.
    pub fn encode(&self, out: &mut Vec<u8>) {
        out.extend_from_slice(&[TYPE_LONG, self.flags]);
        out.extend_from_slice(&self.sequence.to_le_bytes());
        out.extend_from_slice(&self.t_first_us.to_le_bytes());
        out.extend_from_slice(&self.period_fifth_us.to_le_bytes());
        out.extend_from_slice(&self.event_age_10us.to_le_bytes());
        for sample in &self.samples {
            sample.encode(out);
        }
    }

    /// Appends the short form, which has room for one sample and neither flags nor period.
    /// `false`, with nothing appended, when the packet does not hold exactly one sample.
    #[must_use]
    pub fn encode_short(&self, out: &mut Vec<u8>) -> bool {
        let [sample] = self.samples.as_slice() else { return false };
        out.extend_from_slice(&[TYPE_SHORT, self.sequence as u8]);
        out.extend_from_slice(&self.t_first_us.to_le_bytes());
        out.extend_from_slice(&self.event_age_10us.to_le_bytes());
        sample.encode(out);
        true
    }
}

impl RawCounts {
    fn encode(&self, out: &mut Vec<u8>) {
        for v in self.gyro.iter().chain(&self.acc) {
            out.extend_from_slice(&v.to_le_bytes());
        }
    }
}

/// Packets of the built-in profile `common-clock-v1`: samples whose times already are the
/// session clock, as CSV import makes them.
pub mod common_clock {
    /// Id of the built-in profile that decodes these packets.
    pub const PROFILE_ID: &str = "common-clock-v1";
    /// Length of one sample: i64 nanoseconds, gyro x y z f32, acc x y z f32.
    pub const SAMPLE_LEN: usize = 32;

    /// One sample on the session clock.
    #[derive(Debug, Clone, Copy, PartialEq)]
    pub struct Sample {
        /// Session clock, nanoseconds.
        pub t_ns: i64,
        /// Angular velocity, rad/s.
        pub gyro_rad_s: [f32; 3],
        /// Specific force, m/s².
        pub acc_m_s2: [f32; 3],
    }

    /// One packet of these samples.
    pub fn encode(samples: &[Sample]) -> Vec<u8> {
        let mut out = Vec::with_capacity(samples.len() * SAMPLE_LEN);
        for s in samples {
            out.extend_from_slice(&s.t_ns.to_le_bytes());
            for v in s.gyro_rad_s.iter().chain(&s.acc_m_s2) {
                out.extend_from_slice(&v.to_le_bytes());
            }
        }
        out
    }
}
