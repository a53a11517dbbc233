//! Layouts of straps that exist, and of none.

use super::*;
use peakorder_protocol::profile::{RawSample, Stamps};
#[test]
fn thingy52_counts_are_q10_g_and_q5_degrees_per_second() {
    // Firmware documentation, raw data characteristic: acc 6Q10 g, gyro 11Q5 deg/s.
    let mut decoder = Decoder::new(&builtin("thingy52"));
    let (out, _) = decode(&mut decoder, &i16s(&[0, 0, 1024, 3200, 0, 0, 1, 2, 3]));
    assert_close(out.samples[0].acc[2], G);
    assert_close(out.samples[0].gyro[0], 100f64.to_radians());
    assert_eq!((out.packets[0].seq, out.packets[0].t_raw), (None, None));
}

#[test]
fn sensortag_gyro_is_500_over_65536_degrees_per_second() {
    // CC2650 SensorTag user's guide, movement sensor: sensorMpu9250GyroConvert.
    let (out, _) = decode(&mut Decoder::new(&profile(SENSORTAG)), &i16s(&[131, 0, 0, 0, 0, 2048, 0, 0, 0]));
    assert_close(out.samples[0].acc[2], G);
    assert_close(out.samples[0].gyro[0], (131.0f64 * 500.0 / 65536.0).to_radians());
}

#[test]
fn bluest_time_wraps_at_16_bits_of_10_ms() {
    let mut decoder = Decoder::new(&profile(BLUEST));
    let at = |ticks: u16| [&ticks.to_le_bytes()[..], &i16s(&[0, 0, 1000, 900, 0, 0, 0, 0, 0])].concat();
    let before = decode(&mut decoder, &at(65535)).0;
    let after = decode(&mut decoder, &at(1)).0;
    assert_eq!((before.packets[0].t_raw, after.packets[0].t_raw), (Some(65535), Some(1)));
    let clock = profile(BLUEST).clock().clone();
    assert_eq!(clock.bits, 16);
    assert_close(clock.tick_s, 0.01);
    assert_close(after.samples[0].acc[2], G);
    assert_close(after.samples[0].gyro[0], 90f64.to_radians());
}

#[test]
fn openearable_packets_carry_a_period_with_two_samples_only() {
    let mut decoder = Decoder::new(&builtin("openearable-v2"));
    let sample = f32s(&[0.0, 0.0, 9.81, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]);
    let head = |len: u8| [&[0, len][..], &1_000_000u64.to_le_bytes()].concat();
    let (one, _) = decode(&mut decoder, &[head(36), sample.clone()].concat());
    assert_eq!((one.packets[0].n, one.packets[0].period_s), (1, None));
    let (two, _) =
        decode(&mut decoder, &[head(74), sample.clone(), sample.clone(), vec![0x10, 0x27]].concat());
    assert_eq!((two.packets[0].n, two.packets[0].t_raw), (2, Some(1_000_000)));
    assert_close(two.packets[0].period_s.expect("period"), 0.01);
    assert_close(two.samples[1].gyro[2], 30f64.to_radians());
    let wrong = decode(&mut decoder, &[head(40), sample.clone(), vec![0; 4]].concat()).1;
    assert_eq!(wrong, Err(DecodeError::NotWhole { header: 12, sample: 36, found: 50 }));
    let short = decode(&mut decoder, &[head(36), sample[..35].to_vec()].concat()).1;
    assert_eq!(short, Err(DecodeError::Length { expected: 46, found: 45 }));
}

/// A frame printed in a published reader of the 0x55 0x61 stream.
const WIT_FRAME: [u8; 20] =
    [85, 97, 119, 2, 168, 254, 146, 254, 6, 2, 48, 254, 205, 255, 248, 240, 83, 252, 171, 196];

#[test]
fn a_byte_stream_is_cut_into_frames_wherever_it_is_split() {
    let profile = builtin("wit-ble-0x61");
    let stream = [&[0x00, 0x55][..], &WIT_FRAME, &WIT_FRAME].concat();
    for split in 0..=stream.len() {
        let mut decoder = Decoder::new(&profile);
        let (a, b) = (decode(&mut decoder, &stream[..split]), decode(&mut decoder, &stream[split..]));
        let samples: Vec<RawSample> = [a.0.samples, b.0.samples].concat();
        assert_eq!(samples.len(), 2, "split at {split}");
        // vendor's manual: acc = counts / 32768 x 16 g, gyro = counts / 32768 x 2000 deg/s
        assert_close(samples[0].acc[0], f64::from(0x0277) / 32768.0 * 16.0 * G);
        assert_close(samples[1].gyro[0], (f64::from(0x0206) / 32768.0 * 2000.0).to_radians());
        let skipped: usize = [a.1, b.1]
            .into_iter()
            .map(|r| match r {
                Ok(()) => 0,
                Err(DecodeError::OutOfSync { skipped }) => skipped,
                Err(other) => panic!("{other}"),
            })
            .sum();
        assert_eq!(skipped, 2, "split at {split}");
    }
}

#[test]
fn sync_bytes_inside_the_data_do_not_capture_the_cutter() {
    let mut fooling = WIT_FRAME;
    fooling[10..12].copy_from_slice(&[0x55, 0x61]);
    let mut decoder = Decoder::new(&builtin("wit-ble-0x61"));
    // The stream is joined in the middle of a frame.
    let stream = [&fooling[5..], &WIT_FRAME, &WIT_FRAME].concat();
    let (out, result) = decode(&mut decoder, &stream);
    assert_eq!(result, Err(DecodeError::OutOfSync { skipped: 15 }));
    assert_eq!(out.samples.len(), 2);
}

#[test]
fn a_wrong_frame_checksum_costs_that_frame() {
    for (kind, sum) in [
        ("sum8", WIT_FRAME.iter().fold(0u8, |s, b| s.wrapping_add(*b))),
        ("xor8", WIT_FRAME.iter().fold(0u8, |s, b| s ^ b)),
    ] {
        let text = Profile::builtin("wit-ble-0x61").expect("built in");
        let text = text.replace("len = 20 }", &format!("len = 21, checksum = \"{kind}\" }}"));
        let mut decoder = Decoder::new(&profile(&text));
        let good = [&WIT_FRAME[..], &[sum]].concat();
        let bad = [&WIT_FRAME[..], &[sum ^ 1]].concat();
        let (out, result) = decode(&mut decoder, &[&good[..], &bad, &good].concat());
        assert_eq!((out.samples.len(), result), (2, Err(DecodeError::OutOfSync { skipped: 21 })), "{kind}");
    }
}

fn movesense(n: u8) -> Vec<u8> {
    let values: Vec<f32> = (0..6 * n).map(f32::from).collect();
    [&5000u32.to_le_bytes()[..], &f32s(&values)].concat()
}

#[test]
fn planar_samples_split_over_two_notifications_are_joined() {
    // movesense.com/docs/esw/gatt_sensordata_protocol: 2 = data, 3 = continuation; the data
    // model holds an array of accelerations, then one of angular velocities.
    let mut decoder = Decoder::new(&builtin("movesense-gsp-imu6"));
    let payload = movesense(2);
    let (first, waiting) = decode(&mut decoder, &[&[2, 0x63][..], &payload[..30]].concat());
    assert_eq!((first, waiting), (Decoded::default(), Ok(())));
    let (out, result) = decode(&mut decoder, &[&[3, 0x63][..], &payload[30..]].concat());
    assert_eq!(result, Ok(()));
    assert_eq!((out.packets[0].n, out.packets[0].t_raw), (2, Some(5000)));
    assert_eq!(out.samples[1].acc, [3.0, 4.0, 5.0]);
    assert_close(out.samples[0].gyro[0], 6f64.to_radians());
    assert_close(out.samples[1].gyro[2], 11f64.to_radians());
    let (whole, _) = decode(&mut decoder, &[&[2, 0x63][..], &payload].concat());
    assert_eq!(whole.samples, out.samples);
}

#[test]
fn lost_fragments_cost_their_packet_and_no_other() {
    let mut decoder = Decoder::new(&builtin("movesense-gsp-imu6"));
    let payload = movesense(2);
    let begin = [&[2, 0x63][..], &payload[..30]].concat();
    let end = [&[3, 0x63][..], &payload[30..]].concat();
    assert_eq!(decode(&mut decoder, &end).1, Err(DecodeError::BeginningMissing { length: end.len() }));
    decode(&mut decoder, &begin).1.expect("waits");
    assert_eq!(decode(&mut decoder, &begin).1, Err(DecodeError::ContinuationMissing { dropped: 32 }));
    assert_eq!(decode(&mut decoder, &end).0.samples.len(), 2);
    decode(&mut decoder, &begin).1.expect("waits");
    decoder.reset();
    assert!(matches!(decode(&mut decoder, &end).1, Err(DecodeError::BeginningMissing { .. })));
    // A continuation that never makes a whole packet is given up.
    decode(&mut decoder, &begin).1.expect("waits");
    let endless = [&[3, 0x63][..], &[0; 201]].concat();
    assert!((0..100).any(|_| decode(&mut decoder, &endless).1.is_err()));
}

#[test]
fn a_value_that_is_not_a_number_drops_its_packet() {
    let mut decoder = Decoder::new(&builtin("movesense-gsp-imu6"));
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        let bytes = [&[2, 0x63, 0, 0, 0, 0][..], &f32s(&[0.0, 0.0, 9.8, 0.0, bad, 0.0])].concat();
        assert_eq!(
            decode(&mut decoder, &bytes),
            (Decoded::default(), Err(DecodeError::NotFinite { sample: 0 }))
        );
    }
}

#[test]
fn axes_are_mapped_with_their_signs() {
    let text = Profile::builtin("thingy52").expect("built in");
    let axes =
        "[axes]\nacc = [[0, 1, 0], [0, 0, -1], [1, 0, 0]]\ngyro = [[-1, 0, 0], [0, 1, 0], [0, 0, 1]]\n";
    let mut decoder = Decoder::new(&profile(&format!("{text}{axes}")));
    let (out, _) = decode(&mut decoder, &i16s(&[1024, 2048, 3072, 32, 64, 96, 0, 0, 0]));
    for (mapped, expected) in out.samples[0].acc.iter().zip([2.0, -3.0, 1.0]) {
        assert_close(*mapped, expected * G);
    }
    for (mapped, expected) in out.samples[0].gyro.iter().zip([-1f64, 2.0, 3.0]) {
        assert_close(*mapped, expected.to_radians());
    }
}

#[test]
fn every_number_form_is_read_in_both_byte_orders() {
    let cases: [(&str, &[u8], f64); 12] = [
        ("u8", &[0xfe], 254.0),
        ("i8", &[0xfe], -2.0),
        ("u16", &[0x34, 0x92], 37428.0),
        ("i16", &[0x34, 0x92], -28108.0),
        ("u24", &[0x56, 0x34, 0x92], 9_581_654.0),
        ("i24", &[0x56, 0x34, 0x92], -7_195_562.0),
        ("u32", &[0x78, 0x56, 0x34, 0x92], 2_452_903_544.0),
        ("i32", &[0x78, 0x56, 0x34, 0x92], -1_842_063_752.0),
        ("u64", &[0, 0, 0, 0, 0, 0, 0, 0x80], 9_223_372_036_854_775_808.0),
        ("i64", &[0, 0, 0, 0, 0, 0, 0, 0x80], -9_223_372_036_854_775_808.0),
        ("f32", &[0, 0, 0xc0, 0x3f], 1.5),
        ("f64", &[0, 0, 0, 0, 0, 0, 0xf8, 0xbf], -1.5),
    ];
    for (form, bytes, value) in cases {
        for endian in ["le", "be"] {
            let fields = ["gyro_x", "gyro_y", "gyro_z", "acc_x", "acc_y", "acc_z"]
                .map(|role| format!("{{ f = \"{form}\", as = \"{role}\" }}"))
                .join(", ");
            let decoder = profile(&format!(
                "profile = 1\nid = \"forms\"\nname = \"Forms\"\n[[stream]]\nchar = \"x\"\nendian = \"{endian}\"\n\
                 layout = \"interleaved\"\ncount = \"rest\"\nsample = [ {fields} ]\n\
                 [scale]\nacc = {{ mul = 2.0, add = 3.0, unit = \"m/s2\" }}\ngyro = {{ mul = 1.0, unit = \"rad/s\" }}\n\
                 [clock]\nkind = \"none\"\n[sensor]\nrate_hz = 100.0\n"
            ));
            let mut one = bytes.to_vec();
            if endian == "be" {
                one.reverse();
            }
            let (out, result) = decode(&mut Decoder::new(&decoder), &one.repeat(12));
            assert_eq!(result, Ok(()), "{form} {endian}");
            assert_eq!(out.samples.len(), 2);
            assert_eq!(out.samples[1].gyro, [value; 3], "{form} {endian}");
            assert_close(out.samples[1].acc[2], value * 2.0 + 3.0);
        }
    }
}

/// Count in the header, trailer, big-endian, and a time that is narrower than its field.
const COUNTED: &str = r#"profile = 1
id = "counted"
name = "Counted"
[[stream]]
char = "x"
endian = "be"
layout = "interleaved"
header = [ { f = "u8", as = "n" }, { f = "u32", as = "t_last" } ]
count = "n"
sample = [
  { f = "i16", as = "gyro_x" }, { f = "i16", as = "gyro_y" }, { f = "i16", as = "gyro_z" },
  { f = "i16", as = "acc_x" }, { f = "i16", as = "acc_y" }, { f = "i16", as = "acc_z" },
]
trailer = [ { f = "u24", as = "seq" } ]
[scale]
acc = { mul = 1.0, unit = "mg" }
gyro = { mul = 1.0, unit = "rad/s" }
[clock]
kind = "timestamp"
tick_us = 1000.0
bits = 24
[sensor]
rate_hz = 100.0
"#;

#[test]
fn a_count_in_the_header_and_a_trailer_are_obeyed() {
    let profile = profile(COUNTED);
    assert_eq!(profile.clock().stamps, Stamps::Last);
    let mut decoder = Decoder::new(&profile);
    let sample = [0, 1, 0, 2, 0, 3, 0, 4, 0, 5, 3, 232];
    let bytes = [&[2, 0xff, 0, 1, 2][..], &sample, &sample, &[9, 8, 7]].concat();
    let (out, result) = decode(&mut decoder, &bytes);
    assert_eq!(result, Ok(()));
    let head = out.packets[0];
    assert_eq!((head.n, head.t_raw, head.stamps_last), (2, Some(0x0102), true));
    assert_eq!((head.seq, head.seq_bits), (Some(0x0009_0807), 24));
    assert_eq!(out.samples[1].gyro, [1.0, 2.0, 3.0]);
    assert_close(out.samples[1].acc[2], G);
    assert_eq!(decode(&mut decoder, &bytes[..31]).1, Err(DecodeError::Length { expected: 32, found: 31 }));
    let none = decode(&mut decoder, &[0, 0, 0, 0, 0, 9, 8, 7]).1;
    assert_eq!(none, Err(DecodeError::NoSamples));
}

#[test]
fn min_samples_guards_against_a_first_part_that_looks_whole() {
    let text = Profile::builtin("movesense-gsp-imu6").expect("built in");
    let text = text.replace("drop = 2 }", "drop = 2, min_samples = 2 }");
    let mut decoder = Decoder::new(&profile(&text));
    let payload = movesense(2);
    let (one, waits) = decode(&mut decoder, &[&[2, 0x63][..], &payload[..28]].concat());
    assert_eq!((one, waits), (Decoded::default(), Ok(())));
    let (out, _) = decode(&mut decoder, &[&[3, 0x63][..], &payload[28..]].concat());
    assert_eq!((out.packets[0].n, out.samples[1].acc), (2, [3.0, 4.0, 5.0]));
}
