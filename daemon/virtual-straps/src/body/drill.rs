//! A drill of the pivot: the trunk turns back and through without a ball, arms crossed on the chest or a club held across
//! the shoulders. Paces, sizes and pauses are plausible, not measured.

use super::planner::Planner;
use super::player::PlayerParams;
use super::skeleton::Dof;
use serde::Serialize;

/// How the repetitions of a drill are made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrillOptions {
    /// How many.
    pub repetitions: u32,
    /// Seconds of the turn back, from…to.
    pub pace_s: (f64, f64),
    /// Seconds held furthest back, from…to, and how often a repetition is held at all.
    pub hold_s: (f64, f64),
    /// Share of repetitions that are held.
    pub held: f64,
    /// Share of repetitions that go through; the others come home.
    pub through: f64,
    /// Bent forward as to a ball; else upright.
    pub bent: bool,
    /// Seconds at address between two repetitions, from…to.
    pub pause_s: (f64, f64),
    /// One repetition goes into the next without a pause.
    pub without_pause: bool,
    /// Share of the player's turns in a full swing that the drill reaches.
    pub size: f64,
}

impl Default for DrillOptions {
    /// Ten slow turns, half of them held, bent forward.
    fn default() -> Self {
        Self {
            repetitions: 10,
            pace_s: (1.0, 2.5),
            hold_s: (0.5, 2.0),
            held: 0.5,
            through: 0.7,
            bent: true,
            pause_s: (0.6, 2.0),
            without_pause: false,
            size: 0.85,
        }
    }
}

/// What a repetition was made like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DrillStyle {
    /// Back, and through beyond address.
    Through,
    /// Back, and home.
    Home,
}

/// A planned repetition, as far as truth needs it.
#[derive(Debug, Clone)]
pub(crate) struct RepetitionPlan {
    pub(crate) block: String,
    pub(crate) style: DrillStyle,
    pub(crate) held: bool,
    /// The player stands still for the last time, and the turn back begins.
    pub(crate) address_s: f64,
    pub(crate) takeaway_s: f64,
    /// The turn forward begins and ends.
    pub(crate) forward_s: (f64, f64),
}

/// The arm lies on the chest: raised in front of it, hand to the other shoulder.
const CROSSED: [(Dof, f64); 3] = [(Dof::ArmForward, 42.0), (Dof::ArmSide, 18.0), (Dof::ArmRoll, 35.0)];

impl Planner {
    /// Stands as for the drill.
    pub(crate) fn take_drill_stance(&mut self, player: &PlayerParams, bent: bool) {
        let posture = player.posture;
        let (pelvis, thorax) =
            if bent { (posture.pelvis_forward_deg, posture.thorax_forward_deg) } else { (3.0, 6.0) };
        let mut pose = vec![
            (Dof::PelvisForward, pelvis + self.timeline.bounded(0.0, 1.0)),
            (Dof::ThoraxForward, thorax + self.timeline.bounded(0.0, 1.5)),
            (Dof::PelvisSpin, self.timeline.bounded(0.0, 1.5)),
            (Dof::ThoraxSpin, self.timeline.bounded(0.0, 1.5)),
            (Dof::ArmPlane, thorax),
            (Dof::ArmSwing, 0.0),
        ];
        pose.extend(CROSSED);
        let length = self.timeline.uniform(1.4, 2.2);
        self.pose(&pose, length);
    }

    /// One repetition from where the player stands.
    pub(crate) fn repetition(
        &mut self,
        player: &PlayerParams,
        options: &DrillOptions,
        block: &str,
        address_s: f64,
    ) -> RepetitionPlan {
        let held = self.timeline.chance(options.held);
        let through = options.without_pause || self.timeline.chance(options.through);
        let takeaway_s = self.t;
        let back_s = self.timeline.uniform(options.pace_s.0, options.pace_s.1);
        let size = options.size * self.timeline.bounded(1.0, 0.05);
        let pelvis = -size * player.segments[0].away_deg * self.timeline.bounded(1.0, 0.06);
        let thorax = -size * player.segments[1].away_deg;
        self.turn_trunk(back_s, pelvis, thorax, 0.06);
        if held {
            let held_s = self.timeline.uniform(options.hold_s.0, options.hold_s.1);
            self.hold(held_s, 2.0);
        } else {
            self.t += self.timeline.uniform(0.0, 0.12);
        }
        let start_s = self.t;
        let forward_s = back_s * self.timeline.uniform(0.75, 1.2) * if through { 1.3 } else { 1.0 };
        let beyond = if through { size * self.timeline.uniform(0.45, 0.8) } else { 0.0 };
        let home = self.timeline.bounded(0.0, 1.2);
        self.turn_trunk(forward_s, home + beyond * 48.0, home + beyond * 78.0, -0.05);
        RepetitionPlan {
            block: block.to_owned(),
            style: if through { DrillStyle::Through } else { DrillStyle::Home },
            held,
            address_s,
            takeaway_s,
            forward_s: (start_s, self.t),
        }
    }

    /// Comes back from a turn through.
    pub(crate) fn come_home(&mut self) {
        let back_s = self.timeline.uniform(1.0, 1.8);
        let home = self.timeline.bounded(0.0, 1.2);
        self.turn_trunk(back_s, home, home, 0.0);
    }

    /// Turns pelvis and thorax to `pelvis` and `thorax` deg; the pelvis is early by a share of the time.
    fn turn_trunk(&mut self, length: f64, pelvis: f64, thorax: f64, pelvis_late: f64) {
        let start = self.t;
        let delay = length * pelvis_late.abs();
        let (p, t) = if pelvis_late < 0.0 { (start, start + delay) } else { (start + delay, start) };
        let shorter = length - delay;
        self.to(Dof::PelvisSpin, p, shorter, pelvis);
        self.to(Dof::ThoraxSpin, t, shorter, thorax);
        self.to(Dof::ArmSwing, t, shorter, thorax);
        // Weight goes to the side that is turned to, and the trunk does not stay quite on its axis.
        let lean = self.timeline.bounded(0.0, 1.5);
        let side = self.target(Dof::ThoraxSide);
        self.to(Dof::ThoraxSide, start, length, 0.3 * side + lean);
        self.sway((start, start + length), 1.0);
        self.t = start + length;
    }
}
