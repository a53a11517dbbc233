//! One whole packet to samples.

use super::decoder::{DecodeError, Decoded, EventStamp, PacketHead, RawSample};
use super::plan::{
    AxisSlot, HeaderSlot, MAX_SAMPLES, Plan, StreamPlan, read_integer, read_real, read_unsigned,
};
use super::schema::{Count, Endian, HeaderRole, Num};

/// Widest delta, bits.
const DELTA_BITS_MAX: u32 = 32;

#[derive(Default)]
struct Header {
    seq: Option<u64>,
    time: Option<u64>,
    period: Option<u64>,
    n: u64,
    payload_len: u64,
    flags: Option<u8>,
    event_age: Option<u64>,
}

impl Header {
    fn read(&mut self, slots: &[HeaderSlot], bytes: &[u8], endian: Endian) {
        for slot in slots {
            let v = read_unsigned(slot.num, &bytes[slot.at..], endian);
            match slot.role {
                HeaderRole::Seq => self.seq = Some(v),
                HeaderRole::TFirst | HeaderRole::TLast => self.time = Some(v),
                HeaderRole::Period => self.period = Some(v),
                HeaderRole::N => self.n = v,
                HeaderRole::PayloadLen => self.payload_len = v,
                HeaderRole::Flags => self.flags = Some(v as u8),
                HeaderRole::EventAge => self.event_age = Some(v),
                HeaderRole::Skip => {}
            }
        }
    }

    fn flag(&self, mask: u8) -> bool {
        self.flags.is_some_and(|f| f & mask != 0)
    }

    fn head(&self, plan: &Plan, s: &StreamPlan, first: usize, n: usize) -> PacketHead {
        let event =
            plan.event.zip(self.event_age).filter(|(e, age)| e.unknown != Some(*age)).map(|(e, age)| {
                let back = match self.flags {
                    Some(f) if e.back_mask != 0 => (f & e.back_mask) >> e.back_mask.trailing_zeros(),
                    _ => 1,
                };
                EventStamp { back, age_s: age as f64 * e.tick_s }
            });
        PacketHead {
            first,
            n,
            seq: self.seq.map(|v| v as u32),
            seq_bits: s.seq_bits,
            t_raw: self.time.map(|t| t & plan.t_mask),
            stamps_last: s.stamps_last,
            period_s: self.period.filter(|&p| p != 0).map(|p| p as f64 * plan.period_tick_s),
            event,
            restarted: self.flag(plan.restarted),
            dropped_before: self.flag(plan.dropped),
            calls_ago: 0,
        }
    }
}

/// Decodes one packet to the end of `out`; on an error `out` is as before.
pub(super) fn packet(
    plan: &Plan,
    s: &StreamPlan,
    bytes: &[u8],
    out: &mut Decoded,
) -> Result<(), DecodeError> {
    let Some((head, body)) = bytes.split_at_checked(s.header_len) else {
        return Err(DecodeError::Length { expected: s.header_len, found: bytes.len() });
    };
    let mut header = Header::default();
    header.read(&s.header, head, s.endian);
    let first = out.samples.len();
    let result = if s.delta {
        deltas(plan, s, body, &mut out.samples)
    } else {
        extent(s, &header, body.len()).and_then(|(n, trailer_at)| {
            if trailer_at < body.len() {
                header.read(&s.trailer, &body[trailer_at..], s.endian);
            }
            samples(plan, s, body, n, &mut out.samples)
        })
    };
    if let Err(e) = result {
        out.samples.truncate(first);
        return Err(e);
    }
    let samples = &mut out.samples[first..];
    if header.flag(plan.saturated) && !samples.iter().any(|s| s.clipped) {
        // The strap does not say which sample it was.
        for sample in samples.iter_mut() {
            sample.clipped = true;
        }
    }
    let n = samples.len();
    out.packets.push(header.head(plan, s, first, n));
    Ok(())
}

/// Number of samples, and where in the body the trailer begins. The body must have
/// exactly the length that follows.
fn extent(s: &StreamPlan, header: &Header, body: usize) -> Result<(usize, usize), DecodeError> {
    let counted = |n: u64| {
        let n = usize::try_from(n)
            .ok()
            .filter(|&n| n <= MAX_SAMPLES)
            .ok_or(DecodeError::TooManySamples { limit: MAX_SAMPLES })?;
        let expected = n * s.sample_len + s.trailer_len;
        if body == expected {
            Ok((n, n * s.sample_len))
        } else {
            Err(DecodeError::Length { expected: s.header_len + expected, found: s.header_len + body })
        }
    };
    let not_whole = DecodeError::NotWhole {
        header: s.header_len + s.trailer_len,
        sample: s.sample_len,
        found: s.header_len + body,
    };
    let (n, trailer_at) = match s.count {
        Count::Fixed(n) => counted(u64::from(n))?,
        Count::FromHeader => counted(header.n)?,
        Count::Rest => match body.checked_sub(s.trailer_len) {
            Some(all) if all % s.sample_len == 0 => (all / s.sample_len, all),
            _ => return Err(not_whole),
        },
        Count::Payload => {
            if header.payload_len != body as u64 {
                let payload = usize::try_from(header.payload_len).unwrap_or(usize::MAX);
                return Err(DecodeError::Length {
                    expected: s.header_len.saturating_add(payload),
                    found: s.header_len + body,
                });
            }
            let (n, left) = (body / s.sample_len, body % s.sample_len);
            if left != 0 && left != s.trailer_len {
                return Err(not_whole);
            }
            (n, n * s.sample_len)
        }
    };
    match n {
        0 => Err(DecodeError::NoSamples),
        n if n > MAX_SAMPLES => Err(DecodeError::TooManySamples { limit: MAX_SAMPLES }),
        n => Ok((n, trailer_at)),
    }
}

fn samples(
    plan: &Plan,
    s: &StreamPlan,
    body: &[u8],
    n: usize,
    out: &mut Vec<RawSample>,
) -> Result<(), DecodeError> {
    match s.one_form {
        Some(Num::I16) => samples_by(plan, s, body, n, out, |_, b| read_real(Num::I16, b, Endian::Le)),
        Some(Num::F32) => samples_by(plan, s, body, n, out, |_, b| read_real(Num::F32, b, Endian::Le)),
        _ => samples_by(plan, s, body, n, out, |slot, b| read_real(slot.num, b, s.endian)),
    }
}

/// A copy for each reader, so that the usual forms are read without a decision per number.
#[inline]
fn samples_by(
    plan: &Plan,
    s: &StreamPlan,
    body: &[u8],
    n: usize,
    out: &mut Vec<RawSample>,
    read: impl Fn(&AxisSlot, &[u8]) -> f64,
) -> Result<(), DecodeError> {
    out.reserve(n);
    for q in 0..n {
        let mut axes = [0.0; 6];
        for slot in &s.axes {
            axes[slot.index] = read(slot, &body[slot.place.of(q, n)..]) * slot.mul + slot.add;
        }
        let t_ns = s.time.map(|place| read_integer(Num::I64, &body[place.of(q, n)..], s.endian));
        if s.has_floats && !axes.iter().all(|v| v.is_finite()) {
            return Err(DecodeError::NotFinite { sample: q });
        }
        out.push(sample(plan, axes, t_ns));
    }
    Ok(())
}

fn sample(plan: &Plan, [gx, gy, gz, ax, ay, az]: [f64; 6], t_ns: Option<i64>) -> RawSample {
    let (gyro, acc) = ([gx, gy, gz], [ax, ay, az]);
    let reaches = |v: &[f64; 3], limit: f64| v.iter().any(|x| x.abs() >= limit);
    RawSample { gyro, acc, t_ns, clipped: reaches(&gyro, plan.gyro_clip) || reaches(&acc, plan.acc_clip) }
}

/// A reference sample, then blocks of {u8 bits, u8 count, count × fields two's-complement
/// differences of that many bits, packed least significant bit first, padded to a byte}.
fn deltas(plan: &Plan, s: &StreamPlan, body: &[u8], out: &mut Vec<RawSample>) -> Result<(), DecodeError> {
    let short = |expected: usize| DecodeError::Length {
        expected: s.header_len + expected,
        found: s.header_len + body.len(),
    };
    if body.len() < s.sample_len {
        return Err(short(s.sample_len));
    }
    let first = out.len();
    let mut counts = [0i64; 6];
    for (count, slot) in counts.iter_mut().zip(&s.axes) {
        *count = read_integer(slot.num, &body[slot.place.at..], s.endian);
    }
    let mut push = |counts: &[i64; 6]| {
        let mut axes = [0.0; 6];
        for (count, slot) in counts.iter().zip(&s.axes) {
            axes[slot.index] = *count as f64 * slot.mul + slot.add;
        }
        out.push(sample(plan, axes, None));
        out.len() - first <= MAX_SAMPLES
    };
    push(&counts);
    let mut at = s.sample_len;
    while at < body.len() {
        let &[bits, count, ..] = &body[at..] else { return Err(short(at + 2)) };
        at += 2;
        let bits = u32::from(bits);
        if bits > DELTA_BITS_MAX {
            return Err(DecodeError::DeltaWidth { bits });
        }
        let packed = (bits as usize * usize::from(count) * s.axes.len()).div_ceil(8);
        let block = body.get(at..at + packed).ok_or_else(|| short(at + packed))?;
        let mut bit = 0;
        for _ in 0..count {
            for c in &mut counts[..s.axes.len()] {
                *c += bits_at(block, bit, bits);
                bit += bits as usize;
            }
            if !push(&counts) {
                return Err(DecodeError::TooManySamples { limit: MAX_SAMPLES });
            }
        }
        at += packed;
    }
    Ok(())
}

/// `width` bits (at most 32) from bit `at` on, sign-extended.
fn bits_at(block: &[u8], at: usize, width: u32) -> i64 {
    if width == 0 {
        return 0;
    }
    let mut window = [0u8; 8];
    let from = &block[at / 8..];
    let n = from.len().min(8);
    window[..n].copy_from_slice(&from[..n]);
    let unused = 64 - width;
    ((u64::from_le_bytes(window) >> (at % 8)) << unused) as i64 >> unused
}

#[cfg(test)]
mod tests {
    use super::super::Profile;
    use super::*;

    #[test]
    fn openearable_golden_vectors_decode() {
        // github.com/OpenEarable/open-earable-2, tests/protocol_contracts/wire_vectors.json:
        // a sensor of one float per sample; a single sample, and two with a period of 1000 us.
        let single = [0x06, 0x04, 8, 7, 6, 5, 4, 3, 2, 1, 0x00, 0x00, 0xc0, 0x3f];
        let batch =
            [0x06, 0x0a, 8, 7, 6, 5, 4, 3, 2, 1, 0x00, 0x00, 0xc0, 0x3f, 0x00, 0x00, 0x00, 0xc0, 0xe8, 0x03];
        let text = Profile::builtin("openearable-v2").expect("built in");
        let plan = Profile::from_toml(text).expect("reads").plan;
        // The profile's samples are nine floats, the vectors' one: acc_x alone is left.
        let mut stream = plan.streams[0].clone();
        stream.axes.truncate(1);
        stream.axes[0].place.stride = 4;
        stream.sample_len = 4;
        let mut out = Decoded::default();
        packet(&plan, &stream, &single, &mut out).expect("single");
        packet(&plan, &stream, &batch, &mut out).expect("batch");
        assert_eq!(out.samples.iter().map(|s| s.acc[0]).collect::<Vec<_>>(), [1.5, 1.5, -2.0]);
        let heads: Vec<_> = out.packets.iter().map(|p| (p.first, p.n, p.t_raw)).collect();
        assert_eq!(heads, [(0, 1, Some(0x0102_0304_0506_0708)), (1, 2, Some(0x0102_0304_0506_0708))]);
        assert_eq!(out.packets[0].period_s, None);
        assert!((out.packets[1].period_s.expect("measured") - 1e-3).abs() < 1e-12);
    }
}
