//! Rest detection and the gyroscope bias that only rest shows.
//!
//! The test is strict on purpose: a loose one takes a restless address for rest, and a
//! wrong bias does more harm than an old one.

use super::settings::Settings;
use nalgebra::Vector3;

/// Statistics are kept in chunks of this length; rest needs four in a row.
const CHUNK_S: f64 = 0.25;
const CHUNKS: usize = 4;
/// Standard uncertainty of a bias read off one second of rest, rad/s (0.05 deg/s: body
/// sway and noise averaged over a second).
const REST_SD_RAD_S: f64 = 0.05 * std::f64::consts::PI / 180.0;
/// A bias moves by about this in a minute, rad/s (0.05 deg/s).
const WALK_PER_MINUTE_RAD_S: f64 = 0.05 * std::f64::consts::PI / 180.0;
/// Bias before any rest was seen: consumer gyroscopes are within a few deg/s.
const UNKNOWN_SD_RAD_S: f64 = 3.0 * std::f64::consts::PI / 180.0;

/// A jump of the bias is believed when rest has shown it this often in a row …
const OUTLIERS: u32 = 8;
/// … with no longer pause than this between, s.
const STRANGE_FOR_S: f64 = 5.0;

#[derive(Debug, Clone, Copy, Default)]
struct Chunk {
    n: f64,
    gyro: Vector3<f64>,
    gyro_sq: f64,
    /// Squared differences of neighbours: white noise shows in them, movement hardly.
    gyro_step_sq: f64,
    acc: Vector3<f64>,
    acc_sq: f64,
    acc_step_sq: f64,
}

/// Tracks the gyroscope bias of one strap.
#[derive(Debug, Clone)]
pub struct BiasTracker {
    rate_var: f64,
    accel_var: f64,
    mean_max: f64,
    chunk: Chunk,
    chunk_start_s: f64,
    history: [Option<Chunk>; CHUNKS],
    bias: Vector3<f64>,
    sd: f64,
    updated_s: f64,
    rest_since_s: Option<f64>,
    /// How often in a row rest showed another bias, which one, and when last.
    outliers: u32,
    strange: Vector3<f64>,
    strange_s: f64,
    last: Option<(Vector3<f64>, Vector3<f64>)>,
}

impl BiasTracker {
    /// With the thresholds of `settings`.
    pub fn new(settings: &Settings) -> Self {
        Self {
            rate_var: settings.rest_rate_sd_dps.to_radians().powi(2),
            accel_var: settings.rest_accel_sd_m_s2.powi(2),
            mean_max: settings.rest_mean_dps.to_radians(),
            chunk: Chunk::default(),
            chunk_start_s: f64::NEG_INFINITY,
            history: [None; CHUNKS],
            bias: Vector3::zeros(),
            sd: UNKNOWN_SD_RAD_S,
            updated_s: 0.0,
            rest_since_s: None,
            outliers: 0,
            strange: Vector3::zeros(),
            strange_s: f64::NEG_INFINITY,
            last: None,
        }
    }

    /// Takes one raw sample at session time `t_s`.
    #[inline]
    pub fn push(&mut self, t_s: f64, gyro: &Vector3<f64>, acc: &Vector3<f64>) {
        if t_s - self.chunk_start_s >= CHUNK_S {
            self.close_chunk(t_s);
        }
        let c = &mut self.chunk;
        c.n += 1.0;
        c.gyro += gyro;
        c.gyro_sq += gyro.norm_squared();
        c.acc += acc;
        c.acc_sq += acc.norm_squared();
        if let Some((g, a)) = self.last.replace((*gyro, *acc)) {
            c.gyro_step_sq += (gyro - g).norm_squared();
            c.acc_step_sq += (acc - a).norm_squared();
        }
    }

    fn close_chunk(&mut self, t_s: f64) {
        let gap = t_s - self.chunk_start_s > 2.0 * CHUNK_S;
        let done = std::mem::take(&mut self.chunk);
        self.chunk_start_s = t_s;
        if gap || done.n < 5.0 {
            self.history = [None; CHUNKS];
            self.rest_since_s = None;
            return;
        }
        self.history.rotate_left(1);
        self.history[CHUNKS - 1] = Some(done);
        let mut sum = Chunk::default();
        for chunk in &self.history {
            let Some(c) = chunk else {
                self.rest_since_s = None;
                return;
            };
            sum.n += c.n;
            sum.gyro += c.gyro;
            sum.gyro_sq += c.gyro_sq;
            sum.acc += c.acc;
            sum.acc_sq += c.acc_sq;
            sum.gyro_step_sq += c.gyro_step_sq;
            sum.acc_step_sq += c.acc_step_sq;
        }
        let mean = sum.gyro / sum.n;
        let rate_var = sum.gyro_sq / sum.n - mean.norm_squared();
        let accel_var = sum.acc_sq / sum.n - (sum.acc / sum.n).norm_squared();
        // What is left when the sensor's white noise is taken off is movement.
        let rate_moves = rate_var - 0.5 * sum.gyro_step_sq / sum.n;
        let accel_moves = accel_var - 0.5 * sum.acc_step_sq / sum.n;
        let rest = rate_moves < self.rate_var && accel_moves < self.accel_var && mean.norm() < self.mean_max;
        if !rest {
            self.rest_since_s = None;
            return;
        }
        self.rest_since_s.get_or_insert(t_s - CHUNK_S * CHUNKS as f64);
        self.take(t_s, mean, rate_var / sum.n);
    }

    /// Blends a bias seen at rest into the estimate.
    fn take(&mut self, t_s: f64, seen: Vector3<f64>, mean_var: f64) {
        let walk = WALK_PER_MINUTE_RAD_S.powi(2) * ((t_s - self.updated_s).max(0.0) / 60.0);
        let prior = (self.sd * self.sd + walk).min(UNKNOWN_SD_RAD_S * UNKNOWN_SD_RAD_S);
        // Overlapping windows are not independent: a quarter of each is new.
        let noise = (REST_SD_RAD_S * REST_SD_RAD_S + mean_var) * CHUNKS as f64;
        let off = (seen - self.bias).norm_squared();
        // A steady slow turn can pass for rest; only if one and the same rate stays is the bias
        // believed to have jumped. Slow turns there and back show a different one each time.
        if off > 25.0 * (prior + noise) {
            let same =
                (seen - self.strange).norm_squared() <= 25.0 * noise && t_s - self.strange_s < STRANGE_FOR_S;
            if !same {
                self.outliers = 0;
                self.strange = seen;
            }
            self.strange_s = t_s;
            if self.outliers < OUTLIERS {
                self.outliers += 1;
                return;
            }
        } else {
            self.outliers = 0;
        }
        let prior = if self.outliers >= OUTLIERS { UNKNOWN_SD_RAD_S.powi(2) } else { prior };
        self.outliers = 0;
        let gain = prior / (prior + noise);
        self.bias += (seen - self.bias) * gain;
        self.sd = ((1.0 - gain) * prior).sqrt();
        self.updated_s = t_s;
    }

    /// Gyroscope bias, rad/s, sensor frame.
    pub fn bias(&self) -> Vector3<f64> {
        self.bias
    }

    /// Its standard uncertainty at session time `t_s`, rad/s per axis.
    pub fn sd_rad_s(&self, t_s: f64) -> f64 {
        let walk = WALK_PER_MINUTE_RAD_S.powi(2) * ((t_s - self.updated_s).max(0.0) / 60.0);
        (self.sd * self.sd + walk).sqrt()
    }

    /// Since when the strap has been at rest, session seconds.
    pub fn rest_since_s(&self) -> Option<f64> {
        self.rest_since_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feed(tracker: &mut BiasTracker, from_s: f64, seconds: f64, gyro: impl Fn(f64) -> Vector3<f64>) {
        let n = (seconds * 100.0) as usize;
        for i in 0..n {
            let t = from_s + i as f64 / 100.0;
            tracker.push(t, &gyro(t), &Vector3::new(0.0, 9.81, 0.0));
        }
    }

    /// 0.5 deg/s RMS noise at 100 Hz over 1 s leaves 0.05 deg/s (1 SD) of
    /// the mean; asserted at 3 SD. Arithmetic of independent samples (0.5 / sqrt 100).
    #[test]
    fn bias_is_removed_at_rest_to_a_twentieth_of_a_degree_per_second() {
        let truth = Vector3::new(0.02, -0.015, 0.01);
        let mut tracker = BiasTracker::new(&Settings::default());
        let mut noise = crate::noise::normal(1);
        for i in 0..400 {
            let g = truth + Vector3::new(noise(), noise(), noise()) * 0.5_f64.to_radians();
            tracker.push(f64::from(i) / 100.0, &g, &Vector3::new(0.0, 9.81, 0.0));
        }
        assert!((tracker.bias() - truth).amax() < 0.15_f64.to_radians(), "{}", tracker.bias());
        assert!(tracker.sd_rad_s(4.0) < 0.15_f64.to_radians());
    }

    #[test]
    fn swaying_is_not_rest() {
        let mut tracker = BiasTracker::new(&Settings::default());
        feed(&mut tracker, 0.0, 5.0, |t| Vector3::new(0.0, (4.0_f64).to_radians() * (t * 6.0).sin(), 0.0));
        assert_eq!(tracker.rest_since_s(), None);
        assert_eq!(tracker.bias(), Vector3::zeros());
    }

    #[test]
    fn a_slow_steady_turn_does_not_replace_a_known_bias_at_once() {
        let mut tracker = BiasTracker::new(&Settings::default());
        feed(&mut tracker, 0.0, 5.0, |_| Vector3::new(0.01, 0.0, 0.0));
        feed(&mut tracker, 5.0, 1.5, |_| Vector3::new(0.01, 6.0_f64.to_radians(), 0.0));
        assert!(tracker.bias().y.abs() < 0.2_f64.to_radians());
    }

    /// Sitting, the pelvis follows the trunk by a degree or two: too slow to be told from rest.
    #[test]
    fn slow_turns_there_and_back_do_not_become_a_bias() {
        let mut tracker = BiasTracker::new(&Settings::default());
        feed(&mut tracker, 0.0, 5.0, |_| Vector3::new(0.01, 0.0, 0.0));
        for i in 0..6 {
            let from = 5.0 + 5.6 * f64::from(i);
            // 2.5 deg out and back in 2 s each, 0.8 s held at both ends.
            feed(&mut tracker, from, 5.6, |t| {
                let rate = |x: f64| {
                    if (0.0..2.0).contains(&x) {
                        2.5 * 30.0 * (x / 2.0).powi(2) * (1.0 - x / 2.0).powi(2) / 2.0
                    } else {
                        0.0
                    }
                };
                let x = t - from;
                Vector3::new(0.01, (rate(x) - rate(x - 2.8)).to_radians(), 0.0)
            });
        }
        let off = (tracker.bias() - Vector3::new(0.01, 0.0, 0.0)).norm().to_degrees();
        assert!(off < 0.3, "{off:.2} deg/s");
    }

    #[test]
    fn a_bias_that_jumps_and_stays_is_taken_over() {
        let mut tracker = BiasTracker::new(&Settings::default());
        feed(&mut tracker, 0.0, 5.0, |_| Vector3::new(0.01, 0.0, 0.0));
        feed(&mut tracker, 5.0, 5.0, |_| Vector3::new(0.01, 0.05, 0.0));
        assert!((tracker.bias() - Vector3::new(0.01, 0.05, 0.0)).norm().to_degrees() < 0.1);
    }
}
