//! The recorded body wears the virtual straps: optical trajectory, sensors, clocks, a Bluetooth-like link with
//! jitter and losses, pipeline. Truth is searched on the same trajectory by the virtual straps' own code.

use super::{Errors, HALF, data, hips};
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::role::{Handedness, Role};
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::{AngleSet, Outcome, Swing, SwingKind};
use peakorder_virtual_straps::{
    RecordedOptions, Script, SwingTruth, Trial, TrialError, optical, virtual_session,
};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;

const GOLF: [&str; 5] = ["64_01", "64_02", "64_03", "64_04", "64_05"];
/// Soccer kick, jumps, baseball pitch.
const OTHERS: [&str; 4] = ["10_01", "16_03", "118_02", "124_01"];
/// Sessions, each with sensors, clocks, link, mounting, rests and calibration of its own.
const SEEDS: std::ops::Range<u64> = 1..25;

fn trials(data: &Path, names: &[&str], golf: bool) -> Result<Vec<Trial>, TrialError> {
    names.iter().map(|name| optical::trial(data, name, golf)).collect()
}

/// Every third session is the mirror image.
fn options(data: &Path, seed: u64) -> RecordedOptions {
    let handedness = if seed.is_multiple_of(3) { Handedness::Left } else { Handedness::Right };
    RecordedOptions { hips_from_root_m: hips(data), handedness, ..RecordedOptions::default() }
}

/// True swings and found ones.
fn played(script: Script) -> (Vec<SwingTruth>, Vec<Swing>) {
    let player = Player { handedness: script.player().handedness, ..Player::default() };
    let meta = virtual_session(&script, "live", player, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&meta).expect("the session is valid");
    let (session, mut outputs) = (script.session(), Vec::new());
    for record in session.records() {
        pipeline.push(&record, &mut outputs);
    }
    pipeline.finish(&mut outputs);
    let swing = |o: Output| if let Output::Swing(swing, _) = o { Some(*swing) } else { None };
    (session.truth(), outputs.into_iter().filter_map(swing).collect())
}

/// By how much the link delays all straps alike, s: only differences mean anything. The median over a session, because
/// a flat top is known less well than that.
fn late_s(pairs: &[(SwingTruth, Swing)]) -> f64 {
    let of = |(truth, swing): &(SwingTruth, Swing)| {
        let late = |role: Role| Some(swing.peak(role)?.t_s - truth.segments[&role].peak_s);
        Role::ALL.into_iter().filter_map(late).collect::<Vec<f64>>()
    };
    let mut late: Vec<f64> = pairs.iter().flat_map(of).collect();
    late.sort_by(f64::total_cmp);
    late[late.len() / 2]
}

/// Errors by the number's name, and what the order was called.
#[derive(Default)]
struct Tally {
    rows: BTreeMap<String, Errors>,
    resolved: usize,
    ties: usize,
    held: usize,
}

impl Tally {
    fn add(&mut self, name: impl Into<String>, error: f64, sd: f64) {
        self.rows.entry(name.into()).or_insert_with(|| Errors(Vec::new())).0.push((error, HALF * sd));
    }

    fn swing(&mut self, truth: &SwingTruth, swing: &Swing, late_s: f64) {
        let events = swing.events;
        for (name, got_s, sd_ms, want_s) in [
            ("takeaway", events.takeaway.t_s, events.takeaway.sd_ms, truth.onset_s),
            ("top", events.top.t_s, events.top.sd_ms, truth.top_s),
            ("impact", events.impact.t_s, events.impact.sd_ms, truth.impact_s),
        ] {
            self.add(format!("{name}, ms"), (got_s - late_s - want_s) * 1e3, sd_ms);
        }
        for (role, of) in &truth.segments {
            let segment = &swing.segments[role];
            if let Some(peak) = segment.peak.filter(|p| p.outcome == Outcome::Peak) {
                self.add(format!("{role} peak, ms"), (peak.t_s - late_s - of.peak_s) * 1e3, peak.sd_ms);
            }
            if *role == Role::LeadArm {
                continue;
            }
            let turn = segment.turn_deg.expect("calibrated");
            let mut angle = |what: &str, got: f64, want: f64, sd: Option<f64>| {
                if let Some(sd) = sd {
                    self.add(format!("{role} {what}, deg"), got - want, sd);
                }
            };
            angle("turn at top", turn.top, of.turn_deg.top, Some(turn.sd));
            angle("turn at impact", turn.impact, of.turn_deg.impact, turn.impact_sd);
            let sets: [(&str, Option<AngleSet>, _); 2] = [
                ("side tilt", segment.lateral_tilt_deg, &of.lateral_tilt_deg),
                ("flexion", segment.flexion_deg, &of.flexion_deg),
            ];
            for (name, got, want) in sets {
                let got = got.expect("calibrated");
                angle(&format!("{name} at address"), got.address, want.address, got.address_sd);
                angle(&format!("{name} at top"), got.top, want.top, Some(got.sd));
                angle(&format!("{name} at impact"), got.impact, want.impact, got.impact_sd);
            }
        }
        if let (Some(got), Some(want)) = (&swing.separation, &truth.separation) {
            self.add("separation at top, deg", got.top_deg - want.top_deg, got.sd_deg);
        }
        if let Some(got) = &swing.hip_shift {
            let top = got.top.mid_hips;
            let error_cm = top.towards_target_cm - truth.hip_shift.mid_top_cm;
            self.add("mid-hips shift at top, cm", error_cm, top.sd_cm);
        }
        for gap in &swing.sequence.gaps {
            let [from, to] = [gap.from, gap.to].map(|role| &truth.segments[&role]);
            let want_ms = (to.peak_s - from.peak_s) * 1e3;
            assert!(
                !gap.resolved || gap.gap_ms * want_ms > 0.0,
                "{gap:?} is the wrong way round, true {want_ms:.1} ms"
            );
            self.resolved += usize::from(gap.resolved);
            if gap.held {
                // Only its order is told.
                self.held += 1;
            } else if from.outcome == Outcome::Peak && to.outcome == Outcome::Peak {
                self.ties += usize::from(!gap.resolved);
                self.add("all gaps, ms", gap.gap_ms - want_ms, gap.sd_ms);
                self.add(format!("gap {} to {}, ms", gap.from, gap.to), gap.gap_ms - want_ms, gap.sd_ms);
            }
        }
    }
}

/// A hundred and twenty swings of twenty-four sessions: the five swings of one golfer again and again, so that what is
/// theirs is counted twenty-four times, and what is a session's (mounting, sensors, calibration) five times.
#[test]
fn a_recorded_body_is_measured_over_the_whole_chain() {
    let Some(data) = data() else { return };
    let golf = trials(&data, &GOLF, true).unwrap();
    let (mut tally, mut swings) = (Tally::default(), 0);
    for seed in SEEDS {
        let script = Script::recorded(seed, &golf, &options(&data, seed)).unwrap();
        let (truths, found) = played(script);
        assert_eq!(found.len(), truths.len(), "seed {seed}: one swing for each, and no other");
        let pairs: Vec<(SwingTruth, Swing)> = truths.into_iter().zip(found).collect();
        let late_s = late_s(&pairs);
        for (truth, swing) in &pairs {
            let apart_s = swing.events.impact.t_s - truth.impact_s;
            assert!(apart_s.abs() < 0.1, "seed {seed}: impact {apart_s:+.3} s off");
            assert_eq!(swing.kind, SwingKind::Strike, "seed {seed}");
            tally.swing(truth, swing, late_s);
            swings += 1;
        }
    }
    let Tally { rows, resolved, ties, held } = &tally;
    println!("{swings} swings; pairs: {resolved} resolved, {ties} ties, {held} held");
    println!("| number | n | bias | SD | in ±95 % |\n|---|---:|---:|---:|---:|");
    for (name, errors) in rows {
        let ((bias, sd), inside) = (errors.bias_and_sd(), errors.held());
        println!("| {name} | {} | {bias:+.2} | {sd:.2} | {:.0} % |", errors.0.len(), inside * 100.0);
    }
    let pooled = |is: fn(&str) -> bool| {
        let of = rows.iter().filter(|(name, _)| is(name));
        let all = Errors(of.flat_map(|(_, errors)| errors.0.iter().copied()).collect());
        (all.held(), all.0.len())
    };
    let check = |what: &str, least: usize, is: fn(&str) -> bool| {
        let (inside, n) = pooled(is);
        println!("{what}: bands hold {:.1} % of {n}", inside * 100.0);
        assert!(n >= least && inside >= 0.93, "{what}: {inside:.3} of {n}");
    };
    check("gaps", 200, |name| name == "all gaps, ms");
    check("peaks", 250, |name| name.ends_with("peak, ms"));
    check("turns", 480, |name| name.contains("turn at"));
    check("tilts", 1400, |name| name.contains("tilt") || name.contains("flexion"));
    // Where a session's five swings share their errors there are twenty-four draws. Of bands that hold 95 %, fewer
    // than 80 % of them hold in one row of 170.
    let low: Vec<_> = rows.iter().filter(|(_, errors)| errors.held() < 0.8).map(|(name, _)| name).collect();
    assert!(low.is_empty(), "{low:?}");
    assert!(*resolved > 200 && ties * 8 < swings * 3, "{resolved} resolved, {ties} ties");
}

/// No time of a swing is built in: the same swings at three quarters to twice their speed, downswings of 0.24 to 0.85 s.
/// (At six tenths one of thirty is not found.)
#[test]
fn slower_and_faster_swings_are_measured_alike() {
    let Some(data) = data() else { return };
    println!(
        "| speed | swings | told as strikes | resolved | ties | held | gaps in ±95 % | peaks | turns |\n|---|---|---|---|---|---|---|---|---|"
    );
    for speed in [0.75, 1.4, 2.0] {
        let golf =
            trials(&data, &GOLF, true).unwrap().into_iter().map(|t| t.at_speed(speed)).collect::<Vec<_>>();
        let (mut tally, mut swings, mut strikes) = (Tally::default(), 0, 0);
        for seed in 1..7 {
            let (truths, found) = played(Script::recorded(seed, &golf, &options(&data, seed)).unwrap());
            assert_eq!(
                found.len(),
                truths.len(),
                "speed {speed}, seed {seed}: one swing for each, and no other"
            );
            let pairs: Vec<(SwingTruth, Swing)> = truths.into_iter().zip(found).collect();
            let late_s = late_s(&pairs);
            for (truth, swing) in &pairs {
                strikes += usize::from(swing.kind == SwingKind::Strike);
                tally.swing(truth, swing, late_s);
                swings += 1;
            }
        }
        let pooled = |is: fn(&str) -> bool| {
            let of = tally.rows.iter().filter(|(name, _)| is(name));
            Errors(of.flat_map(|(_, errors)| errors.0.iter().copied()).collect()).held()
        };
        let [gaps, peaks, turns]: [fn(&str) -> bool; 3] =
            [|n| n == "all gaps, ms", |n| n.ends_with("peak, ms"), |n| n.contains("turn at")];
        let held = [gaps, peaks, turns].map(pooled);
        let Tally { resolved, ties, held: order_only, .. } = tally;
        let [gaps, peaks, turns] = held.map(|h| format!("{:.0} %", h * 100.0));
        println!(
            "| {speed} | {swings} | {strikes} | {resolved} | {ties} | {order_only} | {gaps} | {peaks} | {turns} |"
        );
        assert!(held.iter().all(|h| *h >= 0.9), "speed {speed}: {held:?}");
    }
}

/// Nothing of other sports is a golf swing, over the link too.
#[test]
fn a_recorded_body_that_plays_other_sports_has_no_golf_swing() {
    let Some(data) = data() else { return };
    let others = trials(&data, &OTHERS, false).unwrap();
    for seed in SEEDS {
        let script = Script::recorded(seed, &others, &options(&data, seed)).unwrap();
        let (truths, found) = played(script);
        assert!(truths.is_empty() && found.is_empty(), "seed {seed}: {} swings", found.len());
    }
}

/// The truth here against that of `truth.json`, which other code searched on another interpolation.
#[test]
fn two_programs_find_the_same_truth() {
    let Some(data) = data() else { return };
    let golf = trials(&data, &GOLF, true).unwrap();
    let truths = Script::recorded(1, &golf, &options(&data, 1)).unwrap().session().truth();
    let text = std::fs::read_to_string(data.join("sessions/unstruck/truth.json")).unwrap();
    let file: Value = serde_json::from_str(&text).unwrap();
    for (ours, theirs) in truths.iter().zip(file["swings"].as_array().unwrap()) {
        let of = |v: &Value| v.as_f64().unwrap();
        let impact_s = of(&theirs["impact_s"]);
        let before = |t_s: f64| ours.impact_s - t_s;
        for (what, ours_s, theirs_s) in [
            ("takeaway", before(ours.onset_s), impact_s - of(&theirs["takeaway_s"])),
            ("top", before(ours.top_s), impact_s - of(&theirs["top_s"])),
        ] {
            let apart_ms = (ours_s - theirs_s) * 1e3;
            println!("{}: {what} {apart_ms:+.1} ms", theirs["trial"]);
            // Where a slow turn leaves 5 % of its speed hangs on the smoothing, which differs.
            assert!(apart_ms.abs() < if what == "takeaway" { 12.0 } else { 1.0 }, "{what}: {apart_ms:.1} ms");
        }
        for (role, of_role) in &ours.segments {
            let theirs = &theirs["segments"][if *role == Role::LeadArm { "arm" } else { role.key() }];
            let peak_ms = of_role.peak_before_ms - of(&theirs["peak_before_ms"]);
            let dps = of_role.peak_dps - of(&theirs["peak_dps"]);
            let turn = of_role.turn_deg.top - of(&theirs["turn_top"]);
            println!("  {role}: peak {peak_ms:+.1} ms, {dps:+.2} deg/s, turn at top {turn:+.2} deg");
            assert!(peak_ms.abs() < 0.6 && dps.abs() < 0.5, "{role}: {peak_ms:.2} ms, {dps:.2} deg/s");
            // Near the horizontal the arm's own turn is ill-conditioned.
            assert!(*role == Role::LeadArm || turn.abs() < 0.2, "{role}: {turn:.2} deg");
        }
    }
}
