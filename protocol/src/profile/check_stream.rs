//! Checks a profile's streams and lays them out for the decoder.

use super::ProfileError;
use super::check::{axes, fail, hex, scale, uuid};
use super::plan::{AxisSlot, FramePlan, HeaderSlot, MAX_SAMPLES, Place, StreamPlan};
use super::schema::{
    ClockKind, Count, Endian, File, HeaderField, HeaderRole, Layout, Num, Quantity, SampleField, SampleRole,
    Stamps, Stream,
};

/// ATT header of a notification, bytes.
const ATT_HEADER: usize = 3;

pub(super) fn streams(
    file: &File,
    channels: &[String],
    on_air: bool,
    mtu_min: u16,
) -> Result<Vec<StreamPlan>, ProfileError> {
    if file.stream.is_empty() || file.stream.len() > 32 {
        return fail("stream", "give 1 to 32 [[stream]] tables");
    }
    let mut plans = Vec::new();
    for (i, s) in file.stream.iter().enumerate() {
        let place = format!("stream {}", i + 1);
        let name = if on_air { uuid(&s.char, &place)? } else { s.char.clone() };
        let channel = channels.iter().position(|c| *c == name).unwrap_or(0) as u8;
        plans.push(one(file, s, channel).map_err(|problem| match problem {
            Problem::Here(problem) => ProfileError::Check { place: place.clone(), problem },
            Problem::There(e) => e,
        })?);
    }
    disjoint(&plans)?;
    header_keys(file)?;
    flag_bits(file)?;
    if on_air {
        fits(&plans, mtu_min)?;
    }
    if file.merge.is_some() {
        for quantity in [Quantity::Gyro, Quantity::Acc] {
            if !plans.iter().any(|p| p.part == Some(quantity)) {
                return fail("merge", "needs streams with gyro only and streams with acc only");
            }
        }
    }
    Ok(plans)
}

enum Problem {
    Here(String),
    There(ProfileError),
}

impl From<ProfileError> for Problem {
    fn from(e: ProfileError) -> Self {
        Self::There(e)
    }
}

fn ensure(ok: bool, problem: &str) -> Result<(), Problem> {
    if ok { Ok(()) } else { Err(Problem::Here(problem.to_owned())) }
}

fn one(file: &File, s: &Stream, channel: u8) -> Result<StreamPlan, Problem> {
    let (header, header_len) = header_slots(&s.header);
    let (trailer, trailer_len) = header_slots(&s.trailer);
    header_fields(file, s)?;
    let part = quantities(file, s)?;
    let sample_len: usize = s.sample.iter().map(|f| f.f.size()).sum();
    let delta = s.layout == Layout::DeltaLsb;
    if delta {
        let plain = s.sample.iter().all(|f| !f.f.is_float() && f.f.size() <= 4 && axis_of(f.role).is_some());
        ensure(plain, "delta_lsb takes integer gyro and acc fields of up to 4 bytes only")?;
        ensure(
            s.count == Count::Rest && s.trailer.is_empty(),
            "delta_lsb needs count = \"rest\" and no trailer",
        )?;
    }
    let in_header = |at: u16| usize::from(at) < header_len;
    ensure(s.require.iter().all(|r| in_header(r.at)), "require looks beyond the header")?;
    if let Count::Fixed(n) = s.count {
        ensure(usize::from(n) <= MAX_SAMPLES, "count is above 4096")?;
    }
    if let Some(j) = &s.join {
        ensure(s.frame.is_none(), "frame and join exclude each other")?;
        ensure(j.drop > j.continue_at, "join: drop must at least remove the byte that marks a continuation")?;
        let told_apart = s.require.iter().any(|r| r.at == j.continue_at && r.eq != j.continue_eq);
        ensure(told_apart, "join: require must tell a first fragment from a continuation at continue_at")?;
    }
    // Otherwise what is left over could be a sample or the trailer.
    let told = s.count != Count::Payload || trailer_len < sample_len;
    ensure(told, "count = \"payload\" needs a trailer shorter than a sample")?;
    let frame = s.frame.as_ref().map(|f| {
        let sync = hex(&f.sync, "frame, sync")?;
        let Count::Fixed(n) = s.count else {
            return Err(Problem::Here("frame needs a fixed count".to_owned()));
        };
        let content =
            header_len + usize::from(n) * sample_len + trailer_len + usize::from(f.checksum.is_some());
        if content != usize::from(f.len) || sync.len() > content {
            return Err(Problem::Here(format!("frame: len is {}, the fields take {content} bytes", f.len)));
        }
        ensure(s.require.is_empty(), "frame: sync takes the place of require")?;
        Ok(FramePlan { sync, len: content, checksum: f.checksum })
    });
    let frame = frame.transpose()?;
    let (axes, time) = sample_slots(file, s, sample_len)?;
    Ok(StreamPlan {
        channel,
        require: s.require.clone(),
        endian: s.endian,
        stamps_last: fields(s).any(|f| f.role == HeaderRole::TLast),
        seq_bits: fields(s).find(|f| f.role == HeaderRole::Seq).map_or(0, |f| 8 * f.f.size() as u8),
        header,
        header_len,
        trailer,
        trailer_len,
        count: s.count,
        delta,
        one_form: axes
            .first()
            .map(|a| a.num)
            .filter(|&num| s.endian == Endian::Le && axes.iter().all(|a| a.num == num)),
        axes,
        time,
        sample_len,
        has_floats: s.sample.iter().any(|f| f.f.is_float()),
        part,
        frame,
        join: s.join,
    })
}

fn fields(s: &Stream) -> impl Iterator<Item = &HeaderField> {
    s.header.iter().chain(&s.trailer)
}

fn header_slots(fields: &[HeaderField]) -> (Vec<HeaderSlot>, usize) {
    let mut at = 0;
    let mut slots = Vec::new();
    for f in fields {
        if f.role != HeaderRole::Skip {
            slots.push(HeaderSlot { role: f.role, at, num: f.f });
        }
        at += f.f.size();
    }
    (slots, at)
}

fn header_fields(file: &File, s: &Stream) -> Result<(), Problem> {
    use HeaderRole::{EventAge, Flags, N, PayloadLen, Period, Seq, Skip, TFirst, TLast};
    let count = |role| fields(s).filter(|f| f.role == role).count();
    for role in [Seq, TFirst, TLast, Period, N, PayloadLen, Flags, EventAge] {
        ensure(count(role) <= 1, "a header field occurs twice")?;
    }
    ensure(
        fields(s).all(|f| f.role == Skip || f.f.is_unsigned()),
        "header fields other than skip must be unsigned",
    )?;
    let size = |role| fields(s).find(|f| f.role == role).map(|f| f.f.size());
    ensure(size(Seq).is_none_or(|n| n <= 4), "seq is wider than 32 bits")?;
    ensure(size(Flags).is_none_or(|n| n == 1), "flags must be u8")?;
    let in_trailer = |role| s.trailer.iter().any(|f| f.role == role);
    ensure(!in_trailer(N) && !in_trailer(PayloadLen), "n and payload_len belong to the header")?;
    ensure(
        (s.count == Count::FromHeader) == (count(N) == 1),
        "count = \"n\" and a header field n need each other",
    )?;
    ensure(
        (s.count == Count::Payload) == (count(PayloadLen) == 1),
        "count = \"payload\" and a header field payload_len need each other",
    )?;
    let times = count(TFirst) + count(TLast);
    let (has_t, has_seq) = (times == 1, count(Seq) == 1);
    match file.clock.kind {
        ClockKind::Timestamp => {
            ensure(has_t, "clock kind \"timestamp\" needs exactly one of t_first and t_last")?;
            let bits = size(TFirst).or(size(TLast)).unwrap_or(0) as u32 * 8;
            ensure(file.clock.bits.is_none_or(|b| b <= bits), "clock, bits is wider than the time field")?;
            let stamps_ok = match file.clock.stamps {
                Some(Stamps::First) => count(TFirst) == 1,
                Some(Stamps::Last) => count(TLast) == 1,
                Some(Stamps::Read) | None => true,
            };
            ensure(
                stamps_ok,
                "clock, stamps contradicts the time field (first goes with t_first, last with t_last)",
            )?;
        }
        ClockKind::Counter => {
            ensure(has_seq, "clock kind \"counter\" needs a seq field")?;
            ensure(times == 0, "clock kind \"counter\" but a time field: write kind = \"timestamp\"")?;
        }
        ClockKind::None | ClockKind::Common => {
            ensure(
                times == 0 && !has_seq,
                "the header has a time or a counter that the clock kind does not use",
            )?;
        }
    }
    Ok(())
}

/// Keys that are of use only if some header has the field, and fields that need a key.
fn header_keys(file: &File) -> Result<(), ProfileError> {
    let has = |role| file.stream.iter().any(|s| fields(s).any(|f| f.role == role));
    let mixed = file.clock.stamps.is_none() && has(HeaderRole::TFirst) && has(HeaderRole::TLast);
    let c = &file.clock;
    for (ok, place, problem) in [
        (!mixed, "clock", "some streams have t_first, others t_last; all must have the same"),
        (c.seq_counts.is_none() || has(HeaderRole::Seq), "clock, seq_counts", "no header has a seq field"),
        (
            c.period_tick_us.is_some() == has(HeaderRole::Period),
            "clock, period_tick_us",
            "goes with a header or trailer field period, and only with it",
        ),
        (
            c.event.is_some() == has(HeaderRole::EventAge),
            "clock.event",
            "goes with a header field event_age, and only with it",
        ),
    ] {
        if !ok {
            return fail(place, problem);
        }
    }
    Ok(())
}

fn flag_bits(file: &File) -> Result<(), ProfileError> {
    let f = &file.flags;
    let back = file.clock.event.and_then(|e| e.back_mask);
    let masks: Vec<u8> = [f.saturated, f.dropped, f.restarted, back].into_iter().flatten().collect();
    let has_flags = file.stream.iter().any(|s| fields(s).any(|f| f.role == HeaderRole::Flags));
    if !masks.is_empty() && !has_flags {
        return fail("flags", "no header has a flags field");
    }
    let mut taken = 0u8;
    for mask in masks {
        if mask == 0 || mask & taken != 0 {
            return fail("flags", "masks must be other than 0 and must not share bits");
        }
        taken |= mask;
    }
    let one_run = back.is_none_or(|b| {
        (b >> b.trailing_zeros()).wrapping_add(1).is_power_of_two() || b >> b.trailing_zeros() == 0xff
    });
    if one_run { Ok(()) } else { fail("clock.event, back_mask", "must be one run of bits") }
}

/// 0–2 gyro, 3–5 acc.
fn axis_of(role: SampleRole) -> Option<usize> {
    match role {
        SampleRole::GyroX => Some(0),
        SampleRole::GyroY => Some(1),
        SampleRole::GyroZ => Some(2),
        SampleRole::AccX => Some(3),
        SampleRole::AccY => Some(4),
        SampleRole::AccZ => Some(5),
        SampleRole::TNs | SampleRole::Skip => None,
    }
}

/// Which quantity a stream to be merged carries; `None` for a stream with both.
fn quantities(file: &File, s: &Stream) -> Result<Option<Quantity>, Problem> {
    let mut seen = [0; 6];
    for axis in s.sample.iter().filter_map(|f| axis_of(f.role)) {
        seen[axis] += 1;
    }
    ensure(seen.iter().all(|&n| n <= 1), "a sample field occurs twice")?;
    let times: Vec<Num> = s.sample.iter().filter(|f| f.role == SampleRole::TNs).map(|f| f.f).collect();
    ensure(times.is_empty() || times == [Num::I64], "t_ns occurs twice or is not i64")?;
    let common = file.clock.kind == ClockKind::Common;
    ensure(common != times.is_empty(), "clock kind \"common\" and a sample field t_ns need each other")?;
    let (gyro, acc) = (seen[..3].iter().sum::<u8>(), seen[3..].iter().sum::<u8>());
    match (&file.merge, gyro, acc) {
        (None, 3, 3) => Ok(None),
        (Some(_), 3, 0) => Ok(Some(Quantity::Gyro)),
        (Some(_), 0, 3) => Ok(Some(Quantity::Acc)),
        (None, ..) => Err(Problem::Here(
            "sample needs gyro_x to gyro_z and acc_x to acc_z; if they come separately, add [merge]"
                .to_owned(),
        )),
        (Some(_), ..) => {
            Err(Problem::Here("with [merge] a stream holds x, y and z of gyro or of acc".to_owned()))
        }
    }
}

/// Planar layouts keep each run of fields of one quantity together.
fn group_of(role: SampleRole) -> u8 {
    match axis_of(role) {
        Some(0..=2) => 0,
        Some(_) => 1,
        None if role == SampleRole::TNs => 2,
        None => 3,
    }
}

/// Where the axes of a sample lie and, if it has one, its time.
fn sample_slots(
    file: &File,
    s: &Stream,
    sample_len: usize,
) -> Result<(Vec<AxisSlot>, Option<Place>), Problem> {
    let mut slots = Vec::new();
    let mut time = None;
    let mut push = |f: &SampleField, before, stride, at| -> Result<(), Problem> {
        let place = Place { before, stride, at };
        if let Some(sent) = axis_of(f.role) {
            let (of, given) =
                if sent < 3 { (Quantity::Gyro, &file.scale.gyro) } else { (Quantity::Acc, &file.scale.acc) };
            let (mul, add) = scale(given, of)?;
            let (to, sign) = axes(file.axes.as_ref(), of)?[sent % 3];
            slots.push(AxisSlot {
                place,
                num: f.f,
                index: sent / 3 * 3 + to,
                mul: sign * mul,
                add: sign * add,
            });
        } else if f.role == SampleRole::TNs {
            time = Some(place);
        }
        Ok(())
    };
    if s.layout == Layout::Planar {
        let mut before = 0;
        for group in s.sample.chunk_by(|a, b| group_of(a.role) == group_of(b.role)) {
            let stride = group.iter().map(|f| f.f.size()).sum();
            let mut at = 0;
            for f in group {
                push(f, before, stride, at)?;
                at += f.f.size();
            }
            before += stride;
        }
    } else {
        let mut at = 0;
        for f in &s.sample {
            push(f, 0, sample_len, at)?;
            at += f.f.size();
        }
    }
    Ok((slots, time))
}

fn disjoint(plans: &[StreamPlan]) -> Result<(), ProfileError> {
    for (i, a) in plans.iter().enumerate() {
        for (j, b) in plans.iter().enumerate().skip(i + 1).filter(|(_, b)| b.channel == a.channel) {
            let place = format!("streams {} and {}", i + 1, j + 1);
            if a.frame.is_some() || b.frame.is_some() {
                return fail(place, "a characteristic with frames can have one stream only");
            }
            if !a.require.iter().any(|p| b.require.iter().any(|q| p.at == q.at && p.eq != q.eq)) {
                return fail(
                    place,
                    "require cannot tell them apart: the same byte must have different values",
                );
            }
            for (x, y) in [(a, b), (b, a)] {
                let hidden = |join: &super::schema::Join| {
                    !y.require.iter().any(|r| r.at == join.continue_at && r.eq != join.continue_eq)
                };
                if x.join.as_ref().is_some_and(hidden) {
                    return fail(place, "join: require must tell both from a continuation at continue_at");
                }
            }
        }
    }
    Ok(())
}

/// The smallest packet of each characteristic must fit the smallest link allowed. Streams
/// that are put together from several notifications fit any.
fn fits(plans: &[StreamPlan], mtu_min: u16) -> Result<(), ProfileError> {
    let room = usize::from(mtu_min) - ATT_HEADER;
    let smallest = |p: &StreamPlan| {
        let n = if let Count::Fixed(n) = p.count { usize::from(n) } else { 1 };
        if p.frame.is_some() || p.join.is_some() {
            0
        } else {
            p.header_len + n * p.sample_len + p.trailer_len
        }
    };
    for (i, p) in plans.iter().enumerate() {
        let needed = plans.iter().filter(|q| q.channel == p.channel).map(smallest).min().unwrap_or(0);
        if needed > room {
            let problem = format!(
                "a packet takes {needed} bytes, an MTU of {mtu_min} carries {room}; write mtu_min = {} or more under [link]",
                needed + ATT_HEADER
            );
            return fail(format!("stream {}", i + 1), problem);
        }
    }
    Ok(())
}
