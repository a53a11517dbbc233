//! Durations and the order of reversals.

use super::sequence::cornered;
use peakorder_protocol::Role::{LeadArm, Pelvis, Thorax};
use peakorder_tests::synthetic::{Recording, professional};

/// Backswing 731 ms and downswing 258 ms give 2.833 (means of professionals: Grober &
/// Cholewicki 2006, arXiv physics/0611291, second-hand). The file's ratio is that of its
/// durations, and these are true within their uncertainties.
#[test]
fn tempo_is_backswing_over_downswing() {
    let mut parts = professional();
    // Arm reversal 258 ms before impact.
    parts[2].reversal_ms = -258.0;
    // Takeaway is where the thorax has 5 % of its fastest speed away. It turns away along a raised cosine,
    // (1 − cos 2πx/T)/2, which has that after acos(0.9)/2π of T.
    let share = 0.9_f64.acos() / std::f64::consts::TAU;
    let thorax_turns_later_s = (parts[1].reversal_ms - parts[2].reversal_ms) * 1e-3;
    let backswing_s = (0.731 + share * thorax_turns_later_s) / (1.0 - share);
    let recording = Recording { swings: 3, backswing_s, ..Recording::of(parts) };
    for swing in recording.swings_by_import() {
        let (tempo, events) = (&swing.tempo, &swing.events);
        assert!((tempo.ratio - tempo.backswing_s / tempo.downswing_s).abs() < 0.005, "{tempo:?}");
        let down_sd_s = events.top.sd_ms.hypot(events.impact.sd_ms) * 1e-3;
        assert!((tempo.downswing_s - 0.258).abs() < (2.0 * down_sd_s).min(0.02), "{tempo:?}, SD {down_sd_s}");
        let back_sd_s = events.takeaway.sd_ms.hypot(events.top.sd_ms) * 1e-3;
        assert!((tempo.backswing_s - 0.731).abs() < 2.0 * back_sd_s, "{tempo:?}, SD {back_sd_s}");
        let ratio_sd = 2.833 * (back_sd_s / 0.731).hypot(down_sd_s / 0.258);
        assert!((tempo.ratio - 2.833).abs() < 2.0 * ratio_sd, "{tempo:?}, SD {ratio_sd}");
    }
    assert!((0.731_f64 / 0.258 - 2.833).abs() < 0.005);
}

/// One swing, two downswings: 314 ms from the pelvis's reversal, 257 from the arm's
/// (accelerations of Cheetham et al. 2008; agrees with 310 ± 40 ms of Beak et al. 2013 and
/// 258 ± 8 of Grober & Cholewicki, all second-hand). The file says which it means.
#[test]
fn the_downswing_says_where_it_starts() {
    let swing = &cornered().swings_by_import()[0];
    assert_eq!(swing.tempo.downswing_from, LeadArm);
    assert!((swing.tempo.downswing_s - 0.257).abs() < 0.005, "{:?}", swing.tempo);
    let from_pelvis = swing.events.impact.t_s - swing.segments[&Pelvis].reversal.unwrap().t_s;
    assert!((from_pelvis - 0.314).abs() < 0.006, "{from_pelvis}");
    // Without an arm strap it starts with the thorax, and says so.
    let swing = &Recording { roles: vec![Pelvis, Thorax], ..cornered() }.swings_by_import()[0];
    assert_eq!(swing.tempo.downswing_from, Thorax);
    assert!((swing.tempo.downswing_s - 0.288).abs() < 0.006, "{:?}", swing.tempo);
}

/// A pelvis that turns back 40 ms before the arm gives two events, in that order (that it leads
/// in skilled players: Meister et al. 2011; Kim SE et al. 2021, second-hand).
#[test]
fn the_pelvis_may_turn_back_first() {
    let mut recording = cornered();
    let arm_ms = recording.parts[2].reversal_ms;
    recording.parts[0].reversal_ms = arm_ms - 40.0;
    let swing = &recording.swings_by_import()[0];
    let at = |role| swing.segments[&role].reversal.expect("every segment turned back").t_s;
    let lead_ms = (at(LeadArm) - at(Pelvis)) * 1e3;
    assert!((lead_ms - 40.0).abs() < 6.0, "{lead_ms}");
    let place = |role| swing.sequence.reversal_order.iter().position(|g| g.contains(&role)).unwrap();
    assert!(
        place(Pelvis) < place(LeadArm),
        "{:?} {:?}",
        swing.sequence.reversal_order,
        swing.sequence.reversal_gaps
    );
}
