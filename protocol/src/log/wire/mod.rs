//! The stored records: the only module that names the serialisation library.
//!
//! The stored types are this module's own, converted by hand, so that a change to the
//! program's types can never change the files. The encoding is bincode 2's with
//! fixed-width little-endian numbers; `docs/formats/README.md` has its rules, `log.md` and `curves.md`
//! beside it the tables. Variants, roles and mark kinds are numbered by their position here,
//! in [`Role::ALL`] and in [`MarkKind::ALL`]: they may only be appended to.

mod curves;
mod strap;

pub(crate) use curves::{decode_curves, encode_curves};

use super::frame::PAYLOAD_LIMIT;
use super::{Arrival, Mark, MarkKind, Record, StrapEvent};
use crate::role::Role;
use bincode::config::{self, Configuration, Fixint, Limit, LittleEndian};
use bincode::{BorrowDecode, Encode};
use strap::{StoredStrap, StrapV1, StrapV2};

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
enum Stored<'a, S> {
    Arrival { t_ns: u64, role: u8, channel: u8, bytes: &'a [u8] },
    Mark { t_ns: u64, kind: u8, detail: &'a str },
    Strap { t_ns: u64, role: u8, what: S },
}

fn index_in<T: PartialEq>(all: &[T], one: &T) -> u8 {
    // The lists are constants of at most ten entries that hold every variant.
    all.iter().position(|k| k == one).unwrap_or(usize::from(u8::MAX)) as u8
}

impl<'a> From<&'a Record> for Stored<'a, StrapV2<'a>> {
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
                what: StrapV2::from(&s.what),
            },
        }
    }
}

impl<S: StoredStrap> Stored<'_, S> {
    /// Writes the record over `slot`, keeping the slot's buffer where it has one.
    /// `None` for a role or kind that the version does not have.
    fn store_over(&self, slot: &mut Record) -> Option<()> {
        match (self, slot) {
            (Self::Arrival { t_ns, role, channel, bytes }, Record::Arrival(a)) => {
                a.t_ns = *t_ns;
                a.role = role_of(*role)?;
                a.channel = *channel;
                a.bytes.clear();
                a.bytes.extend_from_slice(bytes);
            }
            (_, slot) => *slot = self.to_record()?,
        }
        Some(())
    }

    fn to_record(&self) -> Option<Record> {
        Some(match self {
            Self::Arrival { t_ns, role, channel, bytes } => Record::Arrival(Arrival {
                t_ns: *t_ns,
                role: role_of(*role)?,
                channel: *channel,
                bytes: bytes.to_vec(),
            }),
            Self::Mark { t_ns, kind, detail } => Record::Mark(Mark {
                t_ns: *t_ns,
                kind: *MarkKind::ALL.get(usize::from(*kind))?,
                detail: (*detail).to_owned(),
            }),
            Self::Strap { t_ns, role, what } => {
                Record::Strap(StrapEvent { t_ns: *t_ns, role: role_of(*role)?, what: what.to_kind()? })
            }
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
        Record::Strap(s) => 13 + StrapV2::from(&s.what).len(),
    }
}

/// Appends the payload for `records` to `out`.
pub(super) fn encode_batch(records: &[Record], out: &mut Vec<u8>) {
    out.extend_from_slice(&(records.len() as u64).to_le_bytes());
    for record in records {
        append(Stored::from(record), out);
    }
}

fn append(value: impl Encode, out: &mut Vec<u8>) {
    bincode::encode_into_std_write(value, out, fixed::<PAYLOAD_LIMIT>())
        .expect("writing to memory cannot fail and every stored type can be encoded");
}

/// Decodes a payload of this version over the records in `out`; `None`, with `out` empty, when
/// it is not exactly a batch of such records.
pub(super) fn decode_batch(version: u8, payload: &[u8], out: &mut Vec<Record>) -> Option<()> {
    let n = match version {
        1 => decode_over::<StrapV1<'_>>(payload, out),
        2 => decode_over::<StrapV2<'_>>(payload, out),
        _ => None,
    };
    out.truncate(n.unwrap_or(0));
    n.map(|_| ())
}

fn decode_over<'a, S: StoredStrap + BorrowDecode<'a, ()>>(
    payload: &'a [u8],
    out: &mut Vec<Record>,
) -> Option<usize> {
    let (count, mut rest) = payload.split_first_chunk::<COUNT_LEN>()?;
    let count = u64::from_le_bytes(*count);
    // Records are decoded one by one: nothing is allocated for a count that is not there.
    let mut n = 0;
    while (n as u64) < count {
        let (record, used) =
            bincode::borrow_decode_from_slice::<Stored<'a, S>, _>(rest, fixed::<PAYLOAD_LIMIT>()).ok()?;
        rest = &rest[used..];
        match out.get_mut(n) {
            Some(slot) => record.store_over(slot)?,
            None => out.push(record.to_record()?),
        }
        n += 1;
    }
    rest.is_empty().then_some(n)
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
        all.extend(
            strap::tests::every_kind()
                .into_iter()
                .map(|what| Record::Strap(StrapEvent { t_ns: 6, role: Role::Thorax, what })),
        );
        all
    }

    #[test]
    fn a_batch_is_what_the_library_makes_of_a_list_of_records() {
        let records = samples();
        let mut ours = Vec::new();
        encode_batch(&records, &mut ours);
        let list: Vec<Stored<'_, _>> = records.iter().map(Stored::from).collect();
        let theirs = bincode::encode_to_vec(&list, fixed::<PAYLOAD_LIMIT>()).expect("encodes");
        assert_eq!(ours, theirs);
        let mut back = Vec::new();
        decode_batch(2, &ours, &mut back).expect("decodes");
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
            assert!(decode_batch(2, &bytes[..cut], &mut out).is_none(), "cut at {cut}");
            assert!(out.is_empty());
        }
        bytes.push(0);
        assert!(decode_batch(2, &bytes, &mut out).is_none());
    }

    #[test]
    fn numbers_that_a_version_does_not_have_are_refused() {
        type First = Stored<'static, StrapV1<'static>>;
        let mut out = Vec::new();
        let v1 = |kind| Stored::Strap { t_ns: 0, role: 0, what: StrapV1 { kind, detail: "" } };
        let arrival = |role| First::Arrival { t_ns: 0, role, channel: 0, bytes: &[] };
        let mark = |kind| First::Mark { t_ns: 0, kind, detail: "" };
        let marks = MarkKind::ALL.len() as u8;
        for (stored, known) in [
            (arrival(2), true),
            (arrival(3), false),
            (mark(marks - 1), true),
            (mark(marks), false),
            (v1(5), true),
            (v1(6), false),
        ] {
            let bytes = bincode::encode_to_vec(vec![stored], fixed::<PAYLOAD_LIMIT>()).expect("encodes");
            assert_eq!(decode_batch(1, &bytes, &mut out).is_some(), known);
            assert!(
                decode_batch(0, &bytes, &mut out).is_none() && decode_batch(3, &bytes, &mut out).is_none()
            );
        }
        let closed = |reason| Stored::Strap { t_ns: 0, role: 0, what: StrapV2::Disconnected { reason } };
        for (reason, known) in [(5, true), (6, false)] {
            let bytes =
                bincode::encode_to_vec(vec![closed(reason)], fixed::<PAYLOAD_LIMIT>()).expect("encodes");
            assert_eq!(decode_batch(2, &bytes, &mut out).is_some(), known);
        }
    }

    #[test]
    fn a_count_or_length_that_is_not_there_allocates_nothing() {
        let mut out = Vec::new();
        assert!(decode_batch(2, &u64::MAX.to_le_bytes(), &mut out).is_none());
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
            if file.parent().is_some_and(|folder| folder.ends_with("log/wire")) {
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
