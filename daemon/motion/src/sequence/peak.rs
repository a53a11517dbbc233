//! When a segment was fastest between its reversal and impact.

use super::apex;
use super::fit::{Polynomial, at_least_seven_s};
use super::smoothing::{Stretch, Top, largest};

/// A speed series of one segment at its own sample times.
#[derive(Debug, Clone, Copy)]
pub struct Series<'a> {
    /// Session times, s.
    pub t_s: &'a [f64],
    /// Speed, deg/s.
    pub dps: &'a [f64],
}

/// A located maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundPeak {
    /// Session time, s; impact if the speed was still rising there.
    pub t_s: f64,
    /// Standard uncertainty from noise and unevenness, s.
    pub sd_s: f64,
    /// Of which that of the samples' noise, s.
    pub noise_sd_s: f64,
    /// First and last session time of the maxima that may be the largest, s.
    pub rivals_s: [f64; 2],
    /// Speed there, deg/s.
    pub dps: f64,
    /// Its standard uncertainty by noise and model, deg/s.
    pub dps_sd: f64,
    /// Still rising at impact.
    pub rising: bool,
}

/// Half width of the smoothing, s: the same for all segments. As a filter its −3 dB point
/// lies above 25 Hz; longer smoothing moves the peaks of segments with unlike rise and fall
/// against each other.
pub const HALF_S: f64 = 0.0205;
/// The models that are weighed against each other need a little more to tell rise from fall.
const WIDER: f64 = 1.35;
/// Nothing locates a peak of human movement better than this, s (1 SD; own judgement).
const FLOOR_S: f64 = 0.1e-3;

/// A second maximum this close to the largest may be the largest: scale and axes of a strap are
/// no better known (share of the speed, and deg/s; own judgement).
const RIVAL_SHARE: f64 = 0.006;
const RIVAL_DPS: f64 = 1.0;

/// Half width for straps of this sample period: at least seven samples.
pub fn half_width_s(period_s: f64) -> f64 {
    at_least_seven_s(HALF_S, period_s)
}

/// More noise than this in a located peak is worth longer smoothing, s.
const NOISE_S: f64 = 0.6e-3;
/// … up to this half width, s.
const HALF_MAX_S: f64 = 0.045;

/// The half width for noisy gyroscopes: with `half_s` the noisiest segment's peak had a
/// standard deviation of `noise_sd_s`, which falls with the half width's power 3/2.
pub fn widened_s(half_s: f64, noise_sd_s: f64) -> f64 {
    (half_s * (noise_sd_s / NOISE_S).powf(2.0 / 3.0)).clamp(half_s, HALF_MAX_S.max(half_s))
}

/// Finds the largest maximum in (`from_s`, `impact_s`]. Only samples up to `data_to_s`
/// (impact, or a little later without a strike) are used: the strike shakes the gyroscope.
pub fn find(
    series: Series<'_>,
    from_s: f64,
    impact_s: f64,
    data_to_s: f64,
    half_s: f64,
) -> Option<FoundPeak> {
    let stretch = Stretch::new(series, from_s, impact_s, data_to_s)?;
    let speeds = stretch.smoothed(half_s, |_| true);
    let (at, top) = largest(&speeds)?;
    let Stretch { t_s, dps, lo, hi, .. } = stretch;
    let (t, fit) = match stretch.top(at, half_s)? {
        Top::Inside(t, fit) => (t, fit),
        Top::AtImpact(fit) => {
            return Some(FoundPeak {
                t_s: impact_s,
                sd_s: 0.0,
                rivals_s: [impact_s; 2],
                noise_sd_s: 0.0,
                dps: fit.at(impact_s, 0),
                dps_sd: fit.sd(impact_s, 0, fit.residual_var()),
                rising: true,
            });
        }
    };
    let curvature = fit.at(t, 2);
    if curvature >= 0.0 {
        return None;
    }
    let noise_var = noise_var(dps, lo, hi);
    let smooth = Located {
        t_s: t,
        sd_s: fit.sd(t, 1, noise_var) / -curvature,
        dps: fit.at(t, 0),
        dps_sd: fit.sd(t, 0, noise_var),
    };
    let located = weighed(t_s, dps, t, half_s, noise_var).unwrap_or(smooth);
    let rivals = speeds.windows(3).filter(|w| w[1].1 >= w[0].1 && w[1].1 >= w[2].1);
    let found_s = located.t_s.min(impact_s);
    let rivals_s = rivals
        .filter(|w| w[1].1 > top * (1.0 - RIVAL_SHARE) - RIVAL_DPS)
        .map(|w| t_s[w[1].0])
        .filter(|t| (t - found_s).abs() > half_s)
        .fold([found_s; 2], |[first, last], t| [first.min(t), last.max(t)]);
    Some(FoundPeak {
        t_s: found_s,
        sd_s: located.sd_s.hypot(FLOOR_S),
        rivals_s,
        noise_sd_s: smooth.sd_s,
        dps: located.dps,
        dps_sd: located.dps_sd,
        rising: false,
    })
}

#[derive(Debug, Clone, Copy)]
struct Located {
    t_s: f64,
    sd_s: f64,
    dps: f64,
    dps_sd: f64,
}

/// How well any of the models can describe a movement, share of its speed (own judgement).
const MODEL_SHARE: f64 = 2e-4;

/// Three models of the top over the same samples, weighed by how well each explains them for
/// its number of parameters (Bayesian information criterion; Schwarz 1978, Ann Stat 6:461–464):
/// a cubic for quiet tops, a quintic for tops that fall much more slowly than they rise, a
/// two-sided parabola for those whose bend changes at once. What they disagree by is
/// uncertainty.
fn weighed(t_s: &[f64], dps: &[f64], near_s: f64, half_s: f64, noise_var: f64) -> Option<Located> {
    let half_s = half_s * WIDER;
    let cubic = polynomial::<4>(t_s, dps, near_s, half_s, noise_var)?;
    let var = noise_var + (MODEL_SHARE * cubic.top.dps).powi(2);
    let samples = t_s.iter().filter(|t| (near_s - half_s..=near_s + half_s).contains(t)).count();
    let log_n = (samples as f64).ln();
    let quintic = polynomial::<6>(t_s, dps, near_s, half_s, noise_var);
    let models: Vec<Model> = [Some(cubic), quintic, two_sided(t_s, dps, near_s, half_s, noise_var)]
        .into_iter()
        .flatten()
        .collect();
    let score = |m: &Model| m.rss / var + m.terms as f64 * log_n;
    let best = models.iter().map(score).fold(f64::INFINITY, f64::min);
    let weights: Vec<(Located, f64)> =
        models.iter().map(|m| (m.top, (0.5 * (best - score(m))).exp())).collect();
    let whole: f64 = weights.iter().map(|w| w.1).sum();
    let mean = |of: &dyn Fn(&Located) -> f64| weights.iter().map(|(l, w)| w * of(l)).sum::<f64>() / whole;
    let (t, dps) = (mean(&|l| l.t_s), mean(&|l| l.dps));
    Some(Located {
        t_s: t,
        sd_s: mean(&|l| l.sd_s.powi(2) + (l.t_s - t).powi(2)).sqrt(),
        dps,
        dps_sd: mean(&|l| l.dps_sd.powi(2) + (l.dps - dps).powi(2)).sqrt(),
    })
}

/// One model of the top.
struct Model {
    top: Located,
    /// Sum of squared residuals.
    rss: f64,
    /// Parameters.
    terms: usize,
}

/// The two-sided parabola's maximum near `near_s`.
fn two_sided(t_s: &[f64], dps: &[f64], near_s: f64, half_s: f64, noise_var: f64) -> Option<Model> {
    let a = apex::fit(t_s, dps, near_s, half_s)?;
    let sd_s = if a.sharpness > 0.0 { (2.0 * noise_var / a.sharpness).sqrt() } else { half_s };
    // The top is the mean of some half of the samples in it.
    let within = t_s.iter().filter(|t| (near_s - half_s..=near_s + half_s).contains(t)).count();
    let dps_sd = (2.0 * noise_var / within.max(1) as f64).sqrt();
    Some(Model { top: Located { t_s: a.t_s, sd_s, dps: a.top, dps_sd }, rss: a.rss, terms: 4 })
}

/// The maximum of a polynomial near `near_s`.
fn polynomial<const N: usize>(
    t_s: &[f64],
    dps: &[f64],
    near_s: f64,
    half_s: f64,
    noise_var: f64,
) -> Option<Model> {
    let fit = Polynomial::<N>::new(t_s, dps, near_s, half_s)?;
    let t = fit.root(1, near_s).filter(|t| (t - near_s).abs() < 0.6 * half_s)?;
    let curvature = fit.at(t, 2);
    let sd_s = fit.sd(t, 1, noise_var) / -curvature;
    let top = Located { t_s: t, sd_s, dps: fit.at(t, 0), dps_sd: fit.sd(t, 0, noise_var) };
    (curvature < 0.0).then(|| Model { top, rss: fit.rss(), terms: N })
}

/// Variance of the samples' noise between two indices, from their sixth differences, in which smooth
/// motion of these speeds is far below a deg/s also at 104 Hz (in fourth differences it is above one).
/// For white noise their variance is 924 σ², the sum of the squared binomial coefficients.
fn noise_var(dps: &[f64], lo: usize, hi: usize) -> f64 {
    let mut squares: Vec<f64> = (lo.max(3)..hi.min(dps.len().saturating_sub(3)))
        .map(|i| {
            let even = dps[i - 3] + dps[i + 3] + 15.0 * (dps[i - 1] + dps[i + 1]);
            let odd = 6.0 * (dps[i - 2] + dps[i + 2]) + 20.0 * dps[i];
            (even - odd).powi(2) / 924.0
        })
        .collect();
    if squares.is_empty() {
        return 1.0;
    }
    squares.sort_by(f64::total_cmp);
    // The median of the square of a normal variable is 0.455 of its variance.
    squares[squares.len() / 2] / 0.455 + 1e-4
}
