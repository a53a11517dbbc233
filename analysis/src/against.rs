//! One swing against the player's own baseline: is it within ordinary variation?

use crate::chosen::Family;
use crate::measure::{Measure, Value};
use crate::stats::lessons::{Scatter, Shared};
use crate::stats::{LEVEL, Mixture, Rule, Sample, Series, next};
use crate::summary::summarise_measure;
use crate::wearing::worn_anew_sd;
use crate::words::{amount, difference, subject, value};
use peakorder_protocol::remark::{Ball, Remarks};
use peakorder_protocol::swing::Swing;
use serde::Serialize;

/// The fewest baseline swings that a band is drawn from. Own judgement: below it Student's
/// factor makes the band wider than anything a player does (3.0 SD at 5, 4.9 SD at 3).
pub const FEWEST: usize = 5;

/// What can be said of one swing's value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum AgainstVerdict {
    /// Inside the band.
    WithinOrdinary,
    /// Outside the band.
    BeyondOrdinary,
    /// Not measured, another definition, or too little baseline.
    CannotTellYet,
    /// Not one of the numbers that the lesson is about, and not grossly beyond: nothing is said.
    LookedThrough,
}

/// One measure of one swing against the baseline.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Against {
    /// [`Measure::key`].
    pub measure: String,
    /// [`Measure::label`].
    pub label: String,
    /// [`Measure::unit`].
    pub unit: &'static str,
    /// The swing's value, in the unit; absent when not measured.
    pub value: Option<f64>,
    /// Its standard measuring uncertainty, where the swing file states one.
    pub sd: Option<f64>,
    /// Baseline's mean.
    pub baseline_mean: Option<f64>,
    /// Baseline's SD between swings.
    pub baseline_sd: Option<f64>,
    /// Baseline swings with this measure, defined as in this swing.
    pub n: usize,
    /// The fewest baseline swings that a band is drawn from.
    pub needed: usize,
    /// Value minus mean.
    pub difference: Option<f64>,
    /// The ordinary band, lower and upper end: one further swing of a player who did not change lies in the bands of all numbers that the
    /// lesson is about with 95 %; of another number in its own.
    pub band: Option<(f64, f64)>,
    /// What can be said.
    pub verdict: AgainstVerdict,
    /// The same in a sentence.
    pub words: String,
}

/// Of all numbers that the lesson is not about together, an unchanged swing is called beyond ordinary so often.
const GROSS: f64 = 0.01;

/// Sets `swing` against `baseline` in every measure that either has; marks are for the measures of `family`, and for what is
/// grossly beyond. `remarks` are those of its session;
/// of its swings those that do not count by them are no baseline, nor is `swing` itself. Of other sessions
/// leave such swings out before. A drill is not held against full swings: of the swings of a drill's block nothing is said.
pub fn against_baseline(
    swing: &Swing,
    baseline: &[&Swing],
    remarks: &Remarks,
    family: &Family,
) -> Vec<Against> {
    if baseline.first().is_some_and(|b| b.block != swing.block) && is_drill(&swing.block, remarks) {
        return Vec::new();
    }
    let baseline: Vec<&Swing> = baseline
        .iter()
        .copied()
        .filter(|b| (b.number, &b.session) != (swing.number, &swing.session))
        .filter(|b| b.session != swing.session || remarks.counts(b))
        .collect();
    let without =
        baseline.first().is_some_and(|b| b.session == swing.session && remarks.without_ball(&b.block));
    let unlike = unlike(remarks.ball(swing), without);
    let measured = Measure::ALL.into_iter().filter(|m| m.of(swing).is_some());
    let (judged, others): (Vec<Measure>, Vec<Measure>) = measured.partition(|m| family.judges(*m));
    let share = |alarm: f64, of: &[Measure]| alarm / of.len().max(1) as f64;
    let levels = Levels { judged: share(1.0 - LEVEL, &judged), gross: share(GROSS, &others) };
    Measure::ALL
        .into_iter()
        .filter_map(|m| against(m, swing, &baseline, unlike, family.judges(m), levels))
        .collect()
}

/// Whether a block is a drill: a target was set for it.
pub fn is_drill(block: &str, remarks: &Remarks) -> bool {
    !block.is_empty() && remarks.targets.iter().filter_map(|t| t.target.as_ref()).any(|t| t.block == block)
}

/// How often an unchanged swing's number is called beyond ordinary.
#[derive(Debug, Clone, Copy)]
struct Levels {
    /// One that the lesson is about.
    judged: f64,
    /// Another.
    gross: f64,
}

/// Why a swing is not set against those of the baseline, which were all struck, or all without a ball.
fn unlike(ball: Ball, without: bool) -> Option<&'static str> {
    match (ball, without) {
        (Ball::Struck, false) | (Ball::Without, true) => None,
        (Ball::Without, false) => Some("a rehearsal, no ball was struck"),
        (Ball::Struck, true) => Some("a ball was struck, and the baseline is without one"),
        (Ball::Unknown, _) => Some("whether a ball was struck is not known"),
    }
}

/// What swing `number` of `session` can be, after the baseline's `swings` with these values; `None` for too few.
pub(crate) fn next_swing(
    measure: Measure,
    (session, number): (&str, u32),
    swings: &[&Swing],
    values: &[f64],
) -> Option<Mixture> {
    if values.len() < FEWEST {
        return None;
    }
    let places: Vec<f64> = swings.iter().map(|b| f64::from(b.number)).collect();
    let another_day = swings.iter().any(|b| b.session != session);
    let at = if another_day { 0.0 } else { f64::from(number) };
    let next = next(Series { values, places: &places }, at, &Rule::standard())?;
    if !another_day {
        return Some(next);
    }
    let Some(stated_sd) = summarise_measure(measure, swings).as_ref().and_then(worn_anew_sd) else {
        return Some(next);
    };
    // Both wearings shift their numbers.
    let (variance, df) = Shared { stated_sd, factor: None, scatter: Scatter::default() }.variance();
    Some(next.with_estimated(2.0 * variance, df))
}

fn against(
    measure: Measure,
    swing: &Swing,
    baseline: &[&Swing],
    unlike: Option<&'static str>,
    judged: bool,
    levels: Levels,
) -> Option<Against> {
    let all: Vec<(&Swing, Value)> = baseline.iter().filter_map(|b| Some((*b, measure.of(b)?))).collect();
    let now = measure.of(swing);
    if now.is_none() && all.is_empty() {
        return None;
    }
    let (swings, alike): (Vec<&Swing>, Vec<f64>) = all
        .iter()
        .filter(|(_, v)| now.as_ref().is_none_or(|n| n.definition == v.definition))
        .map(|(b, v)| (*b, v.value))
        .unzip();
    let sample = Sample::of(&alike);
    let band = next_swing(measure, (&swing.session, swing.number), &swings, &alike);
    let shown = if judged { 1.0 - levels.judged } else { LEVEL };
    let half =
        band.as_ref().zip(sample).and_then(|(b, s)| Some(b.quantile(f64::midpoint(1.0, shown))? - s.mean));
    let mut row = Against {
        measure: measure.key(),
        label: measure.label(),
        unit: measure.unit().symbol(),
        value: now.as_ref().map(|v| v.value),
        sd: now.as_ref().and_then(|v| v.sd),
        baseline_mean: sample.map(|s| s.mean),
        baseline_sd: sample.and_then(|s| s.sd),
        n: alike.len(),
        needed: FEWEST,
        difference: now.as_ref().zip(sample).map(|(v, s)| v.value - s.mean),
        band: sample.zip(half).map(|(s, h)| (s.mean - h, s.mean + h)),
        verdict: AgainstVerdict::CannotTellYet,
        words: String::new(),
    };
    row.words = match (&now, sample) {
        (None, _) => format!("{}: not measured in this swing.", crate::words::capital(&row.label)),
        (Some(v), None) if !all.is_empty() => {
            format!(
                "{}. Can't tell: the baseline was measured by another definition.",
                subject(measure, v.value)
            )
        }
        (Some(v), None) => format!("{}. Can't tell yet: no baseline.", subject(measure, v.value)),
        (Some(v), Some(s)) => {
            let now = subject(measure, v.value);
            let differs = difference(measure, v.value, s.mean);
            let mean = value(measure, s.mean);
            let apart = (v.value - s.mean).abs();
            match (half.filter(|&h| h > 0.0), unlike) {
                (_, Some(why)) => {
                    format!("{now}, {differs} your baseline ({mean}). Can't tell: {why}.")
                }
                (Some(h), None) => {
                    let gross = || band.as_ref().is_some_and(|b| b.two_sided_p(v.value) < levels.gross);
                    let beyond = if judged { apart > h } else { gross() };
                    let said;
                    (row.verdict, said) = match (beyond, judged) {
                        (true, true) => (AgainstVerdict::BeyondOrdinary, "more than your ordinary variation"),
                        (true, false) => {
                            (AgainstVerdict::BeyondOrdinary, "far more than your ordinary variation")
                        }
                        (false, true) => (AgainstVerdict::WithinOrdinary, "within your ordinary variation"),
                        (false, false) => (
                            AgainstVerdict::LookedThrough,
                            "not one of the numbers that this lesson is about",
                        ),
                    };
                    format!("{now}, {differs} your baseline ({mean} ± {}): {said}.", amount(measure, h))
                }
                (None, None) if s.n < FEWEST => format!(
                    "{now}, {differs} your baseline so far ({mean}). Can't tell yet: {} of {FEWEST} baseline swings.",
                    s.n
                ),
                (None, None) => format!(
                    "{now}, {differs} your baseline ({mean}). Can't tell: the baseline shows no variation to judge by."
                ),
            }
        }
    };
    Some(row)
}
