//! Physical alignment: the lag between two straps that are turned together in one hand.
//!
//! One-way arrivals cannot show a constant difference of latency between two straps. A
//! motion that both share can: for every trial lag one rotation is fitted that carries one
//! strap's rates into the other's (Kabsch 1976, doi.org/10.1107/S0567739476001873), and the
//! lag that leaves least unexplained is the answer, found between samples by
//! interpolation. The unexplained share also tells whether the straps really moved as one
//! body. It cannot tell a pure delay from motion of one segment before another, so this is
//! valid for straps off the body and in one hand only.

use crate::minimum;
use nalgebra::{Matrix3, Vector3};

/// Rates of one strap on the session clock, in order of time.
#[derive(Debug, Clone, Default)]
pub struct Rates {
    /// Session seconds, rising.
    pub times_s: Vec<f64>,
    /// Angular velocity, rad/s, sensor frame.
    pub rates_rad_s: Vec<Vector3<f64>>,
}

/// What the straps' common motion shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Twist {
    /// The second strap's times are this much later than the first's, seconds.
    pub lag_s: f64,
    /// Share of the rotation's energy that no common motion explains.
    pub residual: f64,
    /// Rate of the second strap over that of the first: 1 unless a scale is wrong.
    pub gain: f64,
    /// Standard uncertainty of the lag, seconds.
    pub sd_s: f64,
    /// The straps were not held quite firmly.
    pub loose: bool,
}

/// Why a twist says nothing.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TwistError {
    /// Too little or too slow.
    #[error("turned fast enough for {fast_s:.1} s only; twist for at least {NEEDED_S:.0} s, faster")]
    TooLittle {
        /// Time above the needed rate, seconds.
        fast_s: f64,
    },
    /// About one axis only.
    #[error(
        "turned about one axis only; twist in all directions, as if shaking a bottle and turning a key by turns"
    )]
    OneAxis,
    /// Not one body.
    #[error(
        "the straps did not move as one ({:.1} % of the rotation differs, at most {:.1} %); hold them together \
         firmly in one hand, off the body", residual * 100.0, REFUSE_RESIDUAL * 100.0
    )]
    NotOneBody {
        /// Unexplained share.
        residual: f64,
    },
    /// The best lag lies at the edge of what was searched.
    #[error("the straps' times differ by {} ms or more; check for longer before twisting, or reconnect", (MAX_LAG_S * 1e3) as i32)]
    TooFarApart,
}

/// Lags up to this are searched, seconds.
pub const MAX_LAG_S: f64 = 0.15;
/// Time above [`FAST_RAD_S`] that is needed, seconds.
pub const NEEDED_S: f64 = 3.0;
/// Fast enough to count, rad/s (100 deg/s).
pub const FAST_RAD_S: f64 = 100.0 * std::f64::consts::PI / 180.0;
/// Unexplained share up to which the straps count as held firmly.
pub const FIRM_RESIDUAL: f64 = 0.004;
/// Unexplained share above which they did not move as one.
pub const REFUSE_RESIDUAL: f64 = 0.015;
/// Stretches whose errors are taken as independent: several times as long as a hand's
/// motion remembers itself, seconds.
const BLOCK_S: f64 = 0.6;
/// Some ten stretches show their own scatter poorly; this makes up for it (ratio of
/// Student's t with 10 degrees of freedom to the normal, at 95 %: NIST/SEMATECH e-Handbook
/// of Statistical Methods, 1.3.6.7.2).
const FEW_BLOCKS: f64 = 2.228 / 1.960;
/// What interpolation and the straps' clocks leave in the best case, seconds.
const SD_FLOOR_S: f64 = 0.05e-3;
/// The second axis must turn with at least this share of the first one's energy.
const SECOND_AXIS: f64 = 0.03;
/// Step of the search over whole lags, seconds.
const STEP_S: f64 = 0.004;
/// Golden section steps from there to a microsecond.
const REFINE_STEPS: usize = 19;
/// A longer gap between samples is not interpolated over, seconds.
const GAP_S: f64 = 0.03;

impl Rates {
    /// Appends a sample; one that is not later than the last is left out.
    pub fn push(&mut self, t_s: f64, rate_rad_s: Vector3<f64>) {
        if self.times_s.last().is_none_or(|last| t_s > *last) {
            self.times_s.push(t_s);
            self.rates_rad_s.push(rate_rad_s);
        }
    }

    /// Time above [`FAST_RAD_S`], seconds.
    pub fn fast_s(&self) -> f64 {
        self.times_s
            .windows(2)
            .zip(&self.rates_rad_s)
            .filter(|(t, rate)| t[1] - t[0] < GAP_S && rate.norm() > FAST_RAD_S)
            .map(|(t, _)| t[1] - t[0])
            .sum()
    }

    /// Cubic interpolation between the samples around `t_s`; `cursor` is where the last
    /// call ended (calls go forward in time).
    fn at(&self, t_s: f64, cursor: &mut usize) -> Option<Vector3<f64>> {
        while self.times_s.get(*cursor + 1).is_some_and(|next| *next <= t_s) {
            *cursor += 1;
        }
        let i = *cursor;
        if i == 0 || i + 2 >= self.times_s.len() || self.times_s[i] > t_s {
            return None;
        }
        let t: [f64; 4] = std::array::from_fn(|k| self.times_s[i - 1 + k]);
        if t[3] - t[0] > 3.0 * GAP_S {
            return None;
        }
        // Lagrange through the four samples around: their spacing need not be even.
        let mut sum = Vector3::zeros();
        for k in 0..4 {
            let weight: f64 = (0..4).filter(|j| *j != k).map(|j| (t_s - t[j]) / (t[k] - t[j])).product();
            sum += self.rates_rad_s[i - 1 + k] * weight;
        }
        Some(sum)
    }
}

/// How well a rotation carries one strap's rates into the other's at one trial lag.
struct Fit {
    /// From the second strap's frame, with the gain taken off, to the first's.
    to_a: Matrix3<f64>,
    mean_a: Vector3<f64>,
    mean_b: Vector3<f64>,
    residual: f64,
    gain: f64,
}

fn fit(a: &Rates, b: &Rates, lag_s: f64) -> Option<Fit> {
    let mut cursor = 0;
    let (mut n, mut sum_a, mut sum_b) = (0.0, Vector3::zeros(), Vector3::zeros());
    let (mut aa, mut bb, mut ab) = (0.0, 0.0, Matrix3::zeros());
    for (t_s, va) in a.times_s.iter().zip(&a.rates_rad_s) {
        let Some(vb) = b.at(t_s + lag_s, &mut cursor) else { continue };
        n += 1.0;
        sum_a += va;
        sum_b += vb;
        aa += va.norm_squared();
        bb += vb.norm_squared();
        ab += va * vb.transpose();
    }
    if n < 100.0 {
        return None;
    }
    // Without the means: a bias is no common motion.
    aa -= sum_a.norm_squared() / n;
    bb -= sum_b.norm_squared() / n;
    ab -= sum_a * sum_b.transpose() / n;
    let svd = ab.svd(true, true);
    let (u, v_t) = (svd.u?, svd.v_t?);
    // A rotation, not a mirror: the axis that is shown least gives way.
    let mut signs = Vector3::repeat(1.0);
    if u.determinant() * v_t.determinant() < 0.0 {
        signs[svd.singular_values.imin()] = -1.0;
    }
    let trace = svd.singular_values.dot(&signs);
    Some(Fit {
        to_a: u * Matrix3::from_diagonal(&signs) * v_t * (trace / bb.max(f64::MIN_POSITIVE)),
        mean_a: sum_a / n,
        mean_b: sum_b / n,
        // The share that a rotation with any gain leaves unexplained.
        residual: 1.0 - trace * trace / (aa * bb).max(f64::MIN_POSITIVE),
        gain: bb.sqrt() / aa.sqrt().max(f64::MIN_POSITIVE),
    })
}

/// Standard uncertainty of the lag, from what the fit leaves unexplained: near its minimum
/// the lag's error is Σ r·ω′ / Σ |ω′|², and the scatter of that sum shows in its parts.
fn uncertainty_s(a: &Rates, b: &Rates, lag_s: f64, fit: &Fit) -> f64 {
    let mut cursor = 0;
    let (mut energy, mut scatter, mut block, mut block_end_s) = (0.0, 0.0, 0.0, f64::NEG_INFINITY);
    for i in 1..a.times_s.len().saturating_sub(1) {
        let t_s = a.times_s[i];
        let dt = a.times_s[i + 1] - a.times_s[i - 1];
        let Some(vb) = b.at(t_s + lag_s, &mut cursor) else { continue };
        if dt > 2.0 * GAP_S {
            continue;
        }
        let left = a.rates_rad_s[i] - fit.mean_a - fit.to_a * (vb - fit.mean_b);
        let slope = (a.rates_rad_s[i + 1] - a.rates_rad_s[i - 1]) / dt;
        if t_s > block_end_s {
            scatter += block * block;
            block = 0.0;
            block_end_s = t_s + BLOCK_S;
        }
        block += left.dot(&slope);
        energy += slope.norm_squared();
    }
    scatter += block * block;
    (scatter.sqrt() / energy.max(f64::MIN_POSITIVE) * FEW_BLOCKS).hypot(SD_FLOOR_S)
}

/// Finds the lag of `b` behind `a`.
pub fn lag(a: &Rates, b: &Rates) -> Result<Twist, TwistError> {
    let fast_s = a.fast_s().min(b.fast_s());
    if fast_s < NEEDED_S {
        return Err(TwistError::TooLittle { fast_s });
    }
    let mean = a.rates_rad_s.iter().sum::<Vector3<f64>>() / a.rates_rad_s.len() as f64;
    let spread: Matrix3<f64> = a.rates_rad_s.iter().map(|r| (r - mean) * (r - mean).transpose()).sum();
    let mut axes: Vec<f64> = spread.symmetric_eigenvalues().iter().copied().collect();
    axes.sort_by(|x, y| y.total_cmp(x));
    if axes[1] < SECOND_AXIS * axes[0] {
        return Err(TwistError::OneAxis);
    }
    let share = |lag_s: f64| fit(a, b, lag_s).map_or(f64::INFINITY, |f| f.residual);
    let steps = (MAX_LAG_S / STEP_S).round() as i32;
    let best = (-steps..=steps)
        .map(|k| (k, share(f64::from(k) * STEP_S)))
        .min_by(|x, y| x.1.total_cmp(&y.1))
        .filter(|(_, residual)| residual.is_finite())
        .ok_or(TwistError::TooLittle { fast_s: 0.0 })?
        .0;
    if best.abs() == steps {
        return Err(TwistError::TooFarApart);
    }
    let lag_s =
        minimum::golden(share, f64::from(best - 1) * STEP_S, f64::from(best + 1) * STEP_S, REFINE_STEPS);
    let best = fit(a, b, lag_s).ok_or(TwistError::TooLittle { fast_s: 0.0 })?;
    let residual = best.residual;
    if residual > REFUSE_RESIDUAL {
        return Err(TwistError::NotOneBody { residual });
    }
    let sd_s = uncertainty_s(a, b, lag_s, &best);
    Ok(Twist { lag_s, residual, gain: best.gain, sd_s, loose: residual > FIRM_RESIDUAL })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chacha20::ChaCha8Rng;
    use nalgebra::Rotation3;
    use rand::{RngExt as _, SeedableRng as _};
    use rand_distr::{Distribution as _, StandardNormal};
    use std::f64::consts::TAU;

    /// A smooth random rate: sines up to `hz`, 1 rad/s RMS on each axis.
    struct Motion(Vec<(Vector3<f64>, f64, f64)>);

    impl Motion {
        fn new(rng: &mut ChaCha8Rng, (from_hz, to_hz): (f64, f64)) -> Self {
            let n = 120;
            let size = (2.0 / f64::from(n)).sqrt();
            let lines = (0..n)
                .map(|_| {
                    let size: Vector3<f64> = Vector3::from_fn(|_, _| {
                        let x: f64 = StandardNormal.sample(rng);
                        x * size
                    });
                    (size, rng.random_range(from_hz..to_hz), rng.random_range(0.0..TAU))
                })
                .collect();
            Self(lines)
        }

        fn at(&self, t: f64) -> Vector3<f64> {
            self.0.iter().map(|(size, hz, phase)| size * (TAU * hz * t + phase).sin()).sum()
        }
    }

    /// Where a hand's twisting has its energy, Hz.
    const HAND_HZ: (f64, f64) = (0.3, 4.0);

    struct Pair {
        a: Rates,
        b: Rates,
    }

    /// Two straps in one hand for `seconds`: 250 deg/s RMS per axis up to 4 Hz, of which the
    /// share `relative` is each strap's own; gains differ by 1 %, noise 0.15 deg/s, sampled
    /// at `rate_hz` at phases of their own. `b` is late by `lag_s`.
    fn pair(seed: u64, seconds: f64, rate_hz: f64, relative: f64, lag_s: f64) -> Pair {
        pair_with(seed, seconds, rate_hz, relative, HAND_HZ, lag_s)
    }

    /// The same, with the straps' own motion at other frequencies than the hand's.
    fn pair_with(
        seed: u64,
        seconds: f64,
        rate_hz: f64,
        relative: f64,
        own_hz: (f64, f64),
        lag_s: f64,
    ) -> Pair {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let common = Motion::new(&mut rng, HAND_HZ);
        let own = Motion::new(&mut rng, own_hz);
        let axis = Vector3::from_fn(|_, _| rng.random_range(-1.0..1.0));
        let turned = Rotation3::from_scaled_axis(axis * 2.0);
        let size = 250.0_f64.to_radians();
        let noise = 0.15_f64.to_radians();
        let mut strap = |is_b: bool| {
            let phase = rng.random_range(0.0..1.0) / rate_hz;
            let bias = Vector3::from_fn(|_, _| rng.random_range(-0.02..0.02));
            let mut rates = Rates::default();
            for i in 0..(seconds * rate_hz) as u32 {
                let t = f64::from(i) / rate_hz + phase;
                let mut rate = common.at(t);
                if is_b {
                    rate = turned * (rate + own.at(t) * relative) * 1.01;
                }
                let noise = Vector3::from_fn(|_, _| {
                    let x: f64 = StandardNormal.sample(&mut rng);
                    x * noise
                });
                rates.push(t + if is_b { lag_s } else { 0.0 }, rate * size + bias + noise);
            }
            rates
        };
        Pair { a: strap(false), b: strap(true) }
    }

    /// |lag error| in ms at the quantiles asked for, over 100 pairs with lags of −20…20 ms.
    fn errors_ms(rate_hz: f64, relative: f64, quantiles: [f64; 2]) -> ([f64; 2], Vec<f64>) {
        errors_with_ms(rate_hz, relative, HAND_HZ, quantiles)
    }

    fn errors_with_ms(
        rate_hz: f64,
        relative: f64,
        own_hz: (f64, f64),
        quantiles: [f64; 2],
    ) -> ([f64; 2], Vec<f64>) {
        let mut errors = Vec::new();
        let mut residuals = Vec::new();
        for seed in 0..100_u64 {
            let lag_s = (seed as f64 * 0.618).fract() * 0.04 - 0.02;
            let Pair { a, b } = pair_with(seed, 6.5, rate_hz, relative, own_hz, lag_s);
            match lag(&a, &b) {
                Ok(twist) => {
                    errors.push((twist.lag_s - lag_s).abs() * 1e3);
                    residuals.push(twist.residual);
                    assert!((twist.gain - 1.01).abs() < 0.05);
                }
                Err(TwistError::NotOneBody { residual }) => residuals.push(residual),
                Err(other) => panic!("{other}"),
            }
        }
        errors.sort_by(f64::total_cmp);
        let at = quantiles.map(|q| {
            if errors.is_empty() { f64::NAN } else { errors[((errors.len() - 1) as f64 * q) as usize] }
        });
        (at, residuals)
    }

    /// A firm grip (2 % of the motion is the strap's own), at both common sampling rates.
    /// What limits the lag is that motion, not the sampling: it is bounded by
    /// share / (RMS slope / RMS rate) / √(independent stretches on three axes), here
    /// 0.02 / 15 s⁻¹ / √(2 · 4 Hz · 6.5 s · 3) = 0.11 ms (1 SD), so 0.21 ms at 95 %.
    #[test]
    fn a_firm_grip_gives_the_lag_to_a_fifth_of_a_millisecond() {
        for rate_hz in [104.0, 208.0] {
            let ([median, p95], residuals) = errors_ms(rate_hz, 0.02, [0.5, 0.95]);
            println!("{rate_hz} Hz, 2 %: median {median:.3} p95 {p95:.3} ms");
            assert!(median < 0.1 && p95 < 0.25, "{rate_hz} Hz: {median} {p95}");
            assert!(residuals.iter().all(|r| *r < FIRM_RESIDUAL));
        }
        // Loose straps rattle faster than a hand turns: with their own motion from 1 to 8 Hz half of it
        // lies where the hand's does not, and the error is less.
        for rate_hz in [104.0, 208.0] {
            let ([median, p95], _) = errors_with_ms(rate_hz, 0.02, (1.0, 8.0), [0.5, 0.95]);
            println!("{rate_hz} Hz, 2 % from 1 to 8 Hz: median {median:.3} p95 {p95:.3} ms");
            assert!(p95 < 0.2, "{rate_hz} Hz: {median} {p95}");
        }
        let ([median, p95], _) = errors_ms(208.0, 0.0, [0.5, 0.95]);
        println!("208 Hz, rigid: median {median:.3} p95 {p95:.3} ms");
        assert!(p95 < 0.02, "nothing but noise and interpolation: {p95}");
    }

    /// The stated uncertainty covers the error at every looseness that is accepted.
    #[test]
    fn the_stated_uncertainty_covers_the_error_and_a_loose_grip_is_refused() {
        let (mut inside, mut all) = (0, 0);
        for relative in [0.02, 0.05, 0.1] {
            let mut sds = Vec::new();
            for seed in 0..100_u64 {
                let Pair { a, b } = pair(seed + 1000, 6.5, 208.0, relative, 0.004);
                if let Ok(twist) = lag(&a, &b) {
                    all += 1;
                    inside += i32::from((twist.lag_s - 0.004).abs() < 1.96 * twist.sd_s);
                    sds.push(twist.sd_s * 1e3);
                }
            }
            println!(
                "{relative}: {} accepted, mean sd {:.3} ms",
                sds.len(),
                sds.iter().sum::<f64>() / sds.len() as f64
            );
        }
        let share = f64::from(inside) / f64::from(all);
        println!("{inside} of {all} inside");
        assert!((0.92..0.985).contains(&share), "{share}");
        let (_, residuals) = errors_ms(208.0, 0.2, [0.5, 0.95]);
        assert!(residuals.iter().all(|r| *r > REFUSE_RESIDUAL), "{residuals:?}");
    }

    #[test]
    fn too_short_too_slow_or_one_axis_say_nothing() {
        let Pair { a, b } = pair(1, 2.0, 208.0, 0.02, 0.0);
        assert!(matches!(lag(&a, &b), Err(TwistError::TooLittle { .. })));
        let slow = |r: &Rates| Rates {
            times_s: r.times_s.clone(),
            rates_rad_s: r.rates_rad_s.iter().map(|v| v * 0.05).collect(),
        };
        let Pair { a, b } = pair(1, 6.0, 208.0, 0.02, 0.0);
        assert!(matches!(lag(&slow(&a), &slow(&b)), Err(TwistError::TooLittle { .. })));
        let flat = |r: &Rates| Rates {
            times_s: r.times_s.clone(),
            rates_rad_s: r.rates_rad_s.iter().map(|v| Vector3::new(v.x * 3.0, 0.0, 0.0)).collect(),
        };
        assert_eq!(lag(&flat(&a), &flat(&b)), Err(TwistError::OneAxis));
        assert!(matches!(lag(&Rates::default(), &b), Err(TwistError::TooLittle { .. })));
    }

    #[test]
    fn a_lag_beyond_the_search_is_refused() {
        let Pair { a, b } = pair(2, 6.0, 208.0, 0.02, 0.4);
        assert!(lag(&a, &b).is_err());
    }
}
