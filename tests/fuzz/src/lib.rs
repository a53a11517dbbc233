//! What must hold of every decoder, whatever bytes it is given: no panic, no hang, and what
//! it hands out keeps its promises.
//!
//! The fuzz targets call these; so does `tests/tests/decoders.rs`, which runs the seeds and
//! random harm to them with the stable compiler.

mod crc32c;

use crc32c::crc32c;
use peakorder_daemon::config::Config;
use peakorder_daemon::source::import::{Import, SampleFile, marks_from};
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::curves::Curves;
use peakorder_protocol::log::{
    Arrival, LogReader, LogWriter, Mark, MarkKind, Record, Store, StrapEvent, StrapEventKind,
};
use peakorder_protocol::mobility::Mobility;
use peakorder_protocol::packet::{RawCounts, ReferencePacket, common_clock};
use peakorder_protocol::profile::{Decoded, Decoder, Profile};
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::session::{FORMAT, Player, Session, SourceKind, Strap};
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Handedness, Role};
use std::io::{self, Cursor, Write};
use std::path::Path;
use std::time::Duration;

/// Takes from the front of fuzzer bytes; zeros when they run out.
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn array<const N: usize>(&mut self) -> [u8; N] {
        let mut out = [0; N];
        let (head, rest) = self.0.split_at(self.0.len().min(N));
        out[..head.len()].copy_from_slice(head);
        self.0 = rest;
        out
    }

    fn u8(&mut self) -> u8 {
        self.array::<1>()[0]
    }

    fn u16(&mut self) -> u16 {
        u16::from_le_bytes(self.array())
    }

    fn slice(&mut self, n: usize) -> &'a [u8] {
        let (head, rest) = self.0.split_at(self.0.len().min(n));
        self.0 = rest;
        head
    }

    fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// Profiles beside the built-in ones: together they use every feature of the schema.
const MORE_PROFILES: [&str; 4] = [
    include_str!("../../../protocol/tests/profiles/adafruit.toml"),
    include_str!("../../../protocol/tests/profiles/bluest.toml"),
    include_str!("../../../protocol/tests/profiles/pmd.toml"),
    include_str!("../../../protocol/tests/profiles/sensortag.toml"),
];

fn profiles() -> Vec<Profile> {
    let more = MORE_PROFILES.iter().map(|t| Profile::from_toml(t).expect("a test profile is valid"));
    Profile::all_builtin().into_iter().chain(more).collect()
}

/// Gives a decoder one notification after the other and looks at what comes out.
fn notify(decoder: &mut Decoder, input: &mut Bytes<'_>) {
    let mut out = Decoded::default();
    while !input.is_empty() {
        let channel = input.u8() % 4;
        let n = usize::from(input.u8());
        let _ = decoder.decode(channel, input.slice(n), &mut out);
        let mut next = 0;
        for head in &out.packets {
            assert_eq!(head.first, next, "packets hold their samples in order");
            assert!(head.n >= 1);
            assert_eq!(out.samples_of(head).len(), head.n);
            assert!(head.seq.is_none_or(|s| u64::from(s) < 1 << head.seq_bits));
            assert!(head.period_s.is_none_or(|p| p.is_finite() && p > 0.0));
            assert!(head.event.is_none_or(|e| e.age_s.is_finite()));
            next += head.n;
        }
        assert_eq!(next, out.samples.len(), "every sample belongs to a packet");
        for sample in &out.samples {
            assert!(sample.gyro.iter().chain(&sample.acc).all(|v| v.is_finite()));
        }
    }
}

/// Any notifications to a decoder of one of the known profiles, chosen by the first byte.
pub fn profile_decoder(data: &[u8]) {
    let mut input = Bytes(data);
    let profiles = profiles();
    let profile = &profiles[usize::from(input.u8()) % profiles.len()];
    notify(&mut Decoder::new(profile), &mut input);
}

fn builtin(id: &str) -> Profile {
    Profile::from_toml(Profile::builtin(id).expect("it is built in")).expect("it is valid")
}

/// A reference packet decodes to what was encoded, in its long and in its short form; and
/// any bytes at all do no harm.
pub fn reference_packet(data: &[u8]) {
    let profile = builtin("ref-strap-v1");
    notify(&mut Decoder::new(&profile), &mut Bytes(data));
    let mut input = Bytes(data);
    let mut packet = ReferencePacket {
        flags: input.u8() & 0x7f,
        sequence: input.u16(),
        t_first_us: u32::from_le_bytes(input.array()),
        period_fifth_us: input.u16(),
        event_age_10us: input.u16(),
        samples: Vec::new(),
    };
    let n = 1 + usize::from(input.u8() % 19);
    for _ in 0..n {
        let v: [i16; 6] = std::array::from_fn(|_| input.u16() as i16);
        packet.samples.push(RawCounts { gyro: [v[0], v[1], v[2]], acc: [v[3], v[4], v[5]] });
    }
    let (mut bytes, mut out) = (Vec::new(), Decoded::default());
    packet.encode(&mut bytes);
    Decoder::new(&profile).decode(0, &bytes, &mut out).expect("what was encoded can be decoded");
    same_samples(&packet.samples, &out);
    assert_eq!(out.packets[0].seq, Some(u32::from(packet.sequence)));
    assert_eq!(out.packets[0].t_raw, Some(u64::from(packet.t_first_us)));

    packet.samples.truncate(1);
    bytes.clear();
    assert!(packet.encode_short(&mut bytes) && bytes.len() == 20);
    Decoder::new(&profile).decode(0, &bytes, &mut out).expect("what was encoded can be decoded");
    same_samples(&packet.samples, &out);
    assert_eq!(out.packets[0].seq, Some(u32::from(packet.sequence & 0xff)));
}

fn same_samples(sent: &[RawCounts], out: &Decoded) {
    const G: f64 = 9.80665;
    assert_eq!(out.samples.len(), sent.len());
    for (s, e) in out.samples.iter().zip(sent) {
        assert_eq!(s.gyro.map(|v| (v.to_degrees() / 0.070).round() as i16), e.gyro);
        assert_eq!(s.acc.map(|v| (v / G / 0.488e-3).round() as i16), e.acc);
    }
}

/// Imported samples decode to what was encoded, unless a value is not finite.
pub fn common_clock_packet(data: &[u8]) {
    let profile = builtin(common_clock::PROFILE_ID);
    notify(&mut Decoder::new(&profile), &mut Bytes(data));
    let mut input = Bytes(data);
    let mut samples = Vec::new();
    while !input.is_empty() && samples.len() < 100 {
        let t_ns = i64::from_le_bytes(input.array());
        let v: [f32; 6] = std::array::from_fn(|_| f32::from_le_bytes(input.array()));
        samples.push(common_clock::Sample {
            t_ns,
            gyro_rad_s: [v[0], v[1], v[2]],
            acc_m_s2: [v[3], v[4], v[5]],
        });
    }
    let finite = samples.iter().all(|s| s.gyro_rad_s.iter().chain(&s.acc_m_s2).all(|v| v.is_finite()));
    let mut out = Decoded::default();
    let result = Decoder::new(&profile).decode(0, &common_clock::encode(&samples), &mut out);
    assert_eq!(result.is_ok(), finite && !samples.is_empty());
    if result.is_ok() {
        assert_eq!(out.samples.len(), samples.len());
        for (s, e) in out.samples.iter().zip(&samples) {
            assert_eq!(
                (s.t_ns, s.gyro, s.acc),
                (Some(e.t_ns), e.gyro_rad_s.map(f64::from), e.acc_m_s2.map(f64::from))
            );
        }
    }
}

/// Any file as a recording log: it is read to its end, and findings lie inside it in order.
pub fn log_reader(data: &[u8]) {
    let _ = read_log(data);
    // A checksum is hard to guess: the same bytes as the payloads of sound frames, which give
    // a record or a finding each, and records that are written as they were.
    for version in [1, 2] {
        log_payloads(data, version);
    }
}

fn log_payloads(data: &[u8], version: u8) {
    let mut file = Vec::from(*b"PEAKOLOG\x02\0\0\0");
    file.extend_from_slice(&crc32c(&file).to_le_bytes());
    let mut input = Bytes(data);
    let mut frames = 0_u64;
    while !input.is_empty() {
        let n = usize::from(input.u16());
        let payload = input.slice(n);
        let mut frame = vec![0xf7, 0x50, 0x4b, 0xd9, version, 0, 0, 0];
        frame.extend_from_slice(&(payload.len() as u32).to_le_bytes());
        frame.extend_from_slice(&frames.to_le_bytes());
        let crc = crc32c(&[&frame, payload].concat());
        file.extend_from_slice(&[&frame, crc.to_le_bytes().as_slice(), payload].concat());
        frames += 1;
    }
    let (records, findings) = read_log(&file).expect("the header is sound");
    assert!(findings as u64 <= frames);
    if !records.is_empty() {
        let mut writer = LogWriter::new(Memory::default()).expect("memory takes a header");
        writer.append(&records).expect("what was read can be written");
        let written = writer.finish().expect("it can be finished").0;
        // As text, so that a number that is none equals itself.
        assert_eq!(format!("{:?}", read_log(&written)), format!("{:?}", Some((records, 0))));
    }
}

/// A log in memory.
#[derive(Default)]
struct Memory(Vec<u8>);

impl Write for Memory {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Store for Memory {
    fn sync(&mut self) -> io::Result<()> {
        Ok(())
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.0.truncate(length as usize);
        Ok(())
    }
}

/// Every record and the number of findings; `None` if it is no log.
fn read_log(data: &[u8]) -> Option<(Vec<Record>, usize)> {
    let mut log = LogReader::new(Cursor::new(data)).ok()?;
    let (mut batch, mut all) = (Vec::new(), Vec::new());
    while let Ok(true) = log.next_batch(&mut batch) {
        assert!(!batch.is_empty());
        assert!(log.offset() <= data.len() as u64);
        all.append(&mut batch);
    }
    let mut from = 0;
    for finding in log.findings() {
        assert!(finding.offset >= from && finding.offset + finding.bytes <= data.len() as u64, "{finding}");
        from = finding.offset;
    }
    Some((all, log.findings().len()))
}

/// Any file as curves; what could be read is written as it was.
pub fn curves_reader(data: &[u8]) {
    if let Ok(curves) = Curves::from_bytes(data) {
        assert_eq!(curves.to_bytes(), data, "there is one encoding");
    }
    // A checksum is hard to guess: the same bytes as the body of a sound file.
    let mut file = Vec::from(*b"POCURVES");
    file.extend_from_slice(&1_u16.to_le_bytes());
    file.extend_from_slice(&(data.len() as u32).to_le_bytes());
    file.extend_from_slice(&crc32c(data).to_le_bytes());
    file.extend_from_slice(data);
    if let Ok(curves) = Curves::from_bytes(&file) {
        assert_eq!(curves.to_bytes(), file, "there is one encoding");
    }
}

/// Any text as `session.toml`; what could be read comes back the same.
pub fn session_toml(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let file = Path::new("session.toml");
    match Session::from_toml(text, file) {
        Ok(session) => {
            let written = session.to_toml().expect("what was read can be written");
            let again = Session::from_toml(&written, file).expect("what was written can be read");
            assert_eq!(again.to_toml().expect("what was written can be written again"), written);
            let _ = Pipeline::new(&session);
        }
        Err(error) => assert!(error.to_string().starts_with("session.toml: ")),
    }
}

/// Any text as a swing file; what could be read comes back the same.
pub fn swing_json(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    if let Ok(swing) = Swing::from_json(text) {
        let written = swing.to_json().expect("JSON has finite numbers only");
        assert_eq!(Swing::from_json(&written).expect("what was written can be read"), swing);
    }
    if let Ok(repetition) = Repetition::from_json(text) {
        let written = repetition.to_json().expect("JSON has finite numbers only");
        assert_eq!(Repetition::from_json(&written).expect("what was written can be read"), repetition);
    }
}

/// Any text as mobility checks; what could be read comes back the same.
pub fn mobility_json(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    if let Ok(mobility) = Mobility::from_json(text) {
        let written = mobility.to_json();
        assert_eq!(Mobility::from_json(&written).expect("what was written can be read"), mobility);
    }
}

/// Any text up to a zero byte as a strap profile; the rest as that strap's notifications.
pub fn profile_toml(data: &[u8]) {
    let end = data.iter().position(|b| *b == 0).unwrap_or(data.len());
    let (text, rest) = data.split_at(end);
    let Ok(text) = std::str::from_utf8(text) else { return };
    match Profile::from_toml(text) {
        Ok(profile) => {
            assert!(!profile.id().is_empty());
            notify(&mut Decoder::new(&profile), &mut Bytes(rest.get(1..).unwrap_or_default()));
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// Two sample files and a marks file, parted by zero bytes: records come in order of time
/// as far as each strap is concerned, and their packets can be decoded.
pub fn import_csv(data: &[u8]) {
    let mut parts = data.split(|b| *b == 0).map(<[u8]>::to_vec);
    let mut files = Vec::new();
    for role in [Role::Pelvis, Role::Thorax] {
        let Some(part) = parts.next() else { break };
        let Ok(file) = SampleFile::read_from(role, Path::new("samples.csv"), Box::new(Cursor::new(part)))
        else {
            return;
        };
        files.push(file);
    }
    let marks = parts.next().and_then(|p| marks_from(Path::new("marks.csv"), p.as_slice()).ok());
    let mut import = Import::new(files, marks.unwrap_or_default());
    let mut decoder = Decoder::new(&builtin(common_clock::PROFILE_ID));
    let mut out = Decoded::default();
    for record in &mut import {
        if let Record::Arrival(arrival) = record {
            // A value of f64 may be too large for the packet's f32.
            if decoder.decode(arrival.channel, &arrival.bytes, &mut out).is_ok() {
                assert!(!out.samples.is_empty());
                assert!(out.samples.windows(2).all(|w| w[0].t_ns <= w[1].t_ns));
            }
        }
    }
    let _ = import.notices();
}

/// Any file as marks: times are finite and rise.
pub fn import_marks(data: &[u8]) {
    if let Ok(marks) = marks_from(Path::new("marks.csv"), data) {
        assert!(marks.iter().all(|m| m.0.is_finite()));
        assert!(marks.windows(2).all(|w| w[0].0 <= w[1].0));
    }
}

/// Any text as the configuration; what could be read comes back the same.
pub fn config_toml(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    if let Ok(config) = Config::from_toml(text) {
        let written = config.to_toml().expect("what was read can be written");
        assert_eq!(Config::from_toml(&written).expect("what was written can be read"), config);
        let _ = config.alignments();
    }
}

fn session_of(profiles: &[(Role, &str)]) -> Session {
    let strap = |id: &str| Strap {
        name: String::new(),
        profile: id.into(),
        profile_toml: Profile::builtin(id).expect("it is built in").into(),
        latency_ms: 0.0,
        latency_sd_ms: None,
        interval_ms: None,
    };
    Session {
        format: FORMAT.into(),
        id: "fuzz".into(),
        started_utc: "2026-01-01T00:00:00Z".into(),
        zone: "UTC".into(),
        recorded_by: String::new(),
        computed_by: String::new(),
        source: SourceKind::Virtual,
        invented: true,
        player: Player { handedness: Handedness::Right, ..Player::default() },
        straps: profiles.iter().map(|(role, id)| (*role, strap(id))).collect(),
        settings: toml::Table::new(),
        calibration: Vec::new(),
        troubles: Vec::new(),
    }
}

/// Any records through the whole pipeline: packets that can be decoded with times that make
/// no sense, marks in any order. What comes out can be written and read.
pub fn pipeline(data: &[u8]) {
    let mut input = Bytes(data);
    let straps: &[(Role, &str)] = if input.u8() % 2 == 0 {
        &[(Role::Pelvis, "ref-strap-v1"), (Role::Thorax, "thingy52"), (Role::LeadArm, "movesense-gsp-imu6")]
    } else {
        &[(Role::Pelvis, "common-clock-v1"), (Role::Thorax, "common-clock-v1")]
    };
    let mut pipeline = Pipeline::new(&session_of(straps)).expect("the session is sound");
    let mut out = Vec::new();
    let mut t_ns = 0_u64;
    while !input.is_empty() {
        let what = input.u8();
        // Steps of up to 65 ms; now and then a leap.
        t_ns = if what & 0xc0 == 0xc0 {
            u64::from_le_bytes(input.array())
        } else {
            t_ns.saturating_add(u64::from(input.u16()) * 1000)
        };
        let (role, _) = straps[usize::from(what >> 2) % straps.len()];
        let record = match what & 3 {
            0 => Record::Mark(Mark {
                t_ns,
                kind: MarkKind::ALL[usize::from(input.u8()) % MarkKind::ALL.len()],
                detail: "seated".into(),
            }),
            1 => Record::Strap(StrapEvent {
                t_ns,
                role,
                what: StrapEventKind::Interval {
                    interval: Duration::from_micros(u64::from(u32::from_le_bytes(input.array()))),
                },
            }),
            _ => {
                let n = usize::from(input.u8());
                Record::Arrival(Arrival { t_ns, role, channel: 0, bytes: input.slice(n).to_vec() })
            }
        };
        pipeline.push(&record, &mut out);
    }
    pipeline.finish(&mut out);
    for output in out {
        if let Output::Repetition(repetition) = &output {
            let text = repetition.to_json().expect("finite");
            assert_eq!(Repetition::from_json(&text).expect("what was measured can be read"), **repetition);
        }
        if let Output::Swing(swing, curves) = output {
            assert_eq!(
                Swing::from_json(&swing.to_json().expect("finite")).expect("what was measured can be read"),
                *swing
            );
            assert!(Curves::from_bytes(&curves.to_bytes()).is_ok());
        }
    }
}
