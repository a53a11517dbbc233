//! A quarter of a second of one strap, summed up: how far it turned, how a gyroscope bias would show in
//! that, which way gravity pointed, and how still it was.

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};

/// Length, s.
pub const CHUNK_S: f64 = 0.25;
/// Rotation is put together in steps of about this, s. Within one the turning of the axis is kept to first
/// order, which leaves less than a hundredth of a degree of a swing.
const STEP_S: f64 = 0.03;
/// A longer hole in the samples cannot be bridged, s: a segment may have turned back within.
const HOLE_S: f64 = 0.06;
/// Means of the specific force are kept by quarters of a chunk.
const QUARTERS: usize = 4;
/// Fewer samples tell nothing.
const LEAST_SAMPLES: f64 = 5.0;

/// Sums that tell rest from movement.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stillness {
    n: f64,
    gyro: Vector3<f64>,
    gyro_sq: f64,
    /// Squared differences of neighbours: white noise shows in them, movement hardly.
    gyro_step_sq: f64,
    acc: Vector3<f64>,
    acc_sq: f64,
    acc_step_sq: f64,
}

impl Stillness {
    fn push(&mut self, gyro: &Vector3<f64>, acc: &Vector3<f64>) {
        self.n += 1.0;
        self.gyro += gyro;
        self.gyro_sq += gyro.norm_squared();
        self.acc += acc;
        self.acc_sq += acc.norm_squared();
    }

    fn step(&mut self, gyro: &Vector3<f64>, acc: &Vector3<f64>) {
        self.gyro_step_sq += gyro.norm_squared();
        self.acc_step_sq += acc.norm_squared();
    }

    /// Both together.
    #[must_use]
    pub fn with(&self, other: &Self) -> Self {
        Self {
            n: self.n + other.n,
            gyro: self.gyro + other.gyro,
            gyro_sq: self.gyro_sq + other.gyro_sq,
            gyro_step_sq: self.gyro_step_sq + other.gyro_step_sq,
            acc: self.acc + other.acc,
            acc_sq: self.acc_sq + other.acc_sq,
            acc_step_sq: self.acc_step_sq + other.acc_step_sq,
        }
    }

    /// Number of samples.
    pub fn samples(&self) -> f64 {
        self.n
    }

    /// Mean rate, rad/s.
    pub fn mean_rate(&self) -> Vector3<f64> {
        self.gyro / self.n
    }

    /// Variance of the rate by movement, all axes together, (rad/s)²: white noise is taken off.
    pub fn rate_moves(&self) -> f64 {
        (self.gyro_sq / self.n - self.mean_rate().norm_squared() - self.rate_noise()).max(0.0)
    }

    /// The same of the specific force, (m/s²)².
    pub fn acc_moves(&self) -> f64 {
        let variance = self.acc_sq / self.n - (self.acc / self.n).norm_squared();
        (variance - 0.5 * self.acc_step_sq / self.n).max(0.0)
    }

    /// Variance of the rate by white noise, all axes together, (rad/s)².
    pub fn rate_noise(&self) -> f64 {
        0.5 * self.gyro_step_sq / self.n
    }
}

/// One chunk.
#[derive(Debug, Clone)]
pub struct Chunk {
    /// Session time of its start, s.
    pub from_s: f64,
    /// How long it lasts by the strap's own clock, s.
    pub seconds: f64,
    /// It follows the chunk before without a hole.
    pub follows: bool,
    /// Its rotation, frame at the end → frame at the start, with `bias` taken off.
    pub turned: Rotation3<f64>,
    /// Integral over the frames on the way (→ frame at the start), s: a bias that is larger by b turns the
    /// end by −`lever` · b.
    pub lever: Matrix3<f64>,
    /// Bias that was taken off, rad/s.
    pub bias: Vector3<f64>,
    /// Mean specific force in the frame at the start, m/s².
    pub force: Vector3<f64>,
    /// Variance of that mean by what its quarters differ by, per axis, (m/s²)².
    pub force_var: f64,
    /// Path turned, rad.
    pub path_rad: f64,
    /// Fastest, rad/s.
    pub fastest: f64,
    /// What the rate changed by from its beginning to its end, rad/s.
    pub rate_changed: f64,
    /// Variance that bridged holes add to the rotation, rad².
    pub hole_var: f64,
    /// How still it was.
    pub stillness: Stillness,
}

impl Chunk {
    /// Rotation and lever with another bias taken off.
    pub fn with_bias(&self, bias: &Vector3<f64>) -> Rotation3<f64> {
        Rotation3::from_scaled_axis(-(self.lever * (bias - self.bias))) * self.turned
    }
}

/// Puts chunks together, sample by sample.
#[derive(Debug, Clone)]
pub struct Chunker {
    /// The sample before, if there is one that the next can follow.
    follows_sample: bool,
    gyro: Vector3<f64>,
    acc: Vector3<f64>,
    bias: Vector3<f64>,
    from_s: f64,
    follows: bool,
    seconds: f64,
    step: Step,
    turned: UnitQuaternion<f64>,
    lever: Matrix3<f64>,
    /// Seconds, and integral of the specific force in the frame at the start, m/s.
    quarters: [(f64, Vector3<f64>); QUARTERS],
    path_rad: f64,
    fastest: f64,
    /// Rates of its first and of its newest step.
    rates: Option<[Vector3<f64>; 2]>,
    hole_var: f64,
    stillness: Stillness,
}

/// A step of the rotation.
#[derive(Debug, Clone, Copy, Default)]
struct Step {
    seconds: f64,
    angle: Vector3<f64>,
    /// Integral of the specific force, m/s.
    force: Vector3<f64>,
}

impl Default for Chunker {
    fn default() -> Self {
        Self {
            follows_sample: false,
            gyro: Vector3::zeros(),
            acc: Vector3::zeros(),
            bias: Vector3::zeros(),
            from_s: 0.0,
            follows: false,
            seconds: 0.0,
            step: Step::default(),
            turned: UnitQuaternion::identity(),
            lever: Matrix3::zeros(),
            quarters: [(0.0, Vector3::zeros()); QUARTERS],
            path_rad: 0.0,
            fastest: 0.0,
            rates: None,
            hole_var: 0.0,
            stillness: Stillness::default(),
        }
    }
}

impl Chunker {
    /// Takes one raw sample at session time `t_s`, `step_s` after the one before. Gives the chunk that it
    /// ends; `bias` is taken off in the next.
    #[inline]
    pub fn push(
        &mut self,
        t_s: f64,
        step_s: f64,
        gyro: &Vector3<f64>,
        acc: &Vector3<f64>,
        bias: &Vector3<f64>,
    ) -> Option<Chunk> {
        let mut done = None;
        if self.follows_sample && step_s > 0.0 && step_s <= HOLE_S {
            // A turning axis adds half the cross product of what was turned and what is turned now
            // (coning; Bortz 1971, IEEE Trans Aerosp Electron Syst AES-7:61–66, from memory).
            let more = ((self.gyro + gyro) * 0.5 - self.bias) * step_s;
            self.step.angle += more + self.step.angle.cross(&more) * 0.5;
            self.step.force += (self.acc + acc) * (0.5 * step_s);
            self.step.seconds += step_s;
            self.stillness.step(&(gyro - self.gyro), &(acc - self.acc));
            if step_s > STEP_S {
                // What a rate does within a hole: it may leave the line by a quarter of its change.
                self.hole_var += (0.25 * step_s).powi(2) * (gyro - self.gyro).norm_squared();
            }
            if self.seconds + self.step.seconds >= CHUNK_S {
                done = self.close();
                self.begin(t_s, bias, done.is_some());
            } else if self.step.seconds >= STEP_S {
                self.turn();
            }
        } else {
            self.begin(t_s, bias, false);
        }
        self.stillness.push(gyro, acc);
        (self.gyro, self.acc, self.follows_sample) = (*gyro, *acc, true);
        done
    }

    /// What came before tells nothing of what comes next.
    pub fn interrupt(&mut self) {
        self.follows_sample = false;
    }

    fn begin(&mut self, t_s: f64, bias: &Vector3<f64>, follows: bool) {
        *self = Self { from_s: t_s, bias: *bias, follows, ..Self::default() };
    }

    fn turn(&mut self) {
        let step = std::mem::take(&mut self.step);
        if step.seconds <= 0.0 {
            return;
        }
        let half = UnitQuaternion::from_scaled_axis(step.angle * 0.5);
        let midway = (self.turned * half).to_rotation_matrix().into_inner();
        self.lever += midway * step.seconds;
        let quarter =
            (((self.seconds + 0.5 * step.seconds) / CHUNK_S * QUARTERS as f64) as usize).min(QUARTERS - 1);
        let (seconds, sum) = &mut self.quarters[quarter];
        *seconds += step.seconds;
        *sum += midway * step.force;
        self.turned = self.turned * half * half;
        self.seconds += step.seconds;
        let angle = step.angle.norm();
        self.path_rad += angle;
        self.fastest = self.fastest.max(angle / step.seconds);
        let rate = step.angle / step.seconds;
        self.rates = Some([self.rates.map_or(rate, |[first, _]| first), rate]);
    }

    fn close(&mut self) -> Option<Chunk> {
        self.turn();
        let means: Vec<Vector3<f64>> =
            self.quarters.iter().filter(|(s, _)| *s > 0.0).map(|(s, sum)| sum / *s).collect();
        if self.stillness.n < LEAST_SAMPLES || means.len() < 2 {
            return None;
        }
        let n = means.len() as f64;
        let mean = means.iter().sum::<Vector3<f64>>() / n;
        let scatter = means.iter().map(|m| (m - mean).norm_squared()).sum::<f64>() / (n - 1.0);
        Some(Chunk {
            from_s: self.from_s,
            seconds: self.seconds,
            follows: self.follows,
            turned: self.turned.to_rotation_matrix(),
            lever: self.lever,
            bias: self.bias,
            force: mean,
            // Neighbouring quarters err alike: half of them count.
            force_var: scatter / 3.0 * 2.0 / n,
            path_rad: self.path_rad,
            fastest: self.fastest,
            rate_changed: self.rates.map_or(0.0, |[first, last]| (last - first).norm()),
            hole_var: self.hole_var,
            stillness: self.stillness,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exact rotation of a body whose axis turns: R(t) = Ry(at) Rz(bt) has body rate Rz(−bt) (0, a, 0) + (0, 0, b).
    #[test]
    fn a_turning_axis_is_followed_and_a_bias_shows_by_the_lever() {
        let (a, b, hz) = (4.0, 6.0, 208.0);
        let at = |t: f64| {
            Rotation3::from_axis_angle(&Vector3::y_axis(), a * t)
                * Rotation3::from_axis_angle(&Vector3::z_axis(), b * t)
        };
        let rate = |t: f64| {
            Rotation3::from_axis_angle(&Vector3::z_axis(), -b * t) * Vector3::new(0.0, a, 0.0)
                + Vector3::new(0.0, 0.0, b)
        };
        let wrong = Vector3::new(0.01, -0.02, 0.03);
        let mut chunker = Chunker::default();
        let chunks: Vec<Chunk> = (0..400)
            .filter_map(|i| {
                let t = f64::from(i) / hz;
                let up = at(t).inverse() * Vector3::y() * 9.81;
                chunker.push(
                    t,
                    if i == 0 { f64::INFINITY } else { 1.0 / hz },
                    &(rate(t) + wrong),
                    &up,
                    &Vector3::zeros(),
                )
            })
            .collect();
        assert!(chunks.len() >= 6);
        for chunk in &chunks {
            let (from, to) = (chunk.from_s, chunk.from_s + chunk.seconds);
            let want = at(from).inverse() * at(to);
            assert!(chunk.with_bias(&wrong).angle_to(&want).to_degrees() < 0.02, "with the bias taken off");
            assert!(chunk.turned.angle_to(&want).to_degrees() > 0.3, "and without");
            let up = at(from).inverse() * Vector3::y();
            assert!(chunk.force.angle(&up).to_degrees() < 0.5, "{}", chunk.force.angle(&up).to_degrees());
        }
        assert!(!chunks[0].follows && chunks[1..].iter().all(|c| c.follows));
    }

    #[test]
    fn a_hole_begins_a_new_chunk_that_does_not_follow() {
        let mut chunker = Chunker::default();
        let acc = Vector3::new(0.0, 9.81, 0.0);
        let mut follows = Vec::new();
        for i in 0..300 {
            let step_s = match i {
                0 => f64::INFINITY,
                120 => 0.3,
                _ => 0.01,
            };
            let t = f64::from(i) * 0.01 + if i >= 120 { 0.29 } else { 0.0 };
            follows.extend(
                chunker.push(t, step_s, &Vector3::zeros(), &acc, &Vector3::zeros()).map(|c| c.follows),
            );
        }
        assert_eq!(follows.iter().filter(|f| !**f).count(), 2);
    }
}
