//! Version 1 of the stored records: the only module that names the serialisation library.
//!
//! The stored types are this module's own, converted by hand, so that a change to the
//! program's types can never change the files. The encoding is bincode 2's with
//! fixed-width little-endian numbers: `u32` for the variant of an enum, `u64` for a
//! length, then the fields in order. A frame's payload is a `u64` count and that many of
//!
//! | variant | fields |
//! |---|---|
//! | 0 arrival | `u64` `t_ns`, `u8` role, `u8` channel, bytes (`u64` length first) |
//! | 1 mark | `u64` `t_ns`, `u8` kind, UTF-8 text (`u64` length first) |
//! | 2 strap | `u64` `t_ns`, `u8` role, `u8` kind, UTF-8 text (`u64` length first) |
//!
//! Roles: 0 pelvis, 1 thorax, 2 lead arm. Mark and strap-event kinds: position in
//! [`MarkKind::ALL`] and [`StrapEventKind::ALL`], to which kinds may only be appended.

use super::frame::PAYLOAD_LIMIT;
use super::{Arrival, Mark, MarkKind, Record, StrapEvent, StrapEventKind};
use crate::curves::{Curves, SegmentCurves};
use crate::role::Role;
use bincode::config::{self, Configuration, Fixint, Limit, LittleEndian};
use bincode::{BorrowDecode, Decode, Encode};

type Fixed<const LIMIT: usize> = Configuration<LittleEndian, Fixint, Limit<LIMIT>>;

/// The configuration is spelt out because the library's defaults have no limit.
fn fixed<const LIMIT: usize>() -> Fixed<LIMIT> {
    config::standard().with_little_endian().with_fixed_int_encoding().with_limit::<LIMIT>()
}

/// Bytes of the count that begins a payload.
pub(super) const COUNT_LEN: usize = 8;

/// Longest body of a curves file: one swing needs well under 1 MiB.
pub(crate) const CURVES_LIMIT: usize = 16 << 20;

#[derive(Debug, PartialEq, Encode, BorrowDecode)]
enum RecordV1<'a> {
    Arrival { t_ns: u64, role: u8, channel: u8, bytes: &'a [u8] },
    Mark { t_ns: u64, kind: u8, detail: &'a str },
    Strap { t_ns: u64, role: u8, kind: u8, detail: &'a str },
}

fn index_in<T: PartialEq>(all: &[T], one: &T) -> u8 {
    // The lists are constants of at most ten entries that hold every variant.
    all.iter().position(|k| k == one).unwrap_or(usize::from(u8::MAX)) as u8
}

impl<'a> From<&'a Record> for RecordV1<'a> {
    fn from(record: &'a Record) -> Self {
        match record {
            Record::Arrival(a) => Self::Arrival {
                t_ns: a.t_ns,
                role: index_in(&Role::ALL, &a.role),
                channel: a.channel,
                bytes: &a.bytes,
            },
            Record::Mark(m) => {
                Self::Mark { t_ns: m.t_ns, kind: index_in(&MarkKind::ALL, &m.kind), detail: &m.detail }
            }
            Record::Strap(s) => Self::Strap {
                t_ns: s.t_ns,
                role: index_in(&Role::ALL, &s.role),
                kind: index_in(&StrapEventKind::ALL, &s.kind),
                detail: &s.detail,
            },
        }
    }
}

impl RecordV1<'_> {
    /// Writes the record over `slot`, keeping the slot's buffer where it has one.
    /// `None` for a role or kind that version 1 does not have.
    fn store_over(&self, slot: &mut Record) -> Option<()> {
        match (self, slot) {
            (&Self::Arrival { t_ns, role, channel, bytes }, Record::Arrival(a)) => {
                a.t_ns = t_ns;
                a.role = role_of(role)?;
                a.channel = channel;
                a.bytes.clear();
                a.bytes.extend_from_slice(bytes);
            }
            (_, slot) => *slot = self.to_record()?,
        }
        Some(())
    }

    fn to_record(&self) -> Option<Record> {
        Some(match *self {
            Self::Arrival { t_ns, role, channel, bytes } => {
                Record::Arrival(Arrival { t_ns, role: role_of(role)?, channel, bytes: bytes.to_vec() })
            }
            Self::Mark { t_ns, kind, detail } => Record::Mark(Mark {
                t_ns,
                kind: *MarkKind::ALL.get(usize::from(kind))?,
                detail: detail.to_owned(),
            }),
            Self::Strap { t_ns, role, kind, detail } => Record::Strap(StrapEvent {
                t_ns,
                role: role_of(role)?,
                kind: *StrapEventKind::ALL.get(usize::from(kind))?,
                detail: detail.to_owned(),
            }),
        })
    }
}

fn role_of(index: u8) -> Option<Role> {
    Role::ALL.get(usize::from(index)).copied()
}

/// Encoded size of a record, bytes.
pub(super) fn record_len(record: &Record) -> usize {
    match record {
        Record::Arrival(a) => 22 + a.bytes.len(),
        Record::Mark(m) => 21 + m.detail.len(),
        Record::Strap(s) => 22 + s.detail.len(),
    }
}

/// Appends the payload for `records` to `out`.
pub(super) fn encode_batch(records: &[Record], out: &mut Vec<u8>) {
    out.extend_from_slice(&(records.len() as u64).to_le_bytes());
    for record in records {
        append(RecordV1::from(record), out);
    }
}

fn append(value: impl Encode, out: &mut Vec<u8>) {
    bincode::encode_into_std_write(value, out, fixed::<PAYLOAD_LIMIT>())
        .expect("writing to memory cannot fail and every stored type can be encoded");
}

/// Decodes a payload over the records in `out`; `None`, with `out` empty, when it is not
/// exactly a batch of version-1 records.
pub(super) fn decode_batch(payload: &[u8], out: &mut Vec<Record>) -> Option<()> {
    let n = decode_over(payload, out);
    out.truncate(n.unwrap_or(0));
    n.map(|_| ())
}

fn decode_over(payload: &[u8], out: &mut Vec<Record>) -> Option<usize> {
    let (count, mut rest) = payload.split_first_chunk::<COUNT_LEN>()?;
    let count = u64::from_le_bytes(*count);
    // Records are decoded one by one: nothing is allocated for a count that is not there.
    let mut n = 0;
    while (n as u64) < count {
        let (record, used) =
            bincode::borrow_decode_from_slice::<RecordV1<'_>, _>(rest, fixed::<PAYLOAD_LIMIT>()).ok()?;
        rest = &rest[used..];
        match out.get_mut(n) {
            Some(slot) => record.store_over(slot)?,
            None => out.push(record.to_record()?),
        }
        n += 1;
    }
    rest.is_empty().then_some(n)
}

#[derive(Encode, Decode)]
struct CurvesV1 {
    start_s: f64,
    step_s: f64,
    segments: Vec<SegmentV1>,
}

#[derive(Encode, Decode)]
struct SegmentV1 {
    role: u8,
    speed_dps: Vec<f32>,
    turn_deg: Vec<f32>,
    orientation_wxyz: Vec<[f32; 4]>,
}

/// The body of a curves file.
pub(crate) fn encode_curves(curves: &Curves) -> Vec<u8> {
    let wire = CurvesV1 {
        start_s: curves.start_s,
        step_s: curves.step_s,
        segments: curves
            .segments
            .iter()
            .map(|s| SegmentV1 {
                role: index_in(&Role::ALL, &s.role),
                speed_dps: s.speed_dps.clone(),
                turn_deg: s.turn_deg.clone(),
                orientation_wxyz: s.orientation_wxyz.clone(),
            })
            .collect(),
    };
    let mut out = Vec::new();
    append(wire, &mut out);
    out
}

/// Reads the body of a curves file; the error says what is wrong with it.
pub(crate) fn decode_curves(body: &[u8]) -> Result<Curves, String> {
    let (wire, used) = bincode::decode_from_slice::<CurvesV1, _>(body, fixed::<CURVES_LIMIT>())
        .map_err(|e| e.to_string())?;
    if used != body.len() {
        return Err(format!("the curves end at byte {used} of {}", body.len()));
    }
    let segments = wire.segments.into_iter().map(|s| {
        Ok(SegmentCurves {
            role: role_of(s.role).ok_or_else(|| format!("segment number {} is not known", s.role))?,
            speed_dps: s.speed_dps,
            turn_deg: s.turn_deg,
            orientation_wxyz: s.orientation_wxyz,
        })
    });
    Ok(Curves {
        start_s: wire.start_s,
        step_s: wire.step_s,
        segments: segments.collect::<Result<_, String>>()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::path::{Path, PathBuf};

    fn samples() -> Vec<Record> {
        let mut all = vec![Record::Arrival(Arrival {
            t_ns: 0x0102_0304_0506_0708,
            role: Role::LeadArm,
            channel: 3,
            bytes: vec![1, 2, 3],
        })];
        all.extend(
            MarkKind::ALL.map(|kind| Record::Mark(Mark { t_ns: 5, kind, detail: "Übung 1".to_owned() })),
        );
        all.extend(StrapEventKind::ALL.map(|kind| {
            Record::Strap(StrapEvent { t_ns: 6, role: Role::Thorax, kind, detail: String::new() })
        }));
        all
    }

    #[test]
    fn a_batch_is_what_the_library_makes_of_a_list_of_records() {
        let records = samples();
        let mut ours = Vec::new();
        encode_batch(&records, &mut ours);
        let list: Vec<RecordV1<'_>> = records.iter().map(RecordV1::from).collect();
        let theirs = bincode::encode_to_vec(&list, fixed::<PAYLOAD_LIMIT>()).expect("encodes");
        assert_eq!(ours, theirs);
        let mut back = Vec::new();
        decode_batch(&ours, &mut back).expect("decodes");
        assert_eq!(back, records);
    }

    #[test]
    fn record_len_is_the_encoded_length() {
        for record in samples() {
            let mut bytes = Vec::new();
            encode_batch(std::slice::from_ref(&record), &mut bytes);
            assert_eq!(bytes.len(), COUNT_LEN + record_len(&record), "{record:?}");
        }
    }

    #[test]
    fn a_cut_or_longer_payload_is_refused() {
        let mut bytes = Vec::new();
        encode_batch(&samples(), &mut bytes);
        let mut out = Vec::new();
        for cut in 0..bytes.len() {
            assert!(decode_batch(&bytes[..cut], &mut out).is_none(), "cut at {cut}");
            assert!(out.is_empty());
        }
        bytes.push(0);
        assert!(decode_batch(&bytes, &mut out).is_none());
    }

    #[test]
    fn numbers_that_version_1_does_not_have_are_refused() {
        let mut out = Vec::new();
        for wire in [
            RecordV1::Arrival { t_ns: 0, role: 3, channel: 0, bytes: &[] },
            RecordV1::Mark { t_ns: 0, kind: MarkKind::ALL.len() as u8, detail: "" },
            RecordV1::Strap { t_ns: 0, role: 0, kind: StrapEventKind::ALL.len() as u8, detail: "" },
        ] {
            let bytes = bincode::encode_to_vec(vec![wire], fixed::<PAYLOAD_LIMIT>()).expect("encodes");
            assert!(decode_batch(&bytes, &mut out).is_none());
        }
    }

    #[test]
    fn a_count_or_length_that_is_not_there_allocates_nothing() {
        let mut out = Vec::new();
        assert!(decode_batch(&u64::MAX.to_le_bytes(), &mut out).is_none());
        assert_eq!(out.capacity(), 0);
        let mut curves = Vec::new();
        curves.extend_from_slice(&0f64.to_le_bytes());
        curves.extend_from_slice(&0f64.to_le_bytes());
        curves.extend_from_slice(&(u64::MAX / 64).to_le_bytes());
        assert!(decode_curves(&curves).is_err());
    }

    fn rust_files(dir: &Path, out: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(dir).expect("sources are readable") {
            let path = entry.expect("entry").path();
            if path.is_dir() {
                rust_files(&path, out);
            } else if path.extension().is_some_and(|e| e == "rs") {
                out.push(path);
            }
        }
    }

    #[test]
    fn no_other_module_names_the_serialisation_library() {
        let mut files = Vec::new();
        rust_files(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
        assert!(files.len() > 5);
        for file in files {
            if file.ends_with("log/wire.rs") {
                continue;
            }
            let text = fs::read_to_string(&file).expect("UTF-8");
            for (number, line) in text.lines().enumerate() {
                let code = line.split("//").next().unwrap_or(line);
                assert!(!code.contains("bincode"), "{}:{}", file.display(), number + 1);
            }
        }
    }
}
