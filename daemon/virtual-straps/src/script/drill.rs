//! Practice that consists of drills: blocks of turns without a ball.

use super::{Script, StrapOptions, Writer, no_swing};
use crate::body::drill::DrillOptions;
use crate::body::player::PlayerParams;
use peakorder_protocol::log::MarkKind;

impl Script {
    /// Calibration, then a block of repetitions for each of `drills`, labelled `drill 1` and so on.
    pub fn drills(seed: u64, player: PlayerParams, drills: &[DrillOptions]) -> Self {
        let mut w = Writer::new(seed);
        w.planner.calibrate(true);
        for (drill, n) in drills.iter().zip(1..) {
            w.planner.hold(2.0, 2.0);
            w.drill(&player, drill, &format!("drill {n}"));
        }
        w.finish(player)
    }

    /// At least `duration_s` of what is no repetition, all of it in a block that is marked as a drill.
    pub fn no_repetitions(seed: u64, duration_s: f64) -> Self {
        let player = PlayerParams::drawn_from(crate::Population::Amateur, seed);
        let mut w = Writer::new(seed);
        w.planner.calibrate(true);
        w.planner.mark(MarkKind::Drill, "nothing");
        while w.planner.t < duration_s {
            no_swing(&mut w.planner, &player);
        }
        w.finish(player).with_straps(StrapOptions::default())
    }
}

impl Writer {
    /// A block of repetitions; the player stands up afterwards.
    pub(super) fn drill(&mut self, player: &PlayerParams, options: &DrillOptions, label: &str) {
        label.clone_into(&mut self.block);
        self.planner.mark(MarkKind::Drill, label);
        self.planner.take_drill_stance(player, options.bent);
        self.planner.hold(1.2, player.address_sway_dps);
        let mut address_s = self.planner.t;
        for i in 0..options.repetitions {
            if i > 0 && !options.without_pause {
                let pause = self.uniform(options.pause_s);
                self.planner.hold(pause, player.address_sway_dps);
                address_s = self.planner.t;
            }
            let plan = self.planner.repetition(player, options, label, address_s);
            let through = plan.style == crate::body::drill::DrillStyle::Through;
            self.repetitions.push(plan);
            if through && !options.without_pause {
                let stay = self.uniform((0.1, 0.8));
                self.planner.hold(stay, 2.0);
                self.planner.come_home();
            }
        }
        self.planner.hold(0.8, 2.0);
        self.planner.stand_up(1.8);
    }
}
