//! Real golf swings, measured optically and turned into what three straps on that body would have felt.
//!
//! The recordings are not part of the project. `PEAKORDER_GOLF_DATA` names the folder; without it the
//! tests say so and pass. They come from the CMU Graphics Lab Motion Capture Database (subject 64,
//! mocap.cs.cmu.edu; created with funding from NSF EIA-0196217): five swings of one golfer, each with
//! different sensors, and plays of other sports. The truth is computed from the optical trajectory, by
//! code that is not the project's.

mod backswing;
mod coverage;
mod live;
mod repetition;
mod shift;

use flate2::read::GzDecoder;
use nalgebra::Vector3;
use peakorder_protocol::Role;
use peakorder_protocol::curves::Curves;
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::{Outcome, Swing, SwingKind};
use peakorder_tests::files::swings;
use peakorder_tests::programs::daemon;
use peakorder_virtual_straps::optical;
use serde_json::Value;
use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// Sessions of golf swings: a loud strike, a soft one, none, 104 Hz, and one that begins while the body moves.
const SESSIONS: [&str; 5] = ["struck", "struck-softly", "unstruck", "struck-104hz", "begins-moving"];

/// In place of a segment: without the arm strap.
const NO_ARM: &str = "no arm";
/// The same, and the swings are marked as a drill's repetitions.
const NO_ARM_DRILL: &str = "no arm, drill";

fn data() -> Option<PathBuf> {
    let folder = std::env::var_os("PEAKORDER_GOLF_DATA").map(PathBuf::from);
    if folder.is_none() {
        eprintln!("SKIPPED: PEAKORDER_GOLF_DATA names no folder with real golf swings");
    }
    folder
}

/// Middle of the hip joints from the root of the pelvis, of the skeleton that the markers were solved onto, m.
fn hips(data: &Path) -> Vector3<f64> {
    optical::hips_from_root(&data.join("golf64_dev.npz"), "64/zero.npy").expect("the skeleton is there")
}

/// Imports a session and returns its swings.
fn imported(data: &Path, name: &str) -> Vec<Swing> {
    imported_without(data, name, "", &[])
}

/// The same without the samples of `segment` in the given times, s.
fn imported_without(data: &Path, name: &str, segment: &str, holes: &[(f64, f64)]) -> Vec<Swing> {
    swings(&session(data, name, segment, holes).1)
}

/// The session folder of an import, and what keeps it.
fn session(data: &Path, name: &str, segment: &str, holes: &[(f64, f64)]) -> (tempfile::TempDir, PathBuf) {
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
    let marks = if segment == NO_ARM_DRILL { repetition::as_drill(&marks, folder.path()) } else { marks };
    let mut arguments = vec!["import", "--out", out.to_str().unwrap(), "--pelvis", &pelvis];
    arguments.extend(["--thorax", &thorax, "--marks", marks.to_str().unwrap()]);
    if ![NO_ARM, NO_ARM_DRILL].contains(&segment) {
        arguments.extend(["--lead-arm", &arm]);
    }
    let said = daemon(arguments);
    assert_eq!(said.code, Some(0), "{}", said.err);
    (folder, out)
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
            let peak = |role: Role| {
                let key = if role == Role::LeadArm { "arm" } else { role.key() };
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

/// Bands of peaks and gaps hold the truth, and few pairs are ties.
#[test]
fn peaks_and_gaps_of_real_swings_lie_within_their_bands() {
    let Some(data) = data() else { return };
    let (mut peaks, mut gaps, mut ties, mut held) = (Errors(Vec::new()), Errors(Vec::new()), 0, 0);
    for name in SESSIONS {
        for (truth, swing) in measured(&data, name) {
            let peak_s = |role: Role| {
                let segment = &truth["segments"][if role == Role::LeadArm { "arm" } else { role.key() }];
                (segment["rising"] == false).then(|| segment["peak_s"].as_f64().unwrap())
            };
            for (role, segment) in &swing.segments {
                let (Some(peak), Some(true_s)) = (segment.peak, peak_s(*role)) else { continue };
                match peak.outcome {
                    Outcome::Peak => peaks.0.push(((peak.t_s - true_s) * 1e3, HALF * peak.sd_ms)),
                    Outcome::Held => held += 1,
                    Outcome::Rising => panic!("{name}, {}: the {role} had peaked", truth["trial"]),
                }
            }
            for gap in &swing.sequence.gaps {
                let (Some(from_s), Some(to_s)) = (peak_s(gap.from), peak_s(gap.to)) else { continue };
                gaps.0.push((gap.gap_ms - (to_s - from_s) * 1e3, HALF * gap.sd_ms));
                ties += usize::from(!gap.resolved && !gap.held);
            }
        }
    }
    let (n, held_in) = (gaps.0.len(), gaps.held());
    println!("peaks: bands hold {:.0} % of {}, {held} held", peaks.held() * 100.0, peaks.0.len());
    println!("gaps: bands hold {:.0} % of {n}, {ties} ties", held_in * 100.0);
    assert!(peaks.0.len() > 50 && peaks.held() >= 0.93, "{:.3}", peaks.held());
    assert!(n > 50 && held_in >= 0.92 && ties * 10 < n, "{held_in:.3} of {n}, {ties} ties");
}

/// What another smoothing of the same speed says of a peak lies within its band: Gaussian kernels of −3 dB
/// at 10, 12, 15 and 20 Hz (σ = √ln 2 / (2π f)) over the curves beside the swing files.
#[test]
fn bands_of_real_peaks_hold_what_other_smoothings_say() {
    let Some(data) = data() else { return };
    let (mut inside, mut all) = (0, 0);
    for name in SESSIONS {
        let (_keep, folder) = session(&data, name, "", &[]);
        let (dir, _) = SessionDir::open(&folder).unwrap();
        for swing in swings(&folder) {
            let curves = Curves::from_bytes(&dir.read_curves(swing.number).unwrap()).unwrap();
            for of in &curves.segments {
                let segment = &swing.segments[&of.role];
                let (Some(peak), Some(reversal)) = (segment.peak, segment.reversal) else { continue };
                if peak.outcome != Outcome::Peak {
                    continue;
                }
                let [before, after] = peak.band_ms.unwrap_or([HALF * peak.sd_ms; 2]);
                for hz in [10.0, 12.0, 15.0, 20.0] {
                    let sigma_s = 2.0_f64.ln().sqrt() / (std::f64::consts::TAU * hz);
                    let time = |i: usize| curves.start_s + i as f64 * curves.step_s;
                    let smooth = |at: usize| {
                        let weighed = of.speed_dps.iter().enumerate().map(|(i, v)| {
                            let w = (-0.5 * ((time(i) - time(at)) / sigma_s).powi(2)).exp();
                            (w * f64::from(*v), w)
                        });
                        let (sum, weight) = weighed.fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
                        sum / weight
                    };
                    let range = (0..of.speed_dps.len())
                        .filter(|i| (reversal.t_s..swing.events.impact.t_s).contains(&time(*i)));
                    let top = range.max_by(|a, b| smooth(*a).total_cmp(&smooth(*b))).unwrap();
                    // The grid's step is 5 ms.
                    let off_ms = (time(top) - peak.t_s) * 1e3;
                    inside += usize::from(off_ms >= -before - 2.5 && off_ms <= after + 2.5);
                    all += 1;
                }
            }
        }
    }
    println!("{inside} of {all} other smoothings within the stated bands");
    assert!(all > 200 && inside as f64 >= 0.95 * f64::from(all), "{inside} of {all}");
}

/// The body still turns at 4 deg/s when the recording begins. A bias read off that would be 4 deg/s off, and all
/// turns with it (20 and 0 % of the pelvis turns at top and impact were held when one second of apparent rest was
/// believed). Measured since: all 20 turns and all 13 gaps held.
#[test]
fn a_recording_that_begins_while_the_body_turns_is_measured_as_well() {
    let Some(data) = data() else { return };
    let (mut turns, mut gaps) = (Errors(Vec::new()), Errors(Vec::new()));
    for (truth, swing) in measured(&data, "begins-moving") {
        for (role, key) in [(Role::Pelvis, "pelvis"), (Role::Thorax, "thorax")] {
            let turn = swing.segments[&role].turn_deg.as_ref().expect("calibrated");
            let want = |at: &str| truth["segments"][key][at].as_f64().unwrap();
            turns.0.push((turn.top - want("turn_top"), HALF * turn.sd));
            turns.0.push((turn.impact - want("turn_impact"), HALF * turn.impact_sd.unwrap()));
        }
        let peak_s = |role: Role| {
            let segment = &truth["segments"][if role == Role::LeadArm { "arm" } else { role.key() }];
            (segment["rising"] == false).then(|| segment["peak_s"].as_f64().unwrap())
        };
        for gap in &swing.sequence.gaps {
            let (Some(from), Some(to)) = (peak_s(gap.from), peak_s(gap.to)) else { continue };
            let want_ms = (to - from) * 1e3;
            gaps.0.push((gap.gap_ms - want_ms, HALF * gap.sd_ms));
            assert!(!gap.resolved || gap.gap_ms * want_ms > 0.0, "{}: {gap:?}", truth["trial"]);
        }
    }
    let ((bias, sd), held) = (turns.bias_and_sd(), turns.held());
    println!("turns: {bias:+.2} ± {sd:.2} deg, bands hold {:.0} % of {}", held * 100.0, turns.0.len());
    assert!(bias.abs() < 1.0 && sd < 1.0 && held >= 0.93, "{bias:+.2} ± {sd:.2} deg, {held:.2}");
    println!("gaps: bands hold {:.0} % of {}", gaps.held() * 100.0, gaps.0.len());
    assert!(gaps.0.len() > 10 && gaps.held() >= 0.93, "{:.2} of {}", gaps.held(), gaps.0.len());
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

/// Two straps feel a strike less surely than the arm. What they cannot tell they do not say.
#[test]
fn two_straps_leave_open_what_they_cannot_feel() {
    let Some(data) = data() else { return };
    let trunk_only = |name: &str| imported_without(&data, name, NO_ARM, &[]);
    assert!(trunk_only("struck").iter().all(|s| s.kind == SwingKind::Strike));
    let quiet = trunk_only("unstruck");
    assert!(quiet.len() == 5 && quiet.iter().all(|s| s.kind == SwingKind::Unsure));
    for (role, segment) in quiet.iter().flat_map(|s| &s.segments) {
        let outcome = segment.peak.map(|p| p.outcome);
        assert_ne!(outcome, Some(Outcome::Rising), "the {role} is not known to have risen at impact");
    }
    assert!(trunk_only("other-sports").is_empty());
}

#[test]
fn other_sports_have_no_golf_swing() {
    let Some(data) = data() else { return };
    let found = imported(&data, "other-sports");
    assert!(found.is_empty(), "{} swings", found.len());
}
