//! Series of numbers whose truth is known, and shares of them.

use chacha20::ChaCha8Rng;
use peakorder_analysis::stats::wilson;
use rand::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};

/// Measures drawn together.
pub(crate) const MEASURES: usize = 5;

/// How much of a swing's variation its measures have in common: the correlation of any two.
const ALIKE: f64 = 0.3;

pub(crate) struct Dice(ChaCha8Rng);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub(crate) fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// A swing's deviations in all measures.
    fn swing(&mut self) -> [f64; MEASURES] {
        let common = self.normal();
        std::array::from_fn(|_| ALIKE.sqrt() * common + (1.0 - ALIKE).sqrt() * self.normal())
    }

    /// `n` swings in all measures: a first-order autoregressive series of unit variance, and a drift by so many standard
    /// deviations from first to last.
    pub(crate) fn series(&mut self, n: usize, correlation: f64, drift: f64) -> [Vec<f64>; MEASURES] {
        let mut series: [Vec<f64>; MEASURES] = std::array::from_fn(|_| Vec::with_capacity(n));
        let mut before: Option<[f64; MEASURES]> = None;
        for i in 0..n {
            let new = self.swing();
            let now = match before {
                None => new,
                Some(b) => std::array::from_fn(|m| {
                    correlation * b[m] + (1.0 - correlation * correlation).sqrt() * new[m]
                }),
            };
            before = Some(now);
            let along = drift * i as f64 / (n - 1).max(1) as f64;
            for (series, value) in series.iter_mut().zip(now) {
                series.push(value + along);
            }
        }
        series
    }
}

/// A count of a number.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Count {
    pub(crate) yes: usize,
    pub(crate) of: usize,
}

impl Count {
    pub(crate) fn add(&mut self, yes: bool) {
        self.yes += usize::from(yes);
        self.of += 1;
    }

    pub(crate) fn percent(self) -> f64 {
        100.0 * self.yes as f64 / self.of.max(1) as f64
    }

    /// `4.3 (3.1–5.8)`.
    pub(crate) fn text(self) -> String {
        match wilson(self.yes, self.of) {
            Some((low, high)) => format!("{:.1} ({:.1}–{:.1})", self.percent(), 100.0 * low, 100.0 * high),
            None => "–".into(),
        }
    }
}

/// Runs `work` for every seed on all cores; results in the seeds' order.
pub(crate) fn on_all_cores<T: Send>(seeds: std::ops::Range<u64>, work: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get) as u64;
    let mut parts: Vec<Vec<(u64, T)>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..cores)
            .map(|core| {
                let (work, seeds) = (&work, seeds.clone());
                scope.spawn(move || {
                    seeds.filter(|s| s % cores == core).map(|s| (s, work(s))).collect::<Vec<_>>()
                })
            })
            .collect();
        threads.into_iter().map(|t| t.join().expect("a thread of the bench")).collect()
    });
    let mut all: Vec<(u64, T)> = parts.drain(..).flatten().collect();
    all.sort_by_key(|a| a.0);
    all.into_iter().map(|a| a.1).collect()
}
