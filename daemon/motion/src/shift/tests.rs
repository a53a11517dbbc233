//! Against simulated players, whose truth shares no code with the estimate.

use crate::pipeline::{Output, Pipeline};
use peakorder_protocol::Handedness;
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::{HipShift, ShiftTowardsTarget, Swing, Withholding};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, SwingTruth};

/// 95 % of a normal distribution, two-sided (any table).
const HALF: f64 = 1.96;

/// Swings of a player with their truth.
fn played(seed: u64, player: PlayerParams, swings: u32) -> Vec<(SwingTruth, Swing)> {
    let options = PracticeOptions { still_s: (1.2, 2.0), ..PracticeOptions::default() };
    let script = Script::practice(seed, player, swings, &options);
    let player = Player { handedness: script.player().handedness, ..Player::default() };
    let session = virtual_session(&script, "shift", player, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&session).expect("virtual straps");
    let played = script.session();
    let mut out = Vec::new();
    for record in played.records() {
        pipeline.push(&record, &mut out);
    }
    pipeline.finish(&mut out);
    let truths = played.truth();
    out.into_iter()
        .filter_map(|o| match o {
            Output::Swing(swing, _) => Some(*swing),
            _ => None,
        })
        .filter_map(|swing| {
            let near = |t: &&SwingTruth| (t.impact_s - swing.events.impact.t_s).abs() < 0.2;
            Some((truths.iter().find(near)?.clone(), swing))
        })
        .collect()
}

fn shift(swing: &Swing) -> &HipShift {
    swing.hip_shift.as_ref().unwrap_or_else(|| panic!("{:?}", swing.quality.withheld))
}

/// Mean, SD and the share that 95 % bands hold.
fn figures(errors: &[(f64, f64)]) -> (f64, f64, f64) {
    let n = errors.len() as f64;
    let mean = errors.iter().map(|e| e.0).sum::<f64>() / n;
    let sd = (errors.iter().map(|e| (e.0 - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    (mean, sd, errors.iter().filter(|(e, sd)| e.abs() <= HALF * sd).count() as f64 / n)
}

/// Players of several builds whose hips slide by 0, 5, 10 and 20 cm beyond their turn.
#[test]
fn a_slide_is_seen_whatever_its_size() {
    let error = |got: &ShiftTowardsTarget, want: f64| (got.towards_target_cm - want, got.sd_cm);
    let (mut top, mut trail, mut impact) = (Vec::new(), Vec::new(), Vec::new());
    let mut means = Vec::new();
    for (i, slide_m) in [0.0, 0.05, 0.10, 0.20].into_iter().enumerate() {
        for run in 0..4_u64 {
            let seed = 400 + 10 * i as u64 + run;
            let population = if run % 2 == 0 { Population::Amateur } else { Population::Professional };
            let mut player = PlayerParams { slide_m, ..PlayerParams::drawn_from(population, seed) };
            if run == 3 {
                player.handedness = Handedness::Left;
            }
            let of: Vec<_> = played(seed, player, 5);
            let from = top.len();
            for w in of.iter().flat_map(|(_, swing)| &swing.quality.withheld) {
                if matches!(w.what, Withholding::HipShift | Withholding::HipShiftAtImpact) {
                    println!("{slide_m} m, player {run}: {w:?}");
                }
            }
            for (truth, swing) in of.iter().filter(|(_, swing)| swing.hip_shift.is_some()) {
                let found = shift(swing);
                top.push(error(&found.top.mid_hips, truth.hip_shift.mid_top_cm));
                trail.push(error(&found.top.trail_hip, truth.hip_shift.trail_top_cm));
                if let Some(at) = &found.impact_for_block_means {
                    impact.push(error(&at.mid_hips, truth.hip_shift.mid_impact_cm));
                }
            }
            if top.len() > from {
                means.push((figures(&top[from..]).0, slide_m));
            }
        }
    }
    for (what, errors) in [("top", &top), ("trail hip", &trail), ("impact", &impact)] {
        let (bias, sd, held) = figures(errors);
        println!("{what}: {bias:+.2} ± {sd:.2} cm, bands hold {:.0} % of {}", held * 100.0, errors.len());
        assert!(held >= 0.93, "{what}: {held}");
    }
    for (bias, slide_m) in &means {
        assert!(bias.abs() < 3.5, "mean of a player who slides by {slide_m} m: off by {bias:.1} cm");
    }
    let (bias, sd, _) = figures(&top);
    assert!(top.len() > 55 && bias.abs() < 1.5 && sd < 2.5, "{}: {bias:+.2} ± {sd:.2} cm", top.len());
}
