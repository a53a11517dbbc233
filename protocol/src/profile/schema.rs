//! The profile as written in TOML, schema version 1. Types of this module mirror the file;
//! [`super::check`] turns them into what the rest of the program uses.

use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};
use std::fmt;

/// Schema version read by this program.
pub(super) const VERSION: i64 = 1;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    /// Schema version; judged before the rest is read.
    #[serde(rename = "profile")]
    pub(super) _version: i64,
    pub(super) id: String,
    pub(super) name: String,
    pub(super) note: Option<String>,
    #[serde(rename = "match")]
    pub(super) matching: Option<Match>,
    #[serde(default)]
    pub(super) link: LinkSettings,
    #[serde(default)]
    pub(super) setup: Vec<Op>,
    #[serde(default)]
    pub(super) teardown: Vec<Op>,
    pub(super) keepalive: Option<Keepalive>,
    pub(super) stream: Vec<Stream>,
    pub(super) merge: Option<Merge>,
    pub(super) scale: Scales,
    pub(super) axes: Option<Axes>,
    pub(super) clock: Clock,
    #[serde(default)]
    pub(super) flags: Flags,
    #[serde(default)]
    pub(super) sensor: Sensor,
    #[serde(default)]
    pub(super) selfcheck: SelfCheck,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Match {
    pub(super) service: Option<String>,
    pub(super) char: Option<String>,
    pub(super) name_prefix: Option<String>,
    pub(super) company_id: Option<u16>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LinkSettings {
    pub(super) mtu_want: Option<u16>,
    pub(super) mtu_min: Option<u16>,
    #[serde(default)]
    pub(super) interval_ms: Vec<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Op {
    #[serde(rename = "op")]
    pub(super) kind: OpKind,
    pub(super) service: Option<String>,
    pub(super) char: String,
    pub(super) hex: Option<String>,
    pub(super) expect: Option<String>,
    #[serde(default)]
    pub(super) after_ms: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum OpKind {
    Write,
    WriteNr,
    Read,
    Subscribe,
    Indicate,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Keepalive {
    pub(super) char: String,
    pub(super) hex: String,
    pub(super) every_s: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Stream {
    pub(super) char: String,
    #[serde(default)]
    pub(super) endian: Endian,
    #[serde(default)]
    pub(super) require: Vec<Require>,
    #[serde(default)]
    pub(super) header: Vec<HeaderField>,
    pub(super) layout: Layout,
    pub(super) count: Count,
    pub(super) sample: Vec<SampleField>,
    #[serde(default)]
    pub(super) trailer: Vec<HeaderField>,
    pub(super) frame: Option<Frame>,
    pub(super) join: Option<Join>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Endian {
    #[default]
    Le,
    Be,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Layout {
    Interleaved,
    Planar,
    DeltaLsb,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Require {
    pub(super) at: u16,
    pub(super) eq: u8,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct HeaderField {
    pub(super) f: Num,
    #[serde(rename = "as")]
    pub(super) role: HeaderRole,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum HeaderRole {
    Seq,
    TFirst,
    TLast,
    Period,
    N,
    PayloadLen,
    Flags,
    EventAge,
    Skip,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SampleField {
    pub(super) f: Num,
    #[serde(rename = "as")]
    pub(super) role: SampleRole,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum SampleRole {
    GyroX,
    GyroY,
    GyroZ,
    AccX,
    AccY,
    AccZ,
    TNs,
    Skip,
}

/// A number's form on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Num {
    U8,
    U16,
    U24,
    U32,
    U64,
    I8,
    I16,
    I24,
    I32,
    I64,
    F32,
    F64,
}

impl Num {
    /// Bytes.
    pub(super) const fn size(self) -> usize {
        match self {
            Self::U8 | Self::I8 => 1,
            Self::U16 | Self::I16 => 2,
            Self::U24 | Self::I24 => 3,
            Self::U32 | Self::I32 | Self::F32 => 4,
            Self::U64 | Self::I64 | Self::F64 => 8,
        }
    }

    pub(super) const fn is_unsigned(self) -> bool {
        matches!(self, Self::U8 | Self::U16 | Self::U24 | Self::U32 | Self::U64)
    }

    pub(super) const fn is_float(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }
}

/// How many samples a packet holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Count {
    Fixed(u16),
    /// As many as the bytes allow.
    Rest,
    /// As many as the header's `payload_len` allows; what is left over is the trailer.
    Payload,
    /// The header's `n`.
    FromHeader,
}

impl<'de> Deserialize<'de> for Count {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct CountVisitor;

        impl Visitor<'_> for CountVisitor {
            type Value = Count;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number of samples from 1 to 65535, \"rest\", \"payload\" or \"n\"")
            }

            fn visit_i64<E: de::Error>(self, v: i64) -> Result<Count, E> {
                match u16::try_from(v) {
                    Ok(n) if n > 0 => Ok(Count::Fixed(n)),
                    _ => Err(E::invalid_value(de::Unexpected::Signed(v), &self)),
                }
            }

            fn visit_str<E: de::Error>(self, v: &str) -> Result<Count, E> {
                match v {
                    "rest" => Ok(Count::Rest),
                    "payload" => Ok(Count::Payload),
                    "n" => Ok(Count::FromHeader),
                    _ => Err(E::invalid_value(de::Unexpected::Str(v), &self)),
                }
            }
        }

        deserializer.deserialize_any(CountVisitor)
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Frame {
    pub(super) sync: String,
    pub(super) len: u16,
    pub(super) checksum: Option<Checksum>,
}

/// How the last byte of a frame is made from the bytes before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Checksum {
    Sum8,
    Xor8,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Join {
    pub(super) continue_at: u16,
    pub(super) continue_eq: u8,
    pub(super) drop: u16,
    /// Fewest samples of a whole packet, for layouts in which a first fragment may look whole.
    #[serde(default)]
    pub(super) min_samples: u16,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Merge {
    pub(super) how: MergeHow,
    pub(super) clock_of: Quantity,
    pub(super) max_gap_ms: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum MergeHow {
    Nearest,
    Index,
    Interpolate,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Quantity {
    Gyro,
    Acc,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Scales {
    pub(super) acc: Scale,
    pub(super) gyro: Scale,
}

/// Value in `unit` = count × mul + add.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Scale {
    pub(super) mul: f64,
    #[serde(default)]
    pub(super) add: f64,
    pub(super) unit: Unit,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub(super) enum Unit {
    #[serde(rename = "g")]
    G,
    #[serde(rename = "mg")]
    MilliG,
    #[serde(rename = "m/s2")]
    MetrePerSecondSquared,
    #[serde(rename = "dps")]
    DegreePerSecond,
    #[serde(rename = "rad/s")]
    RadianPerSecond,
}

/// Rows of signed permutations, `mapped = matrix × sent`. Acceleration and angular velocity
/// have one each: in a left-handed sensor frame they do not map alike.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Axes {
    pub(super) acc: [[i8; 3]; 3],
    pub(super) gyro: [[i8; 3]; 3],
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Clock {
    pub(super) kind: ClockKind,
    pub(super) tick_us: Option<f64>,
    pub(super) bits: Option<u32>,
    pub(super) stamps: Option<Stamps>,
    pub(super) period_tick_us: Option<f64>,
    pub(super) seq_counts: Option<SeqCounts>,
    pub(super) event: Option<Event>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum ClockKind {
    Timestamp,
    Counter,
    None,
    Common,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Stamps {
    First,
    Last,
    Read,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum SeqCounts {
    Packets,
    Samples,
}

/// What the header's `event_age` means.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Event {
    pub(super) tick_us: f64,
    /// Value that means "not known".
    pub(super) unknown: Option<u64>,
    /// Bits of `flags` that hold how many packets earlier; packets without flags: one earlier.
    pub(super) back_mask: Option<u8>,
}

/// Masks of the header's `flags`.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Flags {
    pub(super) saturated: Option<u8>,
    pub(super) dropped: Option<u8>,
    pub(super) restarted: Option<u8>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Sensor {
    pub(super) rate_hz: Option<f64>,
    pub(super) rate_tol_ppm: Option<f64>,
    pub(super) paced_by: Option<PacedBy>,
    #[serde(default)]
    pub(super) group_delay_ms: f64,
    pub(super) gyro_range_dps: Option<f64>,
    pub(super) acc_range_g: Option<f64>,
    pub(super) sample_is: Option<SampleIs>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum PacedBy {
    Imu,
    Timer,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum SampleIs {
    Instant,
    IntervalMean,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SelfCheck {
    /// Lowest and highest median |acceleration| at rest.
    pub(super) rest_acc_g: Option<[f64; 2]>,
    /// Highest |angular velocity| at rest.
    pub(super) rest_gyro_dps: Option<f64>,
}
