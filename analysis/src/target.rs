//! The drill target: one number set from the player's own baseline, and each swing's answer.

use crate::measure::Measure;
use crate::stats::Z95;
use crate::summary::MeasureSummary;
use crate::wearing::worn_anew_sd;
use crate::words::{amount, sense, step, value, way};
use peakorder_protocol::remark::{Bound, Target};
use peakorder_protocol::swing::Swing;
use serde::Serialize;

/// A swing's answer to a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum AnswerKind {
    /// The value is there.
    Met,
    /// Short by no more than the target's margin.
    Nearly,
    /// Short by more.
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
    /// By how much it is short of the target, in the unit; 0 when met.
    pub short_by: Option<f64>,
    /// To be said aloud: "41 degrees away, nearly, 2 short".
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

/// A target `change` away from the baseline, in the person's sense: + is more (further away
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
    let value = mean + up * change;
    let sign = if least { "+" } else { "−" };
    let words = format!(
        "{} {} baseline {sign} {}: {}",
        measure.label(),
        if least { "at least" } else { "at most" },
        amount(measure, change),
        or_further(measure, value, least),
    );
    made(measure, value, (up > 0.0) == least, margin.unwrap_or_else(|| default_margin(baseline)), block)
        .map(|t| Target { baseline_mean: Some(mean), words, ..t })
}

/// A target of a fixed value. `least` in the person's sense (at least so far, so fast, so
/// late). The value may be given as a size where the side goes without saying: 48 for a turn
/// at the top means 48° away.
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
    let always_away = sense(measure, 1.0) < 0.0;
    let value = if always_away { -value.abs() } else { value };
    let margin = margin.or_else(|| baseline.map(margin_of_a_number)).unwrap_or_else(|| step(measure));
    let words = format!(
        "{} {} {}",
        measure.label(),
        if least { "at least" } else { "at most" },
        self::value(measure, value)
    );
    made(measure, value, (sense(measure, value) > 0.0) == least, margin, block).map(|t| Target {
        baseline_mean: baseline.map(|b| b.sample.mean),
        words,
        ..t
    })
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
    Ok(Target {
        measure: measure.key(),
        bound: if at_least { Bound::AtLeast } else { Bound::AtMost },
        value,
        margin,
        block: block.to_owned(),
        baseline_mean: None,
        words: String::new(),
    })
}

/// What counts as "nearly" unless the coach says otherwise: short by no more than one
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

fn or_further(measure: Measure, at: f64, least: bool) -> String {
    format!("{} or {}", value(measure, at), if least { "more" } else { "less" })
}

/// What `swing` answers to `target`. A rehearsal answers too: drills are often made without
/// a ball.
pub fn answer(target: &Target, swing: &Swing) -> Answer {
    let measure = Measure::from_key(&target.measure);
    let Some((measure, now)) = measure.and_then(|m| Some((m, m.of(swing)?.value))) else {
        return Answer {
            answer: AnswerKind::NotMeasured,
            measure: target.measure.clone(),
            value: None,
            short_by: None,
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
    let unit = measure.unit();
    let digits = unit.spoken_decimals();
    let short = if kind == AnswerKind::Met {
        String::new()
    } else {
        let step = step(measure);
        // "0 short" would be wrong of a swing that is short.
        if short_by < step / 2.0 {
            format!(", less than {step:.digits$} short")
        } else {
            format!(", {short_by:.digits$} short")
        }
    };
    let number = format!("{:.digits$}", now.abs());
    let said: Vec<&str> =
        [number.as_str(), unit.spoken(), way(measure, now)].into_iter().filter(|s| !s.is_empty()).collect();
    Answer {
        answer: kind,
        measure: target.measure.clone(),
        value: Some(now),
        short_by: Some(short_by),
        spoken: format!("{}, {}{short}", said.join(" "), kind.label()),
    }
}
