//! The curves file.

use peakorder_protocol::Role;
use peakorder_protocol::curves::{Curves, CurvesError, SegmentCurves};

fn curves() -> Curves {
    let segment = |role, n: usize| SegmentCurves {
        role,
        speed_dps: (0..n).map(|i| i as f32).collect(),
        turn_deg: vec![-45.5; n],
        orientation_wxyz: vec![[1.0, 0.0, 0.0, 0.0]; n],
    };
    let mut bare = segment(Role::LeadArm, 4);
    bare.turn_deg.clear();
    bare.orientation_wxyz.clear();
    Curves { start_s: 12.5, step_s: 1.0 / 208.0, segments: vec![segment(Role::Pelvis, 4), bare] }
}

#[test]
fn curves_come_back_as_they_were() {
    let bytes = curves().to_bytes();
    assert_eq!(Curves::from_bytes(&bytes), Ok(curves()));
    // magic, version 1, length, then start_s after the checksum
    assert_eq!(&bytes[..10], b"POCURVES\x01\x00");
    assert_eq!(bytes[10..14], (bytes.len() as u32 - 18).to_le_bytes());
    assert_eq!(bytes[18..26], 12.5f64.to_le_bytes());
}

#[test]
fn a_flipped_bit_or_a_cut_is_an_error() {
    let bytes = curves().to_bytes();
    for at in 0..bytes.len() * 8 {
        let mut damaged = bytes.clone();
        damaged[at / 8] ^= 1 << (at % 8);
        assert!(Curves::from_bytes(&damaged).is_err(), "bit {at}");
        assert!(Curves::from_bytes(&bytes[..at / 8]).is_err(), "cut at {}", at / 8);
    }
    assert!(matches!(Curves::from_bytes(b"something else"), Err(CurvesError::NotCurves)));
}

#[test]
fn a_newer_version_says_update() {
    let mut bytes = curves().to_bytes();
    bytes[8] = 2;
    let error = Curves::from_bytes(&bytes).expect_err("newer");
    assert!(error.to_string().contains("update peakorder"), "{error}");
}

#[test]
fn curves_of_different_length_are_refused() {
    let mut wrong = curves();
    wrong.segments[0].turn_deg.pop();
    let error = Curves::from_bytes(&wrong.to_bytes()).expect_err("refused");
    assert!(error.to_string().contains("pelvis curves differ in length"), "{error}");
}
