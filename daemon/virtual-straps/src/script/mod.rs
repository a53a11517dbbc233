//! Scripted practice: what a player does in a session, and the session's straps.

mod drill;
mod lesson;
mod recorded;
mod session;

#[cfg(test)]
mod day_tests;
#[cfg(test)]
mod people_tests;
#[cfg(test)]
mod tests;

pub use recorded::RecordedOptions;
pub use session::{IdealSamples, Records, Session};

use super::body::Body;
use super::body::activities::STILL_SWAY_DPS;
use super::body::drill::{DrillOptions, RepetitionPlan};
use super::body::planner::Planner;
use super::body::player::PlayerParams;
use super::body::swing::{SwingPlan, SwingStyle, plan};
use super::body::variation::{Series, Vary};
use super::link::{LinkModel, Outage};
use super::rng::{Draw, Purpose};
use super::strap::clock::ClockModel;
use super::strap::sensor::SensorModel;
use super::strap::{Ringing, Sliding, Slip};
use peakorder_protocol::Role;
use peakorder_protocol::log::{Mark, MarkKind};
use std::sync::Arc;

/// The straps of a session.
#[derive(Debug, Clone, PartialEq)]
pub struct StrapOptions {
    /// Which segments wear one.
    pub roles: Vec<Role>,
    /// Nominal sample rate, Hz.
    pub rate_hz: f64,
    /// Samples in a notification.
    pub samples_per_packet: usize,
    /// Send the 20-byte form; needs one sample per packet.
    pub short_form: bool,
    /// Straps are worn up to this crooked, degrees, on any side and way up; 0 = exactly aligned.
    pub askew_deg: f64,
    /// Sensor errors.
    pub sensor: SensorModel,
    /// Pure delay of the sensor's digital filter, ms: a sample shows the motion of this much
    /// earlier. Must be what the strap's profile states (2.4 for the reference strap). A
    /// low-pass in `sensor` comes on top.
    pub group_delay_ms: f64,
    /// Oscillators.
    pub clock: ClockModel,
    /// Radio.
    pub link: LinkModel,
    /// Soft tissue under every strap.
    pub ringing: Option<Ringing>,
    /// Skin that slides under every strap.
    pub sliding: Option<Sliding>,
    /// Straps that are knocked.
    pub slips: Vec<(Role, Slip)>,
    /// Lost connections; in order of time for each strap.
    pub outages: Vec<(Role, Outage)>,
}

impl Default for StrapOptions {
    /// Three straps at 208 Hz, four samples a packet, worn as they come, good connection.
    fn default() -> Self {
        Self {
            roles: Role::ALL.to_vec(),
            rate_hz: 208.0,
            samples_per_packet: 4,
            short_form: false,
            askew_deg: 40.0,
            sensor: SensorModel::consumer(),
            group_delay_ms: 2.4,
            clock: ClockModel::common(),
            link: LinkModel::normal(),
            ringing: None,
            sliding: None,
            slips: Vec::new(),
            outages: Vec::new(),
        }
    }
}

/// How a practice session is made up.
#[expect(clippy::struct_excessive_bools, reason = "each is something that a practice may have or not")]
#[derive(Debug, Clone, PartialEq)]
pub struct PracticeOptions {
    /// Styles with their weights; full swings only if empty.
    pub styles: Vec<(SwingStyle, f64)>,
    /// Pause between a finish and the next address, seconds from…to.
    pub pause_s: (f64, f64),
    /// Still, bow and arm raise at the start.
    pub calibration: bool,
    /// Shake test (two quick turns and a stop) after the calibration.
    pub shake: bool,
    /// Waggle before some swings.
    pub waggles: bool,
    /// Tee up, walk and turn round in some pauses.
    pub interludes: bool,
    /// Stillness before takeaway, seconds from…to.
    pub still_s: (f64, f64),
    /// Sway at address instead of the player's own, deg/s RMS.
    pub address_sway_dps: Option<f64>,
    /// Label of the one block; empty = none.
    pub block: String,
    /// How alike a swing is to the one before: the correlation of each of its parameters with the same one
    /// a swing earlier, from 0 (each by itself) to below 1. The spread stays what it is.
    pub correlation: f64,
    /// How far every parameter drifts from the first swing to the last, evenly, in SDs of a swing. The first
    /// is where the player's habit is.
    pub drift: f64,
    /// After so many swings the straps are taken off, put on again and calibrated anew.
    pub wear_again_after: Option<u32>,
    /// After half of the swings comes a drill; the swings before it are the block `baseline`, those after it `after`.
    pub drill: Option<DrillOptions>,
}

impl Default for PracticeOptions {
    /// Full swings of a calibrated player with short pauses.
    fn default() -> Self {
        Self {
            styles: vec![(SwingStyle::Full, 1.0)],
            pause_s: (1.5, 3.0),
            calibration: true,
            shake: false,
            waggles: true,
            interludes: false,
            still_s: (0.8, 1.8),
            address_sway_dps: None,
            block: String::new(),
            correlation: 0.0,
            drift: 0.0,
            wear_again_after: None,
            drill: None,
        }
    }
}

impl PracticeOptions {
    /// Everything a practice has: all styles, rehearsals, teeing up, walking.
    pub fn varied() -> Self {
        Self {
            styles: vec![
                (SwingStyle::Full, 0.5),
                (SwingStyle::Half, 0.15),
                (SwingStyle::Slow, 0.1),
                (SwingStyle::OneHanded, 0.1),
                (SwingStyle::Rehearsal, 0.15),
            ],
            pause_s: (2.0, 5.0),
            interludes: true,
            ..Self::default()
        }
    }
}

/// What happens in a session: the body's whole motion, the marks, the swings.
#[derive(Debug, Clone)]
pub struct Script {
    seed: u64,
    player: PlayerParams,
    body: Arc<Body>,
    marks: Vec<Mark>,
    plans: Arc<[SwingPlan]>,
    repetitions: Arc<[RepetitionPlan]>,
    duration_s: f64,
    straps: StrapOptions,
}

/// Writes a script.
struct Writer {
    seed: u64,
    planner: Planner,
    plans: Vec<SwingPlan>,
    repetitions: Vec<RepetitionPlan>,
    block: String,
    /// What ties swings together, if anything does.
    series: Option<Series>,
}

impl Writer {
    fn new(seed: u64) -> Self {
        let timeline = Draw::new(seed, Purpose::Timeline, 0);
        let sway = Draw::new(seed, Purpose::Sway, 0);
        Self {
            seed,
            planner: Planner::new(timeline, sway),
            plans: Vec::new(),
            repetitions: Vec::new(),
            block: String::new(),
            series: None,
        }
    }

    fn block(&mut self, label: &str) {
        label.clone_into(&mut self.block);
        self.planner.mark(MarkKind::Block, label);
    }

    fn uniform(&mut self, span: (f64, f64)) -> f64 {
        self.planner.timeline.uniform(span.0, span.1)
    }

    /// Address, swing, finish held, upright again.
    fn swing(&mut self, player: &PlayerParams, style: SwingStyle, waggles: bool, still_s: (f64, f64)) {
        let number = self.plans.len() as u32 + 1;
        self.planner.take_address(player, waggles, self.series.as_mut());
        let still = self.uniform(still_s);
        self.planner.stay_at_address(player, still);
        let mut draw = Draw::new(self.seed, Purpose::Swing, u64::from(number));
        let mut vary = Vary::new(&mut draw, self.series.as_mut());
        let swing = plan(&mut self.planner, player, style, number, &self.block, &mut vary);
        self.plans.push(swing);
        let held = self.uniform((0.8, 1.8));
        self.planner.hold(held, 2.0);
        let lowering = self.uniform((1.8, 2.8));
        self.planner.stand_up(lowering);
    }

    fn finish(mut self, player: PlayerParams) -> Script {
        self.planner.hold(1.5, 1.5);
        let duration_s = self.planner.t;
        let (body, marks) = self.planner.finish(player.handedness, player.stature_m);
        Script {
            seed: self.seed,
            player,
            body: Arc::new(body),
            marks,
            plans: self.plans.into(),
            repetitions: self.repetitions.into(),
            duration_s,
            straps: StrapOptions::default(),
        }
    }
}

impl Script {
    /// A practice of `swings` swings of one player.
    ///
    /// Who plays and how is all in `player`; `seed` is the day: what varies from swing to swing, what happens
    /// between swings, how the straps sit, their sensors' errors, clocks and links. The same player with
    /// another seed is the same player on another day.
    pub fn practice(seed: u64, player: PlayerParams, swings: u32, options: &PracticeOptions) -> Self {
        let mut player = player;
        if let Some(sway) = options.address_sway_dps {
            player.address_sway_dps = sway;
        }
        let mut w = Writer::new(seed);
        if options.calibration {
            w.planner.calibrate(true);
        } else {
            w.planner.hold(2.0, STILL_SWAY_DPS);
        }
        if options.shake {
            w.planner.shake();
        }
        let block = if options.drill.is_some() { "baseline" } else { &options.block };
        if !block.is_empty() {
            w.block(block);
        }
        let total: f64 = options.styles.iter().map(|s| s.1.max(0.0)).sum();
        w.series = Series::new(options.correlation, options.drift);
        for i in 0..swings {
            if let Some(series) = &mut w.series {
                series.swing(i, swings);
            }
            if let Some(drill) = options.drill.as_ref().filter(|_| i == swings / 2) {
                w.drill(&player, drill, "drill");
                w.block("after");
            }
            if options.wear_again_after == Some(i) {
                w.planner.wear_again();
            }
            let pause = w.uniform(options.pause_s);
            w.planner.hold(pause, 2.5);
            if options.interludes && w.planner.timeline.chance(0.35) {
                interlude(&mut w.planner);
            }
            let mut left = w.uniform((0.0, total));
            let style = options.styles.iter().find_map(|&(style, weight)| {
                left -= weight.max(0.0);
                (left < 0.0).then_some(style)
            });
            let waggles = options.waggles && w.planner.timeline.chance(0.6);
            w.swing(&player, style.unwrap_or(SwingStyle::Full), waggles, options.still_s);
        }
        w.finish(player)
    }

    /// At least `duration_s` of what is not a swing: walking, turning round, bending,
    /// waggles, hip bumps, arm swings, trunk turns, standing about.
    pub fn not_swings(seed: u64, duration_s: f64) -> Self {
        let player = PlayerParams::drawn_from(super::Population::Amateur, seed);
        let mut w = Writer::new(seed);
        w.planner.calibrate(true);
        while w.planner.t < duration_s {
            no_swing(&mut w.planner, &player);
        }
        w.finish(player)
    }

    /// The same script with other straps.
    #[must_use]
    pub fn with_straps(mut self, straps: StrapOptions) -> Self {
        self.straps = straps;
        self
    }

    /// Who swings.
    pub const fn player(&self) -> &PlayerParams {
        &self.player
    }

    /// The straps it will be recorded with.
    pub const fn straps(&self) -> &StrapOptions {
        &self.straps
    }

    /// Length, seconds.
    pub const fn duration_s(&self) -> f64 {
        self.duration_s
    }

    /// The session as the host sees it.
    pub fn session(self) -> Session {
        Session::new(self)
    }
}

/// Something between two swings.
fn interlude(d: &mut Planner) {
    if d.timeline.chance(0.6) {
        d.tee_up();
    } else {
        let away = d.target(super::body::skeleton::Dof::Heading) + d.timeline.uniform(120.0, 220.0);
        d.face(away);
        let steps = d.timeline.uniform(1.5, 4.0);
        d.walk(steps);
        d.stand_up(0.8);
        let back = d.timeline.bounded(-170.0, 15.0);
        d.face(away + back);
        d.walk(steps);
        d.stand_up(0.8);
    }
}

/// One thing that is not a swing.
fn no_swing(d: &mut Planner, player: &PlayerParams) {
    match d.timeline.below(9) {
        0 => {
            let length = d.timeline.uniform(3.0, 12.0);
            d.walk(length);
            d.stand_up(0.8);
        }
        1 => {
            let turn = d.timeline.uniform(-220.0, 220.0);
            let heading = d.target(super::body::skeleton::Dof::Heading) + turn;
            d.face(heading);
        }
        2 => d.tee_up(),
        3 => {
            d.take_address(player, true, None);
            let still = d.timeline.uniform(0.5, 3.0);
            d.hold(still, player.address_sway_dps);
            let count = 1 + d.timeline.below(4);
            d.waggle(count);
            d.stand_up(2.0);
        }
        4 => {
            let count = 2 + d.timeline.below(3);
            d.hip_bump(count);
            d.stand_up(1.0);
        }
        5 => {
            let count = 2 + d.timeline.below(3);
            d.arm_swings(count);
            d.stand_up(1.0);
        }
        6 => {
            let seated = d.timeline.chance(0.5);
            let (thorax, pelvis) = (d.timeline.uniform(35.0, 75.0), d.timeline.uniform(20.0, 50.0));
            d.mobility_turn(seated, thorax, pelvis);
        }
        7 => {
            let rest = d.timeline.uniform(2.0, 10.0);
            d.hold(rest, 0.3);
        }
        _ => {
            let length = d.timeline.uniform(5.0, 15.0);
            d.idle(length);
            d.stand_up(1.2);
        }
    }
}
