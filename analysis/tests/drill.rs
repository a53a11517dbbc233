//! Drills on the command line: their repetitions are shown and counted apart from swings.

use peakorder_analysis::drill::{Quantity, spreads};
use peakorder_protocol::Role;
use peakorder_protocol::repetition::Repetition;

fn repetition(number: u32, pelvis: f64, thorax: f64) -> Repetition {
    let segment = |top: f64| serde_json::json!({ "turn_deg": { "address": 0.0, "top": top, "sd": 0.5 } });
    serde_json::from_value(serde_json::json!({
        "schema": "peakorder.swing/1", "session": "s", "number": number, "block": "pivot", "handedness": "right",
        "kind": "repetition",
        "events": {
            "takeaway": { "t_s": 1.0, "sd_ms": 5.0 }, "top": { "t_s": 2.0, "sd_ms": 5.0 },
            "finish": { "t_s": 3.0, "sd_ms": 5.0 },
        },
        "segments": { "pelvis": segment(pelvis), "thorax": segment(thorax) },
        "tempo": { "back_s": 1.0, "back_sd_s": 0.01, "hold_s": 0.2, "forward_s": 0.8, "forward_sd_s": 0.01 },
        "angle_order": "", "bone_prior": "",
        "quality": {
            "usable": true, "withheld": [], "notes": [], "lost_samples": 0, "clipped_samples": 0, "clock_sd_ms": 0.0,
        },
    }))
    .expect("as in docs/formats/session.md")
}

/// By hand: 40, 44 and 48 have the mean 44 and the standard deviation 4 (n − 1).
#[test]
fn steadiness_is_the_spread_between_repetitions() {
    let all: Vec<Repetition> =
        [(1, -40.0), (2, -44.0), (3, -48.0)].map(|(n, p)| repetition(n, p, -80.0)).into();
    let told = spreads(&all.iter().collect::<Vec<_>>());
    let pelvis = told.iter().find(|s| s.quantity == Quantity::Back(Role::Pelvis)).expect("measured");
    assert_eq!((pelvis.n, pelvis.mean, pelvis.sd), (3, 44.0, Some(4.0)));
    assert!(told.iter().all(|s| !matches!(s.quantity, Quantity::Through(_))), "they came home");
    let one = spreads(&[&all[0]]);
    assert!(one.iter().all(|s| s.sd.is_none()), "one repetition has no spread");
}
