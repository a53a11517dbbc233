//! A weighted sum of Student's t distributions: what is believed of a number when its spread depends on something
//! that is known only roughly.

use super::student::near_normal;
use statrs::distribution::{Continuous as _, ContinuousCDF as _, Normal, StudentsT};

/// One distribution of a [`Mixture`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// Its weight; those of a mixture add up to 1.
    pub weight: f64,
    /// Its centre.
    pub centre: f64,
    /// Its scale: the standard error where it is of an estimate.
    pub scale: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

impl Term {
    fn student(self) -> Option<StudentsT> {
        StudentsT::new(self.centre, self.scale, self.df).ok()
    }

    /// With a further error of that variance, known with so many degrees of freedom (1/df); Satterthwaite 1946.
    fn with(self, variance: f64, per_df: f64) -> Self {
        let own = self.scale.powi(2);
        let sum = own + variance;
        let df = sum.powi(2) / (own.powi(2) / self.df + variance.powi(2) * per_df);
        Self { scale: sum.sqrt(), df: df.min(MOST_DF), ..self }
    }
}

/// More degrees of freedom are not told apart from so many: the library's distribution loses digits there.
const MOST_DF: f64 = 1e5;

/// A weighted sum of t distributions.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixture(Vec<Term>);

impl Mixture {
    /// Of `terms`, whose weights are brought to a sum of 1. `None` without any, or where a scale or the
    /// degrees of freedom are not positive.
    pub fn new(mut terms: Vec<Term>) -> Option<Self> {
        let sum: f64 = terms.iter().map(|t| t.weight).sum();
        let good = |t: &Term| t.scale > 0.0 && t.scale.is_finite() && t.df > 0.0 && t.centre.is_finite();
        if !(sum > 0.0 && sum.is_finite() && terms.iter().all(good)) {
            return None;
        }
        for term in &mut terms {
            term.weight /= sum;
            term.df = term.df.min(MOST_DF);
        }
        Some(Self(terms))
    }

    /// One t distribution.
    pub fn student(centre: f64, scale: f64, df: f64) -> Option<Self> {
        Self::new(vec![Term { weight: 1.0, centre, scale, df }])
    }

    /// The terms.
    pub fn terms(&self) -> &[Term] {
        &self.0
    }

    /// The same where the number has a further independent error of variance `known`.
    #[must_use]
    pub fn with_known(&self, known: f64) -> Self {
        if known == 0.0 {
            return self.clone();
        }
        Self(self.0.iter().map(|t| t.with(known, 0.0)).collect())
    }

    /// The same where that variance is itself estimated, with `df` degrees of freedom.
    #[must_use]
    pub fn with_estimated(&self, variance: f64, df: f64) -> Self {
        Self(self.0.iter().map(|t| t.with(variance, 1.0 / df)).collect())
    }

    /// The chance that the number is `at` or less.
    pub fn cdf(&self, at: f64) -> f64 {
        self.0.iter().filter_map(|t| Some(t.weight * t.student()?.cdf(at))).sum()
    }

    /// Twice the smaller tail beyond `at`.
    pub fn two_sided_p(&self, at: f64) -> f64 {
        // Each tail keeps its digits where 1 − the other would lose them.
        let below = self.cdf(at);
        let above: f64 = self.0.iter().filter_map(|t| Some(t.weight * t.student()?.sf(at))).sum();
        (2.0 * below.min(above)).min(1.0)
    }

    /// Its density at `at`.
    fn density(&self, at: f64) -> f64 {
        self.0.iter().filter_map(|t| Some(t.weight * t.student()?.pdf(at))).sum()
    }

    /// Where the chance is `p`; `None` outside 0 < p < 1. Newton's steps, kept between two ends; to 10⁻¹¹ of the
    /// largest scale.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let largest = self.0.iter().map(|t| t.scale).fold(0.0, f64::max);
        // Near where the terms' own quantiles lie on average.
        let z = Normal::standard().inverse_cdf(p);
        let mut at: f64 =
            self.0.iter().map(|t| t.weight * (t.centre + t.scale * near_normal(z, t.df.max(3.0)))).sum();
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for _ in 0..400 {
            let off = self.cdf(at) - p;
            let step = off / self.density(at);
            if off == 0.0 || step.abs() <= 1e-11 * largest {
                return Some(at - step);
            }
            if off < 0.0 {
                low = at;
            } else {
                high = at;
            }
            let mut to = at - step;
            if !(to > low && to < high) {
                // Beyond an end that is known, or where the density is too small for a step.
                to = match (low.is_finite(), high.is_finite()) {
                    (true, true) => f64::midpoint(low, high),
                    (true, false) => low + (at - low).abs().max(largest) * 2.0,
                    _ => high - (high - at).abs().max(largest) * 2.0,
                };
            }
            if high - low <= 1e-11 * largest {
                return Some(to);
            }
            at = to;
        }
        Some(at)
    }

    /// The variance, as far as scales say it: the mean of their squares.
    pub fn squared_scale(&self) -> f64 {
        self.0.iter().map(|t| t.weight * t.scale.powi(2)).sum()
    }

    /// The middle one half.
    pub fn median(&self) -> Option<f64> {
        self.quantile(0.5)
    }

    /// Lower and upper end that hold the number with probability `level`, equal tails.
    pub fn interval(&self, level: f64) -> Option<(f64, f64)> {
        let tail = (1.0 - level) / 2.0;
        let high = self.quantile(1.0 - tail)?;
        let one = self.0.first()?.centre;
        // About one centre it is as far to both ends.
        let low =
            if self.0.iter().all(|t| t.centre == one) { 2.0 * one - high } else { self.quantile(tail)? };
        Some((low, high))
    }
}
