//! A strap on the body: how it is worn, how it moves on the skin, what a strike does to it.

pub mod clock;
pub mod sensor;
mod sliding;

pub use sliding::Sliding;

use super::body::{Body, GRAVITY};
use super::rng::{Draw, Purpose};
use nalgebra::{Matrix3, Rotation3, Unit, Vector3};
use peakorder_protocol::Role;
use sliding::OnSlidingSkin;
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use std::sync::Arc;

/// One reading in the strap's own axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Session clock, seconds.
    pub t_s: f64,
    /// Angular velocity, rad/s.
    pub gyro_rad_s: [f64; 3],
    /// Specific force, m/s².
    pub accel_m_s2: [f64; 3],
}

/// The strap moves on soft tissue: a rotational spring and damper between segment and strap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ringing {
    /// Natural frequency, Hz (5–15).
    pub hz: f64,
    /// Damping ratio, below 1.
    pub damping: f64,
    /// How strongly the segment's angular acceleration drives it: 1 = a free mass on a
    /// spring, 0 = glued on.
    pub coupling: f64,
}

/// The strap is knocked and sits differently afterwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slip {
    /// When, session seconds.
    pub at_s: f64,
    /// By how much, degrees about a random axis.
    pub by_deg: f64,
}

/// How a strap is worn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mounting {
    /// Strap axes → segment axes.
    pub(crate) rotation: Matrix3<f64>,
    /// The strap's place relative to where it should be, in the segment, metres.
    pub(crate) offset: Vector3<f64>,
}

/// Each wearing has so many streams of random numbers.
const WEARING: u64 = 64;

/// A strap that is put on again gets from its old seat to its new one within this, s.
const PUT_ON_S: f64 = 3.0;

/// The strap is taken off and put on again.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PutOn {
    /// From when on, session seconds.
    pub(crate) at_s: f64,
    /// How it is worn then.
    pub(crate) mounting: Mounting,
    /// Which wearing it is; the first is 0.
    pub(crate) wearing: u64,
}

/// On the way from one seat to the next.
#[derive(Debug, Clone, Copy)]
struct BetweenSeats {
    from_s: f64,
    old: Matrix3<f64>,
    /// Whole turn, strap axes, rad.
    turn: Vector3<f64>,
}

impl BetweenSeats {
    /// Strap axes → segment axes, and the strap's own rate in its axes, rad/s.
    fn at(&self, t: f64) -> (Matrix3<f64>, Vector3<f64>) {
        let x = ((t - self.from_s) / PUT_ON_S).clamp(0.0, 1.0);
        let (done, rate) = (x * x * (3.0 - 2.0 * x), 6.0 * x * (1.0 - x) / PUT_ON_S);
        (self.old * Rotation3::new(self.turn * done).into_inner(), self.turn * rate)
    }
}

fn random_axis(draw: &mut Draw) -> Unit<Vector3<f64>> {
    let v = Vector3::new(draw.standard(), draw.standard(), draw.standard());
    Unit::try_new(v, 1e-9).unwrap_or_else(Vector3::y_axis)
}

impl Mounting {
    /// Worn as it comes: often upside down, on another side, and up to `askew_deg` crooked.
    pub(crate) fn drawn(seed: u64, role: Role, wearing: u64, askew_deg: f64) -> Self {
        let mut draw = Draw::new(seed, Purpose::Mounting, WEARING * wearing + role.index() as u64);
        let crooked =
            Rotation3::from_axis_angle(&random_axis(&mut draw), draw.uniform(0.0, askew_deg.to_radians()));
        let side = Rotation3::from_axis_angle(&Vector3::y_axis(), FRAC_PI_2 * draw.below(4) as f64);
        let turned_over = PI * draw.below(2) as f64;
        let over = Rotation3::from_axis_angle(&Vector3::x_axis(), turned_over);
        let offset = Vector3::from_fn(|_, _| draw.bounded(0.0, 0.015));
        if askew_deg > 0.0 {
            Self { rotation: (crooked * side * over).into_inner(), offset }
        } else {
            Self { rotation: Matrix3::identity(), offset: Vector3::zeros() }
        }
    }
}

/// What a strike does to one strap: a damped oscillation from impact on.
#[derive(Debug, Clone, Copy)]
struct Shock {
    accel: Vector3<f64>,
    gyro: Vector3<f64>,
    hz: f64,
    decay_s: f64,
}

/// A strike of club on ball. Sizes are assumptions: 5–15 g at 60–150 Hz on the arm, a tenth
/// of that or less on the trunk.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Strike {
    t_s: f64,
    shocks: [Shock; 3],
}

impl Strike {
    pub(crate) fn drawn(seed: u64, number: u32, t_s: f64) -> Self {
        let mut draw = Draw::new(seed, Purpose::Strike, u64::from(number));
        let hz = draw.uniform(60.0, 150.0);
        let shocks = [(0.3, 1.2), (0.5, 2.0), (5.0, 15.0)].map(|(weak_g, strong_g)| {
            let size_g = draw.uniform(weak_g, strong_g);
            let accel = random_axis(&mut draw).into_inner() * (size_g * GRAVITY);
            let kick_dps = size_g * draw.uniform(1.0, 3.0);
            let gyro = random_axis(&mut draw).into_inner() * kick_dps.to_radians();
            Shock { accel, gyro, hz: hz * draw.uniform(0.8, 1.2), decay_s: draw.uniform(0.008, 0.015) }
        });
        Self { t_s, shocks }
    }

    /// Shocks are over (below 0.1 %) after this time, seconds.
    const LASTS_S: f64 = 0.11;

    fn at(&self, role: Role, t: f64) -> Option<(Vector3<f64>, Vector3<f64>)> {
        let x = t - self.t_s;
        (0.0..Self::LASTS_S).contains(&x).then(|| {
            let shock = &self.shocks[role.index()];
            let size = (-x / shock.decay_s).exp() * (TAU * shock.hz * x).sin();
            (shock.accel * size, shock.gyro * size)
        })
    }
}

/// State of a strap on its spring, in the segment's axes.
#[derive(Debug, Clone, Copy)]
struct OnSkin {
    ringing: Ringing,
    t: f64,
    drive: Vector3<f64>,
    angle: Vector3<f64>,
    rate: Vector3<f64>,
}

impl OnSkin {
    /// Steps of the spring's integration, seconds; its period is at least 60 ms.
    const STEP_S: f64 = 0.0005;
    /// A longer gap between samples starts the spring anew, seconds.
    const GAP_S: f64 = 0.2;

    fn advance(&mut self, t: f64, drive: Vector3<f64>) {
        let length = t - self.t;
        if length > Self::GAP_S {
            (self.angle, self.rate) = (Vector3::zeros(), Vector3::zeros());
        } else {
            let n = (length / Self::STEP_S).ceil().max(1.0);
            let h = length / n;
            let w = TAU * self.ringing.hz;
            for i in 0..n as usize {
                let pull = self.drive.lerp(&drive, (i as f64 + 0.5) / n) * self.ringing.coupling;
                let spring = self.angle * (w * w) + self.rate * (2.0 * self.ringing.damping * w);
                self.rate -= (pull + spring) * h;
                self.angle += self.rate * h;
            }
        }
        (self.t, self.drive) = (t, drive);
    }
}

/// A segment vector in the axes of a strap that has turned by a small angle on the segment.
fn seen(angle: &Vector3<f64>, v: Vector3<f64>) -> Vector3<f64> {
    let turn = angle.cross(&v);
    v - turn + angle.cross(&turn) * 0.5
}

/// What an ideal sensor in a worn strap would read.
#[derive(Debug, Clone)]
pub(crate) struct WornStrap {
    body: Arc<Body>,
    role: Role,
    mounting: Mounting,
    slip: Option<(Slip, Unit<Vector3<f64>>)>,
    strikes: Arc<[Strike]>,
    next_strike: usize,
    skin: Option<OnSkin>,
    sliding: Option<OnSlidingSkin>,
    /// Skin of every wearing.
    skins: Option<Sliding>,
    seed: u64,
    /// Later wearings, the next one last.
    put_on: Vec<PutOn>,
    between: Option<BetweenSeats>,
}

impl WornStrap {
    pub(crate) fn new(
        body: Arc<Body>,
        role: Role,
        mounting: Mounting,
        strikes: Arc<[Strike]>,
        (ringing, sliding): (Option<Ringing>, Option<Sliding>),
        slip: Option<Slip>,
        seed: u64,
    ) -> Self {
        let mut draw = Draw::new(seed, Purpose::Mounting, 16 + role.index() as u64);
        let skin = ringing.map(|ringing| OnSkin {
            ringing,
            t: 0.0,
            drive: Vector3::zeros(),
            angle: Vector3::zeros(),
            rate: Vector3::zeros(),
        });
        let slip = slip.map(|slip| (slip, random_axis(&mut draw)));
        let skins = sliding;
        let sliding = Self::sliding(skins, seed, role, 0);
        let (put_on, between) = (Vec::new(), None);
        Self {
            body,
            role,
            mounting,
            slip,
            strikes,
            next_strike: 0,
            skin,
            sliding,
            skins,
            seed,
            put_on,
            between,
        }
    }

    fn sliding(skins: Option<Sliding>, seed: u64, role: Role, wearing: u64) -> Option<OnSlidingSkin> {
        let mut draw = Draw::new(seed, Purpose::Mounting, WEARING * wearing + 32 + role.index() as u64);
        skins.map(|s| OnSlidingSkin::new(s, role, &mut draw))
    }

    /// It is put on again at these times, in their order.
    pub(crate) fn with_later(mut self, put_on: impl DoubleEndedIterator<Item = PutOn>) -> Self {
        self.put_on = put_on.rev().collect();
        self
    }

    fn seat(&mut self, t: f64) -> Vector3<f64> {
        if let Some(next) = self.put_on.pop_if(|next| t >= next.at_s) {
            let turn =
                Rotation3::from_matrix_unchecked(self.mounting.rotation.transpose() * next.mounting.rotation);
            self.between = Some(BetweenSeats {
                from_s: next.at_s,
                old: self.mounting.rotation,
                turn: turn.scaled_axis(),
            });
            self.mounting.offset = next.mounting.offset;
            self.sliding = Self::sliding(self.skins, self.seed, self.role, next.wearing);
        }
        let Some(between) = &self.between else { return Vector3::zeros() };
        let (rotation, rate) = between.at(t);
        self.mounting.rotation = rotation;
        if t > between.from_s + PUT_ON_S {
            self.between = None;
        }
        rate
    }

    /// Angular velocity (rad/s) and specific force (m/s²) in the strap's axes at `t`, which
    /// must not run backwards.
    pub(crate) fn read(&mut self, t: f64) -> (Vector3<f64>, Vector3<f64>) {
        if let Some((slip, axis)) = self.slip.filter(|(slip, _)| t >= slip.at_s) {
            let knock = Rotation3::from_axis_angle(&axis, slip.by_deg.to_radians());
            self.mounting.rotation *= knock.into_inner();
            self.slip = None;
        }
        let own_rate = self.seat(t);
        let (frame, point) = self.body.strap_point(self.role, self.mounting.offset, t);
        let inverse = frame.rotation.transpose();
        let mut omega = inverse * frame.omega;
        let mut force = inverse * (point.acceleration + Vector3::new(0.0, GRAVITY, 0.0));
        if let Some(skin) = &mut self.skin {
            skin.advance(t, inverse * frame.alpha);
            omega = seen(&skin.angle, omega + skin.rate);
            force = seen(&skin.angle, force);
        }
        if let Some(sliding) = &mut self.sliding {
            let (angle, rate) = sliding.advance(t, self.body.own_turn(self.role, t));
            omega = seen(&angle, omega + rate);
            force = seen(&angle, force);
        }
        while self.strikes.get(self.next_strike).is_some_and(|s| t >= s.t_s + Strike::LASTS_S) {
            self.next_strike += 1;
        }
        if let Some((accel, gyro)) = self.strikes.get(self.next_strike).and_then(|s| s.at(self.role, t)) {
            force += accel;
            omega += gyro;
        }
        let to_strap = self.mounting.rotation.transpose();
        (to_strap * omega + own_rate, to_strap * force)
    }
}
