//! One degree of freedom as an exact function of time.

use std::f64::consts::PI;

/// A value with its first and second time derivative.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Jet {
    /// Value (radians or metres).
    pub value: f64,
    /// First derivative, per second.
    pub rate: f64,
    /// Second derivative, per second squared.
    pub accel: f64,
}

impl Jet {
    /// The jet of `factor` times the quantity.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, rate: self.rate * factor, accel: self.accel * factor }
    }

    fn add(&mut self, other: Self) {
        self.value += other.value;
        self.rate += other.rate;
        self.accel += other.accel;
    }
}

/// How a step gets from 0 to 1 while its own time runs from 0 to 1. All shapes start and
/// end at rest with zero acceleration or a continuous one, so every angle is at least C².
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Quintic with zero speed and acceleration at both ends (Flash T, Hogan N 1985,
    /// J Neurosci 5:1688, minimum-jerk movement).
    MinJerk,
    /// Rate rises and falls as raised cosines; `rise` is the share of the time before the peak.
    RaisedCosine {
        /// 0…1.
        rise: f64,
    },
    /// Rate is the bell `140 (w (1 − w))³ · w'` with the time warp `w = x + c x (1 − x)`,
    /// `c` = `warp`: smooth to the second derivative of the rate, and asymmetric.
    Bell {
        /// −0.95…0.95; 0 is symmetric, positive peaks early.
        warp: f64,
    },
}

/// Families of pulse that speeds can have, so that nothing is tuned to one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// [`Shape::RaisedCosine`].
    RaisedCosine,
    /// [`Shape::Bell`].
    Bell,
}

impl Shape {
    /// The shape of a family whose rate peaks at `position` (0…1) of its duration. The bell
    /// reaches 0.28…0.72; beyond that its end is taken.
    pub fn peaking_at(family: Family, position: f64) -> Self {
        match family {
            Family::RaisedCosine => Self::RaisedCosine { rise: position.clamp(0.05, 0.95) },
            Family::Bell => {
                // The rate's logarithmic slope at `position` falls as the warp grows.
                let slope = |c: f64| {
                    let w = position + c * position * (1.0 - position);
                    let dw = 1.0 + c * (1.0 - 2.0 * position);
                    3.0 * (1.0 - 2.0 * w) * dw * dw - 2.0 * c * w * (1.0 - w)
                };
                let (mut low, mut high) = (-0.95, 0.95);
                for _ in 0..60 {
                    let mid = 0.5 * (low + high);
                    if slope(mid) > 0.0 {
                        low = mid;
                    } else {
                        high = mid;
                    }
                }
                Self::Bell { warp: 0.5 * (low + high) }
            }
        }
    }

    /// Largest share of the duration before the peak that a family can express, and the smallest.
    pub const fn peak_range(family: Family) -> (f64, f64) {
        match family {
            Family::RaisedCosine => (0.05, 0.95),
            Family::Bell => (0.285, 0.715),
        }
    }

    /// Progress, rate and second derivative at own time `x` in 0…1.
    pub fn at(self, x: f64) -> Jet {
        match self {
            Self::MinJerk => {
                let y = 1.0 - x;
                Jet {
                    value: x * x * x * (10.0 + x * (-15.0 + 6.0 * x)),
                    rate: 30.0 * x * x * y * y,
                    accel: 60.0 * x * y * (1.0 - 2.0 * x),
                }
            }
            Self::RaisedCosine { rise } if x < rise => {
                let (s, c) = (PI * x / rise).sin_cos();
                Jet { value: x - rise / PI * s, rate: 1.0 - c, accel: PI / rise * s }
            }
            Self::RaisedCosine { rise } => {
                let fall = 1.0 - rise;
                let (s, c) = (PI * (x - rise) / fall).sin_cos();
                Jet { value: x + fall / PI * s, rate: 1.0 + c, accel: -PI / fall * s }
            }
            Self::Bell { warp } => {
                let w = x + warp * x * (1.0 - x);
                let dw = 1.0 + warp * (1.0 - 2.0 * x);
                let ddw = -2.0 * warp;
                let v = w * (1.0 - w);
                let bell = 140.0 * v * v * v;
                let slope = 420.0 * v * v * (1.0 - 2.0 * w);
                Jet {
                    value: w.powi(4) * (35.0 + w * (-84.0 + w * (70.0 - 20.0 * w))),
                    rate: bell * dw,
                    accel: slope * dw * dw + bell * ddw,
                }
            }
        }
    }
}

/// A contribution to a degree of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Piece {
    /// 0 before `start_s`, `delta` after `start_s + duration_s`, `shape` between.
    Step {
        /// When it begins, seconds.
        start_s: f64,
        /// How long it takes, seconds.
        duration_s: f64,
        /// By how much the value changes.
        delta: f64,
        /// On which way.
        shape: Shape,
    },
    /// A sine that fades in and out over `ramp_s`; 0 outside its interval.
    Wave {
        /// When it begins, seconds.
        start_s: f64,
        /// When it has ended, seconds.
        end_s: f64,
        /// Fading time at either end, seconds.
        ramp_s: f64,
        /// Amplitude.
        amplitude: f64,
        /// Angular frequency, rad/s.
        omega: f64,
        /// Phase at `start_s`, radians.
        phase: f64,
    },
}

impl Piece {
    fn span(&self) -> (f64, f64) {
        match *self {
            Self::Step { start_s, duration_s, .. } => (start_s, start_s + duration_s),
            Self::Wave { start_s, end_s, .. } => (start_s, end_s),
        }
    }

    fn settled(&self) -> f64 {
        match *self {
            Self::Step { delta, .. } => delta,
            Self::Wave { .. } => 0.0,
        }
    }

    /// Contribution at time `t`, seconds.
    pub fn at(&self, t: f64) -> Jet {
        match *self {
            Self::Step { start_s, duration_s, delta, shape } => {
                let x = (t - start_s) / duration_s;
                if x <= 0.0 {
                    return Jet::default();
                }
                if x >= 1.0 {
                    return Jet { value: delta, ..Jet::default() };
                }
                let unit = shape.at(x);
                Jet {
                    value: delta * unit.value,
                    rate: delta * unit.rate / duration_s,
                    accel: delta * unit.accel / (duration_s * duration_s),
                }
            }
            Self::Wave { start_s, end_s, ramp_s, amplitude, omega, phase } => {
                if t <= start_s || t >= end_s {
                    return Jet::default();
                }
                let (s, c) = (omega * (t - start_s) + phase).sin_cos();
                let sine = Jet {
                    value: amplitude * s,
                    rate: amplitude * omega * c,
                    accel: -amplitude * omega * omega * s,
                };
                let (x, sign) = if t - start_s < ramp_s {
                    ((t - start_s) / ramp_s, 1.0)
                } else if end_s - t < ramp_s {
                    ((end_s - t) / ramp_s, -1.0)
                } else {
                    return sine;
                };
                let fade = Shape::MinJerk.at(x);
                let (e, de, dde) = (fade.value, sign * fade.rate / ramp_s, fade.accel / (ramp_s * ramp_s));
                Jet {
                    value: e * sine.value,
                    rate: de * sine.value + e * sine.rate,
                    accel: dde * sine.value + 2.0 * de * sine.rate + e * sine.accel,
                }
            }
        }
    }
}

/// Sum of `pieces` at time `t`.
pub(crate) fn sum(pieces: &[Piece], t: f64) -> Jet {
    let mut total = Jet::default();
    for piece in pieces {
        total.add(piece.at(t));
    }
    total
}

/// A stretch of time in which the same pieces move.
#[derive(Debug, Clone)]
struct Interval {
    start_s: f64,
    settled: f64,
    moving: Vec<Piece>,
}

/// A degree of freedom over the whole session.
#[derive(Debug, Clone)]
pub struct Channel {
    intervals: Vec<Interval>,
}

impl Channel {
    /// Indexes pieces by time. The sum of all of them and `initial` is the channel's value.
    pub fn new(initial: f64, pieces: &[Piece]) -> Self {
        let mut cuts: Vec<f64> = pieces.iter().flat_map(|p| <[f64; 2]>::from(p.span())).collect();
        cuts.push(f64::NEG_INFINITY);
        cuts.sort_by(f64::total_cmp);
        cuts.dedup();
        // Pieces in order of their start. Those that have ended are dropped on the way.
        let mut waiting: Vec<&Piece> = pieces.iter().collect();
        waiting.sort_by(|a, b| b.span().0.total_cmp(&a.span().0));
        let mut moving: Vec<Piece> = Vec::new();
        let mut settled = initial;
        let mut intervals = Vec::with_capacity(cuts.len());
        for start_s in cuts {
            moving.retain(|p| {
                let ended = p.span().1 <= start_s;
                if ended {
                    settled += p.settled();
                }
                !ended
            });
            while let Some(next) = waiting.last().filter(|p| p.span().0 <= start_s) {
                moving.push(**next);
                waiting.pop();
            }
            intervals.push(Interval { start_s, settled, moving: moving.clone() });
        }
        Self { intervals }
    }

    /// Value and derivatives at time `t`, seconds.
    pub fn at(&self, t: f64) -> Jet {
        let i = self.intervals.partition_point(|i| i.start_s <= t);
        let interval = &self.intervals[i.max(1) - 1];
        let mut total = sum(&interval.moving, t);
        total.value += interval.settled;
        total
    }
}
