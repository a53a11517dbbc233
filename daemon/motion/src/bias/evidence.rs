//! What shows a gyroscope bias on a moving body.
//!
//! * **Gravity.** Between two quiet moments the gyroscope says how gravity has moved in the strap; the
//!   accelerometer says where it is. It shows the bias across the vertical, and once the strap has been held
//!   otherwise, along it too.
//! * **Standing.** A standing body turns about the vertical by about as much as it tilts, which the
//!   accelerometer shows. Or it turns slowly, and then nothing is shown.
//! * **Target.** The trunk faces one target at successive addresses. Or the target has moved.
//!
//! Figures without another source are own judgement, tried on real swings with other seeds than those
//! the product is scored on.

use super::chunk::Chunk;
use super::mixture::{Before, Mixture, Row, bias_covariance, bias_of};
use crate::rest::still;
use nalgebra::{Matrix3, Rotation3, Vector3};
use peakorder_protocol::Role;
use peakorder_protocol::estimate::STANDARD_GRAVITY_M_S2 as G_M_S2;
use std::collections::VecDeque;

const DEG: f64 = std::f64::consts::PI / 180.0;

/// Bias before anything was seen, and the most it can be uncertain by: consumer gyroscopes are within a few
/// deg/s.
const UNKNOWN_SD: f64 = 3.0 * DEG;
/// A bias moves by about 0.1 deg/s in a minute; variance per second, (rad/s)²/s. A strap that warms up moves
/// by half a degree per second in its first minutes.
const WANDER: f64 = 0.1 * DEG * 0.1 * DEG / 60.0;
/// A strap that was switched on again has another bias, by this.
const SWITCHED_ON_SD: f64 = 0.5 * DEG;
/// A bias jumps once in so many rows of standing.
const JUMPS: f64 = 0.0001;

/// Gravity is compared over at least and at most this, s.
const APART_S: f64 = 0.98;
const APART_MOST_S: f64 = 25.0;
/// A moment shows gravity where the specific force varies by less than this (SD), m/s², and the strap turns
/// slower than this, rad/s.
const ANCHOR_ACC_SD_M_S2: f64 = 0.5;
const ANCHOR_RATE: f64 = 60.0 * DEG;
/// It shows it to this at best, rad: a body that balances accelerates.
const ANCHOR_SD: f64 = 0.1 * DEG;
/// Scale and axes of a gyroscope: error per angle between the ends, and per path turned.
const SCALE_OF_ANGLE: f64 = 0.004;
const SCALE_OF_PATH: f64 = 0.001;
/// An accelerometer's bias shows as gravity moves in the strap, rad (8 mg).
const ACC_BIAS: f64 = 0.46 * DEG;
/// White noise of a good gyroscope, rad²/s (0.007 deg/s/√Hz); a noisier one shows its own.
const LEAST_NOISE: f64 = 0.007 * DEG * 0.007 * DEG;

/// A row of standing lasts so many chunks, at least that many where it breaks off.
const STANDING_CHUNKS: usize = 8;
const STANDING_LEAST_CHUNKS: usize = 4;
/// Tilt over one: 0.35 deg until the body has shown its own, worth so many observations.
const TILT_SD: f64 = 0.35 * DEG;
const TILT_WORTH: f64 = 4.0;
/// Two ends of it show a tilt no better than this, rad.
const TILT_READ_SD: f64 = 0.03 * DEG;
/// How fast a body turns that turns slowly, rad/s (SD) …
const SLOW_TURN: f64 = 2.5 * DEG;
/// … by how much that changes from row to row …
const TURN_CHANGES: f64 = 1.0 * DEG;
/// … and how likely it does: as the recording begins, as a body comes to a stand, while it stands, and
/// while it turns already.
const TURNS_FIRST: f64 = 0.5;
const TURNS_AFTER_BREAK: f64 = 0.12;
const TURNS_STANDING: f64 = 0.05;
const TURNS_ON: f64 = 0.8;

/// Addresses face one heading within 3 deg until the player has shown their own, worth so many.
const TARGET_SD: f64 = 3.0 * DEG;
const TARGET_WORTH: f64 = 3.0;
/// A target that has moved has moved by this, and it does so between this share of addresses.
const MOVED_SD: f64 = 20.0 * DEG;
const MOVED: f64 = 0.06;
/// Reading a heading adds this, rad.
const HEADING_SD: f64 = 0.3 * DEG;
/// Chunks kept to compare addresses by (100 s).
const KEPT: usize = 400;

/// What differs between trunk and arm.
#[derive(Debug, Clone, Copy)]
struct Body {
    /// It turns about the vertical by this times as much as it tilts.
    turns_per_tilt: f64,
    /// Turning at a rate it shows a false tilt, rad per rad/s: a turning body sways.
    tilt_per_rate_s: f64,
    /// The strap is about so far from what it turns about, m.
    lever_m: f64,
    /// It faces a target at address.
    faces_target: bool,
}

impl Body {
    fn at(role: Role) -> Self {
        match role {
            Role::Pelvis | Role::Thorax => {
                Self { turns_per_tilt: 2.0, tilt_per_rate_s: 0.05, lever_m: 0.5, faces_target: true }
            }
            Role::LeadArm => {
                Self { turns_per_tilt: 4.0, tilt_per_rate_s: 0.15, lever_m: 0.5, faces_target: false }
            }
        }
    }
}

/// A variance known from a guess and what was seen.
#[derive(Debug, Clone, Copy)]
struct Variance {
    n: f64,
    sum: f64,
}

impl Variance {
    fn guessed(sd: f64, worth: f64) -> Self {
        Self { n: worth, sum: worth * sd * sd }
    }

    fn get(&self) -> f64 {
        self.sum / self.n
    }

    /// One more square, counted `weight` times; nothing seen counts more than three SDs.
    fn see(&mut self, square: f64, weight: f64) {
        let square = square.min(9.0 * self.get());
        self.n += weight;
        self.sum += weight * square;
    }
}

/// The way from one chunk's start to a later one's.
struct Way {
    turned: Rotation3<f64>,
    lever: Matrix3<f64>,
    seconds: f64,
    /// Variance of the rotation by scale, noise, holes and a bias that wanders, rad².
    variance: f64,
}

/// Evidence taken so far, and what is known by it.
#[derive(Debug, Clone)]
pub struct Evidence {
    body: Body,
    known: Mixture,
    bias: Vector3<f64>,
    covariance: Matrix3<f64>,
    chunks: VecDeque<Chunk>,
    /// Number of the chunk at the front.
    first: u64,
    updated_s: Option<f64>,
    /// Last chunk that showed gravity.
    anchor: Option<u64>,
    /// First chunk of the stretch stood still, and whether a row of it was taken.
    standing: Option<u64>,
    stood: bool,
    /// No standing was seen since the strap was switched on.
    fresh: bool,
    tilt: Variance,
    target: Variance,
    address: Option<u64>,
    noise: f64,
}

impl Evidence {
    /// For a strap worn at `role`.
    pub fn new(role: Role) -> Self {
        let mut known = Mixture::new(UNKNOWN_SD);
        let target = Variance::guessed(TARGET_SD, TARGET_WORTH);
        known.forget_heading(target.get());
        let covariance = bias_covariance(&known.moments().1);
        Self {
            body: Body::at(role),
            known,
            bias: Vector3::zeros(),
            covariance,
            chunks: VecDeque::new(),
            first: 0,
            updated_s: None,
            anchor: None,
            standing: None,
            stood: false,
            fresh: true,
            tilt: Variance::guessed(TILT_SD, TILT_WORTH),
            target,
            address: None,
            noise: LEAST_NOISE,
        }
    }

    /// Bias and covariance, rad/s and its square.
    pub fn bias(&self) -> (Vector3<f64>, Matrix3<f64>) {
        (self.bias, self.covariance)
    }

    /// The strap was switched on, perhaps again.
    pub fn restarted(&mut self) {
        if self.updated_s.is_some() {
            self.wander(SWITCHED_ON_SD.powi(2));
            self.fresh = true;
            self.interrupt();
        }
    }

    /// Headings and standing before are no evidence of what comes now.
    pub fn interrupt(&mut self) {
        self.first += self.chunks.len() as u64;
        self.chunks.clear();
        (self.anchor, self.standing, self.address) = (None, None, None);
    }

    /// Takes the chunk that has just ended.
    pub fn chunk(&mut self, chunk: Chunk) {
        if !chunk.follows {
            self.interrupt();
        }
        let now_s = chunk.from_s + chunk.seconds;
        let since_s = (now_s - self.updated_s.unwrap_or(now_s)).max(0.0);
        self.updated_s = Some(now_s);
        self.wander(WANDER * since_s);
        let quiet = still(&chunk.stillness);
        if quiet {
            let step_s = chunk.seconds / chunk.stillness.samples();
            let noise = (chunk.stillness.rate_noise() / 3.0 * step_s).max(LEAST_NOISE);
            self.noise += 0.1 * (noise - self.noise);
        }
        self.chunks.push_back(chunk);
        let at = self.first + self.chunks.len() as u64 - 1;
        let compared = self.gravity(at).is_some();
        if self.stand(at, quiet) || compared {
            self.summarise();
        }
        if self.chunks.len() > KEPT {
            self.chunks.pop_front();
            self.first += 1;
        }
    }

    /// The bias may have moved by this variance on each axis.
    fn wander(&mut self, variance: f64) {
        self.known.wander(variance, UNKNOWN_SD.powi(2));
        for i in 0..3 {
            let v = self.covariance[(i, i)];
            self.covariance[(i, i)] = v.max((v + variance).min(UNKNOWN_SD.powi(2)));
        }
    }

    fn summarise(&mut self) {
        let (mean, covariance) = self.known.moments();
        self.bias = bias_of(&mean);
        self.covariance = bias_covariance(&covariance);
    }

    fn get(&self, at: u64) -> Option<&Chunk> {
        self.chunks.get(usize::try_from(at.checked_sub(self.first)?).ok()?)
    }

    /// Up in the frame at a chunk's start, as its accelerometer has it.
    fn up(&self, at: u64) -> Option<Vector3<f64>> {
        self.get(at)?.force.try_normalize(0.1 * G_M_S2)
    }

    /// From the start of one chunk to the start of another, with the bias known now.
    fn way(&self, from: u64, to: u64) -> Option<Way> {
        let lo = usize::try_from(from.checked_sub(self.first)?).ok()?;
        let hi = usize::try_from(to.checked_sub(self.first)?).ok()?;
        let mut turned = Rotation3::identity();
        let mut lever = Matrix3::zeros();
        let (mut seconds, mut path, mut variance) = (0.0, 0.0, 0.0);
        for chunk in self.chunks.range(lo..hi) {
            lever += turned.matrix() * chunk.lever;
            turned *= chunk.with_bias(&self.bias);
            seconds += chunk.seconds;
            path += chunk.path_rad;
            variance += chunk.hole_var;
        }
        variance += (SCALE_OF_ANGLE * turned.angle()).powi(2)
            + (SCALE_OF_PATH * path).powi(2)
            + self.noise * seconds
            + WANDER * seconds.powi(3) / 3.0;
        Some(Way { turned, lever, seconds, variance })
    }

    /// Variance of the direction of gravity that a chunk shows, rad²; none where it shows nothing.
    fn anchor_variance(&self, at: u64) -> Option<f64> {
        let chunk = self.get(at)?;
        if chunk.stillness.acc_moves() > ANCHOR_ACC_SD_M_S2.powi(2) || chunk.fastest > ANCHOR_RATE {
            return None;
        }
        let rate = chunk.path_rad / chunk.seconds;
        // Going round and going round faster, at the end of a lever.
        let swung = (rate * rate + chunk.rate_changed / chunk.seconds) * self.body.lever_m / G_M_S2;
        Some(
            ANCHOR_SD.powi(2)
                + chunk.force_var / (G_M_S2 * G_M_S2)
                + (self.body.tilt_per_rate_s * rate).powi(2)
                + swung * swung,
        )
    }

    /// Gravity at this chunk against that at the last that showed it.
    fn gravity(&mut self, at: u64) -> Option<()> {
        let here = self.anchor_variance(at)?;
        let Some(last) = self.anchor else {
            self.anchor = Some(at);
            return None;
        };
        let apart_s = self.get(at)?.from_s - self.get(last).map_or(f64::NEG_INFINITY, |c| c.from_s);
        if apart_s < APART_S {
            return None;
        }
        self.anchor = Some(at);
        if apart_s > APART_MOST_S {
            return None;
        }
        let way = self.way(last, at)?;
        let (before, now) = (self.up(last)?, self.up(at)?);
        let off = way.turned * now - before;
        let moved = ACC_BIAS * (now - before).norm();
        let variance = self.anchor_variance(last)? + here + way.variance + moved * moved;
        let aside = if before.x.abs() < 0.8 { Vector3::x() } else { Vector3::y() };
        let across = before.cross(&aside).normalize();
        for axis in [across, before.cross(&across)] {
            let along = way.lever.transpose() * before.cross(&axis);
            let value = along.dot(&self.bias) + off.dot(&axis);
            self.known.take_robustly(&Row::of_bias(&along, value, variance));
        }
        Some(())
    }

    /// Standing still: rows of two seconds, and one of what is left when it ends. Gives whether one was taken.
    fn stand(&mut self, at: u64, quiet: bool) -> bool {
        let Some(from) = self.standing else {
            (self.standing, self.stood) = (quiet.then_some(at), false);
            return false;
        };
        let stood = (at - from) as usize;
        if quiet && stood == STANDING_CHUNKS {
            let taken = self.stood_still(from, at).is_some();
            (self.standing, self.stood) = (Some(at), true);
            return taken;
        }
        if quiet {
            return false;
        }
        self.standing = None;
        stood > STANDING_LEAST_CHUNKS && self.stood_still(from, at - 1).is_some()
    }

    fn stood_still(&mut self, from: u64, to: u64) -> Option<()> {
        let way = self.way(from, to)?;
        let (before, now) = (self.up(from)?, self.up(to)?);
        let along = way.lever.transpose() * before;
        let value = along.dot(&self.bias) + way.turned.scaled_axis().dot(&before);
        let tilt = 0.5 * (now - before).norm_squared();
        let variance = self.body.turns_per_tilt.powi(2) * self.tilt.get().max(tilt)
            + self.noise * way.seconds
            + TILT_READ_SD.powi(2);
        if tilt < 25.0 * self.tilt.get() {
            self.tilt.see(tilt, 1.0);
        }
        let (first, after_break) = (self.fresh, !self.stood);
        self.fresh = false;
        let row = Row::of_standing(&along, way.seconds, value, variance);
        let on = Before::TurnsOn(TURN_CHANGES.powi(2));
        self.known.branch(&row, |turning| {
            let turns = match (first, after_break, turning) {
                (true, ..) => TURNS_FIRST,
                (_, true, _) => TURNS_AFTER_BREAK,
                (.., true) => TURNS_ON,
                _ => TURNS_STANDING,
            };
            [
                (1.0 - turns - JUMPS, Before::Stands),
                (turns, if turning && !after_break { on } else { Before::BeganToTurn(SLOW_TURN.powi(2)) }),
                (JUMPS, Before::BiasJumped(UNKNOWN_SD.powi(2))),
            ]
        });
        Some(())
    }

    /// A swing was found whose address ended at session time `t_s`.
    pub fn address(&mut self, t_s: f64) {
        if !self.body.faces_target {
            return;
        }
        let at = self.chunks.partition_point(|c| c.from_s + c.seconds < t_s);
        let Some(at) = at.checked_sub(1).map(|i| self.first + i as u64) else { return };
        let known =
            self.address.replace(at).filter(|last| *last < at).and_then(|last| self.same_target(last, at));
        if known.is_none() {
            self.known.forget_heading(self.target.get());
        }
        self.summarise();
    }

    fn same_target(&mut self, last: u64, at: u64) -> Option<()> {
        let way = self.way(last, at)?;
        let up = self.up(last)?;
        // Twist about the vertical (any textbook on quaternions).
        let q = nalgebra::UnitQuaternion::from_rotation_matrix(&way.turned);
        let twist = 2.0 * q.imag().dot(&up).atan2(q.w);
        let turned = twist.sin().atan2(twist.cos());
        let along = way.lever.transpose() * up;
        self.known.turn(turned + along.dot(&self.bias), &along, way.variance + HEADING_SD.powi(2));
        let (mean, covariance) = self.known.moments();
        let (square, known_to, alike) = (mean[3] * mean[3], covariance[(3, 3)], self.target.get());
        let moved = Before::TargetMoved(MOVED_SD * MOVED_SD);
        self.known.branch(&Row::on_target(alike), |_| [(1.0 - MOVED, Before::Nothing), (MOVED, moved)]);
        // What the headings scatter by, as far as the gyroscope could show it.
        let seen = if known_to < 9.0 * alike { (square - known_to).max(0.0) } else { alike };
        self.target.see(seen, alike / (alike + known_to));
        Some(())
    }
}
