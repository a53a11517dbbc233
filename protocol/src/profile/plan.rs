//! A profile's streams in the flat form that the decoder walks: every offset, factor and
//! sign worked out beforehand.

use super::schema::{Checksum, Count, Endian, HeaderRole, Join, MergeHow, Num, Quantity, Require};

/// Largest number of samples in one packet; delta coding could otherwise claim millions
/// in a few bytes.
pub(super) const MAX_SAMPLES: usize = 4096;

#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub(super) channels: usize,
    pub(super) streams: Vec<StreamPlan>,
    pub(super) merge: Option<MergePlan>,
    /// Values at or above these count as clipped; infinite where no range is stated.
    pub(super) gyro_clip: f64,
    pub(super) acc_clip: f64,
    pub(super) period_tick_s: f64,
    /// Device times are cut to these bits.
    pub(super) t_mask: u64,
    pub(super) event: Option<EventPlan>,
    pub(super) saturated: u8,
    pub(super) dropped: u8,
    pub(super) restarted: u8,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct EventPlan {
    pub(super) tick_s: f64,
    pub(super) unknown: Option<u64>,
    pub(super) back_mask: u8,
}

#[derive(Debug, Clone)]
pub(super) struct StreamPlan {
    pub(super) channel: u8,
    pub(super) require: Vec<Require>,
    pub(super) endian: Endian,
    pub(super) header: Vec<HeaderSlot>,
    pub(super) header_len: usize,
    /// Offsets count from the trailer's start.
    pub(super) trailer: Vec<HeaderSlot>,
    pub(super) trailer_len: usize,
    pub(super) stamps_last: bool,
    pub(super) seq_bits: u8,
    pub(super) count: Count,
    pub(super) delta: bool,
    pub(super) axes: Vec<AxisSlot>,
    /// The one little-endian form that all axes have, if they do: read without looking at each.
    pub(super) one_form: Option<Num>,
    /// Where a sample's own time lies.
    pub(super) time: Option<Place>,
    pub(super) sample_len: usize,
    /// Floating-point fields must be looked at for infinities and NaN.
    pub(super) has_floats: bool,
    /// The one quantity of a stream that is to be merged with another.
    pub(super) part: Option<Quantity>,
    pub(super) frame: Option<FramePlan>,
    pub(super) join: Option<Join>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct HeaderSlot {
    pub(super) role: HeaderRole,
    pub(super) at: usize,
    pub(super) num: Num,
}

/// Where a field of sample `q` of `n` lies, from the first sample's first byte:
/// `before × n + stride × q + at`. Interleaved layouts have `before` 0 and the sample's
/// length as stride; planar layouts one group of fields after the other.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) before: usize,
    pub(super) stride: usize,
    pub(super) at: usize,
}

impl Place {
    pub(super) fn of(self, q: usize, n: usize) -> usize {
        self.before * n + self.stride * q + self.at
    }
}

/// One axis of a sample.
#[derive(Debug, Clone, Copy)]
pub(super) struct AxisSlot {
    pub(super) place: Place,
    pub(super) num: Num,
    /// 0–2 gyro x y z, 3–5 acc x y z, after the axis mapping.
    pub(super) index: usize,
    /// Value in SI units = number × mul + add.
    pub(super) mul: f64,
    pub(super) add: f64,
}

#[derive(Debug, Clone)]
pub(super) struct FramePlan {
    pub(super) sync: Vec<u8>,
    pub(super) len: usize,
    pub(super) checksum: Option<Checksum>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct MergePlan {
    pub(super) how: MergeHow,
    pub(super) clock_of: Quantity,
    pub(super) max_gap_s: f64,
    /// Device time per tick, seconds; 0 without device times.
    pub(super) tick_s: f64,
    /// Device time wraps at this many ticks, less one.
    pub(super) t_mask: u64,
    pub(super) nominal_period_s: f64,
}

/// The first `N` bytes, least significant first. Callers have checked the packet's length
/// against the plan.
fn le<const N: usize>(b: &[u8], endian: Endian) -> [u8; N] {
    let mut bytes = [0; N];
    bytes.copy_from_slice(&b[..N]);
    if endian == Endian::Be {
        bytes.reverse();
    }
    bytes
}

/// Reads an integer field at the start of `b`; 64-bit unsigned numbers keep their bits.
#[inline]
pub(super) fn read_integer(num: Num, b: &[u8], endian: Endian) -> i64 {
    match num {
        Num::U8 => i64::from(b[0]),
        Num::I8 => i64::from(b[0] as i8),
        Num::U16 => i64::from(u16::from_le_bytes(le(b, endian))),
        Num::I16 => i64::from(i16::from_le_bytes(le(b, endian))),
        Num::U24 | Num::I24 => {
            let [low, mid, high] = le(b, endian);
            let value = i32::from_le_bytes([0, low, mid, high]);
            i64::from(if num == Num::I24 { value >> 8 } else { (value as u32 >> 8) as i32 })
        }
        Num::U32 => i64::from(u32::from_le_bytes(le(b, endian))),
        Num::I32 => i64::from(i32::from_le_bytes(le(b, endian))),
        Num::U64 | Num::I64 => i64::from_le_bytes(le(b, endian)),
        // The loader takes floats where real numbers are read only.
        Num::F32 | Num::F64 => read_real(num, b, endian) as i64,
    }
}

/// Reads an unsigned field at the start of `b`.
pub(super) fn read_unsigned(num: Num, b: &[u8], endian: Endian) -> u64 {
    read_integer(num, b, endian) as u64
}

/// Reads any field at the start of `b` as a real number.
#[inline]
pub(super) fn read_real(num: Num, b: &[u8], endian: Endian) -> f64 {
    match num {
        Num::F32 => f64::from(f32::from_le_bytes(le(b, endian))),
        Num::F64 => f64::from_le_bytes(le(b, endian)),
        Num::U64 => read_unsigned(num, b, endian) as f64,
        _ => read_integer(num, b, endian) as f64,
    }
}
