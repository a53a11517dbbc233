//! Every profile against bytes whose meaning is known from elsewhere.

mod layouts;
mod merging;
mod packets;

use peakorder_protocol::profile::{DecodeError, Decoded, Decoder, Profile};
use proptest::prelude::*;

/// Standard gravity, m/s² (exact by definition).
const G: f64 = 9.80665;

const ADAFRUIT: &str = include_str!("adafruit.toml");
const BLUEST: &str = include_str!("bluest.toml");
const PMD: &str = include_str!("pmd.toml");
const SENSORTAG: &str = include_str!("sensortag.toml");

fn builtin(id: &str) -> Profile {
    Profile::from_toml(Profile::builtin(id).expect("built in")).expect("reads")
}

fn profile(text: &str) -> Profile {
    Profile::from_toml(text).expect("reads")
}

fn every_profile() -> Vec<Profile> {
    let mut all = Profile::all_builtin();
    all.extend([ADAFRUIT, BLUEST, PMD, SENSORTAG].map(profile));
    all
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * b.abs().max(1.0)
}

#[track_caller]
fn assert_close(a: f64, b: f64) {
    assert!(close(a, b), "{a} is not {b}");
}

fn i16s(values: &[i16]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

fn f32s(values: &[f32]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

/// Decodes one notification on channel 0.
fn decode(decoder: &mut Decoder, bytes: &[u8]) -> (Decoded, Result<(), DecodeError>) {
    decode_on(decoder, 0, bytes)
}

fn decode_on(decoder: &mut Decoder, channel: u8, bytes: &[u8]) -> (Decoded, Result<(), DecodeError>) {
    let mut out = Decoded::default();
    let result = decoder.decode(channel, bytes, &mut out);
    (out, result)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes_never_panic_and_never_yield_a_value_that_is_not_finite(
        notifications in prop::collection::vec(
            (0..3u8, prop::sample::select(vec![0, 2, 3, 5, 0x11, 0x12, 0x55]), prop::collection::vec(any::<u8>(), 0..120), any::<bool>()),
            1..12,
        ),
    ) {
        for profile in every_profile() {
            let mut decoder = Decoder::new(&profile);
            for (channel, first, bytes, typed) in &notifications {
                let bytes = if *typed { [&[*first][..], bytes].concat() } else { bytes.clone() };
                let (out, result) = decode_on(&mut decoder, *channel, &bytes);
                let unknown = matches!(result, Err(DecodeError::UnknownChannel { .. }));
                prop_assert_eq!(unknown, usize::from(*channel) >= profile.channels().len());
                let all = out.samples.iter().flat_map(|s| s.gyro.into_iter().chain(s.acc));
                prop_assert!(all.into_iter().all(f64::is_finite));
                let counted: usize = out.packets.iter().map(|p| p.n).sum();
                prop_assert_eq!(counted, out.samples.len());
            }
        }
    }
}
