//! What is stated of the bone below a strap.
//!
//! A strap on skin shows its own motion. How far the bone's is from it cannot be seen in one swing, so it is a
//! prior: the swing's values stay the strap's, and beside each stands a second standard uncertainty that holds
//! the bone without correcting for it, the root of the sum of the squares of strap's uncertainty, the skin's mean
//! error and its spread.
//!
//! The figures are the project's own judgement, within what is published: sensors against optical markers,
//! axial, thorax 14.2 and lumbar 5.0 deg, flexion 5.0 and 10.7 deg RMS (clinical tasks; Sensors 2024, 24:6580);
//! golf, 0.6 to 1.7 deg of mean difference (Kim 2023, Sensors 23:8433), below 3.6 deg axial and 1.2 deg of others (Najafi
//! 2015, J Sports Sci Med 14:354); turning at batting, pelvis and thorax below 5 deg and angular velocity within
//! 5 % (Punchihewa 2020, Sensors 20:7331); cuff on the upper arm against bone pins, elevation 0 to 4 deg (Hamming
//! 2012, PMC3327809). Most of these compare skin with skin, which is a floor and not the bone. No figure
//! is known for how late a bone's peak is seen.

use super::stated;
use crate::shake::Worn;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{AngleSet, ArmUse, Backswing, Instant, Segment, Separation, Swing};
use std::collections::BTreeMap;

/// How a strap follows the bone through a change of angle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Followed {
    /// Mean share of the bone's change that the strap makes, and its spread over people and wearings.
    share: f64,
    share_sd: f64,
    /// What is left in any angle, deg.
    floor_deg: f64,
}

impl Followed {
    /// Standard uncertainty that the skin adds to a change, deg.
    pub(super) fn sd_deg(self, change_deg: f64) -> f64 {
        ((1.0 - self.share).hypot(self.share_sd) * change_deg).hypot(self.floor_deg)
    }
}

/// What the skin does under one strap.
#[derive(Debug, Clone, Copy)]
pub(super) struct Skin {
    /// Turn about the long axis.
    pub(super) turn: Followed,
    /// Lateral tilt and flexion, since upright.
    pub(super) tilt: Followed,
    /// Spread of the speed, as a share of the largest.
    speed_sd: f64,
    /// Of an instant read off the motion, s.
    pub(super) time_sd_s: f64,
}

/// Speed and times of a strap that is worn well.
const SPEED_SD: f64 = 0.05;
const TIME_SD_S: f64 = 0.005;
/// … and of one that a shake test found to ring or slide.
const LOOSE_SPEED_SD: f64 = 0.10;
const LOOSE_TIME_SD_S: f64 = 0.010;
/// How much of the spread is left in a ratio of two speeds of one downswing: skin that lags remembers the
/// earlier one, so that not all of it cancels.
const RATIO_LEFT: f64 = 0.5;
/// Direction of the upper arm, deg.
const ARM_DEG: f64 = 3.0;
/// Across the chest, an arm near to hanging along it is wherever the skin puts it: no nearer than this
/// sine of its angle.
const LEAST_SINE: f64 = 0.26;

const fn skin(role: Role) -> Skin {
    let (turn, tilt) = match role {
        Role::Pelvis => (
            Followed { share: 0.97, share_sd: 0.05, floor_deg: 1.0 },
            // Drerup and Hierholzer 1987 (from memory): skin over the spines lags by 1.5 mm per 10 deg of tilt.
            Followed { share: 0.88, share_sd: 0.08, floor_deg: 1.5 },
        ),
        // No figure for tilts of the thorax: as its turn.
        Role::Thorax => {
            let followed = Followed { share: 0.95, share_sd: 0.07, floor_deg: 2.0 };
            (followed, followed)
        }
        Role::LeadArm => (
            Followed { share: 0.70, share_sd: 0.10, floor_deg: ARM_DEG },
            Followed { share: 1.0, share_sd: 0.0, floor_deg: ARM_DEG },
        ),
    };
    Skin { turn, tilt, speed_sd: SPEED_SD, time_sd_s: TIME_SD_S }
}

impl Skin {
    /// Share of the speed by which the bone's may differ. About the long axis the skin that turns less far
    /// also turns more slowly; of the arm the speed is that across it.
    fn speed_share(self, role: Role) -> f64 {
        match role {
            Role::Pelvis | Role::Thorax => (1.0 - self.turn.share).hypot(self.speed_sd),
            Role::LeadArm => self.speed_sd,
        }
    }
}

/// The skins below the straps as they are worn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Skins<'a>(pub(super) &'a [Worn; 3]);

impl Skins<'_> {
    pub(super) fn skin(self, role: Role) -> Skin {
        let Worn { loose, slid_deg } = self.0[role.index()];
        let mut skin = skin(role);
        if loose {
            (skin.speed_sd, skin.time_sd_s) = (LOOSE_SPEED_SD, LOOSE_TIME_SD_S);
        }
        for followed in [&mut skin.turn, &mut skin.tilt] {
            followed.floor_deg = followed.floor_deg.hypot(slid_deg);
        }
        skin
    }
}

/// States of every number of a finished swing how far the bone's may be; `worn` by the role's index.
pub(super) fn state(swing: &mut Swing, worn: &[Worn; 3]) {
    let worn = Skins(worn);
    for (&role, segment) in &mut swing.segments {
        of_segment(segment, role, worn.skin(role));
    }
    let trunk = if swing.segments.contains_key(&Role::Thorax) { Role::Thorax } else { Role::Pelvis };
    let (takeaway, top) = (worn.skin(trunk).time_sd_s, worn.skin(swing.tempo.downswing_from).time_sd_s);
    of_instant(&mut swing.events.takeaway, takeaway);
    of_instant(&mut swing.events.top, top);
    let sequence = &mut swing.sequence;
    for gap in sequence.gaps.iter_mut().chain(&mut sequence.reversal_gaps) {
        let skins_ms = 1e3 * worn.skin(gap.from).time_sd_s.hypot(worn.skin(gap.to).time_sd_s);
        gap.bone_sd_ms = stated(gap.sd_ms.hypot(skins_ms), 3);
    }
    let tempo = &mut swing.tempo;
    let joined = |sd: Option<f64>, skin: f64, digits| sd.and_then(|sd| stated(sd.hypot(skin), digits));
    tempo.backswing_bone_sd_s = joined(tempo.backswing_sd_s, takeaway.hypot(top), 4);
    tempo.downswing_bone_sd_s = joined(tempo.downswing_sd_s, top, 4);
    // The top is in both durations, with opposite sign.
    let ratio = takeaway.hypot(top * (1.0 + tempo.ratio)) / tempo.downswing_s;
    tempo.ratio_bone_sd = joined(tempo.ratio_sd, ratio, 3);
    let at_top = AtTop::of(&swing.segments, worn);
    if let Some(separation) = &mut swing.separation {
        of_separation(separation, &swing.segments, worn);
    }
    if let Some(arm) = &mut swing.arm {
        of_arm(arm, at_top);
    }
    if let Some(backswing) = &mut swing.backswing {
        of_backswing(backswing, at_top, swing.arm.as_ref().and_then(|arm| arm.elevation_top_deg));
    }
}

fn of_instant(instant: &mut Instant, skin_s: f64) {
    instant.bone_sd_ms = stated(instant.sd_ms.hypot(skin_s * 1e3), 3);
}

fn of_segment(segment: &mut Segment, role: Role, skin: Skin) {
    for instant in [&mut segment.onset, &mut segment.reversal].into_iter().flatten() {
        of_instant(instant, skin.time_sd_s);
    }
    let share = skin.speed_share(role);
    for peak in [&mut segment.peak, &mut segment.resultant_peak].into_iter().flatten() {
        peak.bone_sd_ms = stated(peak.sd_ms.hypot(skin.time_sd_s * 1e3), 3);
        peak.speed_bone_sd_dps = peak.speed_sd_dps.and_then(|sd| stated(sd.hypot(share * peak.speed_dps), 2));
    }
    // Skin that lags owes at impact what it stayed behind where the speed was largest.
    let largest = segment.peak.map_or(0.0, |p| p.speed_dps).max(segment.speed_at_impact_dps.unwrap_or(0.0));
    segment.speed_at_impact_bone_sd_dps =
        segment.speed_at_impact_sd_dps.and_then(|sd| stated(sd.hypot(share * largest), 2));
    segment.speed_kept_bone_sd = segment.speed_kept_sd.and_then(|sd| stated(sd.hypot(RATIO_LEFT * share), 4));
    for (set, followed) in [
        (&mut segment.turn_deg, skin.turn),
        (&mut segment.lateral_tilt_deg, skin.tilt),
        (&mut segment.flexion_deg, skin.tilt),
    ] {
        if let Some(set) = set {
            of_angle(set, followed);
        }
    }
    // The top may come after the segment has turned back; skin that lags is then still behind by its furthest.
    if let Some(turn) = &mut segment.turn_deg {
        turn.bone_sd = stated(turn.sd.hypot(skin.turn.sd_deg(furthest_to_top(turn))), 3);
    }
}

fn furthest_to_top(turn: &AngleSet) -> f64 {
    turn.top.abs().max(turn.max_away.abs())
}

fn of_angle(set: &mut AngleSet, followed: Followed) {
    let joined =
        |sd: Option<f64>, change: f64| sd.and_then(|sd| stated(sd.hypot(followed.sd_deg(change)), 3));
    set.bone_sd = joined(Some(set.sd), set.top);
    set.impact_bone_sd = joined(set.impact_sd, set.impact);
    set.max_away_bone_sd = joined(set.max_away_sd, set.max_away);
    set.address_bone_sd = joined(set.address_sd, set.address);
    set.address_to_impact_bone_sd = joined(set.address_to_impact_sd, set.impact - set.address);
}

/// What the skin adds to the trunk's turns at the top and to the thorax's tilt since address, deg.
#[derive(Debug, Clone, Copy)]
struct AtTop {
    hips: (f64, f64),
    thorax: (f64, f64),
    thorax_tilt_sd: f64,
}

impl AtTop {
    fn of(segments: &BTreeMap<Role, Segment>, worn: Skins<'_>) -> Self {
        let turn = |role| {
            let turn = segments.get(&role).and_then(|s| s.turn_deg).unwrap_or_default();
            (-turn.top, worn.skin(role).turn.sd_deg(furthest_to_top(&turn)))
        };
        let thorax = segments.get(&Role::Thorax);
        let changed = |set: Option<AngleSet>| set.map_or(0.0, |set| set.top - set.address);
        let tilted = thorax.map_or(0.0, |s| changed(s.lateral_tilt_deg).hypot(changed(s.flexion_deg)));
        Self {
            hips: turn(Role::Pelvis),
            thorax: turn(Role::Thorax),
            thorax_tilt_sd: worn.skin(Role::Thorax).tilt.sd_deg(tilted),
        }
    }
}

fn of_separation(separation: &mut Separation, segments: &BTreeMap<Role, Segment>, worn: Skins<'_>) {
    let skins = |change_of: fn(&AngleSet) -> f64| {
        let of = |role| {
            let turn = segments.get(&role).and_then(|s| s.turn_deg);
            worn.skin(role).turn.sd_deg(turn.as_ref().map_or(0.0, change_of))
        };
        of(Role::Pelvis).hypot(of(Role::Thorax))
    };
    separation.bone_sd_deg = stated(separation.sd_deg.hypot(skins(furthest_to_top)), 3);
    // It is largest soon after the pelvis reversed.
    separation.max_bone_sd_deg =
        separation.max_sd_deg.and_then(|sd| stated(sd.hypot(skins(|turn| turn.max_away)), 3));
    let of = |role: Role| worn.skin(role).turn.sd_deg(separation.stretch_deg);
    separation.stretch_bone_sd_deg = separation
        .stretch_sd_deg
        .and_then(|sd| stated(sd.hypot(of(Role::Pelvis)).hypot(of(Role::Thorax)), 3));
}

/// What the skins add to the arm's direction across the chest, deg.
fn across_sd_deg(elevation_deg: f64, at_top: AtTop) -> f64 {
    (ARM_DEG / elevation_deg.to_radians().sin().max(LEAST_SINE)).hypot(at_top.thorax.1)
}

fn of_arm(arm: &mut ArmUse, at_top: AtTop) {
    arm.elevation_gravity_bone_sd_deg = stated(arm.elevation_gravity_sd_deg.hypot(ARM_DEG), 3);
    arm.elevation_bone_sd_deg =
        arm.elevation_sd_deg.and_then(|sd| stated(sd.hypot(ARM_DEG).hypot(at_top.thorax_tilt_sd), 3));
    let elevation = arm.elevation_top_deg.unwrap_or(90.0);
    arm.across_chest_bone_sd_deg =
        arm.across_chest_sd_deg.and_then(|sd| stated(sd.hypot(across_sd_deg(elevation, at_top)), 3));
}

fn of_backswing(made: &mut Backswing, at_top: AtTop, elevation_top_deg: Option<f64>) {
    let joined = |sd: Option<f64>, skin: Option<f64>, digits| stated(sd?.hypot(skin?), digits);
    let ((turn, turn_sd), (hips, hips_sd)) = (at_top.thorax, at_top.hips);
    // The thorax's skin moves the chest below the arm.
    let moved_sd = ARM_DEG.hypot(turn_sd);
    let whole = made.arm_moved_deg.map(|moved| turn + moved);
    made.turn_share_bone_sd = joined(
        made.turn_share_sd,
        whole.map(|whole| ((whole - turn) * turn_sd).hypot(turn * moved_sd) / whole.powi(2)),
        4,
    );
    made.hips_share_bone_sd = joined(
        made.hips_share_sd,
        whole.map(|whole| (hips_sd / whole).hypot(hips * turn_sd.hypot(moved_sd) / whole.powi(2))),
        4,
    );
    made.arm_moved_bone_sd_deg = joined(made.arm_moved_sd_deg, Some(moved_sd), 3);
    made.arm_raised_bone_sd_deg =
        joined(made.arm_raised_sd_deg, Some(ARM_DEG.hypot(at_top.thorax_tilt_sd)), 3);
    // At address the arm hangs, where a little goes far.
    let elevation_deg = elevation_top_deg.zip(made.arm_raised_deg).map(|(top, raised)| top - raised);
    let across = across_sd_deg(elevation_deg.unwrap_or(0.0), at_top);
    made.arm_across_bone_sd_deg = joined(made.arm_across_sd_deg, Some(across), 3);
    // Rotation of the chest over angle of the arm.
    let ratio = made.chest_per_arm.filter(|ratio| *ratio > 0.0 && turn > 0.0);
    let chest = ratio.map(|ratio| {
        let arm_deg = turn / ratio;
        (turn_sd / arm_deg).hypot(ratio * ARM_DEG / arm_deg)
    });
    made.chest_per_arm_bone_sd = joined(made.chest_per_arm_sd, chest, 4);
}

#[cfg(test)]
mod tests {
    use super::super::round;
    use super::*;

    /// By hand: 0.03² + 0.05² = 0.0034; 0.0034 · 45² + 1² = 7.885, with 0.5² of the strap 8.135.
    #[test]
    fn strap_bias_and_spread_are_joined() {
        let mut turn = AngleSet { top: -45.0, sd: 0.5, address_sd: Some(0.3), ..AngleSet::default() };
        of_angle(&mut turn, skin(Role::Pelvis).turn);
        assert_eq!(turn.bone_sd, Some(round(8.135_f64.sqrt(), 3)));
        assert_eq!(turn.address_bone_sd, Some(round(1.09_f64.sqrt(), 3)), "no change, but for the floor");
        assert_eq!((turn.impact_bone_sd, turn.max_away_bone_sd), (None, None), "none without the strap's");
    }

    /// A value that the skin has made smaller by its mean error and one spread is within the band.
    #[test]
    fn the_band_holds_an_uncorrected_value() {
        for role in [Role::Pelvis, Role::Thorax] {
            for bone_deg in [-100.0, -45.0, 20.0, 40.0] {
                let followed = skin(role).turn;
                let strap_deg = bone_deg * (followed.share - followed.share_sd);
                let off = f64::abs(bone_deg - strap_deg);
                assert!(off < 1.96 * followed.sd_deg(strap_deg), "{role} {bone_deg}");
            }
        }
    }

    /// 5 ms and 5 % become 10, and what has slid is joined with the floor: 3 and 4 are 5.
    #[test]
    fn what_a_shake_test_found_widens_the_bands() {
        let mut worn = [Worn::default(); 3];
        assert_eq!(Skins(&worn).skin(Role::LeadArm).time_sd_s, TIME_SD_S);
        worn[Role::LeadArm.index()] = Worn { loose: true, slid_deg: 4.0 };
        let loose = Skins(&worn).skin(Role::LeadArm);
        assert_eq!((loose.time_sd_s, loose.speed_sd), (0.010, 0.10));
        assert_eq!((loose.turn.floor_deg, loose.tilt.floor_deg), (5.0, 5.0));
        assert_eq!(Skins(&worn).skin(Role::Pelvis).time_sd_s, TIME_SD_S, "each strap by itself");
    }

    /// The chest's turn and the arm's move each by their own skins: by hand, 80° and 80°, of 160° one half.
    #[test]
    fn shares_take_both_skins() {
        let at_top = AtTop { hips: (40.0, 2.0), thorax: (80.0, 4.0), thorax_tilt_sd: 2.0 };
        let mut made = Backswing {
            turn_share: Some(0.5),
            turn_share_sd: Some(0.0),
            arm_moved_deg: Some(80.0),
            arm_moved_sd_deg: Some(0.0),
            ..Backswing::default()
        };
        of_backswing(&mut made, at_top, None);
        assert_eq!(made.arm_moved_bone_sd_deg, Some(5.0), "3 and 4");
        // 80 · √(4² + 5²) / 160²
        assert_eq!(made.turn_share_bone_sd, Some(round(80.0 * 41_f64.sqrt() / 25600.0, 4)));
        assert_eq!(made.hips_share_bone_sd, None);
    }
}
