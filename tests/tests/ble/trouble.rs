//! Straps that restart, lie, send in parts, or go at the worst moment.

use crate::common::{
    arrivals, assert_all_recorded, assign, events, out_dir, own_profile, play, practice, records, run, still,
    straps,
};
use peakorder_protocol::Role;
use peakorder_protocol::log::{Record, RestFault, StrapEventKind};
use peakorder_protocol::packet::{DATA_UUID, EVENT_AGE_UNKNOWN, FLAG_RESTARTED, RawCounts, ReferencePacket};
use peakorder_protocol::profile::STANDARD_GRAVITY;
use peakorder_protocol::session::SessionDir;
use peakorder_tests::bluez::{Characteristic, FakeBluez, Peer, wait};
use std::time::{Duration, Instant};

/// Packets of a strap that lies still and shows `acc` counts upwards, from `from_us` on its
/// own clock.
fn lying(seconds: f64, acc: i16, from_us: u32, flags: u8) -> Vec<(f64, Vec<u8>)> {
    let period_s = 4.0 / 208.0;
    (0..(seconds / period_s) as u32)
        .map(|k| {
            let first_s = f64::from(k) * period_s;
            let noise = (k % 3) as i16 - 1;
            let sample = RawCounts { gyro: [noise, 0, -noise], acc: [noise, acc, -noise] };
            let packet = ReferencePacket {
                flags: if k == 0 { flags } else { 0 },
                sequence: k as u16,
                t_first_us: from_us + (first_s * 1e6).round() as u32,
                period_fifth_us: 0,
                event_age_10us: EVENT_AGE_UNKNOWN,
                samples: vec![sample; 4],
            };
            let mut bytes = Vec::new();
            packet.encode(&mut bytes);
            (first_s + period_s, bytes)
        })
        .collect()
}

/// The watchdog of a strap bites while the link stays up: its clock and its count begin anew.
#[test]
fn a_strap_that_restarts_in_mid_session_is_recognised_and_goes_on() {
    for flags in [FLAG_RESTARTED, 0] {
        let Some(air) = FakeBluez::with(straps()) else { return };
        assign(&air, 1, "ref-strap-v1");
        let program = run(&air, &[]);
        wait("the strap is subscribed", 20, || air.look(0, Peer::streams));
        let mut packets = lying(2.0, 2049, 900_000_000, 0);
        packets.extend(lying(2.0, 2049, 5_000, flags).into_iter().map(|(t_s, b)| (t_s + 2.3, b)));
        let all = packets.len();
        air.play(0, DATA_UUID, Instant::now(), packets.into_iter());
        wait("the restart is spoken of", 20, || program.says("it restarted: its clock begins anew"));
        wait("everything is sent", 20, || air.look(0, |p| p.sent.get(DATA_UUID).map_or(0, Vec::len) == all));
        program.terminate();
        let _ = program.end(20).with_code(0);
        let records = records(&out_dir(&air));
        assert_all_recorded(&air, &records, 1);
        let kinds = events(&records, Role::Pelvis);
        let restarts = kinds.iter().filter(|k| **k == StrapEventKind::Restarted).count();
        assert_eq!(restarts, 1, "flags {flags:#04x}: {kinds:?}");
        // The link was never lost.
        assert_eq!(air.peer(0).connections, 1);
    }
}

#[test]
fn a_strap_at_rest_shows_whether_its_profile_is_the_right_one() {
    let Some(air) = FakeBluez::with(straps()) else { return };
    assign(&air, 2, "ref-strap-v1");
    let program = run(&air, &[]);
    wait("both straps are subscribed", 20, || (0..2).all(|i| air.look(i, Peer::streams)));
    let from = Instant::now();
    // 2049 counts of 0.488 mg are one g; the other strap speaks another unit.
    air.play(0, DATA_UUID, from, lying(8.0, 2049, 0, 0).into_iter());
    air.play(1, DATA_UUID, from, lying(8.0, 2049 / 4, 0, 0).into_iter());
    wait("the good one is judged", 20, || program.says("pelvis strap: at rest it shows 1.00 g"));
    wait("the bad one is judged", 20, || program.says("0.25 g"));
    program.terminate();
    let _ = program.end(20).with_code(0);
    let records = records(&out_dir(&air));
    let at_rest = |role| {
        events(&records, role).into_iter().find_map(|what| match what {
            StrapEventKind::AtRest { acc_m_s2, fault, .. } => Some((acc_m_s2 / STANDARD_GRAVITY, fault)),
            _ => None,
        })
    };
    let (good, bad) = (at_rest(Role::Pelvis).expect("judged"), at_rest(Role::Thorax).expect("judged"));
    assert!((good.0 - 1.0).abs() < 0.005 && good.1.is_none(), "{good:?}");
    assert!((bad.0 - 0.25).abs() < 0.005 && matches!(bad.1, Some(RestFault::Acceleration { .. })), "{bad:?}");
}

/// Angular velocity in one characteristic, acceleration in another, each with its time in ms.
const SEPARATE: &str = r#"
profile = 1
id = "separate"
name = "Gyroscope and accelerometer apart"
[match]
service = "f0b70001-5c3e-4d2a-9a6e-2f6d7374724b"
[[stream]]
char = "a1"
layout = "interleaved"
count = "rest"
header = [ { f = "u16", as = "t_first" } ]
sample = [ { f = "i16", as = "acc_x" }, { f = "i16", as = "acc_y" }, { f = "i16", as = "acc_z" } ]
[[stream]]
char = "a2"
layout = "interleaved"
count = "rest"
header = [ { f = "u16", as = "t_first" } ]
sample = [ { f = "i16", as = "gyro_x" }, { f = "i16", as = "gyro_y" }, { f = "i16", as = "gyro_z" } ]
[merge]
how = "interpolate"
clock_of = "gyro"
[scale]
acc = { mul = 1.0, unit = "mg" }
gyro = { mul = 0.1, unit = "dps" }
[clock]
kind = "timestamp"
tick_us = 1000.0
bits = 16
[sensor]
rate_hz = 100.0
"#;

#[test]
fn a_strap_with_two_characteristics_is_merged_into_one_stream() {
    let (acc_at, gyro_at) = ("f0b700a1-5c3e-4d2a-9a6e-2f6d7374724b", "f0b700a2-5c3e-4d2a-9a6e-2f6d7374724b");
    let mut peers = straps();
    for uuid in [acc_at, gyro_at] {
        peers[0].services[0].1.push(Characteristic::new(uuid, &["notify"], &[]));
    }
    let Some(air) = FakeBluez::with(peers) else { return };
    let own =
        SEPARATE.replace("\"a1\"", &format!("\"{acc_at}\"")).replace("\"a2\"", &format!("\"{gyro_at}\""));
    own_profile(&air, &own);
    assign(&air, 1, "separate");
    let program = run(&air, &[]);
    wait("both characteristics notify", 20, || {
        air.look(0, |p| p.notifying.contains(acc_at) && p.notifying.contains(gyro_at))
    });
    let packet = |k: u32, of: [i16; 3]| {
        let mut bytes = ((k * 20) as u16).to_le_bytes().to_vec();
        for _ in 0..2 {
            bytes.extend(of.iter().flat_map(|v| v.to_le_bytes()));
        }
        (f64::from(k) * 0.02, bytes)
    };
    let from = Instant::now();
    air.play(0, acc_at, from, (0..300).map(move |k| packet(k, [0, 1000 + (k % 3) as i16, 0])));
    air.play(0, gyro_at, from, (0..300).map(move |k| packet(k, [(k % 3) as i16, 0, 0])));
    // What is merged from both is judged at rest.
    wait("the merged stream is judged", 20, || program.says("pelvis strap: at rest it shows 1.00 g and 0."));
    program.terminate();
    let _ = program.end(20).with_code(0);
    let records = records(&out_dir(&air));
    for (channel, uuid) in [(0, acc_at), (1, gyro_at)] {
        let got: Vec<Vec<u8>> = records
            .iter()
            .filter_map(|r| match r {
                Record::Arrival(a) if a.channel == channel => Some(a.bytes.clone()),
                _ => None,
            })
            .collect();
        assert_eq!(got, air.peer(0).sent[uuid], "channel {channel}");
    }
}

/// What a link is said to carry and what comes need not be the same.
#[test]
fn a_strap_whose_mtu_is_a_lie_is_recorded_by_what_it_sends() {
    let mut peers = straps();
    // The pelvis strap says 23 and sends 60 bytes; the thorax strap says 517 and sends 20.
    peers[0].mtu = 23;
    peers[1].mtu = 517;
    let Some(air) = FakeBluez::with(peers) else { return };
    assign(&air, 2, "ref-strap-v1");
    let program = run(&air, &[]);
    wait("both straps are subscribed", 20, || (0..2).all(|i| air.look(i, Peer::streams)));
    let short = (0..600_u32).map(|k| {
        let noise = (k % 3) as i16 - 1;
        let packet = ReferencePacket {
            flags: 0,
            sequence: k as u16,
            t_first_us: k * 9_615,
            period_fifth_us: 0,
            event_age_10us: EVENT_AGE_UNKNOWN,
            samples: vec![RawCounts { gyro: [noise; 3], acc: [noise, 2049, noise] }],
        };
        let mut bytes = Vec::new();
        assert!(packet.encode_short(&mut bytes));
        (f64::from(k) * 0.009_615, bytes)
    });
    let from = Instant::now();
    air.play(0, DATA_UUID, from, still(6.0));
    air.play(1, DATA_UUID, from, short);
    // Both are read: at rest each shows one g.
    for strap in ["pelvis", "thorax"] {
        wait(strap, 20, || program.says(&format!("{strap} strap: at rest it shows 1.00 g")));
    }
    program.terminate();
    let ended = program.end(20).with_code(0);
    assert!(!ended.said("could not be decoded"), "{:?}", ended.out);
    assert_all_recorded(&air, &records(&out_dir(&air)), 2);
}

#[test]
fn a_hundred_other_devices_do_not_keep_a_strap_from_its_session() {
    let mut peers = straps();
    peers.extend((1..=100).map(|k| Peer::stranger(k, 0x180d)));
    let Some(air) = FakeBluez::with(peers) else { return };
    assign(&air, 3, "ref-strap-v1");
    let program = run(&air, &[]);
    wait("all straps are subscribed", 30, || (0..3).all(|i| air.look(i, Peer::streams)));
    let from = Instant::now();
    for i in 0..3 {
        air.play(i, DATA_UUID, from, still(2.0));
    }
    std::thread::sleep(Duration::from_millis(1500));
    program.terminate();
    let _ = program.end(20).with_code(0);
    assert_all_recorded(&air, &records(&out_dir(&air)), 3);
    assert!((3..103).all(|i| air.look(i, |p| p.connections == 0)), "a stranger was connected");
    assert_eq!(air.rude_attempts(), 0);
}

/// The link of the thorax strap breaks a tenth of a second before the ball is struck.
#[test]
fn a_strap_lost_in_the_downswing_costs_its_own_numbers_and_no_other() {
    let session = practice(1);
    let truth = &session.truth()[0];
    let lost_s = truth.impact_s - 0.1;
    let Some(air) = FakeBluez::with(straps()) else { return };
    assign(&air, 3, "ref-strap-v1");
    let program = run(&air, &[]);
    wait("all straps are subscribed", 20, || (0..3).all(|i| air.look(i, Peer::streams)));
    let from = Instant::now() + Duration::from_millis(300);
    play(&air, &session, from);
    std::thread::sleep((from + Duration::from_secs_f64(lost_s)).saturating_duration_since(Instant::now()));
    air.edit(1, |p| p.reachable = false);
    air.drop_link(1);
    std::thread::sleep(Duration::from_secs_f64(session.duration_s() - lost_s + 0.8));
    program.terminate();
    let ended = program.end(20).with_code(0);
    assert!(ended.said("thorax strap: disconnected (the link was lost)"), "{:?}", ended.err);
    let dir = out_dir(&air);
    assert_all_recorded(&air, &records(&dir), 3);
    assert!(!arrivals(&records(&dir), Role::Thorax).is_empty());
    let swings = SessionDir::open(&dir).unwrap().0.read_swings().unwrap();
    assert_eq!(swings.len(), 1);
    let peak = |role: Role| swings[0].segments.get(&role).and_then(|s| s.peak);
    assert!(peak(Role::Thorax).is_none(), "{:?}", peak(Role::Thorax));
    for role in [Role::Pelvis, Role::LeadArm] {
        let peak = peak(role).unwrap_or_else(|| panic!("no {role} peak: {:?}", swings[0].quality.withheld));
        let true_ms = (truth.impact_s - truth.segments[&role].resultant_peak_s) * 1e3;
        // As in a whole session: the bus adds a scheduler's lateness.
        assert!((peak.before_impact_ms - true_ms).abs() < 10.0, "{role}: {peak:?}, truly {true_ms}");
    }
}
