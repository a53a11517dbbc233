//! What a strap profile says, in SI units and checked.

/// How a strap is recognised during a scan: any one criterion is enough.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Match {
    /// Advertised service, 128-bit UUID in lower case.
    pub service: Option<String>,
    /// Characteristic that shows once connected, 128-bit UUID in lower case.
    pub characteristic: Option<String>,
    /// Beginning of the advertised name.
    pub name_prefix: Option<String>,
    /// Bluetooth company id of the manufacturer data.
    pub company_id: Option<u16>,
}

/// What the link must be like.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LinkSettings {
    /// ATT MTU to ask for.
    pub mtu_want: Option<u16>,
    /// ATT MTU below which packets do not fit; 23 unless stated.
    pub mtu_min: u16,
}

/// One step of the set-up or tear-down; run in order after every connect.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Op {
    /// What to do.
    pub kind: OpKind,
    /// Service, where the characteristic's UUID occurs in several.
    pub service: Option<String>,
    /// Characteristic, 128-bit UUID in lower case.
    pub characteristic: String,
    /// Bytes to write (empty for other kinds).
    pub bytes: Vec<u8>,
    /// Beginning that a read value must have.
    pub expect: Option<Vec<u8>>,
    /// Wait afterwards, milliseconds.
    pub after_ms: u32,
}

/// Kinds of [`Op`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpKind {
    /// Write with response.
    Write,
    /// Write without response.
    WriteWithoutResponse,
    /// Read.
    Read,
    /// Switch notifications on.
    Subscribe,
    /// Switch indications on.
    Indicate,
}

/// Bytes to be written again and again, for straps that stop when idle.
#[derive(Debug, Clone, PartialEq)]
pub struct Keepalive {
    /// Characteristic, 128-bit UUID in lower case.
    pub characteristic: String,
    /// Bytes to write.
    pub bytes: Vec<u8>,
    /// Period, seconds.
    pub every_s: f64,
}

/// What a strap must show while it lies still; anything else means that the profile does
/// not fit the strap (wrong unit, wrong layout).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestCheck {
    /// Median specific force, lowest, m/s².
    pub acc_min_m_s2: f64,
    /// Median specific force, highest, m/s².
    pub acc_max_m_s2: f64,
    /// Angular velocity, highest magnitude, rad/s.
    pub gyro_max_rad_s: f64,
}

/// What times and samples of this strap are worth.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockInfo {
    /// What the packets carry.
    pub kind: ClockKind,
    /// Seconds per tick of [`PacketHead::t_raw`](super::PacketHead::t_raw); 0 unless `kind` is `Timestamp`.
    pub tick_s: f64,
    /// Width of the device time in bits: it wraps at `2^bits` ticks; 0 unless `kind` is `Timestamp`.
    pub bits: u32,
    /// What the sequence number counts.
    pub seq_counts: SeqCounts,
    /// Which sample the device time belongs to.
    pub stamps: Stamps,
    /// Some packets say when an earlier packet could first have been sent.
    pub has_event_stamps: bool,
    /// Packets carry a sequence number.
    pub has_seq: bool,
    /// Nominal sampling rate, Hz; 0 where samples carry their own times and no rate is stated.
    pub nominal_rate_hz: f64,
    /// Tolerance of the rate, parts per million (±).
    pub rate_tol_ppm: f64,
    /// Delay of the sensor's own low-pass filter, seconds.
    pub group_delay_s: f64,
    /// What a gyroscope sample stands for.
    pub sample_is: SampleIs,
    /// Gyroscope range (±), rad/s, if stated.
    pub gyro_range_rad_s: Option<f64>,
    /// Accelerometer range (±), m/s², if stated.
    pub acc_range_m_s2: Option<f64>,
    /// What sets the sampling instants.
    pub paced_by: PacedBy,
    /// Connection intervals the strap asks for, seconds; empty when not known.
    pub intervals_s: Vec<f64>,
}

/// What a strap's packets say about time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockKind {
    /// A device time.
    Timestamp,
    /// A sequence number only.
    Counter,
    /// Nothing: timing is not reliable after a loss.
    None,
    /// Each sample's time on the session clock.
    Common,
}

/// What a sequence number counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SeqCounts {
    /// Packets.
    Packets,
    /// Samples (the number of the packet's first sample).
    Samples,
}

/// Which instant a device time belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stamps {
    /// The packet's first sample.
    First,
    /// The packet's last sample.
    Last,
    /// The moment the strap's processor read the sensor: up to a sample period late.
    Read,
}

/// What a gyroscope sample stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleIs {
    /// Angular velocity at the sample's instant.
    Instant,
    /// Mean angular velocity over the sample interval that ends at the sample's instant.
    IntervalMean,
}

/// What sets the sampling instants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PacedBy {
    /// The sensor's own oscillator.
    Imu,
    /// A timer of the strap's processor.
    Timer,
}
