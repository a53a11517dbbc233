//! Least-squares polynomial through a few samples around an instant.
//!
//! It smooths (zero phase by construction), locates sub-sample extremes, and yields the
//! covariance that turns sample noise into a standard uncertainty, all from one fit. Sample
//! times may be uneven.

use nalgebra::{SMatrix, SVector};

/// Half width of at least `half_s` that holds seven samples of the given period.
pub fn at_least_seven_s(half_s: f64, period_s: f64) -> f64 {
    half_s.max(3.2 * period_s)
}

/// Cubic: asymmetric rise and fall bend the third-order term, not the located extreme.
pub type LocalFit = Polynomial<4>;

/// As many sums of powers as a quintic needs.
const MOST_SUMS: usize = 11;

/// A local polynomial of `N` terms in (t − centre).
#[derive(Debug, Clone, Copy)]
pub struct Polynomial<const N: usize> {
    centre_s: f64,
    scale_s: f64,
    coefficients: SVector<f64, N>,
    /// (XᵀX)⁻¹ in scaled time.
    spread: SMatrix<f64, N, N>,
    rss: f64,
    count: usize,
}

impl<const N: usize> Polynomial<N> {
    /// Fits `y` at `t_s` over `centre_s` ± `half_s`. `None` with no more samples than terms inside.
    pub fn new(t_s: &[f64], y: &[f64], centre_s: f64, half_s: f64) -> Option<Self> {
        let lo = t_s.partition_point(|t| *t < centre_s - half_s);
        let hi = t_s.partition_point(|t| *t <= centre_s + half_s);
        if hi < lo + N + 1 {
            return None;
        }
        // XᵀX holds the sums of the powers of scaled time, each of them along a whole diagonal.
        let mut sums = [0.0; MOST_SUMS];
        let sums = &mut sums[..2 * N - 1];
        let mut right = SVector::<f64, N>::zeros();
        let samples = || t_s[lo..hi].iter().map(|t| (t - centre_s) / half_s).zip(&y[lo..hi]);
        for (u, y) in samples() {
            let mut power = 1.0;
            for (k, sum) in sums.iter_mut().enumerate() {
                *sum += power;
                if k < N {
                    right[k] += power * y;
                }
                power *= u;
            }
        }
        let spread = SMatrix::<f64, N, N>::from_fn(|k, l| sums[k + l]).try_inverse()?;
        let coefficients = spread * right;
        let fitted = |u: f64| coefficients.iter().rev().fold(0.0, |value, c| value * u + c);
        let rss: f64 = samples().map(|(u, y)| (y - fitted(u)).powi(2)).sum();
        let count = hi - lo;
        Some(Self { centre_s, scale_s: half_s, coefficients, spread, rss, count })
    }

    fn row(&self, t_s: f64, derivative: u32) -> SVector<f64, N> {
        let u = (t_s - self.centre_s) / self.scale_s;
        SVector::from_fn(|k, _| {
            let k = k as u32;
            if k < derivative {
                return 0.0;
            }
            let factor: u32 = (k + 1 - derivative..=k).product();
            f64::from(factor) * u.powi((k - derivative) as i32) / self.scale_s.powi(derivative as i32)
        })
    }

    /// Value of the fit or its derivative.
    pub fn at(&self, t_s: f64, derivative: u32) -> f64 {
        self.coefficients.dot(&self.row(t_s, derivative))
    }

    /// Standard deviation of [`at`](Self::at) for samples of variance `noise_var`.
    pub fn sd(&self, t_s: f64, derivative: u32, noise_var: f64) -> f64 {
        let x = self.row(t_s, derivative);
        (noise_var * x.dot(&(self.spread * x))).sqrt()
    }

    /// Variance of the samples about the fit.
    pub fn residual_var(&self) -> f64 {
        self.rss / (self.count - N) as f64
    }

    /// Sum of squared residuals.
    pub fn rss(&self) -> f64 {
        self.rss
    }

    /// Root of derivative `d` nearest to `near_s` within the fitted stretch, by Newton steps.
    pub fn root(&self, derivative: u32, near_s: f64) -> Option<f64> {
        let mut t = near_s;
        for _ in 0..20 {
            let slope = self.at(t, derivative + 1);
            if slope == 0.0 {
                return None;
            }
            let step = self.at(t, derivative) / slope;
            t -= step.clamp(-self.scale_s, self.scale_s);
            if (t - self.centre_s).abs() > 1.5 * self.scale_s {
                return None;
            }
            if step.abs() < 1e-9 {
                break;
            }
        }
        Some(t)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_is_reproduced_exactly() {
        let t: Vec<f64> = (0..15).map(|i| f64::from(i) * 0.0048 + 0.0003 * f64::from(i % 3)).collect();
        let f = |t: f64| 3.0 + 20.0 * t - 900.0 * t * t + 4000.0 * t * t * t;
        let y: Vec<f64> = t.iter().map(|t| f(*t)).collect();
        let fit = LocalFit::new(&t, &y, 0.03, 0.025).unwrap();
        assert!((fit.at(0.033, 0) - f(0.033)).abs() < 1e-9);
        assert!((fit.at(0.033, 1) - (20.0 - 1800.0 * 0.033 + 12000.0 * 0.033 * 0.033)).abs() < 1e-6);
        assert!(fit.residual_var() < 1e-18);
    }

    #[test]
    fn too_few_samples_give_no_fit() {
        assert!(LocalFit::new(&[0.0, 0.1, 0.2], &[1.0, 2.0, 1.0], 0.1, 0.2).is_none());
    }
}
