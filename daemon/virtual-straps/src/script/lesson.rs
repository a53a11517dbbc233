//! The demo's lesson: an invented scenario with an invented player.

use super::{Script, Writer};
use crate::Family;
use crate::body::player::{ARM_SIDE_DEG, PlayerParams, Population, Posture, SegmentParams, Spread};
use crate::body::swing::SwingStyle;
use peakorder_protocol::Handedness;
use peakorder_protocol::log::MarkKind;

/// Stillness before takeaway, seconds.
const STILL_S: (f64, f64) = (0.9, 1.8);

/// A stiff-hipped recreational player. All figures are invented.
fn stiff_hipped() -> PlayerParams {
    let segment =
        |away_deg, open_deg, peak_dps, peak_before_ms, fall_ms, finish_deg, follow_gain| SegmentParams {
            away_deg,
            early_deg: 0.0,
            open_deg,
            peak_dps,
            peak_before_ms,
            fall_ms,
            finish_deg,
            follow_gain,
        };
    PlayerParams {
        name: "Teun".into(),
        goal: "turn the pelvis more and let it start the downswing".into(),
        limits: "hips stiff, no pain".into(),
        segments: [
            segment(33.0, 24.0, 330.0, 58.0, 210.0, 70.0, 0.0),
            segment(80.0, 19.0, 540.0, 62.0, 235.0, 110.0, 0.9),
            segment(124.0, 3.0, 740.0, 66.0, 190.0, 110.0, 0.0),
        ],
        family: Family::Bell,
        stature_m: 1.81,
        backswing_s: 0.86,
        posture: Posture {
            pelvis_forward_deg: 16.0,
            thorax_forward_deg: 36.0,
            arm_forward_deg: 23.0,
            arm_side_deg: ARM_SIDE_DEG,
            arm_plane_deg: 55.0,
        },
        spread: Spread { time_ms: 5.0, speed: 0.025, turn_deg: 1.6, texture: 0.006 },
        address_sway_dps: 0.45,
        ..PlayerParams::mean_of(Population::Amateur)
    }
}

impl Script {
    /// An invented lesson of about nine minutes: calibration, mobility turns, eight swings as
    /// they are, rehearsals, a drill, and eight swings after it in which the pelvis truly
    /// turns further and peaks earlier and faster.
    pub fn lesson(seed: u64) -> Self {
        Self::lesson_of(seed, Handedness::Right)
    }

    /// The same lesson with a player who swings from that side.
    pub fn lesson_of(seed: u64, handedness: Handedness) -> Self {
        let before = PlayerParams { handedness, ..stiff_hipped() };
        let mut after = before.clone();
        after.segments[0].away_deg += 10.0;
        after.segments[0].early_deg = 2.0;
        after.segments[0].peak_before_ms += 22.0;
        after.segments[0].peak_dps += 45.0;
        let mut w = Writer::new(seed);
        let d = &mut w.planner;
        d.hold(1.5, 2.0);
        d.walk(4.0);
        d.stand_up(0.8);
        d.face(-90.0);
        d.idle(6.0);
        d.calibrate(true);
        d.mobility_turn(true, 48.0, 34.0);
        d.idle(4.0);
        d.mobility_turn(false, 70.0, 34.0);
        d.idle(5.0);
        d.tee_up();
        w.block("baseline");
        w.swings(&before, SwingStyle::Full, 8);
        let d = &mut w.planner;
        d.idle(8.0);
        d.mark(MarkKind::Note, "pelvis stays back; try turning it around the lead hip");
        d.hip_bump(3);
        d.stand_up(1.0);
        d.idle(6.0);
        w.swing(&after, SwingStyle::Rehearsal, false, STILL_S);
        w.pause();
        w.swing(&after, SwingStyle::Rehearsal, false, STILL_S);
        w.pause();
        w.block("pivot drill");
        w.swings(&after, SwingStyle::Half, 8);
        w.planner.idle(12.0);
        w.planner.walk(3.0);
        w.planner.stand_up(0.8);
        w.planner.tee_up();
        w.block("after");
        w.swings(&after, SwingStyle::Full, 8);
        w.finish(before)
    }
}

impl Writer {
    /// Time to look after the ball and put down the next.
    fn pause(&mut self) {
        let length = self.uniform((3.5, 8.0));
        self.planner.idle(length);
    }

    fn swings(&mut self, player: &PlayerParams, style: SwingStyle, count: u32) {
        for i in 0..count {
            let waggles = self.planner.timeline.chance(0.7);
            self.swing(player, style, waggles, STILL_S);
            self.pause();
            if i + 1 < count && self.planner.timeline.chance(0.6) {
                self.planner.tee_up();
            }
        }
    }
}
