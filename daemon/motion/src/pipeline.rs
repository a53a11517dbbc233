//! The one pipeline: records in, judged calibration steps and swings out.
//!
//! Live, replay, import and demo all push the same records through here. No I/O, no
//! clock, no randomness: the same records give the same swings, to the byte.

use super::attitude::{Attitude, attitude};
use super::bias::Settling;
use super::calibrate::Mounting;
use super::calibrate::slip::{AddressGravity, Moved};
use super::calibrate::steps::{StepSamples, judge};
use super::clock::time::SessionTime;
use super::detect::phases::{self, Phases};
use super::detect::signal::Tracks;
use super::detect::trigger::{Candidate, Trigger};
use super::measure::repetition_of::{self, Of};
use super::measure::{Context, Part, curves, follow, measure};
use super::mobility::Turns;
use super::repetition::{self, Drills, NotARepetition};
use super::segment::Segment;
use super::settings::Settings;
use super::shake::Worn;
use super::shift::hips::Hips;
use super::stream::{Counts, Received};
use super::window::{SegmentWindow, Window};
use peakorder_protocol::calibration::{CalibrationStep, JudgedStep};
use peakorder_protocol::curves::Curves;
use peakorder_protocol::log::{Arrival, Mark, MarkKind, Record, StrapEvent};
use peakorder_protocol::mobility::MobilityCheck;
use peakorder_protocol::profile::{DecodeError, Profile, ProfileError};
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::{Evidence, Swing};
use peakorder_protocol::{Handedness, Role, toml_line};
use std::collections::BTreeMap;

/// The window looked at reaches this far back from the fastest moment, s.
const WINDOW_BEFORE_S: f64 = 6.0;
/// … and at most this far on, s.
const WINDOW_AFTER_S: f64 = 2.5;
/// A shake test is over after this, also where its end was not marked, s.
const LONGEST_SHAKE_S: f64 = 20.0;
/// Samples of a guided movement may still be on their way when its end is marked, s.
const STEP_GRACE_S: f64 = 1.0;

/// What comes out.
#[derive(Debug, Clone)]
pub enum Output {
    /// A guided movement was judged.
    Calibration(JudgedStep),
    /// A block began.
    Block {
        /// Session time, s.
        t_s: f64,
        /// Label.
        label: String,
        /// It is of repetitions without a ball.
        drill: bool,
    },
    /// The straps were taken off and put on again.
    Wearing {
        /// Session time, s.
        t_s: f64,
        /// Which wearing begins; the first is 0.
        wearing: u32,
    },
    /// A strap's link or health changed, in the order of the log.
    Strap(StrapEvent),
    /// A swing was measured.
    Swing(Box<Swing>, Box<Curves>),
    /// A repetition of a drill was measured.
    Repetition(Box<Repetition>),
    /// A mobility check was measured, or has to be repeated.
    Mobility(Box<MobilityCheck>),
    /// A packet could not be decoded; it is in the log as it came.
    BadPacket {
        /// Session time, s.
        t_s: f64,
        /// Strap.
        role: Role,
        /// Why.
        error: DecodeError,
    },
    /// A turn back and forward in a drill was no repetition.
    NotARepetition {
        /// Session time, s.
        t_s: f64,
        /// Why.
        why: NotARepetition,
    },
    /// Something fast was not a swing.
    NotASwing {
        /// Session time, s.
        t_s: f64,
        /// Why.
        why: phases::Rejection,
    },
}

/// How a strap's stream stands.
#[derive(Debug, Clone, Copy)]
pub struct StreamFigures {
    /// Strap.
    pub role: Role,
    /// Totals.
    pub counts: Counts,
    /// Standard uncertainty of its alignment to a like strap, s.
    pub clock_sd_s: f64,
    /// Its clock is not settled yet.
    pub clock_settling: bool,
    /// Standard uncertainty of its gyroscope's bias about the least certain axis, rad/s.
    pub bias_sd_rad_s: f64,
    /// That bias is not settled yet.
    pub bias_settling: Option<Settling>,
}

/// Why a pipeline could not be set up.
#[derive(Debug, thiserror::Error)]
pub enum SetupError {
    /// A strap's profile in `session.toml` is not valid.
    #[error("{role} strap: {source}")]
    Profile {
        /// Strap.
        role: Role,
        /// Why.
        source: ProfileError,
    },
    /// The settings table in `session.toml` is not valid.
    #[error("settings: {0}")]
    Settings(String),
    /// No strap at all.
    #[error("the session has no straps")]
    NoStraps,
}

struct Block {
    from_s: f64,
    label: String,
    /// Of repetitions without a ball.
    drill: bool,
}

struct PendingStep {
    step: CalibrationStep,
    from_s: f64,
    to_s: f64,
}

/// The pipeline of one session.
pub struct Pipeline {
    session: String,
    handedness: Handedness,
    hips: Hips,
    settings: Settings,
    streams: Vec<Segment>,
    /// The segment that a drill is followed by.
    trunk: Role,
    trigger: Trigger,
    block: String,
    blocks: Vec<Block>,
    drills: Drills,
    last_back_deg: Option<f64>,
    /// Swings and repetitions.
    numbered: u32,
    repetitions: u32,
    started: BTreeMap<CalibrationStep, f64>,
    pending: Vec<PendingStep>,
    turns: Turns,
    not_before_s: f64,
    now_s: f64,
    address_gravity: BTreeMap<Role, AddressGravity>,
    worn: [Worn; 3],
    wearing: u32,
}

impl Pipeline {
    /// A pipeline for the straps, player and settings of `session`.
    pub fn new(session: &Session) -> Result<Self, SetupError> {
        let settings: Settings = toml::Value::Table(session.settings.clone())
            .try_into()
            .map_err(|e: toml::de::Error| SetupError::Settings(toml_line::explain("", &e)))?;
        if session.straps.is_empty() {
            return Err(SetupError::NoStraps);
        }
        let streams = session
            .straps
            .iter()
            .map(|(role, strap)| {
                let profile = Profile::from_toml(&strap.profile_toml)
                    .map_err(|source| SetupError::Profile { role: *role, source })?;
                Ok(Segment::new(*role, strap, &profile, &settings))
            })
            .collect::<Result<Vec<_>, _>>()?;
        Ok(Self {
            session: session.id.clone(),
            handedness: session.player.handedness,
            hips: Hips::of_breadth(session.player.hip_breadth_cm),
            trigger: Trigger::new(&settings),
            settings,
            trunk: if session.straps.contains_key(&Role::Thorax) { Role::Thorax } else { Role::Pelvis },
            streams,
            block: String::new(),
            blocks: vec![Block { from_s: f64::NEG_INFINITY, label: String::new(), drill: false }],
            drills: Drills::default(),
            last_back_deg: None,
            numbered: 0,
            repetitions: 0,
            started: BTreeMap::new(),
            pending: Vec::new(),
            turns: Turns::default(),
            not_before_s: f64::NEG_INFINITY,
            now_s: 0.0,
            address_gravity: BTreeMap::new(),
            worn: [Worn::default(); 3],
            wearing: 0,
        })
    }

    /// Takes one record, in the order of the log.
    pub fn push(&mut self, record: &Record, out: &mut Vec<Output>) {
        self.now_s = self.now_s.max(record.t_ns() as f64 * 1e-9);
        match record {
            Record::Arrival(arrival) => self.arrival(arrival, out),
            Record::Mark(mark) => self.mark(mark, out),
            Record::Strap(event) => self.strap_event(event, out),
        }
    }

    /// The recording has ended: whatever is pending is looked at as it is.
    pub fn finish(&mut self, out: &mut Vec<Output>) {
        self.settle(out);
    }

    /// Looks at whatever is pending as it is.
    fn settle(&mut self, out: &mut Vec<Output>) {
        self.run_steps(true, out);
        self.run_turns(true, out);
        if let Some(candidate) = self.trigger.pending() {
            self.look(candidate, out);
        }
        self.run_drills(true, out);
    }

    /// Number of swings so far; repetitions of drills are counted apart.
    pub fn swings(&self) -> u32 {
        self.numbered - self.repetitions
    }

    /// Number of repetitions of drills so far.
    pub fn repetitions(&self) -> u32 {
        self.repetitions
    }

    /// How the strap worn at `role` sits on its segment, once calibrated.
    pub fn mounting(&self, role: Role) -> Option<&Mounting> {
        self.streams.iter().find(|s| s.role() == role)?.mounting()
    }

    /// What is known of the strap worn at `role`.
    pub fn segment(&self, role: Role) -> Option<&Segment> {
        self.streams.iter().find(|s| s.role() == role)
    }

    /// How every segment stands at its newest sample, in the order of the session's straps; straps that have
    /// sent nothing are left out. Cheap; a live view asks as often as it draws.
    pub fn attitudes(&self) -> Vec<Attitude> {
        self.streams.iter().filter_map(|s| attitude(s, self.handedness)).collect()
    }

    /// Totals of each strap.
    pub fn counts(&self) -> impl Iterator<Item = (Role, Counts)> {
        self.streams.iter().map(|s| (s.role(), s.counts()))
    }

    /// How each strap's stream stands at session time `now_s`.
    pub fn streams(&self, now_s: f64) -> impl Iterator<Item = StreamFigures> {
        self.streams.iter().map(move |s| {
            let clock = s.clock().state(SessionTime::from_s(now_s));
            StreamFigures {
                role: s.role(),
                counts: s.counts(),
                clock_sd_s: clock.sd_s,
                clock_settling: clock.settling,
                bias_sd_rad_s: s.bias().sd_rad_s(),
                bias_settling: s.bias().settling(now_s),
            }
        })
    }

    /// What the last arrival of the strap worn at `role` brought: for observers of its stream.
    pub fn received(&self, role: Role) -> Option<Received<'_>> {
        Some(self.streams.iter().find(|s| s.role() == role)?.received())
    }

    fn arrival(&mut self, arrival: &Arrival, out: &mut Vec<Output>) {
        let handedness = self.handedness;
        let trigger = &mut self.trigger;
        let Some(stream) = self.streams.iter_mut().find(|s| s.role() == arrival.role) else { return };
        let aligned = stream.mounting().is_some();
        let role = arrival.role;
        stream.arrival(arrival, |t_s, rate| trigger.push(role, t_s, &rate, aligned, handedness));
        self.turns.collect(stream);
        if role == self.trunk {
            self.drills.collect(stream, handedness);
        }
        if let Some(error) = stream.received().error {
            out.push(Output::BadPacket { t_s: arrival.t_ns as f64 * 1e-9, role, error: error.clone() });
        }
        if !self.pending.is_empty() {
            self.run_steps(false, out);
        }
        self.run_turns(false, out);
        if let Some(candidate) = self.trigger.ready() {
            self.look(candidate, out);
        }
        if self.drills.is_open() {
            self.run_drills(false, out);
        }
    }

    fn strap_event(&mut self, event: &StrapEvent, out: &mut Vec<Output>) {
        out.push(Output::Strap(event.clone()));
        let Some(stream) = self.streams.iter_mut().find(|s| s.role() == event.role) else { return };
        stream.event(event);
    }

    fn mark(&mut self, mark: &Mark, out: &mut Vec<Output>) {
        let t_s = mark.t_ns as f64 * 1e-9;
        let (step, starts) = match mark.kind {
            MarkKind::StillStart => (CalibrationStep::Still, true),
            MarkKind::StillEnd => (CalibrationStep::Still, false),
            MarkKind::BowStart => (CalibrationStep::Bow, true),
            MarkKind::BowEnd => (CalibrationStep::Bow, false),
            MarkKind::ArmRaiseStart => (CalibrationStep::ArmRaise, true),
            MarkKind::ArmRaiseEnd => (CalibrationStep::ArmRaise, false),
            MarkKind::ShakeStart => (CalibrationStep::Shake, true),
            MarkKind::ShakeEnd => (CalibrationStep::Shake, false),
            MarkKind::Block | MarkKind::Drill => {
                let drill = mark.kind == MarkKind::Drill;
                self.block.clone_from(&mark.detail);
                self.blocks.push(Block { from_s: t_s, label: mark.detail.clone(), drill });
                self.streams.iter_mut().for_each(|s| s.set_in_drill(drill));
                if drill {
                    self.drills.start(t_s);
                    self.last_back_deg = None;
                } else {
                    self.drills.end(t_s);
                }
                out.push(Output::Block { t_s, label: mark.detail.clone(), drill });
                return;
            }
            MarkKind::TurnStart | MarkKind::TurnEnd => {
                if mark.kind == MarkKind::TurnStart {
                    self.turns.start(t_s, &mark.detail);
                } else {
                    self.turns.end(t_s);
                }
                self.not_before_s = self.not_before_s.max(t_s);
                return;
            }
            MarkKind::ReWear => {
                self.worn_anew(t_s, out);
                return;
            }
            MarkKind::Note => return,
        };
        if starts {
            self.started.insert(step, t_s);
        } else if let Some(from_s) = self.started.remove(&step) {
            self.pending.push(PendingStep { step, from_s, to_s: t_s });
        }
        // Nothing done for a calibration is a swing.
        self.not_before_s = self.not_before_s.max(t_s);
    }

    /// The straps were taken off and put on again: nothing that was found of how they sit holds any more.
    fn worn_anew(&mut self, t_s: f64, out: &mut Vec<Output>) {
        self.settle(out);
        self.streams.iter_mut().for_each(Segment::worn_anew);
        self.started.clear();
        self.drills.stop();
        if block_at(&self.blocks, t_s).drill {
            self.drills.start(t_s);
        }
        self.address_gravity.clear();
        self.worn = [Worn::default(); 3];
        // No window reaches from one wearing into the next.
        self.not_before_s = self.not_before_s.max(t_s);
        self.wearing += 1;
        out.push(Output::Wearing { t_s, wearing: self.wearing });
    }

    /// Judges the guided movements whose samples are all in.
    fn run_steps(&mut self, end: bool, out: &mut Vec<Output>) {
        let now_s = self.now_s;
        let ready = |p: &PendingStep, streams: &[Segment]| {
            end || now_s > p.to_s + STEP_GRACE_S || streams.iter().all(|s| s.latest_s() >= p.to_s)
        };
        while let Some(at) = self.pending.iter().position(|p| ready(p, &self.streams)) {
            let PendingStep { step, from_s, to_s } = self.pending.remove(at);
            for stream in &mut self.streams {
                let role = stream.role();
                if !step.concerns(role) {
                    continue;
                }
                let bias = stream.bias().bias();
                let (mut times_s, mut gyro, mut acc) = (Vec::new(), Vec::new(), Vec::new());
                for (t, s) in stream.between(from_s, to_s) {
                    times_s.push(t);
                    gyro.push(s.gyro - bias);
                    acc.push(s.acc);
                }
                let samples = StepSamples { times_s: &times_s, gyro_rad_s: &gyro, acc_m_s2: &acc };
                let outcome = judge(step, role, samples, stream.axes_mut());
                let worn = &mut self.worn[role.index()];
                if step == CalibrationStep::Shake {
                    worn.shaken(&outcome);
                } else if outcome.passed() && stream.refresh_mounting(to_s) {
                    self.address_gravity.remove(&role);
                    worn.seat_found_anew();
                }
                out.push(Output::Calibration(JudgedStep { t_s: to_s, step, role, outcome }));
            }
        }
    }

    /// Measures the mobility check whose samples are all in.
    fn run_turns(&mut self, end: bool, out: &mut Vec<Output>) {
        let valid_s = self.settings.calibration_valid_s;
        if let Some(check) = self.turns.take(self.now_s, end, &self.streams, self.handedness, valid_s) {
            out.push(Output::Mobility(Box::new(check)));
        }
    }

    /// Looks at a candidate.
    fn look(&mut self, candidate: Candidate, out: &mut Vec<Output>) {
        self.trigger.clear();
        // A shake test is as quick as a swing, and over before its end is marked.
        let shake = self.started.get(&CalibrationStep::Shake);
        let shaken = shake.is_some_and(|from_s| (0.0..LONGEST_SHAKE_S).contains(&(candidate.at_s - from_s)));
        if candidate.at_s <= self.not_before_s || shaken || self.turns.covers(candidate.at_s) {
            return;
        }
        let from_s = (candidate.at_s - WINDOW_BEFORE_S).max(self.not_before_s);
        let to_s = candidate.at_s + WINDOW_AFTER_S;
        let window = Window {
            segments: self.streams.iter().map(|s| SegmentWindow::cut(s, from_s, to_s, self.now_s)).collect(),
            handedness: self.handedness,
        };
        let find = |tracks: &Tracks| phases::find(tracks, &self.settings, candidate.at_s);
        // A strap that is lost in the middle of a swing must not cost the others theirs.
        let found = match Tracks::without_lost(&window).map(|tracks| find(&tracks)) {
            Some(Ok(phases)) => Ok(phases),
            _ => Tracks::new(&window).ok_or(phases::Rejection::NoOverlap).and_then(|tracks| find(&tracks)),
        };
        let phases = match found {
            Ok(phases) => phases,
            Err(why) => {
                out.push(Output::NotASwing { t_s: candidate.at_s, why });
                return;
            }
        };
        let parts = follow(&window, &phases);
        if !parts.iter().any(|p| p.window.role != Role::LeadArm) {
            out.push(Output::NotASwing { t_s: candidate.at_s, why: phases::Rejection::NoTrunk });
            return;
        }
        if let Some(deg) = upright_at_address(&parts, &phases) {
            out.push(Output::NotASwing { t_s: candidate.at_s, why: phases::Rejection::Upright(deg) });
            return;
        }
        let moved = self.moved(&parts);
        let number = self.numbered + 1;
        let Block { label: block, drill, .. } = block_at(&self.blocks, phases.moving_s);
        let context = Context {
            session: &self.session,
            number,
            block,
            wearing: self.wearing,
            settings: &self.settings,
            moved: &moved,
            worn: &self.worn,
            hips: &self.hips,
        };
        let measured = measure(&window, parts, &phases, &context);
        // A turn of a drill may be as brisk as a swing. A ball that was struck all the same is one.
        if *drill && measured.swing.events.impact.evidence != Evidence::ArmShock {
            return;
        }
        let curves = curves(&measured.parts, &phases);
        self.numbered = number;
        for stream in &mut self.streams {
            stream.zero_heading(phases.address_to_s);
            stream.address(phases.address_to_s);
        }
        self.not_before_s = phases.finish_s;
        out.push(Output::Swing(Box::new(measured.swing), Box::new(curves)));
    }

    /// Looks at the turns of a drill that are over.
    fn run_drills(&mut self, end: bool, out: &mut Vec<Output>) {
        // What was quick may have been a swing, and is looked at first.
        if self.trigger.pending().is_some() && !end {
            return;
        }
        while let Some(candidate) = self.drills.ready(&self.streams, self.now_s, end) {
            match self.repetition(&candidate) {
                Ok(Some(repetition)) => out.push(Output::Repetition(Box::new(repetition))),
                Ok(None) => {}
                Err(why) => out.push(Output::NotARepetition { t_s: candidate.back_s, why }),
            }
        }
    }

    /// Measures what `candidate` was; `None` where it lies in something else.
    fn repetition(
        &mut self,
        candidate: &repetition::Candidate,
    ) -> Result<Option<Repetition>, NotARepetition> {
        let Block { label, drill, .. } = block_at(&self.blocks, candidate.back_s);
        if !drill
            || candidate.from_s < self.not_before_s - repetition::OVERLAP_S
            || self.turns.covers(candidate.back_s)
        {
            return Ok(None);
        }
        let trunk = self.streams.iter().filter(|s| s.role() != Role::LeadArm);
        let (from_s, to_s) = (candidate.address_s[0] - 0.5, candidate.seen_s);
        let window = Window {
            segments: trunk.map(|s| SegmentWindow::cut(s, from_s, to_s, self.now_s)).collect(),
            handedness: self.handedness,
        };
        let (found, paths) = repetition::find(&window, candidate, self.last_back_deg)?;
        let of = Of {
            session: &self.session,
            number: self.numbered + 1,
            block: label,
            wearing: self.wearing,
            settings: &self.settings,
            worn: &self.worn,
        };
        let repetition = repetition_of::repetition(&window, paths, &found, &of);
        self.numbered += 1;
        self.repetitions += 1;
        self.last_back_deg = Some(found.back_deg);
        self.drills.found(candidate, found.back_deg);
        self.not_before_s = found.finish.t_s;
        if !candidate.chained {
            for stream in &mut self.streams {
                stream.zero_heading(candidate.address_s[1]);
            }
        }
        Ok(Some(repetition))
    }

    /// Straps whose gravity at address is not where it was over the swings since calibration.
    fn moved(&mut self, parts: &[Part<'_>]) -> Vec<(Role, Moved)> {
        let slip_deg = self.settings.slip_deg;
        parts
            .iter()
            .filter(|p| p.window.mounting.is_some())
            .filter_map(|part| {
                let gravity = self.address_gravity.entry(part.window.role).or_default();
                Some((part.window.role, gravity.look(part.path.address_up, slip_deg)?))
            })
            .collect()
    }
}

/// The block that session time `t_s` is in.
fn block_at(blocks: &[Block], t_s: f64) -> &Block {
    blocks.iter().rev().find(|b| b.from_s <= t_s).unwrap_or(&blocks[0])
}

/// A ball on the ground is addressed with the trunk bent forward; one that is kicked or thrown is not.
/// Below this, pelvis and thorax together, deg, no golf swing begins (own judgement: golfers stand at 30–60
/// for the two together, and stiff ones bend the more at the hips).
const UPRIGHT_DEG: f64 = 12.0;

/// How far forward pelvis and thorax lean at address, together, if less than any golfer does: that tells a
/// throw or a kick from a swing. The arm does not: a pitcher's swings as a golfer's does.
fn upright_at_address(parts: &[Part<'_>], phases: &Phases) -> Option<f64> {
    let lean = |role| {
        let part = parts.iter().find(|p| p.window.role == role)?;
        part.window.mounting?;
        part.path.at(&part.path.flexion_deg, phases.address_to_s)
    };
    let deg = lean(Role::Pelvis)? + lean(Role::Thorax)?;
    (deg < UPRIGHT_DEG).then_some(deg)
}
