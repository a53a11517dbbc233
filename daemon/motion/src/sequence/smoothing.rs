//! The largest maximum of a speed up to impact, by local cubics of a given half width.

use super::fit::LocalFit;
use super::peak::Series;

/// The samples of a speed that may be used, and which of them lie between reversal and impact.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch<'a> {
    pub(super) t_s: &'a [f64],
    pub(super) dps: &'a [f64],
    /// Indices of the first sample after the reversal and of the first after impact.
    pub(super) lo: usize,
    pub(super) hi: usize,
    impact_s: f64,
}

/// Where one smoothing has its largest value.
#[derive(Debug, Clone, Copy)]
pub(super) enum Top {
    /// A maximum, with the fit that has it.
    Inside(f64, LocalFit),
    /// Still rising at impact, with the fit there.
    AtImpact(LocalFit),
}

impl<'a> Stretch<'a> {
    /// Samples in (`from_s`, `impact_s`]; those up to `data_to_s` may be leant on.
    pub(super) fn new(series: Series<'a>, from_s: f64, impact_s: f64, data_to_s: f64) -> Option<Self> {
        let usable = series.t_s.partition_point(|t| *t <= data_to_s);
        let (t_s, dps) = (&series.t_s[..usable], &series.dps[..usable]);
        let lo = t_s.partition_point(|t| *t <= from_s);
        let hi = t_s.partition_point(|t| *t <= impact_s);
        (lo < hi).then_some(Self { t_s, dps, lo, hi, impact_s })
    }

    /// The fit around `t_s`. Near the end of the usable samples it leans on those before it.
    pub(super) fn around(&self, t_s: f64, half_s: f64) -> Option<LocalFit> {
        let last_centre_s = self.t_s.last()? - 0.6 * half_s;
        LocalFit::new(self.t_s, self.dps, t_s.min(last_centre_s), half_s)
    }

    /// Smoothed speeds of those samples between reversal and impact that are `wanted`.
    pub(super) fn smoothed(&self, half_s: f64, wanted: impl Fn(usize) -> bool) -> Vec<(usize, f64)> {
        (self.lo..self.hi)
            .filter(|i| wanted(*i))
            .filter_map(|i| Some((i, self.around(self.t_s[i], half_s)?.at(self.t_s[i], 0))))
            .collect()
    }

    /// The maximum near sample `at`, by fits that are centred on it.
    pub(super) fn top(&self, at: usize, half_s: f64) -> Option<Top> {
        let sample_s = self.t_s[at];
        let (mut t, mut fit) = (sample_s, self.around(sample_s, half_s)?);
        let mut located = false;
        for _ in 0..4 {
            let near = |n: &f64| (n - sample_s).abs() < half_s && fit.at(*n, 2) < 0.0;
            let Some(next) = fit.root(1, t).filter(near) else { break };
            located = true;
            t = next;
            fit = self.around(t, half_s)?;
        }
        let at_impact = self.around(self.impact_s, half_s)?;
        let at_the_end = at + 2 >= self.hi;
        let rising = at_the_end && (!located || at_impact.at(self.impact_s, 1) > 0.0);
        Some(if t > self.impact_s || rising { Top::AtImpact(at_impact) } else { Top::Inside(t, fit) })
    }
}

/// The largest of smoothed speeds; the first of equals, so that the result does not depend on chance.
pub(super) fn largest(speeds: &[(usize, f64)]) -> Option<(usize, f64)> {
    speeds.iter().copied().reduce(|best, next| if next.1 > best.1 { next } else { best })
}
