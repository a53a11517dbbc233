//! The project's own packets, encoded and decoded.

use super::*;
use peakorder_protocol::packet::{self, RawCounts, ReferencePacket, common_clock};
use peakorder_protocol::profile::{ClockKind, EventStamp};
use proptest::prelude::*;
fn reference(samples: &[RawCounts]) -> ReferencePacket {
    ReferencePacket {
        flags: 1,
        sequence: 0xffff,
        t_first_us: 0xffff_ff00,
        period_fifth_us: 24038,
        event_age_10us: 150,
        samples: samples.to_vec(),
    }
}

const COUNTS: [RawCounts; 2] = [
    RawCounts { gyro: [1000, -2000, 3000], acc: [0, 0, 2048] },
    RawCounts { gyro: [1001, -2001, 3001], acc: [1, 1, 2049] },
];

#[test]
fn the_reference_packet_has_the_bytes_of_its_table() {
    let mut bytes = Vec::new();
    reference(&COUNTS[..1]).encode(&mut bytes);
    let expected = [
        0x11, 0x01, 0xff, 0xff, 0x00, 0xff, 0xff, 0xff, 0xe6, 0x5d, 0x96, 0x00, // header
        0xe8, 0x03, 0x30, 0xf8, 0xb8, 0x0b, 0x00, 0x00, 0x00, 0x00, 0x00, 0x08,
    ];
    assert_eq!(bytes, expected);
    assert_eq!(packet::MAX_SAMPLES_MTU_247, 19);
}

#[test]
fn the_reference_packet_decodes_to_si_units() {
    let mut decoder = Decoder::new(&builtin("ref-strap-v1"));
    let mut bytes = Vec::new();
    reference(&COUNTS).encode(&mut bytes);
    let (out, result) = decode(&mut decoder, &bytes);
    assert_eq!(result, Ok(()));
    let [head] = out.packets.as_slice() else { panic!("{out:?}") };
    assert_eq!((head.first, head.n, head.seq, head.seq_bits), (0, 2, Some(0xffff), 16));
    assert_eq!((head.t_raw, head.stamps_last, head.calls_ago), (Some(0xffff_ff00), false, 0));
    assert_close(head.period_s.expect("measured"), 4807.6e-6);
    assert_eq!(head.event.map(|e| e.back), Some(1));
    assert_close(head.event.expect("event").age_s, 1.5e-3);
    assert!(!head.restarted && !head.dropped_before && !out.samples.iter().any(|s| s.clipped));
    assert_close(out.samples[0].gyro[0], 70f64.to_radians());
    assert_close(out.samples[0].gyro[1], -140f64.to_radians());
    assert_close(out.samples[0].acc[2], 2.048 * 0.488 * G);
    assert_eq!(out.samples_of(head)[1].t_ns, None);
}

#[test]
fn the_reference_packet_s_flags_and_unknowns_come_through() {
    let mut decoder = Decoder::new(&builtin("ref-strap-v1"));
    let cases = [
        (packet::FLAG_SATURATED, [true, false, false]),
        (packet::FLAG_DROPPED, [false, true, false]),
        (packet::FLAG_RESTARTED, [false, false, true]),
    ];
    for (flags, expected) in cases {
        let mut bytes = Vec::new();
        let unknown =
            ReferencePacket { flags: flags | 3, period_fifth_us: 0, event_age_10us: 7, ..reference(&COUNTS) };
        unknown.encode(&mut bytes);
        let (out, _) = decode(&mut decoder, &bytes);
        let head = out.packets[0];
        // The strap does not say which sample is at the limit: all of them count.
        let clipped = out.samples.iter().all(|s| s.clipped);
        assert_eq!([clipped, head.dropped_before, head.restarted], expected);
        assert_eq!(head.period_s, None);
        assert_eq!(head.event, Some(EventStamp { back: 3, age_s: 7.0 * 10.0 * 1e-6 }));
    }
    let mut bytes = Vec::new();
    ReferencePacket { event_age_10us: packet::EVENT_AGE_UNKNOWN, ..reference(&COUNTS) }.encode(&mut bytes);
    assert_eq!(decode(&mut decoder, &bytes).0.packets[0].event, None);
}

#[test]
fn the_short_form_fills_an_mtu_of_23_exactly() {
    let mut bytes = Vec::new();
    assert!(!reference(&COUNTS).encode_short(&mut bytes));
    assert!(bytes.is_empty());
    assert!(reference(&COUNTS[..1]).encode_short(&mut bytes));
    assert_eq!(bytes.len(), 23 - 3);
    let (out, result) = decode(&mut Decoder::new(&builtin("ref-strap-v1")), &bytes);
    assert_eq!(result, Ok(()));
    assert_eq!((out.packets[0].seq, out.packets[0].seq_bits), (Some(0xff), 8));
    assert_eq!(out.packets[0].event.map(|e| e.back), Some(1));
    assert_close(out.samples[0].acc[2], 2.048 * 0.488 * G);
}

#[test]
fn values_near_the_range_limit_count_as_clipped() {
    let mut decoder = Decoder::new(&builtin("ref-strap-v1"));
    // 99.5 % of 2000 deg/s are 28428.57 counts, of 16 g 32622.95 counts.
    for (gyro, acc, clipped) in [(28428, 0, false), (-28429, 0, true), (0, 32622, false), (0, -32623, true)] {
        let mut bytes = Vec::new();
        reference(&[RawCounts { gyro: [0, gyro, 0], acc: [acc, 0, 0] }]).encode(&mut bytes);
        assert_eq!(decode(&mut decoder, &bytes).0.samples[0].clipped, clipped, "{gyro} {acc}");
    }
}

#[test]
fn packets_of_wrong_length_say_what_was_expected() {
    let mut decoder = Decoder::new(&builtin("ref-strap-v1"));
    let mut bytes = Vec::new();
    reference(&COUNTS).encode(&mut bytes);
    let (out, result) = decode(&mut decoder, &bytes[..30]);
    assert_eq!(result, Err(DecodeError::NotWhole { header: 12, sample: 12, found: 30 }));
    assert_eq!(out, Decoded::default());
    assert_eq!(decode(&mut decoder, &bytes[..12]).1, Err(DecodeError::NoSamples));
    assert_eq!(decode(&mut decoder, &bytes[..5]).1, Err(DecodeError::Length { expected: 12, found: 5 }));
    let short = [&[packet::TYPE_SHORT][..], &[0; 20]].concat();
    assert_eq!(decode(&mut decoder, &short).1, Err(DecodeError::Length { expected: 20, found: 21 }));
    let unknown = decode(&mut decoder, &[0x77, 1, 2, 3, 4]).1.expect_err("unknown");
    assert_eq!(
        unknown.to_string(),
        "packet of 5 bytes is of no kind that the profile knows (it begins [77, 01, 02, 03])"
    );
    assert!(matches!(decode(&mut decoder, &[]).1, Err(DecodeError::UnknownPacket { length: 0, .. })));
    let channel = decode_on(&mut decoder, 1, &bytes).1;
    assert_eq!(channel, Err(DecodeError::UnknownChannel { channel: 1, channels: 1 }));
}

#[test]
fn what_the_clock_is_worth_is_in_si_units() {
    let reference = builtin("ref-strap-v1");
    let clock = reference.clock();
    assert_eq!(
        (clock.kind, clock.bits, clock.has_seq, clock.has_event_stamps),
        (ClockKind::Timestamp, 32, true, true)
    );
    assert_close(clock.tick_s, 1e-6);
    assert_close(clock.group_delay_s, 2.4e-3);
    assert_close(clock.gyro_range_rad_s.expect("stated"), 2000f64.to_radians());
    assert_close(clock.acc_range_m_s2.expect("stated"), 16.0 * G);
    assert_eq!((clock.nominal_rate_hz, clock.rate_tol_ppm), (208.0, 20_000.0));
    assert_eq!(clock.intervals_s.iter().map(|s| (s * 1e5).round()).collect::<Vec<_>>(), [1125.0, 1500.0]);
    assert_eq!(builtin("common-clock-v1").clock().kind, ClockKind::Common);
    assert_eq!(builtin("thingy52").clock().kind, ClockKind::None);
}

fn finite_f32() -> impl Strategy<Value = f32> {
    any::<f32>().prop_filter("finite", |v| v.is_finite())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_reference_packet_decodes_to_what_was_encoded(
        flags in 0..0x80u8,
        sequence in any::<u16>(),
        t_first_us in any::<u32>(),
        period_fifth_us in any::<u16>(),
        event_age_10us in any::<u16>(),
        raw in prop::collection::vec(prop::array::uniform6(any::<i16>()), 1..20),
    ) {
        let samples = raw.iter().map(|&[a, b, c, d, e, f]| RawCounts { gyro: [a, b, c], acc: [d, e, f] }).collect();
        let sent = ReferencePacket { flags, sequence, t_first_us, period_fifth_us, event_age_10us, samples };
        let mut bytes = Vec::new();
        sent.encode(&mut bytes);
        let (out, result) = decode(&mut Decoder::new(&builtin("ref-strap-v1")), &bytes);
        prop_assert_eq!(result, Ok(()));
        let head = out.packets[0];
        prop_assert_eq!(head.seq, Some(u32::from(sequence)));
        prop_assert_eq!(head.t_raw, Some(u64::from(t_first_us)));
        prop_assert_eq!(head.period_s.map_or(0, |p| (p / 0.2e-6).round() as u16), period_fifth_us);
        let event = head.event.map_or((flags & 0x0f, 0xffff), |e| (e.back, (e.age_s / 1e-5).round() as u16));
        prop_assert_eq!(event, (flags & packet::FLAG_BACK_MASK, event_age_10us));
        let bits = [(head.dropped_before, 0x20), (head.restarted, 0x40)];
        prop_assert_eq!(bits.iter().filter(|b| b.0).map(|b| b.1).sum::<u8>(), flags & 0x60);
        if flags & packet::FLAG_SATURATED != 0 {
            prop_assert!(out.samples.iter().any(|s| s.clipped));
        }
        let back: Vec<RawCounts> = out.samples.iter().map(|s| RawCounts {
            gyro: s.gyro.map(|v| (v.to_degrees() / packet::GYRO_DPS_PER_COUNT).round() as i16),
            acc: s.acc.map(|v| (v / G * 1e3 / packet::ACC_MG_PER_COUNT).round() as i16),
        }).collect();
        prop_assert_eq!(back, sent.samples);
    }

    #[test]
    fn imported_samples_decode_to_what_was_encoded(
        raw in prop::collection::vec((any::<i64>(), prop::array::uniform6(finite_f32())), 1..40),
    ) {
        let samples: Vec<common_clock::Sample> = raw.iter().map(|&(t_ns, [a, b, c, d, e, f])| {
            common_clock::Sample { t_ns, gyro_rad_s: [a, b, c], acc_m_s2: [d, e, f] }
        }).collect();
        let (out, result) = decode(&mut Decoder::new(&builtin(common_clock::PROFILE_ID)), &common_clock::encode(&samples));
        prop_assert_eq!(result, Ok(()));
        prop_assert_eq!(out.packets[0].t_raw, None);
        for (s, e) in out.samples.iter().zip(&samples) {
            prop_assert_eq!(s.t_ns, Some(e.t_ns));
            prop_assert_eq!(s.gyro, e.gyro_rad_s.map(f64::from));
            prop_assert_eq!(s.acc, e.acc_m_s2.map(f64::from));
        }
        prop_assert_eq!(out.samples.len(), samples.len());
    }
}

#[test]
fn a_saturated_packet_clips_the_sample_that_shows_it_or_else_all() {
    let mut decoder = Decoder::new(&builtin("ref-strap-v1"));
    let mut clipped = |gyro: [i16; 2]| {
        let samples = gyro.map(|x| RawCounts { gyro: [x, 0, 0], acc: [0, 2049, 0] });
        let mut bytes = Vec::new();
        ReferencePacket { flags: packet::FLAG_SATURATED, ..reference(&samples) }.encode(&mut bytes);
        let (out, result) = decode(&mut decoder, &bytes);
        assert_eq!(result, Ok(()));
        [out.samples[0].clipped, out.samples[1].clipped]
    };
    // The range is ±2000 deg/s: 28 571 counts.
    assert_eq!(clipped([28_571, 100]), [true, false]);
    assert_eq!(clipped([200, 100]), [true, true]);
}
