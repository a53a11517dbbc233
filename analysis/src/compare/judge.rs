//! One measure's difference, with what is believed of it.

use super::more::{self, How, More};
use super::{Row, Standing};
use crate::chosen::Family;
use crate::design::Design;
use crate::measure::Measure;
use crate::stats::lessons::{Scatter, SessionMean, Shared, against, stated_factor};
use crate::stats::{Change, LEVEL, Mixture, Rule, Sample, Series, change, rms};
use crate::summary::{MeasureSummary, squared};
use crate::wearing::{Kind, SHIFT_FLOOR_CM, worn_anew_sd};

/// The convention where the coach names no smallest change: this share of the spread between swings.
///
/// Source: Hopkins WG 2004, *Sportscience* 8:1–7 (smallest worthwhile change, a fifth of the standard deviation;
/// there between athletes, from memory).
const SMALLEST_SHARE: f64 = 0.2;

/// Both sides of one measure, in one wearing or in several.
pub(super) struct Pair<'a> {
    pub(super) measure: Measure,
    /// Earlier sessions, the one named first; one where both sides are of one wearing.
    pub(super) before: Vec<&'a MeasureSummary>,
    pub(super) after: &'a MeasureSummary,
    /// Means of checks in which the straps were put on anew, by check.
    pub(super) worn_anew: Vec<Vec<SessionMean>>,
}

/// What is believed of a difference, and what it rests on.
struct Belief {
    difference: Mixture,
    rests: Rests,
}

enum Rests {
    /// Swings of one wearing, in this order.
    Within(Change, Design),
    /// Sessions: the variance that swings leave in the difference, that which sessions share, and its degrees of freedom.
    Between { within: f64, shared: f64, df: f64 },
}

impl Belief {
    /// What finding a change of that size would take, with so many measures judged; `n` swings after.
    fn how(&self, size: f64, family: usize, n: usize) -> Option<How> {
        match &self.rests {
            Rests::Within(change, design) => more::within(design, change, size, family),
            Rests::Between { within, shared, df } => more::between(*within, *shared, *df, n, size, family),
        }
    }
}

impl Pair<'_> {
    /// How far sessions' means lie apart that should be alike.
    fn scatter(&self) -> Scatter {
        let earlier: Vec<SessionMean> = self.before.iter().filter_map(|s| s.session_mean()).collect();
        let mut groups: Vec<&[SessionMean]> = vec![&earlier];
        groups.extend(self.worn_anew.iter().map(Vec::as_slice));
        Scatter::of(&groups)
    }

    /// Stated standard deviation of what a session's mean shares, both sides (root mean square).
    fn stated_sd(&self) -> Option<f64> {
        let sds: Vec<f64> =
            self.before.iter().copied().chain([self.after]).filter_map(worn_anew_sd).collect();
        rms(&sds)
    }

    /// Variance of a difference within a wearing by errors that more swings do not average away: both sides have the
    /// same error, and it cancels so far as their swings are made alike.
    fn shared_variance(&self) -> f64 {
        let (Some(b), Some(a)) = (self.before[0].shared, self.after.shared) else { return 0.0 };
        squared(&std::array::from_fn(|i| a[i] - b[i])) + SHIFT_FLOOR_CM.powi(2)
    }

    fn within_wearing(&self) -> Option<Belief> {
        let before = self.before[0];
        let mut all: Vec<(f64, f64, bool)> = Vec::new();
        for (side, after) in [(before, false), (self.after, true)] {
            all.extend(side.places.iter().zip(&side.values).map(|(&p, &v)| (f64::from(p), v, after)));
        }
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let places: Vec<f64> = all.iter().map(|s| s.0).collect();
        let values: Vec<f64> = all.iter().map(|s| s.1).collect();
        let after: Vec<bool> = all.iter().map(|s| s.2).collect();
        let series = Series { values: &values, places: &places };
        let change = change(series, &after, &Rule::standard())?;
        let difference = change.difference.with_known(self.shared_variance());
        Some(Belief { difference, rests: Rests::Within(change, Design::of(&after)) })
    }

    fn between_wearings(&self, factor: Option<f64>) -> Option<Belief> {
        let earlier: Vec<SessionMean> =
            self.before.iter().map(|s| s.session_mean()).collect::<Option<_>>()?;
        let shared = Shared { stated_sd: self.stated_sd().unwrap_or(0.0), factor, scatter: self.scatter() };
        let new = self.after.session_mean()?;
        let difference = against(new, &earlier, &shared)?;
        let k = earlier.len() as f64;
        let within = new.variance + earlier.iter().map(|s| s.variance).sum::<f64>() / k.powi(2);
        let (variance, df) = shared.variance();
        let rests = Rests::Between { within, shared: variance * (1.0 + 1.0 / k), df };
        Some(Belief { difference, rests })
    }
}

/// How far the stated standard deviations of what a session shares hold for this player, over all measures of a kind.
pub(super) fn factor(pairs: &[Pair<'_>], kind: Kind) -> Option<f64> {
    let told: Vec<(Scatter, f64)> = pairs
        .iter()
        .filter(|p| Kind::of(p.measure) == kind)
        .filter_map(|p| Some((p.scatter(), p.stated_sd()?)))
        .collect();
    stated_factor(&told)
}

/// The row, its verdict still open. `factor`: of [`factor`], where the sides are of several wearings; `judged`: how many
/// measures get a verdict.
pub(super) fn row(
    pair: &Pair<'_>,
    one_wearing: bool,
    factor: Option<f64>,
    family: &Family,
    judged: usize,
) -> Row {
    let before = joined(&pair.before);
    let after = pair.after.clone();
    let belief = if one_wearing { pair.within_wearing() } else { pair.between_wearings(factor) };
    let sds: Vec<f64> = [&before, &after].into_iter().filter_map(|s| s.measuring_sd).collect();
    let measuring_sd = rms(&sds);
    let spreads: Vec<f64> = [&before, &after].into_iter().filter_map(|s| s.sample.sd).collect();
    let spread = rms(&spreads);
    let means_apart = after.sample.mean - before.sample.mean;
    let convention =
        [spread.map(|s| SMALLEST_SHARE * s), measuring_sd].into_iter().flatten().reduce(f64::max);
    let named = family.matters(pair.measure);
    let more = named.or(spread).filter(|s| *s > 0.0).and_then(|change| {
        let how = belief.as_ref()?.how(change, judged, after.sample.n)?;
        Some(More { change, named: named.is_some(), how })
    });
    let dependence = belief.as_ref().and_then(|b| match &b.rests {
        Rests::Within(change, _) => Some(change.dependence),
        Rests::Between { .. } => None,
    });
    Row {
        measure: pair.measure,
        standing: if family.judges(pair.measure) { Standing::Judged } else { Standing::LookedThrough },
        difference: belief.as_ref().and_then(|b| b.difference.median()).unwrap_or(means_apart),
        means_apart,
        interval: belief.as_ref().and_then(|b| b.difference.interval(LEVEL)),
        p: belief.as_ref().map(|b| b.difference.two_sided_p(0.0)),
        p_adjusted: None,
        df: belief.as_ref().and_then(|b| b.difference.terms().first().map(|t| t.df)),
        dependence,
        measuring_sd,
        wearing_factor: factor,
        worn_anew_sd: if one_wearing { None } else { pair.stated_sd() },
        spread,
        matters: named.or(convention),
        matters_named: named.is_some(),
        more,
        verdict: super::Verdict::TooFew,
        before,
        after,
    }
}

/// Earlier sessions as one: the mean of their means, with their typical spread.
fn joined(sessions: &[&MeasureSummary]) -> MeasureSummary {
    let first = sessions[0].clone();
    if sessions.len() == 1 {
        return first;
    }
    let all = |of: &dyn Fn(&MeasureSummary) -> Option<f64>| {
        rms(&sessions.iter().filter_map(|s| of(s)).collect::<Vec<_>>())
    };
    let means: Vec<f64> = sessions.iter().map(|s| s.sample.mean).collect();
    MeasureSummary {
        sample: Sample {
            n: sessions.iter().map(|s| s.sample.n).sum(),
            mean: crate::stats::mean(&means).unwrap_or(first.sample.mean),
            sd: all(&|s| s.sample.sd),
        },
        level: None,
        measuring_sd: all(&|s| s.measuring_sd),
        bone_sd: all(&|s| s.bone_sd),
        places: Vec::new(),
        values: Vec::new(),
        ..first
    }
}
