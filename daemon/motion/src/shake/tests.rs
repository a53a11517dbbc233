//! The shake test on virtual straps: firm, ringing, slid.

use super::super::pipeline::{Output, Pipeline};
use peakorder_protocol::Role;
use peakorder_protocol::calibration::{CalibrationOutcome, CalibrationStep, Found, JudgedStep, Refusal};
use peakorder_protocol::log::MarkKind;
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::Swing;
use peakorder_virtual_straps::{
    PlayerParams, Population, PracticeOptions, Ringing, Script, Sliding, Slip, StrapOptions, virtual_session,
};

fn script(seed: u64, swings: u32, shake: bool, straps: StrapOptions) -> Script {
    let player = PlayerParams::drawn_from(Population::Amateur, seed);
    let options = PracticeOptions { shake, ..PracticeOptions::default() };
    Script::practice(seed, player, swings, &options).with_straps(straps)
}

fn played(script: &Script) -> (Vec<JudgedStep>, Vec<Swing>) {
    let player = Player { handedness: script.player().handedness, ..Player::default() };
    let meta = virtual_session(script, "shake", player, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&meta).expect("a valid session");
    let mut out = Vec::new();
    script.clone().session().records().for_each(|r| pipeline.push(&r, &mut out));
    pipeline.finish(&mut out);
    let (mut steps, mut swings) = (Vec::new(), Vec::new());
    for output in out {
        match output {
            Output::Calibration(judged) if judged.step == CalibrationStep::Shake => steps.push(judged),
            Output::Swing(swing, _) => swings.push(*swing),
            _ => {}
        }
    }
    (steps, swings)
}

/// Of how many straps each thing was said, and of how many the movement was no test.
#[derive(Debug, Default, PartialEq)]
struct Said {
    firm: usize,
    rings: usize,
    slid: usize,
    no_test: usize,
}

fn said(players: u64, what: &str, straps: impl Fn(u64) -> StrapOptions) -> Said {
    let mut said = Said::default();
    let mut sizes = Vec::new();
    for seed in 0..players {
        for judged in played(&script(700 + seed, 0, true, straps(seed))).0 {
            match judged.outcome {
                CalibrationOutcome::Passed { found: Found::Firm { ring_dps, moved_deg }, .. } => {
                    said.firm += 1;
                    sizes.push((judged.role, 0.0, ring_dps, moved_deg));
                }
                CalibrationOutcome::Refused(Refusal::Rings { hz, ring_dps, moved_deg, .. }) => {
                    said.rings += 1;
                    sizes.push((judged.role, hz, ring_dps, moved_deg));
                }
                CalibrationOutcome::Refused(Refusal::Slid { moved_deg, .. }) => {
                    said.slid += 1;
                    sizes.push((judged.role, 0.0, 0.0, moved_deg));
                }
                _ => said.no_test += 1,
            }
        }
    }
    let largest = |of: fn(&(Role, f64, f64, f64)) -> f64| sizes.iter().map(of).fold(0.0, f64::max);
    println!(
        "{what}: {said:?}; largest ring {:.1} deg/s, moved {:.1} deg",
        largest(|s| s.2),
        largest(|s| s.3)
    );
    said
}

fn ringing(hz: f64, damping: f64, coupling: f64) -> StrapOptions {
    StrapOptions { ringing: Some(Ringing { hz, damping, coupling }), ..StrapOptions::default() }
}

/// All straps are knocked by so much between the turns and the end.
fn slid(seed: u64, by_deg: f64) -> StrapOptions {
    let session = script(seed, 0, true, StrapOptions::default()).session();
    let end = session.marks().iter().find(|m| m.kind == MarkKind::ShakeEnd).expect("a shake").t_ns;
    let slip = Slip { at_s: end as f64 * 1e-9 - 3.0, by_deg };
    StrapOptions { slips: Role::ALL.map(|role| (role, slip)).into(), ..StrapOptions::default() }
}

fn gives(size: f64) -> StrapOptions {
    let sliding = Some(Sliding { at_full_turn_deg: 4.5 * size, wearing_sd_deg: 0.0, lag_s: 0.08 });
    StrapOptions { sliding, ..StrapOptions::default() }
}

fn at_104_hz() -> StrapOptions {
    StrapOptions { rate_hz: 104.0, samples_per_packet: 2, ..StrapOptions::default() }
}

/// Three straps of six players in each row.
#[test]
fn firm_ringing_and_slid_straps_are_told_apart() {
    let all = Said { firm: 18, ..Said::default() };
    assert_eq!(said(6, "firm", |_| StrapOptions::default()), all);
    assert_eq!(said(6, "firm, 104 Hz", |_| at_104_hz()), all);
    let rings = said(6, "rings at 8 Hz, damping 0.15", |_| ringing(8.0, 0.15, 0.3));
    assert!(rings.rings >= 17, "{rings:?}");
    let rings = said(6, "rings at 10 Hz, damping 0.15", |_| ringing(10.0, 0.15, 0.3));
    assert!(rings.rings >= 15, "{rings:?}");
    // About a random axis: what of it is about the vertical is not seen, and an arm hangs less alike.
    let slid = said(6, "slid by 12 deg", |seed| slid(seed, 12.0));
    assert!(slid.slid >= 11 && slid.rings == 0, "{slid:?}");
    // Skin that gives and comes back leaves nothing behind: this is what the test cannot find.
    assert_eq!(said(6, "gives, size 1", |_| gives(1.0)), all);
}

/// The whole table: `cargo test --release -p peakorder-motion shake -- --ignored --nocapture`.
#[test]
#[ignore = "a table to read, minutes long in a debug build"]
fn rates_by_frequency_damping_and_size() {
    said(24, "firm", |_| StrapOptions::default());
    said(24, "firm, 104 Hz", |_| at_104_hz());
    for hz in [6.0, 8.0, 10.0, 15.0, 20.0, 25.0] {
        for damping in [0.1, 0.2, 0.3] {
            said(24, &format!("rings at {hz} Hz, damping {damping}"), |_| ringing(hz, damping, 0.3));
        }
    }
    for by_deg in [4.0, 6.0, 8.0, 12.0, 16.0] {
        said(24, &format!("slid by {by_deg} deg"), |seed| slid(seed, by_deg));
    }
    for size in [1.0, 2.0] {
        said(24, &format!("gives, size {size}"), |_| gives(size));
    }
}

/// What it found is in the bones' bands of the swings after it, and only there.
#[test]
fn a_strap_that_rings_widens_the_bones_bands_of_its_segment() {
    let (_, firm) = played(&script(703, 2, true, StrapOptions::default()));
    let (_, untested) = played(&script(703, 2, false, StrapOptions::default()));
    let (steps, loose) = played(&script(703, 2, true, ringing(8.0, 0.15, 0.3)));
    let rings = |s: &JudgedStep| matches!(s.outcome, CalibrationOutcome::Refused(Refusal::Rings { .. }));
    assert!(steps.len() == 3 && steps.iter().all(rings), "{steps:?}");
    // The shake itself is no swing.
    assert_eq!((firm.len(), loose.len()), (2, 2));
    let skin = |swings: &[Swing]| {
        let peak = swings[0].segments[&Role::Pelvis].resultant_peak.expect("a peak");
        let part = |bone: Option<f64>, strap: f64| (bone.expect("stated").powi(2) - strap.powi(2)).sqrt();
        let share = part(peak.speed_bone_sd_dps, peak.speed_sd_dps.expect("stated")) / peak.speed_dps;
        (part(peak.bone_sd_ms, peak.sd_ms), share)
    };
    for (swings, ms, share) in [(&firm, 5.0, 0.058_3), (&untested, 5.0, 0.058_3), (&loose, 10.0, 0.104_4)] {
        let found = skin(swings);
        assert!((found.0 - ms).abs() < 0.01 && (found.1 - share).abs() < 0.001, "{found:?}, not {ms} ms");
    }
}
