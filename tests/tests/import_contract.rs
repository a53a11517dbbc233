//! Samples of any logger become swing files whose names, units and meaning are the contract's.

use peakorder_protocol::Role;
use peakorder_protocol::swing::Reason;
use peakorder_tests::csv::{self, Variant};
use peakorder_tests::files::swings;
use peakorder_tests::programs::{CommandOutput, daemon};
use peakorder_virtual_straps::{
    PlayerParams, Population, PracticeOptions, Script, SensorModel, Session, SwingTruth,
};
use serde_json::Value;
use std::path::Path;

const SWINGS: u32 = 3;

fn session() -> Session {
    let player = PlayerParams::drawn_from(Population::Professional, 31);
    Script::practice(31, player, SWINGS, &PracticeOptions::default()).session()
}

/// Writes the session's samples and marks as a logger would, and imports them.
fn import(folder: &Path, session: &Session, variant: Variant, roles: &[Role], marks: bool) -> CommandOutput {
    let mut arguments = vec!["import".to_owned(), "--out".into(), folder.join("s").display().to_string()];
    for role in roles {
        let name = role.key().replace('_', "-");
        let path = folder.join(format!("{name}.csv"));
        let samples = session.ideal_samples(*role, 208.0, SensorModel::consumer()).map(Into::into);
        std::fs::write(&path, csv::table(samples, variant)).unwrap();
        arguments.extend([format!("--{name}"), path.display().to_string()]);
    }
    if marks {
        let path = folder.join("marks.csv");
        let text = csv::marks(
            session.marks().iter().map(|m| (m.t_ns as f64 * 1e-9, m.kind.as_str(), m.detail.as_str())),
        );
        std::fs::write(&path, text).unwrap();
        arguments.extend(["--marks".into(), path.display().to_string()]);
    }
    daemon(arguments)
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("no number at {path} in {value:#}"))
}

/// Every name of the contract is there with the type it promises.
fn check_contract(v: &Value) {
    assert_eq!(v["schema"], "peakorder.swing/1");
    for text in ["session", "block", "handedness"] {
        assert!(v[text].is_string(), "{text}");
    }
    assert!(v["number"].is_u64());
    for event in ["takeaway", "top", "impact", "finish"] {
        number(v, &format!("/events/{event}/t_s"));
        number(v, &format!("/events/{event}/sd_ms"));
    }
    assert_eq!(v.pointer("/events/impact/evidence").unwrap(), "arm-shock");
    for segment in ["pelvis", "thorax", "lead_arm"] {
        let kind = if segment == "lead_arm" { "across" } else { "axial" };
        assert_eq!(v["segments"][segment]["speed_kind"], kind);
        assert_eq!(v["segments"][segment]["peak"]["outcome"], "peak");
        for path in [
            "reversal/t_s",
            "reversal/sd_ms",
            "peak/t_s",
            "peak/before_impact_ms",
            "peak/sd_ms",
            "peak/speed_dps",
            "speed_at_impact_dps",
            "turn_deg/top",
            "turn_deg/impact",
            "turn_deg/max_away",
            "lateral_tilt_deg/top",
            "flexion_deg/impact",
        ] {
            number(v, &format!("/segments/{segment}/{path}"));
        }
    }
    assert!(v["sequence"]["order"][0][0].is_string());
    assert!(v["sequence"]["reversal_order"][0][0].is_string());
    assert_eq!(v["sequence"]["gaps"].as_array().unwrap().len(), 3);
    assert!(
        v["sequence"]["gaps"][0]["from"].is_string() && v["sequence"]["gaps"][0]["resolved"].is_boolean()
    );
    for path in [
        "/sequence/gaps/0/gap_ms",
        "/sequence/gaps/0/sd_ms",
        "/separation/top_deg",
        "/separation/max_deg",
        "/separation/stretch_deg",
        "/tempo/backswing_s",
        "/tempo/downswing_s",
        "/tempo/ratio",
        "/quality/lost_samples",
        "/quality/clipped_samples",
        "/quality/clock_sd_ms",
    ] {
        number(v, path);
    }
    assert!(v["separation"]["method"].is_string());
    assert_eq!(v["quality"]["usable"], true);
    assert_eq!(v["quality"]["withheld"], serde_json::json!([]));
}

/// Numbers lie near the truth; how near is the accuracy report's business, that none is in
/// another unit or of another sign is this one's.
fn check_truth(v: &Value, truth: &SwingTruth) {
    let near = |path: &str, want: f64, within: f64| {
        let got = number(v, path);
        assert!((got - want).abs() < within, "{path}: {got}, truth {want}");
    };
    near("/events/impact/t_s", truth.impact_s, 0.01);
    near("/events/top/t_s", truth.top_s, 0.02);
    near("/events/takeaway/t_s", truth.moving_s, 0.1);
    for (role, t) in &truth.segments {
        let at = |p: &str| format!("/segments/{}/{p}", role.key());
        near(&at("peak/t_s"), t.peak_s, 0.005);
        near(&at("peak/before_impact_ms"), t.peak_before_ms, 10.0);
        near(&at("peak/speed_dps"), t.peak_dps, 25.0);
        near(&at("reversal/t_s"), t.reversal_s, 0.03);
        if *role != Role::LeadArm {
            near(&at("turn_deg/top"), t.turn_deg.top, 4.0);
            near(&at("turn_deg/impact"), t.turn_deg.impact, 5.0);
            near(&at("lateral_tilt_deg/top"), t.lateral_tilt_deg.top, 4.0);
            near(&at("flexion_deg/top"), t.flexion_deg.top, 5.0);
        }
    }
    near("/tempo/downswing_s", truth.downswing_s, 0.03);
}

#[test]
fn three_straps_give_swing_files_per_the_contract_in_either_unit() {
    let session = session();
    let truths = session.truth();
    for variant in [Variant::Si, Variant::Trade] {
        let folder = tempfile::tempdir().unwrap();
        let said = import(folder.path(), &session, variant, &Role::ALL, true).done();
        assert_eq!(said.out.trim().lines().count(), 1, "one line:\n{}", said.out);
        assert!(said.out.contains("3 swings"), "{}", said.out);
        // Columns that are not read are named once for each file.
        let notices = said.err.lines().filter(|l| l.contains("not used")).count();
        assert_eq!(notices, if variant == Variant::Trade { 3 } else { 0 }, "{}", said.err);
        for (i, truth) in truths.iter().enumerate() {
            let text =
                std::fs::read_to_string(folder.path().join(format!("s/swings/{:04}.json", i + 1))).unwrap();
            let value: Value = serde_json::from_str(&text).unwrap();
            check_contract(&value);
            check_truth(&value, truth);
        }
    }
}

#[test]
fn without_marks_turns_are_withheld_and_peaks_are_of_the_resultant() {
    let session = session();
    let folder = tempfile::tempdir().unwrap();
    let _ = import(folder.path(), &session, Variant::Si, &Role::ALL, false).done();
    let found = swings(&folder.path().join("s"));
    assert_eq!(found.len(), SWINGS as usize);
    for (swing, truth) in found.iter().zip(session.truth()) {
        for (role, segment) in &swing.segments {
            assert_eq!(segment.speed_definition, "magnitude of the angular-velocity vector");
            assert!(segment.turn_deg.is_none());
            let peak = segment.peak.expect("a peak").t_s;
            assert!((peak - truth.segments[role].resultant_peak_s).abs() < 0.006, "{role}");
        }
        assert!(swing.quality.withheld.iter().any(|w| w.why == Reason::NotCalibrated));
    }
}

#[test]
fn two_straps_are_enough() {
    let session = session();
    let folder = tempfile::tempdir().unwrap();
    let _ = import(folder.path(), &session, Variant::Si, &[Role::Pelvis, Role::Thorax], true).done();
    let found = swings(&folder.path().join("s"));
    assert_eq!(found.len(), SWINGS as usize);
    assert!(found.iter().all(|s| !s.segments.contains_key(&Role::LeadArm)));
}
