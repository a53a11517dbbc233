//! What a strap says of its packets reaches the samples, and a link that was lost leaves nothing behind.

use crate::clock::time::SessionTime;
use crate::pipeline::{Output, Pipeline};
use crate::stream::StrapStream;
use peakorder_protocol::Role;
use peakorder_protocol::log::{Arrival, Disconnection, Record, StrapEvent, StrapEventKind};
use peakorder_protocol::packet::{FLAG_DROPPED, FLAG_SATURATED, RawCounts, ReferencePacket};
use peakorder_protocol::profile::{DecodeError, Profile};
use peakorder_protocol::session::{Player, Session};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};

const SECOND: u64 = 1_000_000_000;

fn builtin(id: &str) -> Profile {
    Profile::from_toml(Profile::builtin(id).expect("built in")).expect("valid")
}

/// A packet of the reference strap with four samples, `seq`-th of a strap without loss.
fn reference(seq: u16, flags: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    ReferencePacket {
        flags,
        sequence: seq,
        t_first_us: u32::from(seq) * 19_231,
        period_fifth_us: 0,
        event_age_10us: 0xffff,
        samples: vec![RawCounts { gyro: [3, 0, 0], acc: [0, 2049, 0] }; 4],
    }
    .encode(&mut bytes);
    bytes
}

fn at(seq: u16) -> SessionTime {
    SessionTime::from_s(f64::from(seq) * 0.019_231 + 0.03)
}

#[test]
fn a_packet_that_says_saturated_counts_as_clipped() {
    let mut stream = StrapStream::unaligned(&builtin("ref-strap-v1"));
    stream.notification(at(0), 0, &reference(0, 0));
    assert_eq!(stream.counts().clipped, 0);
    let received = stream.notification(at(1), 0, &reference(1, FLAG_SATURATED));
    assert!(received.samples.iter().all(|s| s.clipped));
    assert_eq!(stream.counts().clipped, 4);
}

#[test]
fn samples_that_the_strap_dropped_are_lost_even_where_its_times_do_not_show_them() {
    let mut stream = StrapStream::unaligned(&builtin("ref-strap-v1"));
    stream.notification(at(0), 0, &reference(0, FLAG_DROPPED));
    assert_eq!(stream.counts().lost, 0, "nothing came before the first packet");
    let received = stream.notification(at(1), 0, &reference(1, FLAG_DROPPED));
    assert_eq!(received.samples.iter().map(|s| s.lost_before).collect::<Vec<_>>(), [1, 0, 0, 0]);
    // Where the times show the gap, they say how long it is.
    let received = stream.notification(at(3), 0, &reference(3, FLAG_DROPPED));
    assert_eq!(received.samples[0].lost_before, 4);
    assert_eq!(stream.counts().lost, 5);
}

/// Acceleration and angular velocity from two characteristics, paired by their times in ms.
const SEPARATE: &str = r#"
profile = 1
id = "separate"
name = "Separate"
[[stream]]
char = "0000aaaa-0000-1000-8000-00805f9b34fb"
layout = "interleaved"
count = "rest"
header = [ { f = "u16", as = "t_first" } ]
sample = [ { f = "f32", as = "acc_x" }, { f = "f32", as = "acc_y" }, { f = "f32", as = "acc_z" } ]
[[stream]]
char = "0000bbbb-0000-1000-8000-00805f9b34fb"
layout = "interleaved"
count = "rest"
header = [ { f = "u16", as = "t_first" } ]
sample = [ { f = "f32", as = "gyro_x" }, { f = "f32", as = "gyro_y" }, { f = "f32", as = "gyro_z" } ]
[merge]
how = "index"
clock_of = "gyro"
max_gap_ms = 25.0
[scale]
acc = { mul = 1.0, unit = "m/s2" }
gyro = { mul = 1.0, unit = "rad/s" }
[clock]
kind = "timestamp"
tick_us = 1000.0
bits = 16
[sensor]
rate_hz = 100.0
"#;

fn at_ms(t: u16) -> Vec<u8> {
    let mut bytes = t.to_le_bytes().to_vec();
    for value in [1.0_f32, 0.0, 0.0] {
        bytes.extend_from_slice(&value.to_le_bytes());
    }
    bytes
}

#[test]
fn a_merged_packet_arrived_when_its_own_last_byte_did() {
    let profile = Profile::from_toml(SEPARATE).expect("valid");
    let mut stream = StrapStream::unaligned(&profile);
    let (first, second, third) =
        (SessionTime::from_s(1.0), SessionTime::from_s(1.01), SessionTime::from_s(1.2));
    assert!(stream.notification(first, 1, &at_ms(10)).packets.is_empty());
    assert!(stream.notification(second, 1, &at_ms(20)).packets.is_empty());
    // The acceleration comes 0.2 s later and completes the first packet.
    assert_eq!(
        stream.notification(third, 0, &at_ms(10)).packets.iter().map(|p| p.arrival).collect::<Vec<_>>(),
        [first]
    );
    let late = SessionTime::from_s(1.3);
    assert_eq!(
        stream.notification(late, 0, &at_ms(20)).packets.iter().map(|p| p.arrival).collect::<Vec<_>>(),
        [second]
    );
}

fn session_with(profile: &str) -> Session {
    let player = PlayerParams::mean_of(Population::Amateur);
    let script = Script::practice(1, player, 1, &PracticeOptions::default());
    let mut session = virtual_session(&script, "fragments", Player::default(), "2026-01-01T00:00:00Z");
    let strap = session.straps.get_mut(&Role::Pelvis).expect("worn");
    strap.profile = profile.into();
    strap.profile_toml = Profile::builtin(profile).expect("built in").into();
    session
}

/// A packet of two samples in its two notifications.
fn fragments(t_ms: u32) -> [Vec<u8>; 2] {
    let mut payload = t_ms.to_le_bytes().to_vec();
    for value in [0.0_f32, 0.0, 9.8, 0.0, 0.0, 9.8, 1.0, 2.0, 3.0, 1.0, 2.0, 3.0] {
        payload.extend_from_slice(&value.to_le_bytes());
    }
    [[&[2, 0x63][..], &payload[..30]].concat(), [&[3, 0x63][..], &payload[30..]].concat()]
}

/// Pushes them into a pipeline; samples of the pelvis, and what could not be decoded.
fn pushed(records: &[Record]) -> (u64, Vec<DecodeError>) {
    let mut pipeline = Pipeline::new(&session_with("movesense-gsp-imu6")).expect("valid");
    let mut out = Vec::new();
    for record in records {
        pipeline.push(record, &mut out);
    }
    let bad = out
        .into_iter()
        .filter_map(|o| if let Output::BadPacket { error, .. } = o { Some(error) } else { None });
    let samples = pipeline.counts().find(|(role, _)| *role == Role::Pelvis).expect("worn").1.samples;
    (samples, bad.collect())
}

#[test]
fn fragments_of_two_connections_never_join() {
    let arrival = |t_ns, bytes| Record::Arrival(Arrival { t_ns, role: Role::Pelvis, channel: 0, bytes });
    let event = |t_ns, what| Record::Strap(StrapEvent { t_ns, role: Role::Pelvis, what });
    let [old_begin, _] = fragments(1000);
    let [new_begin, new_end] = fragments(3000);
    let lost = event(2 * SECOND, StrapEventKind::Disconnected { reason: Disconnection::LinkLost });
    let up = event(3 * SECOND, StrapEventKind::Connected { information: String::new(), mtu: None });
    let old = arrival(SECOND, old_begin);
    let end = arrival(3 * SECOND, new_end.clone());
    // Without the reconnect the two would make a packet: the test can fail.
    assert_eq!(pushed(&[old.clone(), end.clone()]), (2, vec![]));
    for events in [vec![lost.clone()], vec![up.clone()], vec![lost.clone(), up.clone()]] {
        let records = [vec![old.clone()], events, vec![end.clone()]].concat();
        assert_eq!(pushed(&records), (0, vec![DecodeError::BeginningMissing { length: new_end.len() }]));
    }
    // A whole packet of the new connection is read.
    let records = [old, lost, up, arrival(3 * SECOND, new_begin), end];
    assert_eq!(pushed(&records), (2, vec![]));
}
