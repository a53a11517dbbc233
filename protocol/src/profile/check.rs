//! From the TOML text to a checked profile.

use super::plan::{EventPlan, MergePlan, Plan};
use super::schema::{self, Axes, File, MergeHow, Quantity, Scale, Unit};
use super::types::{
    ClockInfo, ClockKind, Keepalive, LinkSettings, Match, Op, OpKind, PacedBy, RestCheck, SampleIs,
    SeqCounts, Stamps,
};
use super::{Profile, ProfileError, check_stream};
pub use crate::estimate::STANDARD_GRAVITY_M_S2 as STANDARD_GRAVITY;

/// Values from this share of the range on count as clipped: sensors and their scales are
/// not exact enough for the rail itself.
const CLIP_SHARE: f64 = 0.995;
/// Longest profile text; profiles are a few kilobytes.
const TEXT_LIMIT: usize = 256 << 10;
/// A device time that wraps sooner than this is shown to the user, seconds.
const SHORT_WRAP_S: f64 = 10.0;
/// Rate tolerance where the profile states none, ppm.
const DEFAULT_RATE_TOL_PPM: f64 = 20_000.0;
/// Two sample periods, in which nothing of the other quantity came, are a gap in it.
const DEFAULT_MAX_GAP_PERIODS: f64 = 2.5;

pub(super) fn fail<T>(place: impl Into<String>, problem: impl Into<String>) -> Result<T, ProfileError> {
    Err(ProfileError::Check { place: place.into(), problem: problem.into() })
}

fn require(ok: bool, place: &str, problem: &str) -> Result<(), ProfileError> {
    if ok { Ok(()) } else { fail(place, problem) }
}

fn positive(value: f64, place: &str) -> Result<f64, ProfileError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        fail(place, format!("is {value}; write a number above 0"))
    }
}

pub(super) fn profile(text: &str) -> Result<Profile, ProfileError> {
    if text.len() > TEXT_LIMIT {
        return Err(ProfileError::Syntax(format!(
            "{} bytes, more than the limit of {TEXT_LIMIT}",
            text.len()
        )));
    }
    let syntax = |e: toml::de::Error| ProfileError::Syntax(crate::toml_line::explain(text, &e));
    let table: toml::Table = text.parse().map_err(syntax)?;
    // The version first: a newer profile should be called newer, not misspelt.
    match table.get("profile").and_then(toml::Value::as_integer) {
        Some(schema::VERSION) => {}
        Some(other) => return Err(ProfileError::Version(other)),
        None => return fail("profile", "missing; write profile = 1, the schema version"),
    }
    checked(toml::from_str(text).map_err(syntax)?)
}

fn checked(file: File) -> Result<Profile, ProfileError> {
    let id_ok = !file.id.is_empty()
        && file.id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
    require(id_ok, "id", "write small letters, digits and hyphens only")?;
    require(!file.name.trim().is_empty(), "name", "is empty; write what the user should read")?;
    let matching = file.matching.as_ref().map(matching).transpose()?;
    let (link, intervals_s) = link(&file.link)?;
    let mut channels: Vec<String> = Vec::new();
    for (i, s) in file.stream.iter().enumerate() {
        // Without [match] no radio is involved and the name is free.
        let name = if matching.is_some() {
            uuid(&s.char, &format!("stream {}, char", i + 1))?
        } else {
            s.char.clone()
        };
        if !channels.contains(&name) {
            channels.push(name);
        }
    }
    let mut clock = clock(&file, intervals_s)?;
    let streams = check_stream::streams(&file, &channels, matching.is_some(), link.mtu_min)?;
    clock.has_seq = streams.iter().any(|s| s.seq_bits > 0);
    if file.clock.stamps.is_none() && streams.iter().any(|s| s.stamps_last) {
        clock.stamps = Stamps::Last;
    }
    let t_mask = if clock.bits == 64 { u64::MAX } else { (1 << clock.bits) - 1 };
    let plan = Plan {
        channels: channels.len(),
        merge: merge(&file, &clock, t_mask)?,
        gyro_clip: clock.gyro_range_rad_s.map_or(f64::INFINITY, |r| r * CLIP_SHARE),
        acc_clip: clock.acc_range_m_s2.map_or(f64::INFINITY, |r| r * CLIP_SHARE),
        period_tick_s: file.clock.period_tick_us.unwrap_or(0.0) * 1e-6,
        t_mask,
        event: file.clock.event.map(|e| EventPlan {
            tick_s: e.tick_us * 1e-6,
            unknown: e.unknown,
            back_mask: e.back_mask.unwrap_or(0),
        }),
        saturated: file.flags.saturated.unwrap_or(0),
        dropped: file.flags.dropped.unwrap_or(0),
        restarted: file.flags.restarted.unwrap_or(0),
        streams,
    };
    let keepalive = file
        .keepalive
        .as_ref()
        .map(|k| {
            Ok::<_, ProfileError>(Keepalive {
                characteristic: uuid(&k.char, "keepalive, char")?,
                bytes: hex(&k.hex, "keepalive, hex")?,
                every_s: positive(k.every_s, "keepalive, every_s")?,
            })
        })
        .transpose()?;
    Ok(Profile {
        notices: notices(file.note.as_deref(), &clock),
        id: file.id,
        name: file.name,
        matching,
        link,
        setup: ops(&file.setup, "setup")?,
        teardown: ops(&file.teardown, "teardown")?,
        keepalive,
        channels,
        clock,
        rest_check: rest_check(&file.selfcheck)?,
        plan,
    })
}

fn notices(note: Option<&str>, clock: &ClockInfo) -> Vec<String> {
    let mut all: Vec<String> = note.map(str::to_owned).into_iter().collect();
    if clock.kind == ClockKind::None {
        all.push(
            "this strap sends neither a time nor a counter: timing is not reliable after a loss".to_owned(),
        );
    }
    let wrap_s = (f64::from(clock.bits)).exp2() * clock.tick_s;
    if clock.kind == ClockKind::Timestamp && wrap_s < SHORT_WRAP_S {
        all.push(format!(
            "the strap's time starts over every {wrap_s:.1} s: longer gaps cannot be measured by it"
        ));
    }
    all
}

fn matching(m: &schema::Match) -> Result<Match, ProfileError> {
    let any = m.service.is_some() || m.char.is_some() || m.name_prefix.is_some() || m.company_id.is_some();
    require(any, "match", "is empty; give service, char, name_prefix or company_id")?;
    require(
        m.name_prefix.as_deref() != Some(""),
        "match, name_prefix",
        "is empty and would match every strap",
    )?;
    Ok(Match {
        service: m.service.as_deref().map(|u| uuid(u, "match, service")).transpose()?,
        characteristic: m.char.as_deref().map(|u| uuid(u, "match, char")).transpose()?,
        name_prefix: m.name_prefix.clone(),
        company_id: m.company_id,
    })
}

/// MTU limits: ATT default 23, longest attribute value 512 + 5; interval limits 7.5 ms to
/// 4 s (Bluetooth Core Specification, vol 3 part F and vol 6 part B; from memory).
fn link(l: &schema::LinkSettings) -> Result<(LinkSettings, Vec<f64>), ProfileError> {
    let mtu_min = l.mtu_min.unwrap_or(23);
    require((23..=517).contains(&mtu_min), "link, mtu_min", "an ATT MTU lies between 23 and 517")?;
    let want_ok = l.mtu_want.is_none_or(|w| (mtu_min..=517).contains(&w));
    require(want_ok, "link, mtu_want", "lies outside mtu_min to 517")?;
    let intervals_ok = l.interval_ms.iter().all(|i| (7.5..=4000.0).contains(i));
    require(intervals_ok, "link, interval_ms", "a connection interval lies between 7.5 and 4000 ms")?;
    Ok((LinkSettings { mtu_want: l.mtu_want, mtu_min }, l.interval_ms.iter().map(|ms| ms * 1e-3).collect()))
}

fn ops(list: &[schema::Op], table: &str) -> Result<Vec<Op>, ProfileError> {
    let one = |(i, op): (usize, &schema::Op)| {
        let place = format!("{table} {}", i + 1);
        let writes = matches!(op.kind, schema::OpKind::Write | schema::OpKind::WriteNr);
        require(writes == op.hex.is_some(), &place, "hex is needed for write and write_nr, and only there")?;
        let expect_ok = op.expect.is_none() || op.kind == schema::OpKind::Read;
        require(expect_ok, &place, "expect is for read only")?;
        Ok(Op {
            kind: match op.kind {
                schema::OpKind::Write => OpKind::Write,
                schema::OpKind::WriteNr => OpKind::WriteWithoutResponse,
                schema::OpKind::Read => OpKind::Read,
                schema::OpKind::Subscribe => OpKind::Subscribe,
                schema::OpKind::Indicate => OpKind::Indicate,
            },
            service: op.service.as_deref().map(|u| uuid(u, &place)).transpose()?,
            characteristic: uuid(&op.char, &place)?,
            bytes: op.hex.as_deref().map_or(Ok(Vec::new()), |h| hex(h, &place))?,
            expect: op.expect.as_deref().map(|h| hex(h, &place)).transpose()?,
            after_ms: op.after_ms,
        })
    };
    list.iter().enumerate().map(one).collect()
}

fn clock(file: &File, intervals_s: Vec<f64>) -> Result<ClockInfo, ProfileError> {
    let c = &file.clock;
    let (kind, timed) = match c.kind {
        schema::ClockKind::Timestamp => (ClockKind::Timestamp, true),
        schema::ClockKind::Counter => (ClockKind::Counter, false),
        schema::ClockKind::None => (ClockKind::None, false),
        schema::ClockKind::Common => (ClockKind::Common, false),
    };
    let mut tick_s = 0.0;
    let mut bits = 0;
    if timed {
        let Some(tick_us) = c.tick_us else {
            return fail("clock, tick_us", "missing; kind = \"timestamp\" needs it");
        };
        tick_s = positive(tick_us, "clock, tick_us")? * 1e-6;
        let Some(b) = c.bits else { return fail("clock, bits", "missing; kind = \"timestamp\" needs it") };
        require((8..=64).contains(&b), "clock, bits", "write 8 to 64, the width of the strap's time")?;
        bits = b;
    } else {
        let unused = c.tick_us.is_none() && c.bits.is_none() && c.stamps.is_none();
        require(unused, "clock", "tick_us, bits and stamps are for kind = \"timestamp\" only")?;
    }
    if let Some(t) = c.period_tick_us {
        positive(t, "clock, period_tick_us")?;
    }
    if let Some(e) = &c.event {
        positive(e.tick_us, "clock.event, tick_us")?;
        require(
            matches!(c.kind, schema::ClockKind::Timestamp | schema::ClockKind::Counter),
            "clock.event",
            "needs kind = \"timestamp\" or \"counter\"",
        )?;
    }
    let s = &file.sensor;
    let nominal_rate_hz = match s.rate_hz {
        Some(rate) => positive(rate, "sensor, rate_hz")?,
        None if kind == ClockKind::Common => 0.0,
        None => return fail("sensor, rate_hz", "missing; write the nominal sampling rate"),
    };
    require(nominal_rate_hz <= 20_000.0, "sensor, rate_hz", "is above 20000 Hz")?;
    let rate_tol_ppm = s.rate_tol_ppm.unwrap_or(DEFAULT_RATE_TOL_PPM);
    require((0.0..=200_000.0).contains(&rate_tol_ppm), "sensor, rate_tol_ppm", "write 0 to 200000")?;
    require((0.0..=1000.0).contains(&s.group_delay_ms), "sensor, group_delay_ms", "write 0 to 1000")?;
    let range = |r: Option<f64>, place| r.map(|r| positive(r, place)).transpose();
    Ok(ClockInfo {
        kind,
        tick_s,
        bits,
        seq_counts: match c.seq_counts {
            None | Some(schema::SeqCounts::Packets) => SeqCounts::Packets,
            Some(schema::SeqCounts::Samples) => SeqCounts::Samples,
        },
        stamps: match c.stamps {
            None | Some(schema::Stamps::First) => Stamps::First,
            Some(schema::Stamps::Last) => Stamps::Last,
            Some(schema::Stamps::Read) => Stamps::Read,
        },
        has_event_stamps: c.event.is_some(),
        has_seq: false,
        nominal_rate_hz,
        rate_tol_ppm,
        group_delay_s: s.group_delay_ms * 1e-3,
        sample_is: match s.sample_is {
            None | Some(schema::SampleIs::Instant) => SampleIs::Instant,
            Some(schema::SampleIs::IntervalMean) => SampleIs::IntervalMean,
        },
        gyro_range_rad_s: range(s.gyro_range_dps, "sensor, gyro_range_dps")?.map(f64::to_radians),
        acc_range_m_s2: range(s.acc_range_g, "sensor, acc_range_g")?.map(|g| g * STANDARD_GRAVITY),
        paced_by: match s.paced_by {
            None | Some(schema::PacedBy::Imu) => PacedBy::Imu,
            Some(schema::PacedBy::Timer) => PacedBy::Timer,
        },
        intervals_s,
    })
}

fn merge(file: &File, clock: &ClockInfo, t_mask: u64) -> Result<Option<MergePlan>, ProfileError> {
    let Some(m) = &file.merge else { return Ok(None) };
    require(clock.kind != ClockKind::Common, "merge", "samples that carry their own time cannot be merged")?;
    match m.how {
        MergeHow::Interpolate => {
            require(
                clock.kind == ClockKind::Timestamp,
                "merge, how",
                "interpolate needs kind = \"timestamp\"",
            )?;
        }
        MergeHow::Index => {
            // Counting arrivals would shift one stream against the other for good after a loss.
            let keyed = matches!(clock.kind, ClockKind::Timestamp | ClockKind::Counter);
            require(keyed, "merge, how", "index needs a seq or a time in both streams to survive a loss")?;
        }
        MergeHow::Nearest => {}
    }
    let nominal_period_s = 1.0 / clock.nominal_rate_hz;
    let max_gap_s = match m.max_gap_ms {
        Some(ms) => positive(ms, "merge, max_gap_ms")? * 1e-3,
        None => DEFAULT_MAX_GAP_PERIODS * nominal_period_s,
    };
    Ok(Some(MergePlan {
        how: m.how,
        clock_of: m.clock_of,
        max_gap_s,
        tick_s: clock.tick_s,
        t_mask,
        nominal_period_s,
    }))
}

fn rest_check(s: &schema::SelfCheck) -> Result<RestCheck, ProfileError> {
    let [low, high] = s.rest_acc_g.unwrap_or([0.9, 1.1]);
    require(
        low > 0.0 && low < high && high < 100.0,
        "selfcheck, rest_acc_g",
        "write [lowest, highest] in g",
    )?;
    Ok(RestCheck {
        acc_min_m_s2: low * STANDARD_GRAVITY,
        acc_max_m_s2: high * STANDARD_GRAVITY,
        gyro_max_rad_s: positive(s.rest_gyro_dps.unwrap_or(5.0), "selfcheck, rest_gyro_dps")?.to_radians(),
    })
}

/// Factor and offset to SI for one quantity.
pub(super) fn scale(s: &Scale, of: Quantity) -> Result<(f64, f64), ProfileError> {
    let (place, units, unit) = match of {
        Quantity::Gyro => (
            "scale, gyro",
            "dps or rad/s",
            match s.unit {
                Unit::DegreePerSecond => Some(1f64.to_radians()),
                Unit::RadianPerSecond => Some(1.0),
                _ => None,
            },
        ),
        Quantity::Acc => (
            "scale, acc",
            "g, mg or m/s2",
            match s.unit {
                Unit::G => Some(STANDARD_GRAVITY),
                Unit::MilliG => Some(STANDARD_GRAVITY * 1e-3),
                Unit::MetrePerSecondSquared => Some(1.0),
                _ => None,
            },
        ),
    };
    let Some(unit) = unit else {
        return fail(place, format!("unit does not fit the quantity; write {units}"));
    };
    let numbers_ok = s.mul.is_finite() && s.mul != 0.0 && s.add.is_finite();
    require(numbers_ok, place, "mul must be a number other than 0, add a number")?;
    Ok((s.mul * unit, s.add * unit))
}

/// For each sent axis the axis it is mapped to and its sign.
pub(super) fn axes(a: Option<&Axes>, of: Quantity) -> Result<[(usize, f64); 3], ProfileError> {
    let (m, place) = match (a, of) {
        (None, _) => return Ok([(0, 1.0), (1, 1.0), (2, 1.0)]),
        (Some(a), Quantity::Gyro) => (a.gyro, "axes, gyro"),
        (Some(a), Quantity::Acc) => (a.acc, "axes, acc"),
    };
    let mut map = [(0, 0.0); 3];
    for (column, to) in map.iter_mut().enumerate() {
        for (row, entries) in m.iter().enumerate() {
            if entries[column] != 0 {
                *to = (row, f64::from(entries[column]));
            }
        }
    }
    let lines_ok = |line: [i8; 3]| line.map(i8::unsigned_abs).iter().map(|&v| u32::from(v)).sum::<u32>() == 1;
    let ok = (0..3).all(|i| lines_ok(m[i]) && lines_ok([m[0][i], m[1][i], m[2][i]]));
    require(ok, place, "write rows of 0, 1 and -1 with exactly one entry in each row and column")?;
    Ok(map)
}

/// A UUID as 128-bit text in lower case; 16- and 32-bit ones stand on the Bluetooth base UUID.
pub(super) fn uuid(text: &str, place: &str) -> Result<String, ProfileError> {
    const BASE: &str = "-0000-1000-8000-00805f9b34fb";
    let lower = text.to_ascii_lowercase();
    let full = match lower.len() {
        4 => format!("0000{lower}{BASE}"),
        8 => format!("{lower}{BASE}"),
        _ => lower,
    };
    let ok = full.len() == 36
        && full
            .bytes()
            .enumerate()
            .all(|(i, b)| if matches!(i, 8 | 13 | 18 | 23) { b == b'-' } else { b.is_ascii_hexdigit() });
    if ok {
        Ok(full)
    } else {
        fail(
            place,
            format!("'{text}' is not a UUID; write 4, 8 or 32 hexadecimal digits, the latter with hyphens"),
        )
    }
}

/// Bytes written as pairs of hexadecimal digits, blanks ignored.
pub(super) fn hex(text: &str, place: &str) -> Result<Vec<u8>, ProfileError> {
    let digits: Option<Vec<u8>> =
        text.chars().filter(|c| !c.is_whitespace()).map(|c| c.to_digit(16).map(|d| d as u8)).collect();
    match digits {
        Some(d) if d.len() % 2 == 0 && !d.is_empty() => {
            Ok(d.chunks_exact(2).map(|p| p[0] << 4 | p[1]).collect())
        }
        _ => fail(place, format!("'{text}' is not a list of bytes; write pairs of hexadecimal digits")),
    }
}
