//! Do players of the groups move as the figures they are drawn from?

use super::{PracticeOptions, Script};
use crate::body::people::Group;
use crate::{PlayerParams, SegmentTruth, SwingTruth};
use peakorder_protocol::Role;
use peakorder_protocol::swing::Outcome;

fn swings(group: Group) -> Vec<SwingTruth> {
    let of = |seed| {
        let player = PlayerParams::like_people(group, seed);
        Script::practice(seed, player, 4, &PracticeOptions::default()).session().truth()
    };
    (0..30).flat_map(of).collect()
}

fn quantiles(mut values: Vec<f64>) -> [f64; 3] {
    values.sort_by(f64::total_cmp);
    [0.1, 0.5, 0.9].map(|q| values[(q * values.len() as f64) as usize])
}

/// Of the middle eight tenths and the median of all swings.
struct Seen(Vec<SwingTruth>);

impl Seen {
    fn of(&self, f: impl Fn(&SwingTruth) -> f64) -> [f64; 3] {
        quantiles(self.0.iter().map(f).collect())
    }

    fn at(&self, role: Role, f: impl Fn(&SegmentTruth) -> f64) -> [f64; 3] {
        self.of(|s| f(&s.segments[&role]))
    }
}

fn assert_within(what: &str, [low, middle, high]: [f64; 3], (from, to): (f64, f64)) {
    println!("{what}: {low:.2} {middle:.2} {high:.2}, asked {from} to {to}");
    let room = 0.25 * (to - from);
    assert!((from..to).contains(&middle), "{what}: {middle}");
    assert!(low > from - room && high < to + room, "{what}: {low} to {high}");
}

/// The ranges are those of ten measured swings (see `people`).
#[test]
fn players_of_the_measured_group_move_as_the_golfer_did() {
    let seen = Seen(swings(Group::Measured));
    assert_within("downswing, s", seen.of(|s| s.downswing_s), (0.44, 0.64));
    assert_within("backswing, s", seen.of(|s| s.backswing_s), (0.85, 1.1));
    assert_within("arm raised, deg", seen.of(|s| s.backswing.unwrap().arm_raised_deg), (60.0, 81.0));
    let speed = |role| seen.at(role, |s| s.peak_dps);
    assert_within("pelvis, deg/s", speed(Role::Pelvis), (280.0, 350.0));
    assert_within("thorax, deg/s", speed(Role::Thorax), (380.0, 482.0));
    assert_within("arm, deg/s", speed(Role::LeadArm), (465.0, 665.0));
    assert_within("pelvis before impact, ms", seen.at(Role::Pelvis, |s| s.peak_before_ms), (85.0, 115.0));
    let wide = |s: &SegmentTruth| s.within_2pct_ms.iter().sum::<f64>();
    assert_within("thorax within 2 %, ms", seen.at(Role::Thorax, wide), (15.0, 70.0));
    let kept = |s: &SegmentTruth| s.speed_at_impact_dps / s.peak_dps;
    assert_within("thorax kept at impact", seen.at(Role::Thorax, kept), (0.85, 1.005));
    let rising = seen.0.iter().filter(|s| s.segments[&Role::Thorax].outcome == Outcome::Rising).count();
    println!("thorax rising in {rising} of {}", seen.0.len());
    assert!((3..60).contains(&rising), "{rising}");
}

/// Severin et al. 2022: pelvis 315 ± 52.5 deg/s, 20.8 ± 10.6 deg open at impact, separation 33 ± 11 deg at the top.
#[test]
fn older_players_turn_less_and_slower() {
    let (older, amateur) = (Seen(swings(Group::Older)), Seen(swings(Group::Amateur)));
    assert_within("pelvis, deg/s", older.at(Role::Pelvis, |s| s.peak_dps), (245.0, 375.0));
    assert_within("pelvis at impact, deg", older.at(Role::Pelvis, |s| s.turn_deg.impact), (5.0, 33.0));
    assert_within("separation, deg", older.of(|s| s.separation.unwrap().top_deg), (-45.0, -20.0));
    for role in [Role::Pelvis, Role::Thorax] {
        let [a, b] = [&older, &amateur].map(|g| g.at(role, |s| s.peak_dps)[1]);
        assert!(a < b, "{role}: {a:.0} and {b:.0} deg/s");
        let [a, b] = [&older, &amateur].map(|g| g.at(role, |s| s.turn_deg.top)[1]);
        assert!(a > b, "{role}: {a:.0} and {b:.0} deg");
    }
}
