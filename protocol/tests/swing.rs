//! What a swing file may and may not hold.

use peakorder_protocol::document::DocumentError;
use peakorder_protocol::swing::{NotFinite, Swing};

/// A recorded swing, as written.
fn recorded() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings/baseline-right/swings/0001.json");
    std::fs::read_to_string(path).expect("the recording is part of the project")
}

#[test]
fn a_swing_with_a_number_that_is_none_is_refused_by_name() {
    let good = Swing::from_json(&recorded()).unwrap();
    assert_eq!(Swing::from_json(&good.to_json().unwrap()).unwrap(), good);
    for wrong in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let mut bad = good.clone();
        bad.tempo.ratio = wrong;
        assert_eq!(bad.to_json(), Err(NotFinite { key: "ratio".into() }));
        let mut bad = good.clone();
        bad.segments.values_mut().next().unwrap().speed_at_impact_dps = Some(wrong);
        assert_eq!(bad.to_json(), Err(NotFinite { key: "speed_at_impact_dps".into() }));
    }
    let mut named = good;
    named.block = "x\": null\n\"y\": null".into();
    assert_eq!(Swing::from_json(&named.to_json().unwrap()).unwrap(), named, "a text is no number");
}

#[test]
fn an_uncertainty_that_a_file_does_not_state_is_unknown() {
    let mut file: serde_json::Value = serde_json::from_str(&recorded()).unwrap();
    // As earlier versions wrote it: without a checksum.
    file.as_object_mut().unwrap().remove("crc32c");
    let turn = file["segments"]["thorax"]["turn_deg"].as_object_mut().unwrap();
    turn.remove("impact_sd");
    let swing = Swing::from_json(&file.to_string()).unwrap();
    let turn = swing.segments[&peakorder_protocol::Role::Thorax].turn_deg.unwrap();
    assert_eq!(turn.impact_sd, None);
}

#[test]
fn no_flipped_bit_gives_another_swing() {
    let swing = Swing::from_json(&recorded()).unwrap();
    let whole = swing.to_json().unwrap().into_bytes();
    let mut same = 0;
    for bit in 0..whole.len() * 8 {
        let mut bytes = whole.clone();
        bytes[bit / 8] ^= 1 << (bit % 8);
        let Ok(text) = String::from_utf8(bytes) else { continue };
        // A checksum whose key is damaged is not seen; nothing else is damaged then.
        match Swing::from_json(&text) {
            Ok(read) => {
                assert_eq!(read, swing, "bit {bit}");
                same += 1;
            }
            Err(e) if bit / 8 < whole.len() - 30 => {
                assert!(matches!(e, DocumentError::Checksum(_)), "bit {bit}: {e}");
            }
            Err(_) => {}
        }
    }
    assert!(same <= 6 * 8, "{same} bits, more than the key has");
}

#[test]
fn what_is_changed_by_hand_is_called_so() {
    let text = Swing::from_json(&recorded()).unwrap().to_json().unwrap();
    let compact = serde_json::from_str::<serde_json::Value>(&text).unwrap().to_string();
    for edited in [text.replace("\"number\": 1", "\"number\": 2"), text.clone() + "\n", compact] {
        let error = Swing::from_json(&edited).expect_err("not as it was written");
        assert!(error.to_string().contains("changed by hand"), "{error}");
    }
    let cut = text.find(",\n  \"crc32c\"").unwrap();
    let old = text[..cut].to_owned() + "\n}\n";
    assert_eq!(Swing::from_json(&old).unwrap(), Swing::from_json(&text).unwrap(), "without a checksum");
}
