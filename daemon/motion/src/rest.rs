//! Is a strap at rest? For what is shown of it; nothing is measured by this.
//!
//! The test is strict on purpose: a loose one takes a restless address for rest.

use super::bias::chunk::{CHUNK_S, Chunk, Stillness};
use std::f64::consts::PI;

/// Rest needs this many chunks in a row.
const CHUNKS: usize = 4;
/// Over them its rate varies by less than this (SD), rad/s (1.5 deg/s) …
const RATE_SD_RAD_S: f64 = 1.5 * PI / 180.0;
/// … its specific force by less than this (SD), m/s² …
const ACC_SD_M_S2: f64 = 0.2;
/// … and its mean rate is less than this, rad/s (8 deg/s). All three own judgement: consumer gyroscopes are
/// within a few deg/s.
const MEAN_RAD_S: f64 = 8.0 * PI / 180.0;

/// The rest of one strap.
#[derive(Debug, Clone, Default)]
pub struct Rest {
    history: [Option<Stillness>; CHUNKS],
    since_s: Option<f64>,
}

impl Rest {
    /// Takes the chunk that has just ended.
    pub fn chunk(&mut self, chunk: &Chunk) {
        if !chunk.follows {
            self.interrupt();
        }
        self.history.rotate_left(1);
        self.history[CHUNKS - 1] = Some(chunk.stillness);
        let all = self.history.iter().try_fold(Stillness::default(), |sum, c| c.map(|c| sum.with(&c)));
        if all.is_some_and(|all| still(&all)) {
            self.since_s.get_or_insert(chunk.from_s + chunk.seconds - CHUNK_S * CHUNKS as f64);
        } else {
            self.since_s = None;
        }
    }

    /// Samples are missing.
    pub fn interrupt(&mut self) {
        *self = Self::default();
    }

    /// Since when, session seconds.
    pub fn since_s(&self) -> Option<f64> {
        self.since_s
    }
}

/// So little movement that a strap may lie or be held still.
pub fn still(sums: &Stillness) -> bool {
    sums.rate_moves() < RATE_SD_RAD_S.powi(2)
        && sums.acc_moves() < ACC_SD_M_S2.powi(2)
        && sums.mean_rate().norm() < MEAN_RAD_S
}
