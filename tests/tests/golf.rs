//! Real golf swings, measured optically and turned into what three straps on that body would have felt.
//!
//! The recordings are not part of the project. `PEAKORDER_GOLF_DATA` names the folder; without it the
//! tests say so and pass. They come from the CMU Graphics Lab Motion Capture Database (subject 64,
//! mocap.cs.cmu.edu; created with funding from NSF EIA-0196217): five swings of one golfer, each with
//! different sensors, and plays of other sports. The truth is computed from the optical trajectory, by
//! code that is not the project's.

use flate2::read::{DeflateDecoder, GzDecoder};
use nalgebra::{Quaternion, UnitQuaternion, Vector3};
use peakorder_protocol::swing::{ShiftTowardsTarget, Swing, Withholding};
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

/// Middle of the hip joints from the root, in the pelvis's axes (X anterior, Y cranial), m: the skeleton that the
/// markers were solved onto (third row of its zero pose: left, up, ahead). Left and right are taken as even.
fn hips_from_root(data: &Path) -> Vector3<f64> {
    let packed = std::fs::read(data.join("golf64_dev.npz")).expect("the skeleton is there");
    // A zip archive: local headers of 30 bytes, name and extra field, then the deflated array.
    let name = b"64/zero.npy";
    let header =
        packed.windows(30 + name.len()).position(|w| w.starts_with(b"PK\x03\x04") && w.ends_with(name));
    let header = header.expect("it has a zero pose");
    let length = |at: usize| usize::from(u16::from_le_bytes([packed[header + at], packed[header + at + 1]]));
    let mut array = Vec::new();
    let start = header + 30 + length(26) + length(28);
    DeflateDecoder::new(&packed[start..]).read_to_end(&mut array).unwrap();
    assert!(array.starts_with(b"\x93NUMPY") && array[..array.len() - 36].windows(3).any(|w| w == b"<f4"));
    let value = |i: usize| {
        let at = array.len() - 36 + 4 * i;
        f64::from(f32::from_le_bytes(array[at..at + 4].try_into().unwrap()))
    };
    Vector3::new(value(8), value(7), 0.0)
}

/// True shift of the middle of the hips towards the target at the top and at impact, cm, from the optical path.
fn true_shift(data: &Path, hips: &Vector3<f64>, truth: &Value) -> [f64; 2] {
    let file = data.join("optical").join(format!("{}.csv.gz", truth["trial"].as_str().unwrap()));
    let mut text = String::new();
    GzDecoder::new(File::open(file).expect("the trial is there")).read_to_string(&mut text).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let column = |name: &str| head.iter().position(|h| *h == name).unwrap();
    let [t, w, x] = ["time_s", "pelvis_qw", "pelvis_x_m"].map(column);
    let session = |event: &str| truth[event].as_f64().unwrap() - truth["start_s"].as_f64().unwrap();
    let rows: Vec<(f64, UnitQuaternion<f64>, Vector3<f64>)> = lines
        .map(|line| {
            let v: Vec<f64> = line.split(',').map(|v| v.parse().unwrap()).collect();
            let turned = UnitQuaternion::from_quaternion(Quaternion::new(v[w], v[w + 1], v[w + 2], v[w + 3]));
            (v[t], turned, Vector3::new(v[x], v[x + 1], v[x + 2]) + turned * hips)
        })
        .collect();
    let takeaway = session("takeaway_s");
    let still: Vec<_> = rows.iter().filter(|r| (takeaway - 0.3..takeaway - 0.05).contains(&r.0)).collect();
    let mean = |of: &dyn Fn(&(f64, UnitQuaternion<f64>, Vector3<f64>)) -> Vector3<f64>| {
        still.iter().map(|r| of(r)).sum::<Vector3<f64>>() / still.len() as f64
    };
    let (ahead, address) = (mean(&|r| r.1 * Vector3::x()), mean(&|r| r.2));
    // He is right-handed: the target is at his left.
    let target = Vector3::y().cross(&Vector3::new(ahead.x, 0.0, ahead.z)).normalize();
    ["top_s", "impact_s"].map(|event| {
        let at = session(event);
        let i = rows.partition_point(|r| r.0 < at).clamp(1, rows.len() - 1);
        let share = (at - rows[i - 1].0) / (rows[i].0 - rows[i - 1].0);
        (rows[i - 1].2.lerp(&rows[i].2, share) - address).dot(&target) * 100.0
    })
}

/// The strap sits 15 cm behind the middle of these hips, 3 cm further than is supposed of a body whose hip breadth
/// was not measured: a bias of 2 cm in every swing, which the stated uncertainty has to cover.
#[test]
fn the_hips_of_real_swings_shift_as_far_as_is_said() {
    let Some(data) = data() else { return };
    let hips = hips_from_root(&data);
    let (mut top, mut impact) = (Errors(Vec::new()), Errors(Vec::new()));
    let (mut means, mut withheld) = (Vec::new(), Vec::new());
    for name in SESSIONS {
        let mut of_session = Vec::new();
        for (truth, swing) in measured(&data, name) {
            let [at_top, at_impact] = true_shift(&data, &hips, &truth);
            let Some(shift) = swing.hip_shift else {
                let why = swing.quality.withheld.iter().find(|w| w.what == Withholding::HipShift);
                assert!(why.is_some(), "{name}: withheld without a reason");
                withheld.push(name);
                continue;
            };
            let error = |got: ShiftTowardsTarget, want: f64| (got.towards_target_cm - want, HALF * got.sd_cm);
            top.0.push(error(shift.top.mid_hips, at_top));
            of_session.push(top.0.last().unwrap().0);
            if let Some(found) = shift.impact_for_block_means {
                impact.0.push(error(found.mid_hips, at_impact));
            }
        }
        if of_session.len() == 5 {
            means.push(of_session.iter().sum::<f64>() / 5.0);
        }
    }
    for (what, errors, most_cm) in [("top", &top, 2.5), ("impact", &impact, 4.5)] {
        let ((bias, sd), held) = (errors.bias_and_sd(), errors.held());
        let percent = held * 100.0;
        println!("{what}: {bias:+.2} ± {sd:.2} cm, bands hold {percent:.0} % of {}", errors.0.len());
        assert!(sd <= most_cm && held >= 0.93, "{what}: {bias:+.2} ± {sd:.2} cm, {held:.2}");
    }
    println!("withheld: {withheld:?}");
    // Where the body sways twice as much, its address does not count as stillness.
    assert!(withheld.iter().all(|name| *name == "begins-moving"), "{withheld:?}");
    // Every session has the same five swings, so their means should differ by nothing.
    let apart = |(i, a): (usize, &f64)| means[..i].iter().map(move |b| (a - b).powi(2)).collect::<Vec<_>>();
    let squares: Vec<f64> = means.iter().enumerate().flat_map(apart).collect();
    let change = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
    println!("means of five against five: {change:.2} cm apart (RMS)");
    assert!(change <= 1.5, "{change:.2} cm");
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
            assert_eq!(swing.kind, whole.kind, "{segment}, {hole:?}");
            for (role, whole) in &whole.segments {
                let (Some(got), Some(want)) = (&swing.segments[role].peak, &whole.peak) else {
                    withheld += 1;
                    continue;
                };
                let apart_ms = (got.t_s - want.t_s).abs() * 1e3;
                // Two readings of one peak differ by less than both bands together, or by a sample.
                let allowed_ms = (HALF * (got.sd_ms + want.sd_ms)).max(4.0);
                assert!(
                    got.outcome == want.outcome && apart_ms <= allowed_ms,
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
