//! Real golf swings, measured optically and turned into what three straps on that body would have felt.
//!
//! The recordings are not part of the project. `PEAKORDER_GOLF_DATA` names the folder; without it the
//! tests say so and pass. They come from the CMU Graphics Lab Motion Capture Database (subject 64,
//! mocap.cs.cmu.edu; created with funding from NSF EIA-0196217): five swings of one golfer, each with
//! different sensors, and plays of other sports. The truth is computed from the optical trajectory, by
//! code that is not the project's.

use flate2::read::GzDecoder;
use peakorder_protocol::swing::Swing;
use peakorder_tests::files::swings;
use peakorder_tests::programs::daemon;
use serde_json::Value;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Sessions of golf swings: a loud strike, a soft one, none, 104 Hz, and one that begins while the body moves.
const SESSIONS: [&str; 5] = ["struck", "struck-softly", "unstruck", "struck-104hz", "begins-moving"];

fn data() -> Option<PathBuf> {
    let folder = std::env::var_os("PEAKORDER_GOLF_DATA").map(PathBuf::from);
    if folder.is_none() {
        eprintln!("SKIPPED: PEAKORDER_GOLF_DATA names no folder with real golf swings");
    }
    folder
}

/// Imports a session and returns its swings.
fn imported(data: &Path, name: &str) -> Vec<Swing> {
    let folder = tempfile::tempdir().unwrap();
    let source = data.join("sessions").join(name);
    let file = |segment: &str| {
        let csv = folder.path().join(format!("{segment}.csv"));
        let packed = File::open(source.join(format!("{segment}.csv.gz"))).expect("the session is there");
        io::copy(&mut GzDecoder::new(packed), &mut File::create(&csv).unwrap()).unwrap();
        csv.to_str().unwrap().to_owned()
    };
    let out = folder.path().join("session");
    let (pelvis, thorax, arm) = (file("pelvis"), file("thorax"), file("lead-arm"));
    let marks = source.join("marks.csv");
    let said = daemon([
        "import",
        "--out",
        out.to_str().unwrap(),
        "--pelvis",
        &pelvis,
        "--thorax",
        &thorax,
        "--lead-arm",
        &arm,
        "--marks",
        marks.to_str().unwrap(),
    ]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    swings(&out)
}

/// True swings with what was measured of each.
fn measured(data: &Path, name: &str) -> Vec<(Value, Swing)> {
    let text = std::fs::read_to_string(data.join("sessions").join(name).join("truth.json")).unwrap();
    let truth: Value = serde_json::from_str(&text).unwrap();
    let found = imported(data, name);
    let truth = truth["swings"].as_array().unwrap();
    assert_eq!(found.len(), truth.len(), "{name}: one swing for each, and no other");
    let within = |t: &Value, s: &Swing| {
        (t["start_s"].as_f64().unwrap()..t["end_s"].as_f64().unwrap()).contains(&s.events.impact.t_s)
    };
    truth
        .iter()
        .map(|t| {
            let swing = found.iter().find(|s| within(t, s));
            (t.clone(), swing.unwrap_or_else(|| panic!("{name}: {} was missed", t["trial"])).clone())
        })
        .collect()
}

/// Errors with their stated 95 % half widths.
struct Errors(Vec<(f64, f64)>);

impl Errors {
    fn bias_and_sd(&self) -> (f64, f64) {
        let n = self.0.len() as f64;
        let mean = self.0.iter().map(|e| e.0).sum::<f64>() / n;
        (mean, (self.0.iter().map(|e| (e.0 - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
    }

    fn held(&self) -> f64 {
        self.0.iter().filter(|(e, half)| e.abs() <= *half).count() as f64 / self.0.len() as f64
    }
}

/// 1.96, the two-sided 95 % point of the normal distribution (any table).
const HALF: f64 = 1.96;

#[test]
fn takeaway_and_tempo_of_real_swings_are_the_thoraxs() {
    let Some(data) = data() else { return };
    let (mut takeaway, mut ratio) = (Errors(Vec::new()), Errors(Vec::new()));
    for name in SESSIONS {
        for (truth, swing) in measured(&data, name) {
            let at = |event: &str| truth[event].as_f64().unwrap();
            let stated = swing.events.takeaway;
            takeaway.0.push(((stated.t_s - at("takeaway_s")) * 1e3, HALF * stated.sd_ms));
            if name != "unstruck" {
                let want = (at("top_s") - at("takeaway_s")) / (at("impact_s") - at("top_s"));
                ratio.0.push((swing.tempo.ratio - want, HALF * swing.tempo.ratio_sd.unwrap()));
            }
        }
    }
    let ((bias, sd), held) = (takeaway.bias_and_sd(), takeaway.held());
    println!("takeaway: {bias:+.1} ± {sd:.1} ms, bands hold {:.0} % of {}", held * 100.0, takeaway.0.len());
    assert!(bias.abs() < 10.0 && sd < 35.0 && held >= 0.92, "{bias:.1} ± {sd:.1} ms, {held:.2}");
    let ((bias, sd), held) = (ratio.bias_and_sd(), ratio.held());
    println!("tempo: {bias:+.3} ± {sd:.3}, bands hold {:.0} % of {}", held * 100.0, ratio.0.len());
    assert!(bias.abs() < 0.1, "{bias:+.3}");
}

#[test]
fn no_resolved_pair_of_real_swings_is_the_wrong_way_round() {
    let Some(data) = data() else { return };
    let mut resolved = 0;
    for name in SESSIONS {
        for (truth, swing) in measured(&data, name) {
            let peak = |role: peakorder_protocol::Role| {
                let key = if role == peakorder_protocol::Role::LeadArm { "arm" } else { role.key() };
                let segment = &truth["segments"][key];
                (segment["rising"] == false).then(|| segment["peak_s"].as_f64().unwrap())
            };
            for gap in swing.sequence.gaps.iter().filter(|g| g.resolved) {
                let (Some(from), Some(to)) = (peak(gap.from), peak(gap.to)) else { continue };
                assert!((to - from) * gap.gap_ms > 0.0, "{name}, {}: {gap:?}, true {:.4} s", truth["trial"], to - from);
                resolved += 1;
            }
        }
    }
    assert!(resolved > 40, "{resolved}");
}

#[test]
fn other_sports_have_no_golf_swing() {
    let Some(data) = data() else { return };
    let found = imported(&data, "other-sports");
    assert!(found.is_empty(), "{} swings", found.len());
}
