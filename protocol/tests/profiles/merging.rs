//! Angular velocity and acceleration from separate streams.

use super::*;
#[test]
fn separate_characteristics_without_times_take_the_last_value() {
    // docs.circuitpython.org/projects/ble_adafruit: m/s2 and rad/s as floats.
    let mut decoder = Decoder::new(&profile(ADAFRUIT));
    let gyro = f32s(&[1.0, 2.0, 3.0]);
    let (none, missing) = decode_on(&mut decoder, 1, &gyro);
    assert_eq!((none, missing), (Decoded::default(), Err(DecodeError::MergeGap { samples: 1 })));
    assert_eq!(decode_on(&mut decoder, 0, &f32s(&[0.0, 0.5, 9.75])), (Decoded::default(), Ok(())));
    let (out, result) = decode_on(&mut decoder, 1, &gyro);
    assert_eq!(result, Ok(()));
    assert_eq!((out.samples[0].acc, out.samples[0].gyro), ([0.0, 0.5, 9.75], [1.0, 2.0, 3.0]));
    // Two periods of 10 ms are more than max_gap_ms = 15.
    assert_eq!(decode_on(&mut decoder, 1, &gyro).1, Ok(()));
    assert_eq!(decode_on(&mut decoder, 1, &gyro).1, Err(DecodeError::MergeGap { samples: 1 }));
}

/// Two characteristics with one float per axis, a 16-bit time in ms, and the merge under test.
fn separate(how: &str) -> Profile {
    let stream = |char: &str, q: &str| {
        format!(
            "[[stream]]\nchar = \"{char}\"\nlayout = \"interleaved\"\ncount = \"rest\"\n\
             header = [ {{ f = \"u16\", as = \"t_first\" }} ]\n\
             sample = [ {{ f = \"f32\", as = \"{q}_x\" }}, {{ f = \"f32\", as = \"{q}_y\" }}, {{ f = \"f32\", as = \"{q}_z\" }} ]\n"
        )
    };
    profile(&format!(
        "profile = 1\nid = \"separate\"\nname = \"Separate\"\n{}{}\
         [merge]\nhow = \"{how}\"\nclock_of = \"gyro\"\nmax_gap_ms = 25.0\n\
         [scale]\nacc = {{ mul = 1.0, unit = \"m/s2\" }}\ngyro = {{ mul = 1.0, unit = \"rad/s\" }}\n\
         [clock]\nkind = \"timestamp\"\ntick_us = 1000.0\nbits = 16\n[sensor]\nrate_hz = 100.0\nacc_range_g = 1\n",
        stream("acc", "acc"),
        stream("gyro", "gyro"),
    ))
}

fn at_ms(t: u16, values: &[f32]) -> Vec<u8> {
    let all: Vec<f32> = values.iter().flat_map(|&v| [v, 0.0, 0.0]).collect();
    [&t.to_le_bytes()[..], &f32s(&all)].concat()
}

#[test]
fn merging_by_time_interpolates_across_a_wrap() {
    for (how, expected) in [("interpolate", [1.4, 2.4]), ("nearest", [1.0, 2.0])] {
        let mut decoder = Decoder::new(&separate(how));
        let start = 65535 - 12;
        let (acc, gyro) = (at_ms(start, &[1.0, 2.0, 3.0]), at_ms(start + 4, &[7.0, 8.0]));
        assert_eq!(decode_on(&mut decoder, 1, &gyro), (Decoded::default(), Ok(())));
        let (out, result) = decode_on(&mut decoder, 0, &acc);
        assert_eq!(result, Ok(()), "{how}");
        assert_eq!((out.packets[0].t_raw, out.packets[0].calls_ago), (Some(u64::from(start) + 4), 1));
        for (s, e) in out.samples.iter().zip(expected) {
            assert_close(s.acc[0], e);
        }
        assert_eq!(out.samples.len(), 2);
        // After the wrap, in the other order: nothing has to wait.
        assert_eq!(decode_on(&mut decoder, 0, &at_ms(17, &[4.0, 5.0, 10.0])), (Decoded::default(), Ok(())));
        let (out, result) = decode_on(&mut decoder, 1, &at_ms(11, &[7.0, 8.0]));
        assert_eq!((out.samples.len(), out.packets[0].calls_ago, result), (2, 0, Ok(())), "{how}");
        let (a, b) = if how == "nearest" { (3.0, 4.0) } else { (3.4, 4.4) };
        assert!(
            (out.samples[0].acc[0] - a).abs() < 0.2 && (out.samples[1].acc[0] - b).abs() < 0.2,
            "{how} {out:?}"
        );
    }
}

#[test]
fn merging_by_time_drops_what_falls_into_a_gap() {
    let mut decoder = Decoder::new(&separate("interpolate"));
    decode_on(&mut decoder, 0, &at_ms(0, &[1.0])).1.expect("kept");
    decode_on(&mut decoder, 1, &at_ms(20, &[7.0])).1.expect("waits");
    let (out, result) = decode_on(&mut decoder, 0, &at_ms(50, &[1.0, 10.0]));
    assert_eq!((out, result), (Decoded::default(), Err(DecodeError::MergeGap { samples: 1 })));
    // The neighbour at 60 ms is past the range of 1 g and marks what is made from it.
    let (out, _) = decode_on(&mut decoder, 1, &at_ms(55, &[7.0]));
    assert!(out.samples[0].clipped);
    // With the other sensor silent, packets are not kept for ever.
    let failed =
        (0..200u16).filter(|i| decode_on(&mut decoder, 1, &at_ms(1000 + 10 * i, &[7.0])).1.is_err()).count();
    assert_eq!(failed, 200 - 64);
}

#[test]
fn merging_by_number_pairs_equal_times_and_survives_a_loss() {
    let mut decoder = Decoder::new(&separate("index"));
    decode_on(&mut decoder, 0, &at_ms(10, &[1.0, 2.0])).1.expect("kept");
    let (out, _) = decode_on(&mut decoder, 1, &at_ms(10, &[5.0, 6.0]));
    assert_eq!((out.samples[1].acc[0], out.samples[1].gyro[0]), (2.0, 6.0));
    // The acceleration of 30 ms is lost.
    decode_on(&mut decoder, 1, &at_ms(30, &[7.0, 8.0])).1.expect("waits");
    decode_on(&mut decoder, 1, &at_ms(50, &[9.0, 10.0])).1.expect("waits");
    let (out, result) = decode_on(&mut decoder, 0, &at_ms(50, &[3.0, 4.0]));
    assert_eq!(result, Err(DecodeError::MergeGap { samples: 2 }));
    assert_eq!((out.samples[0].acc[0], out.samples[0].gyro[0], out.packets[0].calls_ago), (3.0, 9.0, 1));
}

/// Packs values of `width` bits, least significant bit first.
fn packed(values: &[i64], width: u32) -> Vec<u8> {
    let all = values
        .iter()
        .enumerate()
        .fold(0u128, |x, (i, v)| x | (*v as u128 & ((1 << width) - 1)) << (i as u32 * width));
    all.to_le_bytes()[..(values.len() * width as usize).div_ceil(8)].to_vec()
}

fn pmd(kind: u8, frame: u8, t: u64, reference: &[i16], blocks: &[(u8, Vec<i64>)]) -> Vec<u8> {
    let mut bytes = [&[kind][..], &t.to_le_bytes(), &[frame], &i16s(reference)].concat();
    for (width, values) in blocks {
        bytes.extend([*width, (values.len() / 3) as u8]);
        bytes.extend(packed(values, u32::from(*width)));
    }
    bytes
}

#[test]
fn delta_coded_samples_are_summed_from_the_reference() {
    // The shape of the vector in a published reader: 10 -5 0, then +2 -1 +3 in 4 bits.
    let mut decoder = Decoder::new(&profile(PMD));
    let t = 10u64.pow(18);
    let gyro = pmd(
        5,
        0x80,
        t,
        &[10, -5, 0],
        &[(4, vec![2, -1, 3]), (4, vec![1, 1, 1, -1, -1, -1]), (0, vec![0; 3])],
    );
    // Acceleration from 100 ms before to 100 ms after, one packet of 48 samples: a ramp.
    let ramp: Vec<i64> = [1, 0, 0].repeat(47);
    let acc = |t| {
        let blocks: Vec<(u8, Vec<i64>)> = ramp.chunks(24).map(|c| (5, c.to_vec())).collect();
        pmd(2, 0x81, t, &[0, 0, 4096], &blocks)
    };
    assert_eq!(decode(&mut decoder, &gyro), (Decoded::default(), Ok(())));
    let (out, result) = decode(&mut decoder, &acc(t + 100_000_000));
    assert_eq!(result, Ok(()));
    let head = out.packets[0];
    assert_eq!((head.n, head.t_raw, head.stamps_last, head.calls_ago), (5, Some(t), true, 1));
    let counts: Vec<[f64; 3]> =
        out.samples.iter().map(|s| s.gyro.map(|v| (v.to_degrees() / 0.061_035_156_25).round())).collect();
    let expected = [[10., -5., 0.], [12., -6., 3.], [13., -5., 4.], [12., -6., 3.], [12., -6., 3.]];
    assert_eq!(counts, expected);
    // The last gyro sample lies 100 ms = 20.8 periods before the last of the ramp's 0 to 47.
    let last = out.samples[4];
    assert_close(last.acc[0], (47.0 - 20.8) / 4096.0 * G);
    assert_close(last.acc[2], G);
}

#[test]
fn broken_delta_blocks_are_refused() {
    let mut decoder = Decoder::new(&profile(PMD));
    let gyro = |tail: &[u8]| [&pmd(5, 0x80, 0, &[0; 3], &[])[..], tail].concat();
    assert_eq!(decode(&mut decoder, &gyro(&[33, 1, 0, 0])).1, Err(DecodeError::DeltaWidth { bits: 33 }));
    assert_eq!(
        decode(&mut decoder, &gyro(&[16, 2, 0])).1,
        Err(DecodeError::Length { expected: 30, found: 19 })
    );
    assert_eq!(decode(&mut decoder, &gyro(&[16])).1, Err(DecodeError::Length { expected: 18, found: 17 }));
    // 255 unchanged samples cost two bytes.
    let bomb = [0, 255].repeat(20);
    assert_eq!(decode(&mut decoder, &gyro(&bomb)).1, Err(DecodeError::TooManySamples { limit: 4096 }));
}
