//! What a swing file may and may not hold.

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
    let turn = file["segments"]["thorax"]["turn_deg"].as_object_mut().unwrap();
    turn.remove("impact_sd");
    let swing = Swing::from_json(&file.to_string()).unwrap();
    let turn = swing.segments[&peakorder_protocol::Role::Thorax].turn_deg.unwrap();
    assert_eq!(turn.impact_sd, None);
}
