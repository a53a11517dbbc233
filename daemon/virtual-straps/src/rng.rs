//! Random numbers: one `ChaCha8` seed, one derived stream for each subsystem, so that
//! changing one subsystem (say the link) leaves the draws of the others untouched.

use chacha20::ChaCha8Rng;
use rand::RngExt as _;
use rand::SeedableRng as _;
use rand_distr::{Distribution as _, Exp1, StandardNormal};

/// Which subsystem draws. The discriminant is the `ChaCha` stream number's upper half.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// The player's own parameters.
    Player = 1,
    /// What is done when.
    Timeline = 2,
    /// One swing's variation; the index is the swing's number.
    Swing = 3,
    /// Sway and fidgeting.
    Sway = 4,
    /// How straps are worn; the index is the segment.
    Mounting = 5,
    /// Constant sensor errors; the index is the segment.
    SensorErrors = 6,
    /// Sensor noise and bias drift; the index is the segment.
    SensorNoise = 7,
    /// Oscillators; the index is the segment.
    Clock = 8,
    /// Radio; the index is the segment.
    Link = 9,
    /// Strike shocks; the index is the swing's number.
    Strike = 10,
}

/// A seeded generator with the few distributions that the virtual straps need.
#[derive(Debug)]
pub(crate) struct Draw(ChaCha8Rng);

impl Draw {
    pub(crate) fn new(seed: u64, purpose: Purpose, index: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(((purpose as u64) << 32) | index);
        Self(rng)
    }

    pub(crate) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }

    pub(crate) fn standard(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Normal, cut at ± 2.5 SD so that no player or device is absurd.
    pub(crate) fn bounded(&mut self, mean: f64, sd: f64) -> f64 {
        mean + sd * self.standard().clamp(-2.5, 2.5)
    }

    pub(crate) fn exponential(&mut self, mean: f64) -> f64 {
        let unit: f64 = Exp1.sample(&mut self.0);
        mean * unit
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        self.0.random_range(0..n.max(1))
    }
}
