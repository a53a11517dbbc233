//! Straps on the air, what they send, and what must come of it.

use peakorder_protocol::Role;
use peakorder_protocol::log::{LogReader, Record, StrapEventKind};
use peakorder_protocol::packet::{DATA_UUID, EVENT_AGE_UNKNOWN, RawCounts, ReferencePacket};
use peakorder_tests::bluez::{DaemonRun, FakeBluez};
pub(crate) use peakorder_tests::bluez::{assign, play, straps};
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, Session};
use std::path::Path;

/// Packets of a reference strap lying still, four samples at 208 Hz each, for `seconds`.
pub(crate) fn still(seconds: f64) -> impl Iterator<Item = (f64, Vec<u8>)> {
    moving(seconds, 0.0, |_| [0.0; 3])
}

/// Packets of a reference strap that turns at `rate` (deg/s, strap axes) of its own time.
/// They come in late by `late_s`, and by the wait for a connection event every 15 ms.
pub(crate) fn moving(
    seconds: f64,
    late_s: f64,
    rate: impl Fn(f64) -> [f64; 3] + 'static,
) -> impl Iterator<Item = (f64, Vec<u8>)> {
    let period_s = 4.0 / 208.0;
    (0..(seconds / period_s) as u32).map(move |k| {
        let first_s = f64::from(k) * period_s;
        let samples = (0..4).map(|i| {
            let gyro = rate(first_s + f64::from(i) / 208.0).map(|dps| (dps / 0.070).round() as i16);
            // Noise of one count, one g upwards.
            let noise = ((k + i) % 3) as i16 - 1;
            RawCounts { gyro: gyro.map(|g| g + noise), acc: [noise, 2049, -noise] }
        });
        let last_s = first_s + 3.0 / 208.0;
        let event_s = |last_s: f64| (last_s / 0.015).ceil() * 0.015;
        // How long the packet before waited for its connection event.
        let before_s = last_s - period_s;
        let age_10us =
            if k == 0 { EVENT_AGE_UNKNOWN } else { ((event_s(before_s) - before_s) * 1e5).round() as u16 };
        let packet = ReferencePacket {
            flags: 1,
            sequence: k as u16,
            t_first_us: (first_s * 1e6).round() as u32,
            period_fifth_us: 0,
            event_age_10us: age_10us,
            samples: samples.collect(),
        };
        let mut bytes = Vec::new();
        packet.encode(&mut bytes);
        (event_s(last_s) + late_s, bytes)
    })
}

/// Swings of an invented player, close on one another, without calibration.
pub(crate) fn practice(swings: u32) -> Session {
    let player = PlayerParams::drawn_from(Population::Amateur, 11);
    let options = PracticeOptions {
        calibration: false,
        waggles: false,
        pause_s: (0.5, 1.0),
        still_s: (0.8, 1.0),
        ..PracticeOptions::default()
    };
    Script::practice(11, player, swings, &options).session()
}

/// Puts a profile of the user's own beside the configuration.
pub(crate) fn own_profile(air: &FakeBluez, text: &str) {
    let folder = air.bus().file("profiles");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(folder.join("own.toml"), text).unwrap();
}

pub(crate) fn records(dir: &Path) -> Vec<Record> {
    let mut reader = LogReader::open(&dir.join("samples.log")).unwrap();
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while reader.next_batch(&mut batch).unwrap() {
        all.append(&mut batch);
    }
    assert!(reader.findings().is_empty(), "{:?}", reader.findings());
    all
}

/// Bytes of every arrival of one strap, in the order of the log.
pub(crate) fn arrivals(records: &[Record], role: Role) -> Vec<Vec<u8>> {
    let mine = |r: &Record| match r {
        Record::Arrival(a) if a.role == role => Some(a.bytes.clone()),
        _ => None,
    };
    records.iter().filter_map(mine).collect()
}

/// What happened to one strap.
pub(crate) fn events(records: &[Record], role: Role) -> Vec<StrapEventKind> {
    let mine = |r: &Record| match r {
        Record::Strap(e) if e.role == role => Some(e.what.clone()),
        _ => None,
    };
    records.iter().filter_map(mine).collect()
}

/// What the stand-in says it sent, and what the log holds, must be the same.
pub(crate) fn assert_all_recorded(air: &FakeBluez, records: &[Record], straps: usize) {
    for (i, role) in Role::ALL.iter().take(straps).enumerate() {
        let sent = air.peer(i).sent.remove(DATA_UUID).unwrap_or_default();
        let got = arrivals(records, *role);
        assert!(!sent.is_empty(), "{role}: nothing was sent");
        assert_eq!(got.len(), sent.len(), "{role}");
        assert!(got == sent, "{role}: other bytes or another order");
    }
}

pub(crate) fn out_dir(air: &FakeBluez) -> std::path::PathBuf {
    air.bus().file("session")
}

pub(crate) fn run(air: &FakeBluez, more: &[&str]) -> DaemonRun {
    let out = out_dir(air);
    let mut arguments = vec!["run", "--out", out.to_str().unwrap()];
    arguments.extend(more);
    DaemonRun::start(air, arguments)
}
