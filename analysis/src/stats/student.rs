//! Student's t: intervals of a mean and of the difference of two means.

use super::{LEVEL, mean, sd};
use statrs::distribution::{ContinuousCDF as _, Normal, StudentsT};
use std::sync::OnceLock;

/// Quantile of Student's t distribution at `p` with `df` degrees of freedom (may be
/// fractional); `None` outside 0 < p < 1 or df > 0.
pub fn t_quantile(p: f64, df: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0 && df > 0.0 && df.is_finite()) {
        return None;
    }
    if df >= MANY {
        return Some(near_normal(Normal::standard().inverse_cdf(p), df));
    }
    Some(StudentsT::new(0.0, 1.0, df).ok()?.inverse_cdf(p))
}

/// From so many degrees of freedom on the library's search may not end (statrs 0.19; there are millions where a known error
/// outweighs the values' own scatter), and the expansion is right to 10⁻¹¹.
const MANY: f64 = 1000.0;

/// From so many on the library's distribution loses digits that the normal one, to first order in 1/df (Abramowitz and
/// Stegun 1964, 26.7.8), has.
const MILLIONS: f64 = 1e6;

/// Quantile for many degrees of freedom from the normal quantile `z`.
///
/// Source: Abramowitz M, Stegun IA 1964, *Handbook of Mathematical Functions*, 26.7.5.
fn near_normal(z: f64, df: f64) -> f64 {
    let sq = z * z;
    let first = z * (sq + 1.0) / 4.0;
    let second = z * ((5.0 * sq + 16.0) * sq + 3.0) / 96.0;
    let third = z * (((3.0 * sq + 19.0) * sq + 17.0) * sq - 15.0) / 384.0;
    z + (first + (second + third / df) / df) / df
}

/// Half-width of a two-sided interval at `level` in standard errors: Student's t for `df` degrees
/// of freedom; `None` without any. Each is computed once for [`LEVEL`], because a live lesson asks
/// for them thousands of times.
fn two_sided_factor(level: f64, df: usize) -> Option<f64> {
    static AT_LEVEL: [OnceLock<f64>; 512] = [const { OnceLock::new() }; 512];
    let compute = || t_quantile(f64::midpoint(1.0, level), df as f64);
    let Some(cached) = AT_LEVEL.get(df).filter(|_| level.to_bits() == LEVEL.to_bits()) else {
        return compute();
    };
    if let Some(factor) = cached.get() {
        return Some(*factor);
    }
    compute().map(|factor| *cached.get_or_init(|| factor))
}

/// Two-sided p of a t statistic; `None` for df ≤ 0 or a statistic that is not a number.
pub fn t_two_sided_p(t: f64, df: f64) -> Option<f64> {
    if t.is_nan() || !(df > 0.0 && df.is_finite()) {
        return None;
    }
    if df >= MILLIONS {
        let z = t.abs() * (1.0 - 1.0 / (4.0 * df)) / (1.0 + t * t / (2.0 * df)).sqrt();
        return Some(2.0 * Normal::standard().cdf(-z));
    }
    // The lower tail keeps its digits where 1 − cdf would lose them.
    Some(2.0 * StudentsT::new(0.0, 1.0, df).ok()?.cdf(-t.abs()))
}

/// Size, mean and sample SD of a set of values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Number of values.
    pub n: usize,
    /// Mean, in the values' unit.
    pub mean: f64,
    /// Sample SD (n − 1), in the values' unit; `None` for a single value.
    pub sd: Option<f64>,
}

impl Sample {
    /// Summarises `values`; `None` without values.
    pub fn of(values: &[f64]) -> Option<Self> {
        Some(Self { n: values.len(), mean: mean(values)?, sd: sd(values) })
    }

    /// Half-width of the confidence interval of the mean at `level` (Student's t with
    /// n − 1 degrees of freedom); `None` for a single value.
    pub fn half_width(&self, level: f64) -> Option<f64> {
        let t = two_sided_factor(level, self.n.checked_sub(1)?)?;
        Some(t * self.sd? / (self.n as f64).sqrt())
    }

    /// The same where the mean has a further error of variance `known` that more values do not average away;
    /// degrees of freedom after Satterthwaite 1946.
    pub fn half_width_with(&self, known: f64, level: f64) -> Option<f64> {
        if known == 0.0 {
            return self.half_width(level);
        }
        let own = self.sd?.powi(2) / self.n as f64;
        if own == 0.0 {
            return None;
        }
        let variance = own + known;
        let df = (self.n as f64 - 1.0) * (variance / own).powi(2);
        Some(t_quantile(f64::midpoint(1.0, level), df)? * variance.sqrt())
    }

    /// Half-width of the interval that holds one further value of the same kind with
    /// probability `level`: t(n − 1) · SD · √(1 + 1/n); `None` for a single value.
    ///
    /// Source: Hahn GJ 1969, *Journal of the American Statistical Association* 64:878–888
    /// (year and pages from memory).
    pub fn prediction_half_width(&self, level: f64) -> Option<f64> {
        let t = two_sided_factor(level, self.n.checked_sub(1)?)?;
        Some(t * self.sd? * (1.0 + 1.0 / self.n as f64).sqrt())
    }
}

/// Welch's comparison of two means.
///
/// Source: Welch BL 1947, *Biometrika* 34:28–35; degrees of freedom after Satterthwaite
/// FE 1946, *Biometrics Bulletin* 2:110–114.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Welch {
    /// Second mean minus first.
    pub difference: f64,
    /// Standard error of the difference.
    pub se: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Difference over standard error.
    pub t: f64,
    /// Two-sided p, for this comparison alone.
    pub p: f64,
    /// Half-width of the confidence interval of the difference.
    pub half_width: f64,
}

impl Welch {
    /// The same where the difference has a further error of variance `known` that more values do not
    /// average away; degrees of freedom after Satterthwaite 1946.
    pub fn with_known(self, known: f64, level: f64) -> Option<Self> {
        if known == 0.0 {
            return Some(self);
        }
        let variance = self.se.powi(2) + known;
        let se = variance.sqrt();
        let df = variance.powi(2) * self.df / self.se.powi(4);
        let t = self.difference / se;
        let half_width = t_quantile(f64::midpoint(1.0, level), df)? * se;
        Some(Self { se, df, t, p: t_two_sided_p(t, df)?, half_width, ..self })
    }
}

/// Compares `after` with `before` at confidence `level`. `None` when either has fewer than
/// two values or when neither varies at all, for then nothing is known of ordinary variation.
pub fn welch(before: &Sample, after: &Sample, level: f64) -> Option<Welch> {
    let (n1, n2) = (before.n as f64, after.n as f64);
    let v1 = before.sd?.powi(2) / n1;
    let v2 = after.sd?.powi(2) / n2;
    let se = (v1 + v2).sqrt();
    if !(se > 0.0 && se.is_finite()) {
        return None;
    }
    let df = (v1 + v2).powi(2) / (v1.powi(2) / (n1 - 1.0) + v2.powi(2) / (n2 - 1.0));
    let difference = after.mean - before.mean;
    let t = difference / se;
    let half_width = t_quantile(f64::midpoint(1.0, level), df)? * se;
    Some(Welch { difference, se, df, t, p: t_two_sided_p(t, df)?, half_width })
}
