//! Real golf swings, measured optically and turned into what three straps on that body would have felt.
//!
//! The recordings are not part of the project. `PEAKORDER_GOLF_DATA` names the folder; without it the
//! tests say so and pass. They come from the CMU Graphics Lab Motion Capture Database (subject 64,
//! mocap.cs.cmu.edu; created with funding from NSF EIA-0196217): five swings of one golfer, each with
//! different sensors, and plays of other sports. The truth is computed from the optical trajectory, by
//! code that is not the project's.

#[path = "golf/backswing.rs"]
mod backswing;

use flate2::read::GzDecoder;
use peakorder_protocol::swing::{Outcome, Swing, SwingKind};
use peakorder_tests::files::swings;
use peakorder_tests::programs::daemon;
use serde_json::Value;
use std::fs::File;
use std::io::Read as _;
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
    imported_without(data, name, "", &[])
}

/// The same without the samples of `segment` in the given times, s.
fn imported_without(data: &Path, name: &str, segment: &str, holes: &[(f64, f64)]) -> Vec<Swing> {
    let folder = tempfile::tempdir().unwrap();
    let source = data.join("sessions").join(name);
    let file = |of: &str| {
        let csv = folder.path().join(format!("{of}.csv"));
        let packed = File::open(source.join(format!("{of}.csv.gz"))).expect("the session is there");
        let mut text = String::new();
        GzDecoder::new(packed).read_to_string(&mut text).unwrap();
        let column = text.lines().next().unwrap().split(',').position(|c| c == "time_s").unwrap();
        let kept = |row: &&str| {
            let t_s = row.split(',').nth(column).and_then(|v| v.parse::<f64>().ok());
            of != segment || t_s.is_none_or(|t| !holes.iter().any(|(from, to)| (*from..*to).contains(&t)))
        };
        let rows: Vec<&str> = text.lines().filter(kept).collect();
        std::fs::write(&csv, rows.join("\n")).unwrap();
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
                assert!(
                    (to - from) * gap.gap_ms > 0.0,
                    "{name}, {}: {gap:?}, true {:.4} s",
                    truth["trial"],
                    to - from
                );
                resolved += 1;
            }
        }
    }
    assert!(resolved > 40, "{resolved}");
}

/// Packets lost somewhere in every downswing: each peak is withheld, or it is where it is without the hole.
#[test]
fn lost_samples_never_give_a_wrong_peak() {
    let Some(data) = data() else { return };
    let whole = measured(&data, "struck");
    // xorshift64 (Marsaglia 2003).
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut between = |from: f64, to: f64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        from + (to - from) * (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let (mut kept, mut withheld) = (0, 0);
    for turn in 0..24 {
        let segment = ["pelvis", "thorax", "lead-arm"][turn % 3];
        let holes: Vec<(f64, f64)> = whole
            .iter()
            .map(|(truth, _)| {
                let at = |event: &str| truth[event].as_f64().unwrap();
                let from = between(at("top_s") - 0.05, at("impact_s") + 0.02);
                (from, from + between(0.015, 0.12))
            })
            .collect();
        let found = imported_without(&data, "struck", segment, &holes);
        for ((truth, whole), hole) in whole.iter().zip(&holes) {
            let range = truth["start_s"].as_f64().unwrap()..truth["end_s"].as_f64().unwrap();
            let swing = found.iter().find(|s| range.contains(&s.events.impact.t_s)).expect("it is found");
            // Where impact lies in the hole nothing is said of the strike.
            assert!([whole.kind, SwingKind::Unsure].contains(&swing.kind), "{segment}, {hole:?}");
            for (role, whole) in &whole.segments {
                let (Some(got), Some(want)) = (&swing.segments[role].peak, &whole.peak) else {
                    withheld += 1;
                    continue;
                };
                let apart_ms = (got.t_s - want.t_s).abs() * 1e3;
                // Two readings of one peak differ by less than both bands together, or by a sample.
                let allowed_ms = (HALF * (got.sd_ms + want.sd_ms)).max(4.0);
                // A stretch that ends at impact holds the peak found without the hole.
                let alike = got.outcome == want.outcome || got.outcome == Outcome::Held;
                assert!(
                    alike && apart_ms <= allowed_ms,
                    "{segment}, {hole:?}: {role} {got:?}, without the hole {want:?}"
                );
                kept += 1;
            }
        }
    }
    println!("{kept} peaks kept, {withheld} withheld");
    assert!(kept > 200 && withheld > 10, "{kept} kept, {withheld} withheld");
}

#[test]
fn other_sports_have_no_golf_swing() {
    let Some(data) = data() else { return };
    let found = imported(&data, "other-sports");
    assert!(found.is_empty(), "{} swings", found.len());
}
