//! The drill target: one number set from the player's own baseline, and each swing's answer.

use crate::measure::{Measure, Value};
use crate::stats::Z95;
use crate::summary::MeasureSummary;
use crate::wearing::worn_anew_sd;
use crate::words::{said, sense, step};
use peakorder_protocol::remark::{Bound, Target};
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::swing::Swing;
use serde::Serialize;

/// A swing's answer to a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum AnswerKind {
    /// The value is there.
    Met,
    /// Missed by no more than the target's margin.
    Nearly,
    /// Missed by more.
    Not,
    /// The swing does not have this number.
    NotMeasured,
}

impl AnswerKind {
    /// The word, spoken and printed.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::Nearly => "nearly",
            Self::Not => "not yet",
            Self::NotMeasured => "not measured",
        }
    }
}

/// A swing's answer in full.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Answer {
    /// Met, nearly, not.
    pub answer: AnswerKind,
    /// Key of the measure.
    pub measure: String,
    /// The swing's value, in the measure's unit and sign.
    pub value: Option<f64>,
    /// By how much it misses the target, in the unit; 0 when met.
    pub short_by: Option<f64>,
    /// The value to be shown: "41° back".
    pub value_words: Option<String>,
    /// What is wrong with it: "2 short", "1 too much"; absent when met.
    pub correction: Option<String>,
    /// To be said aloud: "41 degrees back, nearly, 2 short".
    pub spoken: String,
}

/// Answers counted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Tally {
    /// Met.
    pub met: usize,
    /// Nearly.
    pub nearly: usize,
    /// Not.
    pub not: usize,
    /// Without the number.
    pub not_measured: usize,
}

impl Tally {
    /// Counts answers.
    pub fn of(answers: impl IntoIterator<Item = AnswerKind>) -> Self {
        let mut tally = Self::default();
        for answer in answers {
            *match answer {
                AnswerKind::Met => &mut tally.met,
                AnswerKind::Nearly => &mut tally.nearly,
                AnswerKind::Not => &mut tally.not,
                AnswerKind::NotMeasured => &mut tally.not_measured,
            } += 1;
        }
        tally
    }

    /// Swings that have the number.
    pub const fn measured(&self) -> usize {
        self.met + self.nearly + self.not
    }
}

/// Why there is no such target.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TargetError {
    /// The change is not a finite number.
    #[error("the change must be a number")]
    NoChange,
    /// The value is not a finite number.
    #[error("the target must be a number")]
    NoValue,
    /// The baseline is of another measure.
    #[error("the baseline given is of {}, not of {}", .given.key(), .asked.key())]
    OtherBaseline {
        /// The measure of the target.
        asked: Measure,
        /// The measure of the baseline.
        given: Measure,
    },
    /// One swing says too little of it.
    #[error("one swing tells too little of {}; set a target for {}", .0.label(), Measure::MidHipsShiftAtTop.label())]
    MeansOnly(Measure),
    /// The margin is negative or no number.
    #[error("the margin must be 0 or more, not {0}")]
    Margin(f64),
}

/// A target that differs from the baseline by `change`, in the person's sense: + is more (further back
/// at the top, a later second peak, faster), − is less. `margin` in the measure's unit, see
/// [`default_margin`]; `block` as in [`Target::block`].
pub fn about(
    measure: Measure,
    baseline: &MeasureSummary,
    change: f64,
    margin: Option<f64>,
    block: &str,
) -> Result<Target, TargetError> {
    if !change.is_finite() {
        return Err(TargetError::NoChange);
    }
    if baseline.measure != measure {
        return Err(TargetError::OtherBaseline { asked: measure, given: baseline.measure });
    }
    let mean = baseline.sample.mean;
    let up = sense(measure, mean);
    let least = change >= 0.0;
    let sign = if least { "+" } else { "−" };
    let from = format!(
        " (baseline {sign} {})",
        said::amount_to(measure, change, said::digits_of_target(measure, change))
    );
    let value = said::target_value(measure, mean + up * change, change);
    made(measure, value, (up > 0.0) == least, margin.unwrap_or_else(|| default_margin(baseline)), block)
        .map(|t| Target { baseline_mean: Some(mean), words: t.words + &from, ..t })
}

/// A target of a fixed value. `least` in the person's sense (at least so far, so fast, so
/// late). The value may be given as a size where the side goes without saying: 48 for a turn
/// at the top means 48° back.
pub fn fixed(
    measure: Measure,
    value: f64,
    least: bool,
    baseline: Option<&MeasureSummary>,
    margin: Option<f64>,
    block: &str,
) -> Result<Target, TargetError> {
    if !value.is_finite() {
        return Err(TargetError::NoValue);
    }
    let always_back = sense(measure, 1.0) < 0.0;
    let value = if always_back { -value.abs() } else { value };
    let value = said::target_value(measure, value, value);
    let margin = margin.or_else(|| baseline.map(margin_of_a_number)).unwrap_or_else(|| step(measure));
    made(measure, value, (sense(measure, value) > 0.0) == least, margin, block)
        .map(|t| Target { baseline_mean: baseline.map(|b| b.sample.mean), ..t })
}

fn made(
    measure: Measure,
    value: f64,
    at_least: bool,
    margin: f64,
    block: &str,
) -> Result<Target, TargetError> {
    if measure.means_only() {
        return Err(TargetError::MeansOnly(measure));
    }
    if !(margin.is_finite() && margin >= 0.0) {
        return Err(TargetError::Margin(margin));
    }
    // What has no sides is never below nothing; and no −0 in the file.
    let sides = measure.row().ways != ["", ""];
    let value = if sides { value } else { value.max(0.0) } + 0.0;
    let bound = if at_least { Bound::AtLeast } else { Bound::AtMost };
    Ok(Target {
        measure: measure.key(),
        bound,
        value,
        margin,
        block: block.to_owned(),
        baseline_mean: None,
        words: format!("{}: {}", measure.label(), said::bound(measure, bound, value)),
    })
}

/// What counts as "nearly" unless the coach says otherwise: missed by no more than one
/// swing's measurement can tell (1.96 × its standard uncertainty), or, where that is not
/// known, by half the player's ordinary spread (own judgement); at least one whole step.
pub fn default_margin(baseline: &MeasureSummary) -> f64 {
    margin_by(baseline, baseline.measuring_sd)
}

/// The same where the target is a number that comes from elsewhere, another day or a book, and not from this
/// wearing's baseline: what wearing the straps anew can make counts as well.
fn margin_of_a_number(baseline: &MeasureSummary) -> f64 {
    let worn_anew = worn_anew_sd(baseline);
    margin_by(baseline, baseline.measuring_sd.map(|sd| worn_anew.map_or(sd, |worn| sd.max(worn))))
}

fn margin_by(baseline: &MeasureSummary, sd: Option<f64>) -> f64 {
    let margin = sd.map(|sd| Z95 * sd).or(baseline.sample.sd.map(|sd| sd / 2.0));
    let step = step(baseline.measure);
    margin.map_or(step, |m| (m / step).round().max(1.0) * step)
}

/// What `swing` answers to `target`. A rehearsal answers too: drills are often made without
/// a ball.
pub fn answer(target: &Target, swing: &Swing) -> Answer {
    answered(target, |m| m.of(swing))
}

/// What a repetition of a drill answers.
pub fn answer_repetition(target: &Target, repetition: &Repetition) -> Answer {
    answered(target, |m| m.of_repetition(repetition))
}

fn answered(target: &Target, of: impl FnOnce(Measure) -> Option<Value>) -> Answer {
    let measure = Measure::from_key(&target.measure);
    let Some((measure, now)) = measure.and_then(|m| Some((m, of(m)?.value))) else {
        return Answer {
            answer: AnswerKind::NotMeasured,
            measure: target.measure.clone(),
            value: None,
            short_by: None,
            value_words: None,
            correction: None,
            spoken: "not measured".into(),
        };
    };
    let short_by = match target.bound {
        Bound::AtLeast => target.value - now,
        Bound::AtMost => now - target.value,
    }
    .max(0.0);
    let kind = if short_by == 0.0 {
        AnswerKind::Met
    } else if short_by <= target.margin {
        AnswerKind::Nearly
    } else {
        AnswerKind::Not
    };
    let said = said::answer(measure, target.value, target.bound, now);
    let correction = said.correction.as_ref().map_or(String::new(), |c| format!(", {c}"));
    Answer {
        answer: kind,
        measure: target.measure.clone(),
        value: Some(now),
        short_by: Some(short_by),
        spoken: format!("{}, {}{correction}", said.spoken, kind.label()),
        value_words: Some(said.value),
        correction: said.correction,
    }
}
