//! One swing against the player's own baseline: is it within ordinary variation?

use crate::measure::{Measure, Value};
use crate::stats::{LEVEL, Sample};
use crate::words::{amount, difference, subject, value};
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::swing::{Swing, SwingKind};
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
    /// The ordinary band, lower and upper end.
    pub band: Option<(f64, f64)>,
    /// What can be said.
    pub verdict: AgainstVerdict,
    /// The same in a sentence.
    pub words: String,
}

/// Sets `swing` against `baseline` in every measure that either has. `remarks` are those of its session;
/// of its swings those that do not count by them are no baseline, nor is `swing` itself. Of other sessions
/// leave such swings out before.
pub fn against_baseline(swing: &Swing, baseline: &[&Swing], remarks: &Remarks) -> Vec<Against> {
    let baseline: Vec<&Swing> = baseline
        .iter()
        .copied()
        .filter(|b| (b.number, &b.session) != (swing.number, &swing.session))
        .filter(|b| b.session != swing.session || remarks.counts(b))
        .collect();
    let ball = if remarks.struck(swing) { Ball::Struck } else { Ball::of(swing.kind) };
    Measure::ALL.into_iter().filter_map(|m| against(m, swing, &baseline, ball)).collect()
}

/// What is known of the ball.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ball {
    Struck,
    None,
    Unsure,
}

impl Ball {
    fn of(kind: SwingKind) -> Self {
        match kind {
            SwingKind::Strike => Self::Struck,
            SwingKind::Rehearsal => Self::None,
            SwingKind::Unsure => Self::Unsure,
        }
    }

    /// Why a swing is not set against struck ones.
    fn why(self) -> Option<&'static str> {
        match self {
            Self::Struck => None,
            Self::None => Some("a rehearsal, no ball was struck"),
            Self::Unsure => Some("whether a ball was struck is not known"),
        }
    }
}

fn against(measure: Measure, swing: &Swing, baseline: &[&Swing], ball: Ball) -> Option<Against> {
    let all: Vec<Value> = baseline.iter().filter_map(|b| measure.of(b)).collect();
    let now = measure.of(swing);
    if now.is_none() && all.is_empty() {
        return None;
    }
    let alike: Vec<f64> = all
        .iter()
        .filter(|v| now.as_ref().is_none_or(|n| n.definition == v.definition))
        .map(|v| v.value)
        .collect();
    let sample = Sample::of(&alike);
    let half = sample.filter(|s| s.n >= FEWEST).and_then(|s| s.prediction_half_width(LEVEL));
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
            match (half.filter(|&h| h > 0.0), ball.why()) {
                (_, Some(why)) => {
                    format!("{now}, {differs} your baseline ({mean}). Can't tell: {why}.")
                }
                (Some(h), None) => {
                    let beyond = apart > h;
                    row.verdict =
                        if beyond { AgainstVerdict::BeyondOrdinary } else { AgainstVerdict::WithinOrdinary };
                    format!(
                        "{now}, {differs} your baseline ({mean} ± {}): {} your ordinary variation.",
                        amount(measure, h),
                        if beyond { "more than" } else { "within" }
                    )
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
