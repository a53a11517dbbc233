//! Session folders of an invented player, written with the project's own file types.
//!
//! Peak speeds and times are of the size of published professional means (Cheetham et al.
//! 2008, second-hand); spreads and blocks are made up.
#![allow(dead_code, reason = "each test binary uses its own part of the builder")]

pub(crate) mod turns;

use peakorder_protocol::curves::{Curves, SegmentCurves};
use peakorder_protocol::order::PartialOrder;
use peakorder_protocol::session::{FORMAT, Session, SessionDir};
use peakorder_protocol::swing::*;
use peakorder_protocol::{Handedness, Role};
use std::collections::BTreeMap;
use std::path::Path;

/// Holds `got` against `tests/golden/NAME`; `UPDATE_EXPECT=1` writes it anew.
pub(crate) fn stored(name: &str, got: &str) {
    expect_test::expect_file![format!("../golden/{name}")].assert_eq(got);
}

/// Words that judge a swing, and what a number that is none looks like; longer words that begin
/// so count as well.
const JUDGING: [&str; 15] = [
    "fault",
    "bad",
    "wrong",
    "incorrect",
    "error",
    "poor",
    "good",
    "ideal",
    "should be",
    "normal",
    "warning",
    "proper",
    "nan ",
    "inf ",
    "infinity",
];

/// Fails where `text` judges, but for the one sentence that says that no order is a fault.
pub(crate) fn judges_nothing(text: &str) {
    let lower = without_codes(text).to_lowercase().replace("no order of peaks is a fault", "");
    let words = lower.split(|c: char| !c.is_alphabetic()).collect::<Vec<_>>().join(" ");
    for word in JUDGING {
        assert!(!format!(" {words} ").contains(&format!(" {word}")), "'{word}' judges:\n{text}");
    }
}

/// Without the digits of codes of players and blocks: they are drawn anew every time, and `bad` may be among them.
fn without_codes(text: &str) -> String {
    let digits = |part: &str| part.len() >= 12 && part.bytes().take(12).all(|b| b.is_ascii_hexdigit());
    ["player-", "block-"].into_iter().fold(text.to_owned(), |text, kind| {
        let parts: Vec<&str> = text.split(kind).map(|p| if digits(p) { &p[12..] } else { p }).collect();
        parts.join(kind)
    })
}

/// A small linear congruential generator (Knuth's MMIX constants): same seed, same swings.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal, near enough: the sum of twelve uniforms less six.
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// What a block's swings scatter around.
#[derive(Clone)]
pub(crate) struct Centre {
    pub(crate) before_ms: [f64; 3],
    pub(crate) speed_dps: [f64; 3],
    pub(crate) turn_top: [f64; 2],
    pub(crate) turn_impact: [f64; 2],
    pub(crate) arm: bool,
}

pub(crate) const BASELINE: Centre = Centre {
    before_ms: [87.0, 68.0, 65.0],
    speed_dps: [477.0, 727.0, 980.0],
    turn_top: [-45.0, -88.0],
    turn_impact: [34.0, 22.0],
    arm: true,
};

pub(crate) const AFTER: Centre = Centre {
    before_ms: [101.0, 70.0, 52.0],
    speed_dps: [502.0, 735.0, 1004.0],
    turn_top: [-46.0, -95.0],
    turn_impact: [36.0, 21.0],
    arm: true,
};

pub(crate) fn instant(t_s: f64, sd_ms: f64) -> Instant {
    Instant { t_s, sd_ms, bone_sd_ms: None }
}

/// Drawn apart, so that all else is as if there were none.
fn hip_shift(number: u32, centre: &Centre) -> HipShift {
    let mut dice = Dice::new(900 + u64::from(number));
    let mut at = |mid_cm: f64, spread_cm: f64, lever: [f64; 4]| {
        let towards_target_cm = mid_cm + spread_cm * dice.normal();
        let sd_cm = lever.iter().fold(spread_cm, |sum, part| sum.hypot(*part));
        let mid_hips = ShiftTowardsTarget { towards_target_cm, sd_cm, shared_sd_cm: lever };
        HipShiftAt {
            mid_hips,
            trail_hip: ShiftTowardsTarget { towards_target_cm: towards_target_cm + 2.7, ..mid_hips },
        }
    };
    HipShift {
        top: at(centre.turn_top[0] * 0.2, 1.5, [-1.8, -0.4, 0.8, 0.7]),
        impact_for_block_means: Some(at(4.5, 2.5, [1.2, 0.1, 0.5, 0.6])),
        hip_breadth_cm: 34.0,
        hip_breadth_measured: false,
        method: HIP_SHIFT_METHOD.into(),
    }
}

/// Builds one swing from peak times (ms before impact), speeds and turns.
pub(crate) fn swing(number: u32, block: &str, centre: &Centre, dice: &mut Dice) -> Swing {
    let impact_s = 60.0 + 20.0 * f64::from(number);
    let down = 0.258 + 0.008 * dice.normal();
    let back = 0.731 + 0.021 * dice.normal();
    let top_s = impact_s - down;
    let roles: &[Role] = if centre.arm { &Role::ALL } else { &Role::ALL[..2] };
    let mut segments = BTreeMap::new();
    for &role in roles {
        let i = role.index();
        let before = centre.before_ms[i] + [5.0, 4.0, 3.0][i] * dice.normal();
        let speed = centre.speed_dps[i] * (1.0 + 0.03 * dice.normal());
        let kept = [0.62, 0.74, 0.53][i] + 0.03 * dice.normal();
        let peak = Peak {
            t_s: impact_s - before / 1e3,
            before_impact_ms: before,
            sd_ms: 1.3,
            band_ms: None,
            within_2pct_ms: None,
            speed_dps: speed,
            speed_sd_dps: Some(0.008 * speed),
            bone_sd_ms: None,
            speed_bone_sd_dps: None,
            outcome: Outcome::Peak,
        };
        let angle = |top: f64, impact: f64, address: f64| AngleSet {
            top,
            impact,
            max_away: top * 1.02,
            address,
            sd: 1.4,
            impact_sd: Some(1.4),
            max_away_sd: Some(1.4),
            address_sd: (address != 0.0).then_some(1.4),
            address_to_impact_sd: Some(1.4),
            ..AngleSet::default()
        };
        let trunk = i < 2;
        let turn = trunk.then(|| {
            angle(centre.turn_top[i] + 2.5 * dice.normal(), centre.turn_impact[i] + 2.5 * dice.normal(), 0.0)
        });
        let kind = if trunk { SpeedKind::Axial } else { SpeedKind::Across };
        segments.insert(
            role,
            Segment {
                onset: None,
                speed_kind: kind,
                speed_definition: kind.definition().into(),
                reversal: Some(instant(top_s - [0.045, 0.020, 0.0][i], 4.0)),
                peak: Some(peak),
                resultant_peak: Some(Peak { speed_dps: speed * 1.08, ..peak }),
                speed_at_impact_dps: Some(speed * kept),
                speed_at_impact_sd_dps: Some(0.01 * speed),
                speed_kept_at_impact: Some(kept),
                speed_kept_sd: Some(0.008),
                speed_at_impact_bone_sd_dps: None,
                speed_kept_bone_sd: None,
                turn_deg: turn,
                lateral_tilt_deg: trunk.then(|| angle(-6.0, 9.0, 3.0)),
                flexion_deg: trunk.then(|| angle(18.0, 12.0, 22.0)),
            },
        );
    }
    let separation = Separation {
        top_deg: centre.turn_top[1] - centre.turn_top[0] + 2.0 * dice.normal(),
        max_deg: centre.turn_top[1] - centre.turn_top[0] - 4.0 + 2.0 * dice.normal(),
        stretch_deg: 4.0 + 1.2 * dice.normal(),
        sd_deg: 2.0,
        max_sd_deg: Some(2.0),
        stretch_sd_deg: Some(2.0),
        bone_sd_deg: None,
        max_bone_sd_deg: None,
        stretch_bone_sd_deg: None,
        method: SEPARATION_METHOD.into(),
    };
    let arm = centre.arm.then(|| ArmUse {
        elevation_gravity_top_deg: 98.0 + 3.0 * dice.normal(),
        elevation_gravity_sd_deg: 1.4,
        elevation_top_deg: Some(84.0 + 3.0 * dice.normal()),
        elevation_sd_deg: Some(2.2),
        across_chest_top_deg: Some(31.0 + 3.0 * dice.normal()),
        across_chest_sd_deg: Some(3.0),
        heading_deg: Some(-12.0),
        heading_sd_deg: Some(2.4),
        elevation_gravity_bone_sd_deg: None,
        elevation_bone_sd_deg: None,
        across_chest_bone_sd_deg: None,
        method: ARM_METHOD.into(),
    });
    let backswing = centre.arm.then(|| {
        let moved = 66.0 + 2.5 * dice.normal();
        let away = |role: Role| -segments[&role].turn_deg.expect("the trunk has turns").top;
        let whole = away(Role::Thorax) + moved;
        Backswing {
            turn_share: Some(away(Role::Thorax) / whole),
            turn_share_sd: Some(0.008),
            hips_share: Some(away(Role::Pelvis) / whole),
            hips_share_sd: Some(0.006),
            arm_moved_deg: Some(moved),
            arm_moved_sd_deg: Some(2.4),
            arm_raised_deg: Some(moved - 4.0),
            arm_raised_sd_deg: Some(2.3),
            arm_across_deg: Some(moved - 50.0),
            arm_across_sd_deg: Some(4.2),
            chest_per_arm: Some(0.01 * moved),
            chest_per_arm_sd: Some(0.027),
            method: BACKSWING_METHOD.into(),
            ..Backswing::default()
        }
    });
    for segment in segments.values_mut() {
        if let (Some(tilt), Some(flexion)) = (&mut segment.lateral_tilt_deg, &mut segment.flexion_deg) {
            tilt.top += 1.2 * dice.normal();
            flexion.impact += 1.5 * dice.normal();
        }
    }
    let mut swing = Swing {
        schema: SCHEMA.into(),
        session: "20261125T100512Z-0001".into(),
        number,
        block: block.into(),
        wearing: 0,
        handedness: Handedness::Right,
        kind: SwingKind::Strike,
        events: Events {
            takeaway: instant(top_s - back, 12.0),
            top: instant(top_s, 4.0),
            impact: Impact {
                t_s: impact_s,
                sd_ms: 1.0,
                evidence: if centre.arm { Evidence::ArmShock } else { Evidence::TrunkShock },
            },
            finish: instant(impact_s + 0.6, 30.0),
        },
        segments,
        sequence: Sequence::default(),
        separation: Some(separation),
        arm,
        hip_shift: Some(hip_shift(number, centre)),
        backswing,
        tempo: Tempo {
            backswing_s: back,
            downswing_s: down,
            ratio: back / down,
            backswing_sd_s: Some(0.0126),
            downswing_sd_s: Some(0.0041),
            ratio_sd: Some(0.08),
            backswing_bone_sd_s: None,
            downswing_bone_sd_s: None,
            ratio_bone_sd: None,
            downswing_from: if centre.arm { Role::LeadArm } else { Role::Thorax },
        },
        angle_order: ANGLE_ORDER.into(),
        bone_prior: String::new(),
        quality: Quality {
            usable: true,
            withheld: Vec::new(),
            notes: Vec::new(),
            lost_samples: 0,
            clipped_samples: 0,
            clock_sd_ms: 0.6,
        },
    };
    order(&mut swing);
    swing
}

/// Fills gaps and orders from the peaks and reversals, with ties inside the 95 % band.
pub(crate) fn order(swing: &mut Swing) {
    let peaks: Vec<(Role, f64)> =
        Role::ALL.into_iter().filter_map(|r| Some((r, swing.peak(r)?.t_s))).collect();
    let reversals: Vec<(Role, f64)> =
        swing.segments.iter().filter_map(|(&r, s)| Some((r, s.reversal?.t_s))).collect();
    (swing.sequence.order, swing.sequence.gaps) = ordered(&peaks, 1.8);
    (swing.sequence.reversal_order, swing.sequence.reversal_gaps) = ordered(&reversals, 5.6);
}

fn ordered(times: &[(Role, f64)], sd_ms: f64) -> (Vec<Vec<Role>>, Vec<Gap>) {
    let mut gaps = Vec::new();
    for (i, &(from, a)) in times.iter().enumerate() {
        for &(to, b) in &times[i + 1..] {
            let gap_ms = (b - a) * 1e3;
            gaps.push(Gap {
                from,
                to,
                gap_ms,
                sd_ms,
                resolved: gap_ms.abs() > 1.96 * sd_ms,
                held: false,
                bone_sd_ms: None,
            });
        }
    }
    let groups = PartialOrder::new(times.iter().map(|t| t.0), &gaps).groups(&gaps);
    (groups, gaps)
}

/// Makes the swing a rehearsal.
pub(crate) fn rehearse(mut swing: Swing) -> Swing {
    swing.kind = SwingKind::Rehearsal;
    swing.events.impact.evidence = Evidence::None;
    swing
}

/// Makes the swing's timing unusable.
pub(crate) fn spoil(mut swing: Swing) -> Swing {
    swing.quality.usable = false;
    swing.quality.lost_samples = 40;
    let (what, why) = (Withholding::Peak(Role::Thorax), Reason::SamplesLostAtPeak);
    swing.quality.withheld.push(Withheld { what, why });
    swing.sequence = Sequence::default();
    swing
}

/// Takes the turns out, as after a slipped strap.
pub(crate) fn without_turns(mut swing: Swing) -> Swing {
    for segment in swing.segments.values_mut() {
        segment.turn_deg = None;
    }
    swing.separation = None;
    let (what, why) = (Withholding::Angles(Role::Pelvis), Reason::Slipped { moved_deg: 17.0 });
    swing.quality.withheld.push(Withheld { what, why });
    swing
}

/// Twelve baseline swings with a rehearsal, an unusable swing and one without turns, then
/// eleven of the block `after`.
pub(crate) fn two_blocks() -> Vec<Swing> {
    let mut dice = Dice::new(7);
    let mut swings: Vec<Swing> = (1..=14).map(|n| swing(n, "baseline", &BASELINE, &mut dice)).collect();
    swings[2] = rehearse(swings[2].clone());
    swings[6] = spoil(swings[6].clone());
    swings[9] = without_turns(swings[9].clone());
    swings.extend((15..=25).map(|n| swing(n, "after", &AFTER, &mut dice)));
    swings
}

/// Curves whose maxima are the swing's peaks: raised-cosine pulses on a backswing of half
/// the size, 0.3 s before the top to 0.3 s after impact at 200 Hz.
pub(crate) fn curves(swing: &Swing) -> Curves {
    let start_s = swing.events.takeaway.t_s;
    let step_s = 0.005;
    let count = ((swing.events.impact.t_s + 0.3 - start_s) / step_s) as usize;
    let bump = |t: f64, at: f64, rise: f64, fall: f64| {
        let x = (t - at) / if t < at { rise } else { fall };
        if x.abs() < 1.0 { 0.5 + 0.5 * (std::f64::consts::PI * x).cos() } else { 0.0 }
    };
    let segments = swing
        .segments
        .iter()
        .filter_map(|(&role, s)| {
            let peak = s.peak?;
            let middle = f64::midpoint(start_s, swing.events.top.t_s);
            let speed = (0..count)
                .map(|i| {
                    let t = start_s + step_s * i as f64;
                    let down = peak.speed_dps * bump(t, peak.t_s, 0.24, 0.26);
                    let back = 0.3 * peak.speed_dps * bump(t, middle, 0.38, 0.38);
                    (down - back) as f32
                })
                .collect();
            Some(SegmentCurves { role, speed_dps: speed, turn_deg: Vec::new(), orientation_wxyz: Vec::new() })
        })
        .collect();
    Curves { start_s, step_s, segments }
}

pub(crate) fn session(arm: bool) -> Session {
    let strap = serde_json::json!({"name": "invented", "profile": "reference", "profile_toml": ""});
    let roles = if arm { &Role::ALL[..] } else { &Role::ALL[..2] };
    let straps: BTreeMap<&str, _> = roles.iter().map(|r| (r.key(), strap.clone())).collect();
    serde_json::from_value(serde_json::json!({
        "format": FORMAT,
        "id": "20261125T100512Z-0001",
        "started_utc": "2026-11-25T10:05:12Z",
        "zone": "Europe/London",
        "recorded_by": "peakorderd 0.1.0",
        "computed_by": "peakorderd 0.1.0",
        "source": "virtual",
        "invented": true,
        "player": {
            "name": "Sample player",
            "handedness": "right",
            "goal": "let the arm come later",
        },
        "straps": straps,
    }))
    .expect("a session's fields")
}

/// Writes a session folder with curves for every swing.
pub(crate) fn write(path: &Path, session: &Session, swings: &[Swing]) {
    let dir = SessionDir::create(path, true).expect("an empty folder");
    dir.write_session(session).expect("a writable folder");
    for swing in swings {
        let json = swing.to_json().expect("finite numbers");
        dir.write_swing(swing.number, &json, &curves(swing).to_bytes()).expect("a writable folder");
    }
}
