//! Calibration through the whole chain: it expires, and a strap that slips is noticed.

use crate::pipeline::{Output, Pipeline};
use peakorder_protocol::Role;
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::{Note, Reason, Swing, Withholding};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, Slip, StrapOptions};

const SEED: u64 = 12;

fn script(straps: StrapOptions) -> Script {
    let player = PlayerParams::mean_of(Population::Professional);
    Script::practice(SEED, player, 8, &PracticeOptions::default()).with_straps(straps)
}

fn swings(script: &Script, settings: &[(&str, f64)]) -> Vec<Swing> {
    let mut meta = virtual_session(script, "calibrate", Player::default(), "2026-01-01T00:00:00Z");
    for (key, value) in settings {
        meta.settings.insert((*key).into(), toml::Value::Float(*value));
    }
    let mut pipeline = Pipeline::new(&meta).expect("a valid session");
    let mut out = Vec::new();
    script.clone().session().records().for_each(|r| pipeline.push(&r, &mut out));
    pipeline.finish(&mut out);
    out.into_iter().filter_map(|o| if let Output::Swing(s, _) = o { Some(*s) } else { None }).collect()
}

/// Why the angles of a segment are withheld.
fn why(swing: &Swing, role: Role) -> Option<Reason> {
    swing.quality.withheld.iter().find(|w| w.what == Withholding::Angles(role)).map(|w| w.why)
}

#[test]
fn a_calibration_expires_and_says_so() {
    let script = script(StrapOptions::default());
    let fresh = swings(&script, &[]);
    assert!(fresh.len() >= 7);
    for swing in &fresh {
        assert_eq!(why(swing, Role::Thorax), None);
        let turn = swing.segments[&Role::Thorax].turn_deg.expect("calibrated");
        // The stated uncertainty contains that of the calibration: 35 % of at least
        // √(1² + 1.5²) deg for pose and hinge.
        assert!(turn.sd >= 0.35 * 1.0_f64.hypot(1.5), "{}", turn.sd);
    }
    // The trunk's calibration ends with the bow, the arm's with the raise some 15 s later: with
    // a validity that ends half-way through the swings, the first have angles, the last not.
    let middle = fresh[4].events.takeaway.t_s - 1.0;
    let bow_end = script
        .clone()
        .session()
        .marks()
        .iter()
        .find(|m| m.kind == peakorder_protocol::log::MarkKind::BowEnd)
        .map(|m| m.t_ns as f64 * 1e-9)
        .expect("a bow");
    let aged = swings(&script, &[("calibration_valid_s", middle - bow_end)]);
    assert_eq!(aged.len(), fresh.len());
    for (i, swing) in aged.iter().enumerate() {
        let stale = why(swing, Role::Thorax) == Some(Reason::CalibrationStale);
        assert_eq!(stale, i >= 4, "swing {}", swing.number);
        assert_eq!(swing.segments[&Role::Thorax].turn_deg.is_none(), stale);
        assert_eq!(swing.separation.is_none(), stale);
        if stale {
            // What needs the chest goes with it; timing stays.
            assert!(swing.arm.as_ref().is_none_or(|a| a.across_chest_top_deg.is_none()));
        }
        // Timing does not hang on it: as usable as with a fresh calibration.
        assert_eq!(swing.quality.usable, fresh[i].quality.usable, "swing {}", swing.number);
        assert_eq!(swing.sequence, fresh[i].sequence);
    }
}

#[test]
fn a_strap_that_slips_by_15_degrees_between_swings_is_told_of_in_the_swing() {
    let before = swings(&script(StrapOptions::default()), &[]);
    let at_s = before[4].events.finish.t_s + 2.0;
    for role in Role::ALL {
        let slip = Slip { at_s, by_deg: 15.0 };
        let slipped =
            swings(&script(StrapOptions { slips: vec![(role, slip)], ..StrapOptions::default() }), &[]);
        let mut seen = 0;
        for swing in &slipped {
            let after = swing.events.takeaway.t_s > at_s;
            let withheld = matches!(why(swing, role), Some(Reason::Slipped { .. }));
            let moved = |n: &Note| matches!(n, Note::AddressMoved { role: of, .. } if *of == role);
            let noted = swing.quality.notes.iter().any(moved);
            // The knock's axis is drawn at random; what of it lies along gravity is not seen.
            assert!(after || !(withheld || noted), "{role}: swing {} before the slip", swing.number);
            seen += usize::from(withheld || noted);
            if withheld {
                assert!(swing.segments[&role].turn_deg.is_none());
            }
        }
        let after = slipped.iter().filter(|s| s.events.takeaway.t_s > at_s).count();
        eprintln!("{role}: {seen} of {after}");
        assert!(after >= 2 && seen == after, "{role}: {seen} of {after} swings after the slip tell of it");
    }
}
