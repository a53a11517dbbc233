//! The recording log, whole and damaged.

use peakorder_protocol::Role;
use peakorder_protocol::log::{
    Arrival, Disconnection, Finding, FindingKind, LogError, LogReader, LogWriter, Mark, MarkKind, Record,
    RestFault, Store, StrapEvent, StrapEventKind, frame,
};
use proptest::prelude::*;
use std::io::{self, Write};
use std::time::Duration;

/// A store in memory that can be told to fail.
#[derive(Debug, Default)]
struct Memory {
    bytes: Vec<u8>,
    /// Bytes after which writing fails.
    room: Option<usize>,
    sync_fails: bool,
    writes: usize,
}

impl Write for Memory {
    fn write(&mut self, data: &[u8]) -> io::Result<usize> {
        self.writes += 1;
        let n = self.room.map_or(data.len(), |room| data.len().min(room - self.bytes.len()));
        if n == 0 {
            return Err(io::Error::other("no space left on device"));
        }
        self.bytes.extend_from_slice(&data[..n]);
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Store for Memory {
    fn sync(&mut self) -> io::Result<()> {
        if self.sync_fails { Err(io::Error::other("input/output error")) } else { Ok(()) }
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.bytes.truncate(length as usize);
        Ok(())
    }
}

fn arrival(t_ns: u64, length: usize) -> Record {
    Record::Arrival(Arrival {
        t_ns,
        role: Role::ALL[t_ns as usize % 3],
        channel: 0,
        bytes: (0..length).map(|i| (i as u64 ^ t_ns) as u8).collect(),
    })
}

/// Batches, the log they make, and where each frame begins (and the last one ends).
fn log_of(batches: &[Vec<Record>]) -> (Vec<u8>, Vec<usize>) {
    let mut writer = LogWriter::new(Memory::default()).expect("memory");
    let mut starts = vec![writer.len_bytes() as usize];
    for batch in batches {
        writer.append(batch).expect("memory");
        starts.push(writer.len_bytes() as usize);
    }
    (writer.finish().expect("memory").bytes, starts)
}

fn three_batches() -> Vec<Vec<Record>> {
    (0..3).map(|b| (0..4).map(|i| arrival(b * 10 + i, 60)).collect()).collect()
}

fn read(bytes: &[u8]) -> Result<(Vec<Record>, Vec<Finding>), LogError> {
    let mut reader = LogReader::new(bytes)?;
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while reader.next_batch(&mut batch)? {
        all.extend_from_slice(&batch);
    }
    assert!(batch.is_empty());
    assert!(!reader.next_batch(&mut batch)?, "the end stays the end");
    Ok((all, reader.findings().to_vec()))
}

fn strap(t_ns: u64, role: Role, what: StrapEventKind) -> Record {
    Record::Strap(StrapEvent { t_ns, role, what })
}

/// The frames that are alike in both committed logs.
fn arrivals_and_marks() -> [Vec<Record>; 2] {
    let words = [
        "still-start",
        "still-end",
        "bow-start",
        "bow-end",
        "arm-raise-start",
        "arm-raise-end",
        "block",
        "note",
        "turn-start",
        "turn-end",
    ];
    [
        vec![
            Record::Arrival(Arrival {
                t_ns: 12_000_000,
                role: Role::Pelvis,
                channel: 0,
                bytes: (0..20).collect(),
            }),
            Record::Arrival(Arrival { t_ns: 12_500_000, role: Role::LeadArm, channel: 1, bytes: Vec::new() }),
            Record::Mark(Mark {
                t_ns: 13_000_000_000,
                kind: MarkKind::Block,
                detail: "Grundübung".to_owned(),
            }),
        ],
        words
            .into_iter()
            .map(|word| {
                let detail = if word.starts_with("turn") { "seated" } else { "" };
                Record::Mark(Mark {
                    t_ns: 1 << 63,
                    kind: word.parse().expect("a mark"),
                    detail: detail.to_owned(),
                })
            })
            .collect(),
    ]
}

#[test]
fn version_1_reads_the_committed_bytes() {
    // Made by data/make_golden.py from the byte tables alone.
    let golden = include_bytes!("data/log-v1.bin");
    let [arrivals, marks] = arrivals_and_marks();
    let batches = [
        vec![
            strap(0, Role::Pelvis, StrapEventKind::CONNECTED),
            strap(0, Role::Thorax, StrapEventKind::CONNECTED),
            strap(0, Role::LeadArm, StrapEventKind::CONNECTED),
            strap(1, Role::Thorax, StrapEventKind::Battery { percent: 87 }),
        ],
        arrivals,
        marks,
        // Every kind with the text "15.0".
        [
            StrapEventKind::Connected { information: "15.0".into(), mtu: None },
            StrapEventKind::Disconnected { reason: Disconnection::Other { why: "15.0".into() } },
            StrapEventKind::Restarted,
            StrapEventKind::Note { text: "battery 15.0 %".into() },
            StrapEventKind::Interval { interval: Duration::from_millis(15) },
            StrapEventKind::Note { text: "15.0".into() },
        ]
        .into_iter()
        .map(|what| strap(u64::MAX, Role::Pelvis, what))
        .collect(),
    ];
    assert_eq!(read(golden).expect("reads"), (batches.concat(), Vec::new()));
}

#[test]
fn version_2_reads_and_writes_the_committed_bytes() {
    let golden = include_bytes!("data/log-v2.bin");
    let [arrivals, marks] = arrivals_and_marks();
    let connected = |mtu| StrapEventKind::Connected { information: "firmware 1.2.3".into(), mtu };
    let rest = |acc_m_s2, gyro_rad_s, fault| StrapEventKind::AtRest { acc_m_s2, gyro_rad_s, fault };
    let mut last: Vec<Record> = [
        Disconnection::NotKnown,
        Disconnection::SessionEnded,
        Disconnection::LinkLost,
        Disconnection::SentNothing,
        Disconnection::FellSilent,
        Disconnection::ServiceGone,
    ]
    .into_iter()
    .map(|reason| strap(u64::MAX, Role::LeadArm, StrapEventKind::Disconnected { reason }))
    .collect();
    let wrong_acc = RestFault::Acceleration { profile: "own".into(), min_m_s2: 9.0, max_m_s2: 10.5 };
    let wrong_gyro = RestFault::Rotation { profile: "own".into(), max_rad_s: 0.125 };
    last.extend(
        [
            StrapEventKind::Disconnected { reason: Disconnection::Other { why: "0x08".into() } },
            StrapEventKind::Restarted,
            StrapEventKind::Interval { interval: Duration::from_micros(11_250) },
            rest(9.8, 0.01, None),
            rest(2.4, 0.01, Some(wrong_acc)),
            rest(9.8, 0.5, Some(wrong_gyro)),
            StrapEventKind::Refused { why: "no such service".into() },
            StrapEventKind::NotConnectedYet { why: "busy".into() },
            StrapEventKind::NotHeard,
            StrapEventKind::Note { text: "Übung".into() },
        ]
        .map(|what| strap(5, Role::Pelvis, what)),
    );
    let batches = [
        vec![
            strap(0, Role::Pelvis, connected(None)),
            strap(0, Role::Thorax, connected(Some(247))),
            strap(1, Role::Thorax, StrapEventKind::Battery { percent: 87 }),
        ],
        arrivals,
        marks,
        last,
    ];
    assert_eq!(read(golden).expect("reads"), (batches.concat(), Vec::new()));
    assert_eq!(log_of(&batches).0, golden);
}

#[test]
fn a_mark_that_does_not_exist_is_refused_with_the_list() {
    let error = "still".parse::<MarkKind>().expect_err("not a mark");
    assert_eq!((error.given.as_str(), error.wanted), ("still", "a mark"));
    assert!(MarkKind::ALL.iter().all(|k| error.known.contains(k.as_str())), "{error}");
}

#[test]
fn a_tail_torn_at_any_byte_loses_only_the_last_frame() {
    let batches = three_batches();
    let (bytes, starts) = log_of(&batches);
    for cut in starts[2] + 1..bytes.len() {
        let (records, findings) = read(&bytes[..cut]).expect("reads");
        assert_eq!(records, batches[..2].concat(), "cut at {cut}");
        let (offset, n) = (starts[2] as u64, (cut - starts[2]) as u64);
        assert_eq!(findings, [Finding { offset, bytes: n, kind: FindingKind::TornTail }], "cut at {cut}");
    }
    assert_eq!(read(&bytes[..starts[2]]).expect("reads").1, []);
}

#[test]
fn a_log_torn_inside_its_header_is_an_empty_log() {
    let (bytes, starts) = log_of(&[]);
    for cut in 0..starts[0] {
        let (records, findings) = read(&bytes[..cut]).expect("reads");
        assert!(records.is_empty());
        assert_eq!(findings, [Finding { offset: 0, bytes: cut as u64, kind: FindingKind::TornTail }]);
    }
}

#[test]
fn a_flipped_bit_anywhere_loses_only_its_frame() {
    let batches = three_batches();
    let (bytes, starts) = log_of(&batches);
    for at in 0..bytes.len() * 8 {
        let mut damaged = bytes.clone();
        damaged[at / 8] ^= 1 << (at % 8);
        let (records, findings) = read(&damaged).expect("reads");
        let hit = starts.iter().rposition(|&s| s <= at / 8);
        let kept: Vec<Record> = batches
            .iter()
            .enumerate()
            .filter(|(i, _)| Some(*i) != hit)
            .flat_map(|(_, b)| b.clone())
            .collect();
        assert_eq!(records, kept, "bit {at}");
        let first = findings.first().expect("a finding");
        let expected = hit.map_or(0, |i| starts[i] as u64);
        assert_eq!(first.offset, expected, "bit {at}: {first}");
        if let Some(i) = hit {
            assert_eq!(first.bytes, (starts[i + 1] - starts[i]) as u64, "bit {at}: {first}");
        } else {
            assert_eq!(first.kind, FindingKind::DamagedHeader);
        }
    }
}

#[test]
fn the_frame_that_is_lost_is_also_missing_from_the_numbering() {
    let (mut bytes, starts) = log_of(&three_batches());
    bytes[starts[1] + frame::FRAME_HEADER_LEN] ^= 1;
    let (_, findings) = read(&bytes).expect("reads");
    let [bad, gap] = findings.as_slice() else { panic!("{findings:?}") };
    assert_eq!(bad.kind, FindingKind::BadCrc);
    assert_eq!(gap.kind, FindingKind::SequenceGap { expected: 1, found: 2 });
    assert_eq!(
        gap.to_string(),
        format!("byte {}: 1 frame(s) missing (number 2 follows, 1 expected)", starts[2])
    );
    assert_eq!(
        bad.to_string(),
        format!(
            "byte {}: damaged frame (wrong checksum), {} bytes skipped",
            starts[1],
            starts[2] - starts[1]
        )
    );
}

#[test]
fn garbage_between_frames_is_skipped_and_reported() {
    let batches = three_batches();
    let (bytes, starts) = log_of(&batches);
    let half_a_frame = &bytes[starts[0]..starts[0] + 100];
    for garbage in [&[0u8; 4096][..], b"\xf7\x50\x4b", half_a_frame, &frame::FRAME_MAGIC] {
        let damaged = [&bytes[..starts[1]], garbage, &bytes[starts[1]..]].concat();
        let (records, findings) = read(&damaged).expect("reads");
        assert_eq!(records, batches.concat());
        assert_eq!(findings.len(), 1, "{findings:?}");
        assert_eq!((findings[0].offset, findings[0].bytes), (starts[1] as u64, garbage.len() as u64));
    }
}

#[test]
fn a_length_over_the_limit_is_damage_and_not_an_allocation() {
    let (mut bytes, starts) = log_of(&three_batches());
    bytes[starts[1] + 8..starts[1] + 12].copy_from_slice(&u32::MAX.to_le_bytes());
    let (records, findings) = read(&bytes).expect("reads");
    assert_eq!(records.len(), 8);
    assert_eq!(findings[0].offset, starts[1] as u64);
}

#[test]
fn a_frame_that_comes_again_is_left_out() {
    let batches = three_batches();
    let (bytes, starts) = log_of(&batches);
    let again = [&bytes[..], &bytes[starts[1]..starts[2]]].concat();
    let (records, findings) = read(&again).expect("reads");
    assert_eq!(records, batches.concat());
    assert_eq!(findings[0].kind, FindingKind::Repeated { expected: 3, found: 1 });
}

/// Writes the checksum of `head` and `rest` at `at`, so that only what was changed on purpose is wrong.
fn crc_at(bytes: &mut [u8], head: std::ops::Range<usize>, rest: std::ops::Range<usize>, at: usize) {
    let all = [&bytes[head], &bytes[rest]].concat();
    bytes[at..at + 4].copy_from_slice(&crc32c::crc32c(&all).to_le_bytes());
}

#[test]
fn a_newer_version_says_update() {
    let (mut bytes, starts) = log_of(&three_batches());
    let end = starts[2];
    let mut header = bytes.clone();
    header[8] = 3;
    crc_at(&mut header, 0..12, 0..0, 12);
    let error = read(&header).expect_err("newer").to_string();
    assert_eq!(
        error,
        "the recording has format version 3, this program reads up to 2; update peakorder to open it"
    );
    bytes[starts[1] + 4] = 3;
    crc_at(&mut bytes, starts[1]..starts[1] + 20, starts[1] + 24..end, starts[1] + 20);
    assert!(matches!(read(&bytes), Err(LogError::NewerVersion { found: 3, known: 2 })));
}

#[test]
fn another_file_is_not_a_log() {
    for other in [&b"PK\x03\x04 and then some more bytes"[..], b"{}", &[0; 64]] {
        assert!(matches!(read(other), Err(LogError::NotALog { .. })), "{other:?}");
    }
}

#[test]
fn a_checksum_that_is_right_over_unknown_records_is_reported() {
    let batches = three_batches();
    let (mut bytes, starts) = log_of(&batches);
    // The role of the second frame's first record: 24 header, 8 count, 4 variant, 8 time.
    bytes[starts[1] + 44] = 9;
    crc_at(&mut bytes, starts[1]..starts[1] + 20, starts[1] + 24..starts[2], starts[1] + 20);
    let (records, findings) = read(&bytes).expect("reads");
    assert_eq!(records, [batches[0].clone(), batches[2].clone()].concat());
    assert_eq!(findings.iter().map(|f| f.kind).collect::<Vec<_>>(), [FindingKind::Undecodable]);
}

#[test]
fn a_failed_store_refuses_further_writes_and_keeps_what_was_written() {
    let batches = three_batches();
    let (bytes, starts) = log_of(&batches);
    for room in starts[1]..starts[2] {
        let mut log = LogWriter::new(Memory { room: Some(room), ..Memory::default() }).expect("header fits");
        log.append(&batches[0]).expect("fits");
        let first = log.append(&batches[1]).expect_err("does not fit");
        assert!(matches!(first, LogError::Write { offset, .. } if offset == starts[1] as u64), "{first}");
        for again in [log.append(&batches[2]), log.sync()] {
            let again = again.expect_err("refused");
            assert!(matches!(again, LogError::Failed { .. }));
            assert!(again.to_string().contains("no space left on device"), "{again}");
        }
        assert!(log.finish().is_err());
        let (records, _) = read(&bytes[..room]).expect("reads");
        assert_eq!(records, batches[0]);
    }
}

#[test]
fn a_failed_sync_refuses_further_writes() {
    let mut log = LogWriter::new(Memory { sync_fails: true, ..Memory::default() }).expect("header");
    log.append(&[arrival(1, 20)]).expect("memory");
    assert!(matches!(log.sync(), Err(LogError::Write { .. })));
    assert!(matches!(log.append(&[arrival(2, 20)]), Err(LogError::Failed { .. })));
}

#[test]
fn a_batch_is_one_write_and_a_batch_over_the_limit_is_split() {
    let mut log = LogWriter::new(Memory::default()).expect("memory");
    log.append(&[]).expect("nothing");
    log.append(&[arrival(1, 60), arrival(2, 60)]).expect("memory");
    let large: Vec<Record> = (0..5).map(|t| arrival(t, 400_000)).collect();
    log.append(&large).expect("memory");
    let memory = log.finish().expect("memory");
    assert_eq!(memory.writes, 1 + 1 + 3);
    let (records, findings) = read(&memory.bytes).expect("reads");
    assert_eq!((records.len(), findings.len()), (7, 0));
    assert_eq!(records[2..], large);
}

#[test]
fn a_record_that_fits_no_frame_is_refused_and_the_log_goes_on() {
    let mut log = LogWriter::new(Memory::default()).expect("memory");
    let limit = frame::PAYLOAD_LIMIT - 8 - 22;
    let refused = log.append(&[arrival(1, 1), arrival(2, limit + 1)]);
    assert!(matches!(refused, Err(LogError::TooLarge { .. })));
    log.append(&[arrival(3, limit)]).expect("just fits");
    let (records, findings) = read(&log.finish().expect("memory").bytes).expect("reads");
    assert_eq!((records, findings), (vec![arrival(3, limit)], Vec::new()));
}

#[test]
fn a_log_on_disk_is_private_and_never_overwritten() {
    let dir = tempfile::tempdir().expect("temporary folder");
    let path = dir.path().join("samples.log");
    let mut log = LogWriter::create(&path).expect("creates");
    log.append(&[arrival(1, 20)]).expect("writes");
    log.finish().expect("syncs");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        assert_eq!(std::fs::metadata(&path).expect("there").permissions().mode() & 0o777, 0o600);
    }
    assert!(matches!(LogWriter::create(&path), Err(LogError::Exists(_))));
    let mut reader = LogReader::open(&path).expect("opens");
    let mut batch = Vec::new();
    assert!(reader.next_batch(&mut batch).expect("reads"));
    assert_eq!(batch, [arrival(1, 20)]);
    assert!(matches!(LogReader::open(&dir.path().join("none")), Err(LogError::Open { .. })));
}

/// Hands out a few bytes at a time, as a pipe does.
struct Trickle<'a>(&'a [u8]);

impl io::Read for Trickle<'_> {
    fn read(&mut self, to: &mut [u8]) -> io::Result<usize> {
        let n = self.0.len().min(to.len()).min(7);
        to[..n].copy_from_slice(&self.0[..n]);
        self.0 = &self.0[n..];
        Ok(n)
    }
}

#[test]
fn a_log_longer_than_the_buffer_reads_the_same_from_a_pipe() {
    let batches: Vec<Vec<Record>> =
        (0..400).map(|b| (0..30).map(|i| arrival(b * 100 + i, 60)).collect()).collect();
    let (bytes, _) = log_of(&batches);
    assert!(bytes.len() > 900_000);
    assert_eq!(read(&bytes).expect("reads"), (batches.concat(), Vec::new()));
    let mut reader = LogReader::new(Trickle(&bytes)).expect("reads");
    let mut batch = Vec::new();
    for expected in &batches {
        assert!(reader.next_batch(&mut batch).expect("reads"));
        assert_eq!(&batch, expected);
    }
    assert!(!reader.next_batch(&mut batch).expect("reads"));
    assert_eq!(reader.offset(), bytes.len() as u64);
}

#[derive(Debug, Clone)]
enum Harm {
    Flip(prop::sample::Index, u8),
    Cut(prop::sample::Index),
    Remove(prop::sample::Index, prop::sample::Index),
    Insert(prop::sample::Index, Vec<u8>),
}

fn harm() -> impl Strategy<Value = Harm> {
    let index = any::<prop::sample::Index>;
    prop_oneof![
        (index(), 0..8u8).prop_map(|(i, b)| Harm::Flip(i, b)),
        index().prop_map(Harm::Cut),
        (index(), index()).prop_map(|(a, b)| Harm::Remove(a, b)),
        (index(), prop::collection::vec(any::<u8>(), 0..80)).prop_map(|(i, v)| Harm::Insert(i, v)),
    ]
}

fn harmed(mut bytes: Vec<u8>, harms: &[Harm]) -> Vec<u8> {
    for h in harms {
        if bytes.is_empty() {
            break;
        }
        match h {
            Harm::Flip(i, bit) => {
                let i = i.index(bytes.len());
                bytes[i] ^= 1 << bit;
            }
            Harm::Cut(i) => bytes.truncate(i.index(bytes.len())),
            Harm::Remove(a, b) => {
                let (a, b) = (a.index(bytes.len()), b.index(bytes.len()));
                bytes.drain(a.min(b)..a.max(b));
            }
            Harm::Insert(i, new) => {
                let i = i.index(bytes.len());
                bytes.splice(i..i, new.iter().copied());
            }
        }
    }
    bytes
}

fn short_text() -> impl Strategy<Value = String> {
    prop::collection::vec(any::<char>(), 0..12).prop_map(String::from_iter)
}

fn disconnection() -> impl Strategy<Value = Disconnection> {
    prop_oneof![
        Just(Disconnection::NotKnown),
        Just(Disconnection::SessionEnded),
        Just(Disconnection::LinkLost),
        Just(Disconnection::SentNothing),
        Just(Disconnection::FellSilent),
        Just(Disconnection::ServiceGone),
        short_text().prop_map(|why| Disconnection::Other { why }),
    ]
}

fn at_rest() -> impl Strategy<Value = StrapEventKind> {
    let figure = || -1e3..1e3_f64;
    let fault = prop_oneof![
        Just(None),
        (short_text(), figure(), figure()).prop_map(|(profile, min_m_s2, max_m_s2)| {
            Some(RestFault::Acceleration { profile, min_m_s2, max_m_s2 })
        }),
        (short_text(), figure())
            .prop_map(|(profile, max_rad_s)| Some(RestFault::Rotation { profile, max_rad_s })),
    ];
    (figure(), figure(), fault).prop_map(|(acc_m_s2, gyro_rad_s, fault)| StrapEventKind::AtRest {
        acc_m_s2,
        gyro_rad_s,
        fault,
    })
}

fn strap_event() -> impl Strategy<Value = StrapEventKind> {
    prop_oneof![
        (short_text(), prop::option::of(1..=u16::MAX))
            .prop_map(|(information, mtu)| StrapEventKind::Connected { information, mtu }),
        disconnection().prop_map(|reason| StrapEventKind::Disconnected { reason }),
        Just(StrapEventKind::Restarted),
        any::<u8>().prop_map(|percent| StrapEventKind::Battery { percent }),
        any::<u64>().prop_map(|ns| StrapEventKind::Interval { interval: Duration::from_nanos(ns) }),
        at_rest(),
        short_text().prop_map(|why| StrapEventKind::Refused { why }),
        short_text().prop_map(|why| StrapEventKind::NotConnectedYet { why }),
        Just(StrapEventKind::NotHeard),
        short_text().prop_map(|text| StrapEventKind::Note { text }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn strap_events_come_back_as_they_went(
        events in prop::collection::vec((any::<u64>(), 0..3_usize, strap_event()), 0..20),
    ) {
        let records: Vec<Record> =
            events.into_iter().map(|(t_ns, role, what)| strap(t_ns, Role::ALL[role], what)).collect();
        let (bytes, _) = log_of(std::slice::from_ref(&records));
        prop_assert_eq!(read(&bytes).expect("reads"), (records, Vec::new()));
    }

    #[test]
    fn damage_never_yields_an_altered_record(
        sizes in prop::collection::vec(prop::collection::vec(0..100usize, 1..5), 0..8),
        harms in prop::collection::vec(harm(), 1..4),
    ) {
        let mut t = 0;
        let batches: Vec<Vec<Record>> = sizes.iter().map(|batch| batch.iter().map(|&n| { t += 1; arrival(t, n) }).collect()).collect();
        let written = batches.concat();
        let (bytes, _) = log_of(&batches);
        let damaged = harmed(bytes.clone(), &harms);
        if let Ok((records, findings)) = read(&damaged) {
            // What is handed out is a subsequence of what was written.
            let mut from = written.iter();
            prop_assert!(records.iter().all(|r| from.any(|w| w == r)));
            if records.len() < written.len() && damaged != bytes {
                let cut_between_frames = findings.is_empty() && bytes.starts_with(&damaged);
                prop_assert!(!findings.is_empty() || cut_between_frames);
            }
        }
    }

    #[test]
    fn random_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), as_frames in any::<bool>()) {
        let (mut all, _) = log_of(&[]);
        if as_frames {
            all.extend_from_slice(&frame::FRAME_MAGIC);
        }
        all.extend_from_slice(&bytes);
        let (records, _) = read(&all).expect("corruption is not an error");
        prop_assert!(records.is_empty());
        prop_assert!(read(&bytes).is_err() || bytes.is_empty());
    }
}

/// Torn at any byte, a log is gone on with behind its last whole frame: what was whole stays, what comes is read, and
/// the gap is seen.
#[test]
fn a_log_is_gone_on_with_wherever_it_was_torn() {
    let batches = three_batches();
    let (whole, _) = log_of(&batches);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("samples.log");
    let later = vec![arrival(9_000, 20)];
    for length in 0..=whole.len() {
        std::fs::write(&path, &whole[..length]).unwrap();
        let mut reader = LogReader::open(&path).unwrap();
        let (mut before, mut batch) = (Vec::new(), Vec::new());
        while reader.next_batch(&mut batch).unwrap() {
            before.append(&mut batch);
        }
        let mut log = LogWriter::reopen(&path, reader.end()).unwrap();
        log.append(&later).unwrap();
        assert!(LogWriter::reopen(&path, reader.end()).is_err(), "another writer has it");
        log.finish().unwrap();
        let (after, findings) = read(&std::fs::read(&path).unwrap()).unwrap();
        assert_eq!(after, [before.clone(), later.clone()].concat(), "torn at {length}");
        let gaps: Vec<FindingKind> = findings.iter().map(|f| f.kind).collect();
        // A header that was torn is written anew, and then nothing is missing before the first frame.
        match &gaps[..] {
            [] => assert!(length < frame::FILE_HEADER_LEN, "torn at {length}"),
            [FindingKind::SequenceGap { expected, found }] => assert_eq!(*found, expected + 1),
            other => panic!("torn at {length}: {other:?}"),
        }
    }
}
