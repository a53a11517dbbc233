//! Swings that depend on one another: what a change, a mean or the next swing can be.
//!
//! A swing resembles the one before it, and over a lesson a player warms up or tires. Counted as independent, such
//! swings show changes that are none. Here swings are a first-order autoregressive series (correlation ρ to the power
//! of the places between two swings) on top of a drift over the whole series, a random slope whose spread is a
//! share of the swing's own. How large ρ is can hardly be estimated from a few swings, so it is not: everything is
//! averaged over a grid of ρ, each with the weight that the swings give it.
//!
//! Source: linear model with known covariance up to a factor and a flat prior of the means and of the factor's logarithm
//! (Box GEP, Tiao GC 1973, *Bayesian Inference in Statistical Analysis*, chapter 2; from memory); the likelihood in
//! ρ with the means integrated out is the restricted one (Harville DA 1974, *Biometrika* 61:383–385; from memory).
//! Grid, drift and widening were chosen by simulation so that false alarms stay within 5 % in small designs;
//! the bench `promise` measures them again.

use super::mixture::{Mixture, Term};

/// What is presumed of the dependence.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// The correlations of neighbouring swings that are thought possible, each as likely as another before the swings are seen.
    pub correlations: Vec<f64>,
    /// Standard deviation of the drift from the first swing to the last, in standard deviations of a swing.
    pub drift: f64,
    /// Factor of the standard error.
    pub widen: f64,
}

impl Rule {
    /// That of every verdict.
    pub fn standard() -> Self {
        Self { correlations: (0..13).map(|i| 0.075 * f64::from(i)).collect(), drift: 0.75, widen: 1.12 }
    }
}

/// A series of swings: values and their places in the session, ascending. Places that are left out or not measured
/// stay in the count.
#[derive(Debug, Clone, Copy)]
pub struct Series<'a> {
    /// Values, in the measure's unit.
    pub values: &'a [f64],
    /// Place of each in the session, a count of all swings made.
    pub places: &'a [f64],
}

/// Inner products, in the metric of a correlation, of the columns of the model.
struct Products {
    /// `[i][j]` of the columns one, after, drift, values.
    of: [[f64; 4]; 4],
    /// Logarithm of the determinant of the correlation matrix.
    log_det: f64,
}

const ONE: usize = 0;
const AFTER: usize = 1;
const DRIFT: usize = 2;
const VALUE: usize = 3;

/// A correlation to the power of a distance. Most distances are the one before.
struct Decay {
    correlation: f64,
    distance: f64,
    power: f64,
}

impl Decay {
    const fn of(correlation: f64) -> Self {
        Self { correlation, distance: f64::NAN, power: 0.0 }
    }

    fn over(&mut self, distance: f64) -> f64 {
        if self.correlation > 0.0 && distance != self.distance {
            self.power = self.correlation.powf(distance);
            self.distance = distance;
        }
        self.power
    }
}

impl Products {
    /// The inverse of the correlation matrix of an autoregressive series is that of neighbours only, so the sums are
    /// taken over the steps from swing to swing.
    fn new(rows: &[[f64; 4]], places: &[f64], correlation: f64) -> Self {
        let mut of = [[0.0; 4]; 4];
        let mut log_det = 0.0;
        let mut earlier: Option<([f64; 4], f64)> = None;
        let mut decay = Decay::of(correlation);
        for (row, &place) in rows.iter().zip(places) {
            let (step, variance) = match earlier {
                None => (*row, 1.0),
                Some((before, at)) => {
                    let r = decay.over(place - at);
                    (std::array::from_fn(|i| row[i] - r * before[i]), 1.0 - r * r)
                }
            };
            log_det += variance.ln();
            // Unrolled: this is where summaries spend their time.
            let [one, after, drift, value] = step;
            of[ONE][ONE] += one * one / variance;
            of[ONE][AFTER] += one * after / variance;
            of[ONE][DRIFT] += one * drift / variance;
            of[ONE][VALUE] += one * value / variance;
            of[AFTER][AFTER] += after * after / variance;
            of[AFTER][DRIFT] += after * drift / variance;
            of[AFTER][VALUE] += after * value / variance;
            of[DRIFT][DRIFT] += drift * drift / variance;
            of[DRIFT][VALUE] += drift * value / variance;
            of[VALUE][VALUE] += value * value / variance;
            earlier = Some((*row, place));
        }
        for (i, j) in [(1, 0), (2, 0), (2, 1), (3, 0), (3, 1), (3, 2)] {
            of[i][j] = of[j][i];
        }
        Self { of, log_det }
    }

    /// With the drift as a part of the covariance (Sherman and Morrison 1950).
    fn with_drift(mut self, sd: f64) -> Self {
        let size = self.of[DRIFT][DRIFT];
        let share = sd.powi(2) / (1.0 + sd.powi(2) * size);
        self.log_det += (1.0 + sd.powi(2) * size).ln();
        let along = self.of[DRIFT];
        for i in 0..4 {
            for j in 0..4 {
                self.of[i][j] -= share * along[i] * along[j];
            }
        }
        self
    }
}

/// One correlation's fit.
struct Fit {
    correlation: f64,
    /// Logarithm of its weight, up to a constant.
    log_weight: f64,
    /// Degrees of freedom.
    df: f64,
    /// Variance of a swing.
    variance: f64,
    /// After less before, and the variance of it in units of `variance`; 0 without an "after".
    change: (f64, f64),
    /// Slope over the whole series and its variance in units of `variance`.
    drift: (f64, f64),
}

/// Fits of every correlation; `None` where there is no variation to judge by, or too few swings.
fn fits(series: Series<'_>, after: Option<&[bool]>, rule: &Rule) -> Option<Vec<Fit>> {
    let n = series.values.len();
    let means = if after.is_some() { 2 } else { 1 };
    if n != series.places.len() || n <= means || after.is_some_and(|a| a.len() != n) {
        return None;
    }
    if series.places.windows(2).any(|w| w[1] <= w[0]) {
        return None;
    }
    let (first, span) = (series.places[0], series.places[n - 1] - series.places[0]);
    // From about the mean, so that squares lose no digits.
    let middle = super::mean(series.values)?;
    let rows: Vec<[f64; 4]> = (0..n)
        .map(|i| {
            [
                1.0,
                after.map_or(0.0, |a| f64::from(u8::from(a[i]))),
                (series.places[i] - first) / span - 0.5,
                series.values[i] - middle,
            ]
        })
        .collect();
    let df = (n - means) as f64;
    rule.correlations.iter().map(|&r| fit(&rows, series.places, r, rule.drift, means, df)).collect()
}

fn fit(
    rows: &[[f64; 4]],
    places: &[f64],
    correlation: f64,
    drift: f64,
    means: usize,
    df: f64,
) -> Option<Fit> {
    let products = Products::new(rows, places, correlation).with_drift(drift);
    let m = &products.of;
    // Of one mean the "after" has nothing.
    let (inverse, log_det) = if means == 2 {
        let det = m[ONE][ONE] * m[AFTER][AFTER] - m[ONE][AFTER].powi(2);
        ([[m[AFTER][AFTER] / det, -m[ONE][AFTER] / det], [-m[ONE][AFTER] / det, m[ONE][ONE] / det]], det.ln())
    } else {
        ([[1.0 / m[ONE][ONE], 0.0], [0.0, 0.0]], m[ONE][ONE].ln())
    };
    // Of what the means leave of two columns.
    let left = |i: usize, j: usize| {
        let mut sum = m[i][j];
        for a in 0..2 {
            for b in 0..2 {
                sum -= m[i][a] * inverse[a][b] * m[b][j];
            }
        }
        sum
    };
    let squares = left(VALUE, VALUE);
    if !(squares > 0.0 && squares.is_finite() && log_det.is_finite()) {
        return None;
    }
    let variance = squares / df;
    let change = inverse[AFTER][ONE] * m[ONE][VALUE] + inverse[AFTER][AFTER] * m[AFTER][VALUE];
    let prior = drift.powi(2);
    Some(Fit {
        correlation,
        log_weight: -0.5 * products.log_det - 0.5 * log_det - 0.5 * df * squares.ln(),
        df,
        variance,
        change: (change, inverse[AFTER][AFTER]),
        drift: (prior * left(DRIFT, VALUE), prior - prior.powi(2) * left(DRIFT, DRIFT)),
    })
}

/// Weights of the fits, their sum 1.
fn weights(fits: &[Fit], prior: Option<&Likelihood>) -> Vec<f64> {
    let log: Vec<f64> = fits
        .iter()
        .enumerate()
        .map(|(i, f)| f.log_weight + prior.and_then(|p| p.0.get(i)).copied().unwrap_or(0.0))
        .collect();
    let largest = log.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = log.iter().map(|l| (l - largest).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.into_iter().map(|w| w / sum).collect()
}

/// What is thought of the correlations before the swings are seen: a logarithm for each of the rule's.
struct Likelihood(Vec<f64>);

/// How swings of a series depend on one another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dependence {
    /// Correlation of neighbouring swings, mean of what is believed.
    pub correlation: f64,
    /// Holds it with at least 95 %: values of the grid, none below 0.
    pub correlation_interval: (f64, f64),
    /// Change from the first place to the last that is no jump between the sides, in the values' unit.
    pub drift: f64,
    /// Its standard uncertainty.
    pub drift_sd: f64,
    /// Standard deviation of a swing about mean and drift, in the values' unit.
    pub spread: f64,
}

fn dependence(fits: &[Fit], weights: &[f64]) -> Dependence {
    let average = |of: &dyn Fn(&Fit) -> f64| fits.iter().zip(weights).map(|(f, w)| w * of(f)).sum::<f64>();
    let drift = average(&|f| f.drift.0);
    let mut so_far = 0.0;
    let mut ends = (None, None);
    for (fit, weight) in fits.iter().zip(weights) {
        so_far += weight;
        if so_far >= 0.025 {
            ends.0.get_or_insert(fit.correlation);
        }
        if so_far >= 0.975 {
            ends.1.get_or_insert(fit.correlation);
        }
    }
    let last = fits.last().map_or(0.0, |f| f.correlation);
    Dependence {
        correlation: average(&|f| f.correlation),
        correlation_interval: (ends.0.unwrap_or(0.0), ends.1.unwrap_or(last)),
        drift,
        drift_sd: average(&|f| f.variance * f.drift.1.max(0.0) + (f.drift.0 - drift).powi(2)).sqrt(),
        spread: average(&|f| f.variance).sqrt(),
    }
}

/// What is believed of the change between two sides of one series.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// After less before.
    pub difference: Mixture,
    /// How the swings depend on one another, both sides together.
    pub dependence: Dependence,
    /// Weight, correlation and variance of a swing, for each correlation.
    believed: Vec<(f64, f64, f64)>,
}

impl Change {
    /// The standard error to be expected of other swings of this player, from the sides they are to be on in the order made.
    pub fn expected_standard_error(&self, after: &[bool], rule: &Rule) -> Option<f64> {
        let mut sum = 0.0;
        for &(weight, correlation, variance) in &self.believed {
            sum += weight * variance * unit_variance(after, correlation, rule.drift)?;
        }
        Some(rule.widen * sum.sqrt())
    }
}

/// Variance of the change that swings on these sides would show, in variances of a swing.
fn unit_variance(after: &[bool], correlation: f64, drift: f64) -> Option<f64> {
    let last = after.len().checked_sub(1)?.max(1) as f64;
    let places: Vec<f64> = (0..after.len()).map(|i| i as f64).collect();
    let rows: Vec<[f64; 4]> =
        places.iter().zip(after).map(|(p, a)| [1.0, f64::from(u8::from(*a)), p / last - 0.5, 0.0]).collect();
    let m = Products::new(&rows, &places, correlation).with_drift(drift).of;
    let variance = m[ONE][ONE] / (m[ONE][ONE] * m[AFTER][AFTER] - m[ONE][AFTER].powi(2));
    (variance > 0.0 && variance.is_finite()).then_some(variance)
}

/// The change from the swings that are not `after` to those that are. `None` where a side has fewer than two values, lengths differ, places do not ascend, or nothing varies.
pub fn change(series: Series<'_>, after: &[bool], rule: &Rule) -> Option<Change> {
    let later = after.iter().filter(|a| **a).count();
    if later < 2 || after.len() < later + 2 {
        return None;
    }
    let fits = fits(series, Some(after), rule)?;
    let weights = weights(&fits, None);
    let terms = fits
        .iter()
        .zip(&weights)
        .map(|(f, &weight)| Term {
            weight,
            centre: f.change.0,
            scale: rule.widen * (f.variance * f.change.1).sqrt(),
            df: f.df,
        })
        .collect();
    let believed = fits.iter().zip(&weights).map(|(f, &w)| (w, f.correlation, f.variance)).collect();
    Some(Change { difference: Mixture::new(terms)?, dependence: dependence(&fits, &weights), believed })
}

/// What is believed of a block.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// The arithmetic mean, with what the dependence leaves in it.
    pub mean: Mixture,
    /// Variance that the swings leave in it if strong correlations are thought less likely beforehand than weak ones. Where the mean is one
    /// of several sessions', what those share is the larger part, and the even prior of the verdicts would
    /// treble the swings' part.
    pub likely_variance: f64,
    /// How the swings depend on one another.
    pub dependence: Dependence,
}

/// Standard deviation of the correlations that are likely beforehand: in skilled repeated throws the correlation of neighbours is
/// about 0 (van Beers RJ et al. 2013, *`PLoS` ONE* 8:e64332; abstract); for golf nothing was found, so it is taken wider than that.
const LIKELY_CORRELATION: f64 = 0.35;

/// Strong correlations less likely beforehand than weak ones.
fn likely(fits: &[Fit]) -> Likelihood {
    Likelihood(fits.iter().map(|f| -0.5 * (f.correlation / LIKELY_CORRELATION).powi(2)).collect())
}

/// Of a block's mean. `None` for fewer than two values, or where nothing varies.
pub fn level(series: Series<'_>, rule: &Rule) -> Option<Level> {
    let fits = fits(series, None, rule)?;
    let weights = weights(&fits, None);
    let n = series.values.len() as f64;
    let even = vec![1.0 / n; series.values.len()];
    let units = contrast_variances(&even, series.places, &fits, rule);
    let mean = around_mean(series.values, &units, &fits, &weights, rule)?;
    let likely_variance = fits
        .iter()
        .zip(self::weights(&fits, Some(&likely(&fits))))
        .zip(&units)
        .map(|((f, w), unit)| w * f.variance * unit)
        .sum();
    Some(Level { mean, likely_variance, dependence: dependence(&fits, &weights) })
}

/// What the swing at place `at`, after the series, can be if nothing has changed; strong correlations are thought less likely
/// beforehand than weak ones, for the even prior would make the band twice as wide as need be. Centred at the arithmetic mean, so that a
/// reader sees where the band is.
pub fn next(series: Series<'_>, at: f64, rule: &Rule) -> Option<Mixture> {
    let last = *series.places.last()?;
    let fits = fits(series, None, rule)?;
    let weights = weights(&fits, Some(&likely(&fits)));
    let n = series.values.len() as f64;
    let mut places = series.places.to_vec();
    let mut contrast = vec![-1.0 / n; series.values.len()];
    // A swing from before the series, or of it, is as far from it as the next one at least.
    places.push(at.max(last + 1.0));
    contrast.push(1.0);
    let units = contrast_variances(&contrast, &places, &fits, rule);
    around_mean(series.values, &units, &fits, &weights, rule)
}

/// [`contrast_variance`] for each fit's correlation.
fn contrast_variances(contrast: &[f64], places: &[f64], fits: &[Fit], rule: &Rule) -> Vec<f64> {
    fits.iter().map(|f| contrast_variance(contrast, places, f.correlation, rule.drift)).collect()
}

/// A mixture about the arithmetic mean whose scale is that of a contrast with these variances in units of one swing's.
fn around_mean(values: &[f64], units: &[f64], fits: &[Fit], weights: &[f64], rule: &Rule) -> Option<Mixture> {
    let centre = super::mean(values)?;
    let terms = fits
        .iter()
        .zip(weights)
        .zip(units)
        .map(|((f, &weight), unit)| Term {
            weight,
            centre,
            scale: rule.widen * (f.variance * unit).sqrt(),
            df: f.df,
        })
        .collect();
    Mixture::new(terms)
}

/// Variance of a weighted sum of swings, in variances of one: the autoregressive part by one pass, and the drift's.
fn contrast_variance(contrast: &[f64], places: &[f64], correlation: f64, drift: f64) -> f64 {
    let mut sum = 0.0;
    // Of the swings before, weighted by their correlation with this one.
    let mut before = 0.0;
    let mut along = 0.0;
    let first = places.first().copied().unwrap_or(0.0);
    let span = (places.last().copied().unwrap_or(0.0) - first).max(f64::MIN_POSITIVE);
    let mut decay = Decay::of(correlation);
    for (i, (&c, &place)) in contrast.iter().zip(places).enumerate() {
        if i > 0 {
            before *= decay.over(place - places[i - 1]);
        }
        sum += c * c + 2.0 * c * before;
        before += c;
        along += c * ((place - first) / span - 0.5);
    }
    sum.max(0.0) + (drift * along).powi(2)
}
