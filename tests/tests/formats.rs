//! The file formats against a reader of another make: `formats/read_session.py` was written from
//! `docs/formats/` alone and shares no code with the program. Both read the same files, and what they
//! print must be the same, value by value, for whole files and for damaged ones.

use expect_test::expect_file;
use peakorder_analysis::load;
use peakorder_protocol::curves::{Curves, CurvesContent, CurvesError};
use peakorder_protocol::log::{
    Disconnection, Finding, FindingKind, LogError, LogReader, Record, RestFault, StrapEventKind,
};
use peakorder_protocol::session::SessionDir;
use peakorder_tests::programs::{daemon, workspace};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What the Python reader prints of these files, by file.
fn python(kind: &str, paths: &[PathBuf]) -> Vec<Vec<Value>> {
    let out = Command::new("python3")
        .arg(workspace().join("tests/formats/read_session.py"))
        .arg(kind)
        .args(paths)
        .output()
        .expect("python3 is installed");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let mut files: Vec<Vec<Value>> = Vec::new();
    for line in String::from_utf8(out.stdout).expect("UTF-8").lines() {
        let line: Value = serde_json::from_str(line).expect("JSON");
        if line.get("file").is_some() {
            files.push(Vec::new());
        } else {
            files.last_mut().expect("a file is named first").push(line);
        }
    }
    files
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, b| {
        let _ = write!(text, "{b:02x}");
        text
    })
}

fn merged(mut a: Value, b: Value) -> Value {
    let Value::Object(b) = b else { panic!("an object") };
    a.as_object_mut().expect("an object").extend(b);
    a
}

fn record(record: &Record) -> Value {
    match record {
        Record::Arrival(a) => {
            json!({"record": "arrival", "t_ns": a.t_ns, "role": a.role, "channel": a.channel, "bytes": hex(&a.bytes)})
        }
        Record::Mark(m) => {
            json!({"record": "mark", "t_ns": m.t_ns, "kind": m.kind.as_str(), "text": m.detail})
        }
        Record::Strap(s) => {
            merged(json!({"record": "strap", "t_ns": s.t_ns, "role": s.role}), strap_event(&s.what))
        }
    }
}

fn strap_event(what: &StrapEventKind) -> Value {
    use StrapEventKind as Kind;
    match what {
        Kind::Connected { information, mtu } => {
            json!({"what": "connected", "information": information, "mtu": mtu.unwrap_or(0)})
        }
        Kind::Disconnected { reason: Disconnection::Other { why } } => {
            json!({"what": "disconnected-other", "why": why})
        }
        Kind::Disconnected { reason } => {
            let word = match reason {
                Disconnection::NotKnown => "not-known",
                Disconnection::SessionEnded => "session-ended",
                Disconnection::LinkLost => "link-lost",
                Disconnection::SentNothing => "sent-nothing",
                Disconnection::FellSilent => "fell-silent",
                Disconnection::ServiceGone => "service-gone",
                Disconnection::Other { .. } => unreachable!("the arm above"),
            };
            json!({"what": "disconnected", "reason": word})
        }
        Kind::Restarted => json!({"what": "restarted"}),
        Kind::Battery { percent } => json!({"what": "battery", "percent": percent}),
        Kind::Interval { interval } => json!({"what": "interval", "ns": interval.as_nanos() as u64}),
        Kind::AtRest { acc_m_s2, gyro_rad_s, fault } => {
            let rest = json!({"what": "at-rest", "acc_m_s2": acc_m_s2, "gyro_rad_s": gyro_rad_s});
            match fault {
                None => rest,
                Some(RestFault::Acceleration { profile, min_m_s2, max_m_s2 }) => merged(
                    rest,
                    json!({"what": "wrong-acceleration", "profile": profile, "min_m_s2": min_m_s2, "max_m_s2": max_m_s2}),
                ),
                Some(RestFault::Rotation { profile, max_rad_s }) => merged(
                    rest,
                    json!({"what": "wrong-rotation", "profile": profile, "max_rad_s": max_rad_s}),
                ),
            }
        }
        Kind::Refused { why } => json!({"what": "refused", "why": why}),
        Kind::NotConnectedYet { why } => json!({"what": "not-connected-yet", "why": why}),
        Kind::NotHeard => json!({"what": "not-heard"}),
        Kind::Note { text } => json!({"what": "note", "text": text}),
    }
}

fn finding(finding: &Finding) -> Value {
    let (kind, more) = match finding.kind {
        FindingKind::TornTail => ("torn end", json!({})),
        FindingKind::BadCrc => ("wrong checksum", json!({})),
        FindingKind::Garbage => ("not a frame", json!({})),
        FindingKind::DamagedHeader => ("damaged header", json!({})),
        FindingKind::Undecodable => ("unknown records", json!({})),
        FindingKind::SequenceGap { expected, found } => {
            ("gap", json!({"expected": expected, "found": found}))
        }
        FindingKind::Repeated { expected, found } => {
            ("repeated", json!({"expected": expected, "found": found}))
        }
        other => panic!("a kind that the documents do not have: {other:?}"),
    };
    merged(json!({"finding": kind, "offset": finding.offset, "bytes": finding.bytes}), more)
}

/// What the program reads of a log.
fn log_lines(bytes: &[u8]) -> Vec<Value> {
    let read = || -> Result<Vec<Value>, LogError> {
        let mut reader = LogReader::new(bytes)?;
        let (mut lines, mut batch) = (Vec::new(), Vec::new());
        while reader.next_batch(&mut batch)? {
            lines.extend(batch.iter().map(record));
        }
        lines.extend(reader.findings().iter().map(finding));
        Ok(lines)
    };
    read().unwrap_or_else(|error| {
        let word = match error {
            LogError::NewerVersion { .. } => "newer",
            LogError::NotALog { .. } => "not a log",
            other => panic!("{other}"),
        };
        vec![json!({ "error": word })]
    })
}

/// What the program reads of a curves file. An `f32` is printed as the `f64` of the same value.
fn curves_lines(bytes: &[u8]) -> Vec<Value> {
    let wide = |values: &[f32]| values.iter().map(|v| f64::from(*v)).collect::<Vec<_>>();
    let line = match Curves::from_bytes(bytes) {
        Ok(curves) => {
            let segments: Vec<Value> = curves
                .segments
                .iter()
                .map(|s| {
                    let orientation: Vec<_> = s.orientation_wxyz.iter().map(|q| wide(q)).collect();
                    json!({"role": s.role, "speed_dps": wide(&s.speed_dps), "turn_deg": wide(&s.turn_deg),
                        "orientation_wxyz": orientation})
                })
                .collect();
            json!({"start_s": curves.start_s, "step_s": curves.step_s, "segments": segments})
        }
        Err(error) => {
            let word = match error {
                CurvesError::NotCurves => "not curves",
                CurvesError::Version { .. } => "version",
                CurvesError::Length { .. } => "length",
                CurvesError::BadCrc { .. } => "checksum",
                CurvesError::Undecodable(CurvesContent::Uneven(_)) => "uneven",
                other @ CurvesError::Undecodable(_) => panic!("{other}"),
            };
            json!({ "error": word })
        }
    };
    vec![line]
}

fn assert_lines(ours: &[Value], theirs: &[Value], of: &str) {
    for (i, (a, b)) in ours.iter().zip(theirs).enumerate() {
        assert_eq!(a, b, "{of}, line {i}");
    }
    assert_eq!(ours.len(), theirs.len(), "{of}: number of lines");
}

fn text(lines: &[Value]) -> String {
    lines.iter().map(|l| l.to_string() + "\n").collect()
}

/// One after another, always the same: xorshift64 (Marsaglia 2003).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n as u64) as usize
    }
}

#[test]
fn files_of_every_version_hold_what_is_committed_in_text() {
    let data = workspace().join("protocol/tests/data");
    for name in ["log-v1", "log-v2", "curves-v1"] {
        let path = data.join(name).with_extension("bin");
        let bytes = fs::read(&path).unwrap();
        let (kind, ours) = if name.starts_with("log") {
            ("log", log_lines(&bytes))
        } else {
            ("curves", curves_lines(&bytes))
        };
        expect_file![data.join(name).with_extension("jsonl")].assert_eq(&text(&ours));
        assert_lines(&ours, &python(kind, &[path])[0], name);
    }
}

/// Compares every file of a session folder; returns the number of records and points.
fn compare_session(folder: &Path) -> (usize, usize) {
    let theirs = python("session", &[folder.to_owned()]);
    let mut theirs = theirs.iter();
    let log = log_lines(&fs::read(folder.join("samples.log")).unwrap());
    assert_lines(&log, theirs.next().unwrap(), &folder.display().to_string());
    let mut names: Vec<PathBuf> =
        fs::read_dir(folder.join("swings")).unwrap().map(|e| e.unwrap().path()).collect();
    names.sort();
    let mut points = 0;
    for path in names {
        let theirs = theirs.next().unwrap();
        if path.extension().is_some_and(|e| e == "json") {
            assert_eq!(theirs, &[json!({"checksum": "right"})], "{}", path.display());
        } else {
            let ours = curves_lines(&fs::read(&path).unwrap());
            points += ours[0]["segments"][0]["speed_dps"].as_array().unwrap().len();
            assert_lines(&ours, theirs, &path.display().to_string());
        }
    }
    assert!(theirs.next().is_none());
    (log.len(), points)
}

#[test]
fn recordings_read_alike_in_both_versions_of_the_log() {
    let recordings = workspace().join("recordings");
    for name in ["baseline-left", "baseline-right", "professional"] {
        assert_eq!(fs::read(recordings.join(name).join("samples.log")).unwrap()[8], 1, "the first version");
        let (records, points) = compare_session(&recordings.join(name));
        assert!(records > 5000 && points > 500, "{name}: {records} records, {points} points");
    }
    let folder = tempfile::tempdir().unwrap();
    let now = folder.path().join("now");
    let _ = daemon(["virtual", "--seed", "3", "--swings", "1", "--out", now.to_str().unwrap()]).done();
    assert_eq!(fs::read(now.join("samples.log")).unwrap()[8], 2, "the second version");
    let (records, points) = compare_session(&now);
    assert!(records > 3000 && points > 100, "{records} records, {points} points");
}

/// Something happens to a file.
/// The swing file's shares against those that the reader makes of its other keys by the page's definition.
#[test]
fn shares_of_the_backswing_follow_from_turns_and_arm() {
    let mut told = 0;
    for folder in fs::read_dir(workspace().join("recordings")).expect("recordings") {
        let swings = folder.expect("a folder").path().join("swings");
        let Ok(files) = fs::read_dir(&swings) else { continue };
        let mut files: Vec<PathBuf> = files.map(|f| f.expect("a file").path()).collect();
        files.retain(|f| f.extension().is_some_and(|e| e == "json"));
        for (file, lines) in files.iter().zip(python("backswing", &files)) {
            let text = fs::read_to_string(file).expect("a swing file");
            let swing = peakorder_protocol::swing::Swing::from_json(&text).expect("a swing");
            let backswing = swing.backswing.unwrap_or_default();
            for (key, ours) in [("turn_share", backswing.turn_share), ("hips_share", backswing.hips_share)] {
                let theirs = lines[0].get(key).and_then(Value::as_f64);
                // The shares have four decimals, the angles that they are made of three.
                let same = match (ours, theirs) {
                    (Some(ours), Some(theirs)) => (ours - theirs).abs() < 1e-4,
                    (ours, theirs) => ours == theirs,
                };
                assert!(same, "{} {key}: {ours:?}, {theirs:?}", file.display());
                told += usize::from(ours.is_some());
            }
        }
    }
    assert!(told > 10, "{told}");
}

fn damage(bytes: &mut Vec<u8>, dice: &mut Dice) {
    let at = dice.below(bytes.len());
    let some = 1 + dice.below(600);
    match dice.below(7) {
        0 | 1 => bytes[at] ^= 1 << dice.below(8),
        2 => bytes.truncate(at),
        3 => drop(bytes.drain(at..(at + some).min(bytes.len()))),
        4 => {
            let again = bytes[at..(at + some).min(bytes.len())].to_vec();
            let to = dice.below(bytes.len());
            bytes.splice(to..to, again);
        }
        5 => {
            let end = (at + some).min(bytes.len());
            bytes[at..end].fill(0);
        }
        // The beginning of a frame where none is.
        _ => drop(bytes.splice(at..at, [0xf7, 0x50, 0x4b, 0xd9])),
    }
    if bytes.is_empty() {
        bytes.push(b'P');
    }
}

#[test]
fn damaged_logs_read_alike() {
    let data = workspace().join("protocol/tests/data");
    let mut seeds: Vec<Vec<u8>> =
        ["log-v1.bin", "log-v2.bin"].map(|n| fs::read(data.join(n)).unwrap()).into();
    seeds.push(fs::read(workspace().join("recordings/professional/samples.log")).unwrap()[..40_000].to_vec());
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let mut files = Vec::new();
    for i in 0..600 {
        let mut bytes = seeds[i % seeds.len()].clone();
        for _ in 0..=dice.below(3) {
            damage(&mut bytes, &mut dice);
        }
        let path = folder.path().join(format!("{i:03}.log"));
        fs::write(&path, &bytes).unwrap();
        files.push((path, bytes));
    }
    // Whole frames in another order, and one of a version to come.
    let whole = &seeds[0];
    let frame =
        |at: usize| at..at + 24 + u32::from_le_bytes(whole[at + 8..at + 12].try_into().unwrap()) as usize;
    let (first, second) = (frame(16), frame(frame(16).end));
    let swapped = [&whole[..16], &whole[second.clone()], &whole[first.clone()]].concat();
    let mut newer = whole.clone();
    newer[first.start + 4] = 3;
    let crc = crc32c(&[&newer[16..36], &newer[40..first.end]].concat());
    newer[36..40].copy_from_slice(&crc.to_le_bytes());
    for (name, bytes) in [("swapped.log", swapped), ("newer.log", newer)] {
        let path = folder.path().join(name);
        fs::write(&path, &bytes).unwrap();
        files.push((path, bytes));
    }

    let paths: Vec<PathBuf> = files.iter().map(|(path, _)| path.clone()).collect();
    let theirs = python("log", &paths);
    let mut kinds = std::collections::BTreeSet::new();
    for ((path, bytes), theirs) in files.iter().zip(&theirs) {
        let ours = log_lines(bytes);
        for line in &ours {
            let kind = line.get("finding").or_else(|| line.get("error"));
            kinds.extend(kind.map(|k| k.as_str().unwrap().to_owned()));
        }
        assert_lines(&ours, theirs, &path.display().to_string());
    }
    for kind in [
        "torn end",
        "wrong checksum",
        "not a frame",
        "damaged header",
        "gap",
        "repeated",
        "newer",
        "not a log",
    ] {
        assert!(kinds.contains(kind), "{kind} never came up: {kinds:?}");
    }
}

/// The checksum of RFC 3720, bit by bit.
fn crc32c(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ if crc & 1 == 1 { 0x82F6_3B78 } else { 0 })
    })
}

#[test]
fn damaged_curves_and_swing_files_are_refused_alike() {
    let swings = workspace().join("recordings/professional/swings");
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice(0x2545_f491_4f6c_dd1d);
    for (kind, name) in [("curves", "0001.curves"), ("json", "0001.json")] {
        let whole = fs::read(swings.join(name)).unwrap();
        let mut files = vec![(folder.path().join("whole"), whole.clone())];
        for i in 0..100 {
            let mut bytes = whole.clone();
            damage(&mut bytes, &mut dice);
            files.push((folder.path().join(i.to_string()), bytes));
        }
        for (path, bytes) in &files {
            fs::write(path, bytes).unwrap();
        }
        let paths: Vec<PathBuf> = files.iter().map(|(path, _)| path.clone()).collect();
        for ((path, bytes), theirs) in files.iter().zip(python(kind, &paths)) {
            if kind == "curves" {
                assert_lines(&curves_lines(bytes), &theirs, &path.display().to_string());
            } else {
                let right = bytes == &whole;
                assert!(
                    theirs == [json!({"checksum": if right { "right" } else { "wrong" }})]
                        || (!right && theirs == [json!({"checksum": "none"})] && !whole_key(bytes)),
                    "{}: {theirs:?}",
                    path.display()
                );
            }
        }
    }
}

/// The shift of the hips as the page describes it, and its parts add up.
#[test]
fn the_shift_of_the_hips_is_read_as_it_is_described() {
    let mut seen = 0;
    for name in ["baseline-left", "baseline-right", "professional"] {
        let (dir, _) = SessionDir::open(&workspace().join("recordings").join(name)).unwrap();
        let swings = dir.read_swings().unwrap();
        let paths: Vec<PathBuf> = swings.iter().map(|s| dir.swing_path(s.number)).collect();
        for (swing, theirs) in swings.iter().zip(python("hip-shift", &paths)) {
            let Some(shift) = &swing.hip_shift else {
                assert_eq!(theirs, [json!({"hip_shift": null})]);
                continue;
            };
            let theirs = &theirs[0]["hip_shift"];
            assert_eq!(theirs["breadth_cm"], shift.hip_breadth_cm);
            assert_eq!(theirs["measured"], shift.hip_breadth_measured);
            let impact = shift.impact_for_block_means.as_ref();
            for (key, at) in [("top", Some(&shift.top)), ("impact_for_block_means", impact)] {
                let Some(at) = at else {
                    assert!(theirs.get(format!("{key} mid_hips")).is_none());
                    continue;
                };
                for (hip, at) in [("mid_hips", at.mid_hips), ("trail_hip", at.trail_hip)] {
                    let read = &theirs[format!("{key} {hip}")];
                    assert_eq!(read[0], at.towards_target_cm);
                    assert_eq!(read[1], at.sd_cm);
                    let own = read[2].as_f64().unwrap();
                    assert!(
                        own > 0.3 && own < at.sd_cm,
                        "{name}, swing {}: {own} of {}",
                        swing.number,
                        at.sd_cm
                    );
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 10, "{seen}");
}

/// What is stated of the bone is what the page makes of the strap's uncertainty and the prior.
#[test]
fn the_bones_uncertainties_are_those_the_page_describes() {
    let into = tempfile::tempdir().unwrap();
    let again = into.path().join("again");
    let recording = workspace().join("recordings/baseline-right");
    let paths = [recording.to_str().unwrap(), again.to_str().unwrap()];
    let _ = daemon(["replay", paths[0], "--into", paths[1]]).done();
    let (dir, _) = SessionDir::open(&again).unwrap();
    let swings = dir.read_swings().unwrap();
    let paths: Vec<PathBuf> = swings.iter().map(|s| dir.swing_path(s.number)).collect();
    let mut seen = 0;
    for (path, theirs) in paths.iter().zip(python("bone", &paths)) {
        let swing: Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
        for (key, want) in theirs[0].as_object().unwrap() {
            let at = format!("/{}", key.replace(' ', "/"));
            let stated =
                swing.pointer(&at).and_then(Value::as_f64).unwrap_or_else(|| panic!("{at} is stated"));
            // Both are made of rounded figures; a share is rounded to 0.0001.
            let off = (stated - want.as_f64().unwrap()).abs();
            assert!(off < 0.02, "{}: {key} {stated} not {want}", path.display());
            assert!(!key.contains("kept") || off < 2e-4, "{}: {key} {stated} not {want}", path.display());
            seen += 1;
        }
    }
    assert!(seen > 30 * swings.len() && !swings.is_empty(), "{seen} of {} swings", swings.len());
}

/// Whether the checksum's key is still in the file.
fn whole_key(bytes: &[u8]) -> bool {
    bytes.windows(9).any(|w| w == b"\"crc32c\":")
}

/// A flipped bit of a swing or curves file on the disk is an error that names the file and the way
/// out, or changes nothing that is read.
#[test]
fn no_flipped_bit_changes_a_swing_or_its_curves_silently() {
    let recording = workspace().join("recordings/baseline-right");
    let folder = tempfile::tempdir().unwrap();
    fs::copy(recording.join("session.toml"), folder.path().join("session.toml")).unwrap();
    fs::create_dir(folder.path().join("swings")).unwrap();
    let (dir, _) = SessionDir::open(folder.path()).unwrap();
    let (json, curves) = (dir.swing_path(1), dir.curves_path(1));
    let whole = [&json, &curves].map(|path| {
        let bytes = fs::read(recording.join("swings").join(path.file_name().unwrap())).unwrap();
        fs::write(path, &bytes).unwrap();
        bytes
    });
    let swing = dir.read_swing(1).unwrap();
    let mut dice = Dice(0x1234_5678_9abc_def1);
    let mut unchanged = 0;
    for round in 0..3000 {
        for (path, whole) in [&json, &curves].into_iter().zip(&whole) {
            let mut bytes = whole.clone();
            bytes[dice.below(whole.len())] ^= 1 << dice.below(8);
            fs::write(path, &bytes).unwrap();
            let error = if path == &json {
                match read_first(&dir) {
                    Ok(read) => {
                        assert_eq!(read, swing, "round {round}");
                        assert!(!whole_key(&bytes), "round {round}: only without its key is it not checked");
                        unchanged += 1;
                        continue;
                    }
                    Err(error) => error,
                }
            } else {
                load::curves(&dir, 1).expect_err("a damaged curves file").to_string()
            };
            assert!(error.contains(&*path.to_string_lossy()), "round {round}: {error}");
            let newer = error.contains("update peakorder");
            let foreign = error.contains("not a curves file");
            assert!(error.contains("replay") || newer || foreign, "round {round}: {error}");
        }
    }
    assert!(unchanged < 60, "{unchanged} of 3000");
}

fn read_first(dir: &SessionDir) -> Result<peakorder_protocol::swing::Swing, String> {
    dir.read_swing(1).map_err(|e| e.to_string())
}
