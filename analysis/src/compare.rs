//! Before against after: is a change larger than the player's ordinary variation?

use crate::load::{Loaded, NO_BLOCK};
use crate::measure::Measure;
use crate::order_change::OrderChange;
use crate::outliers::{Flag, outliers};
use crate::stats::{LEVEL, Welch, holm_known, welch};
use crate::summary::{BlockSummary, MeasureSummary, squared, summarise};
use crate::wearing::worn_anew_sd;
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::Swing;
use std::fmt;

/// The level at which the Holm-adjusted p is judged.
pub(crate) const ALPHA: f64 = 1.0 - LEVEL;

/// One side of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// As the user named it.
    pub name: String,
    /// The block's label, `all blocks`, or what stands for no block.
    pub title: String,
    /// Session id.
    pub session: String,
    /// Who swung.
    pub player: Player,
    /// The swings' summary.
    pub summary: BlockSummary,
    /// Swings that count and are unlike the others of their block.
    pub unlike: Vec<Flag>,
}

/// What can be said of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Larger than ordinary variation, allowing for the number of measures looked at.
    Changed,
    /// Larger than ordinary variation if this measure had been the only one looked at.
    Perhaps,
    /// Within ordinary variation.
    CantTell,
    /// Straps were put on anew between the sessions, and that alone can make such a difference.
    WornAnew,
    /// Fewer than two swings on a side, or no variation at all: nothing to judge by.
    TooFew,
}

impl Verdict {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::Perhaps => "perhaps",
            Self::CantTell => "cannot-tell",
            Self::WornAnew => "cannot-tell-straps-worn-anew",
            Self::TooFew => "too-few-swings",
        }
    }

    /// Words in a table.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::Perhaps => "perhaps",
            Self::CantTell => "can't tell",
            Self::WornAnew => "can't tell ¹",
            Self::TooFew => "too few",
        }
    }

    /// What it means.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Changed => {
                "larger than this player's ordinary swing-to-swing variation, also after \
                 allowing for all measures shown (adjusted p < 0.05)"
            }
            Self::Perhaps => {
                "larger than ordinary variation if this had been the only measure looked at \
                 (the 95 % interval leaves out 0); with this many looked at, one such can come \
                 by chance"
            }
            Self::CantTell => "the difference lies within ordinary variation",
            Self::WornAnew => {
                "the straps were put on anew between the two sessions, which with ordinary \
                 variation can make a difference of this size (standard error joined with √2 · \
                 what wearing anew leaves in a mean)"
            }
            Self::TooFew => "fewer than two swings on a side, or no variation to judge by",
        }
    }
}

/// One measure, before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Which.
    pub measure: Measure,
    /// Before.
    pub before: MeasureSummary,
    /// After.
    pub after: MeasureSummary,
    /// After minus before.
    pub difference: f64,
    /// Welch's comparison; its interval and p are for this measure alone.
    pub welch: Option<Welch>,
    /// p adjusted after Holm over all rows; between sessions it allows for the straps having been
    /// put on anew.
    pub p_holm: Option<f64>,
    /// Typical standard uncertainty of one swing's value, both sides (root mean square).
    pub measuring_sd: Option<f64>,
    /// Standard uncertainty that wearing the straps anew leaves in a mean, both sides (root mean square); `None` in
    /// one session.
    pub worn_anew_sd: Option<f64>,
    /// What can be said.
    pub verdict: Verdict,
}

/// A measure that was not compared, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotCompared {
    /// Which.
    pub measure: Measure,
    /// Why.
    pub why: String,
}

/// A comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Before.
    pub before: Side,
    /// After.
    pub after: Side,
    /// The measures both sides have, the family over which p is adjusted.
    pub rows: Vec<Row>,
    /// How the orders of the peaks differ.
    pub order: OrderChange,
    /// Measures only one side has, or that are defined differently.
    pub not_compared: Vec<NotCompared>,
    /// Things to know before reading the rows.
    pub notes: Vec<String>,
}

/// Why two sides cannot be compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CompareError {
    /// The side, as the user named it.
    pub name: String,
    /// How many swings it has that cannot be used.
    pub left_out: usize,
}

impl fmt::Display for CompareError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.left_out == 0 {
            write!(f, "{}: no swings to compare; record swings first, or name another block", self.name)
        } else {
            write!(
                f,
                "{}: none of its {} swings can be compared (all rehearsals, unusable, left out by the coach or with no word on the ball; peakorder show {} says which); name another block",
                self.name, self.left_out, self.name
            )
        }
    }
}

impl std::error::Error for CompareError {}

fn side(loaded: &Loaded) -> Result<Side, CompareError> {
    let swings: Vec<&Swing> = loaded.swings.iter().collect();
    let title = match &loaded.block {
        Some(label) if label.is_empty() => NO_BLOCK.to_owned(),
        Some(label) => label.clone(),
        None => "all blocks".to_owned(),
    };
    let summary = summarise(loaded.block.as_deref().unwrap_or(""), &swings, &loaded.remarks);
    if summary.used.is_empty() {
        return Err(CompareError { name: loaded.name(), left_out: swings.len() });
    }
    Ok(Side {
        name: loaded.name(),
        title,
        session: loaded.session.id.clone(),
        player: loaded.session.player.clone(),
        unlike: unlike(&used(loaded, &summary)),
        summary,
    })
}

/// The swings that the statistics rest on.
pub(crate) fn used<'a>(loaded: &'a Loaded, summary: &BlockSummary) -> Vec<&'a Swing> {
    loaded.swings.iter().filter(|s| summary.used.contains(&s.number)).collect()
}

/// Each block's swings are held against that block's.
fn unlike(swings: &[&Swing]) -> Vec<Flag> {
    let mut blocks: Vec<&str> = swings.iter().map(|s| s.block.as_str()).collect();
    blocks.sort_unstable();
    blocks.dedup();
    let of = |block| swings.iter().copied().filter(|s| s.block == block).collect::<Vec<&Swing>>();
    blocks.into_iter().flat_map(|block| outliers(&of(block))).collect()
}

/// Compares `after` with `before` in the given measures ([`Measure::ALL`] for all). The
/// false-alarm rate is held over all measures that both sides have, so ask for few when
/// few were meant beforehand.
pub fn compare(before: &Loaded, after: &Loaded, measures: &[Measure]) -> Result<Comparison, CompareError> {
    let loaded = (before, after);
    let (before, after) = (side(before)?, side(after)?);
    let same_session = before.session == after.session;
    let mut rows = Vec::new();
    let mut not_compared = Vec::new();
    for &measure in measures {
        match (before.summary.measure(measure), after.summary.measure(measure)) {
            (Some(b), Some(a)) if b.definition == a.definition => rows.push(row(b, a, same_session)),
            (Some(b), Some(a)) => not_compared.push(NotCompared {
                measure,
                why: format!("before it is '{}', after it is '{}'", b.definition.text(), a.definition.text()),
            }),
            (Some(_), None) => {
                not_compared.push(NotCompared { measure, why: "not measured after".into() });
            }
            (None, Some(_)) => {
                not_compared.push(NotCompared { measure, why: "not measured before".into() });
            }
            (None, None) => {}
        }
    }
    let judged: Vec<Option<f64>> = rows.iter().map(p_with_wearing).collect();
    let adjusted = holm_known(&judged);
    for ((row, p), p_holm) in rows.iter_mut().zip(judged).zip(adjusted) {
        row.p_holm = p_holm;
        row.verdict = verdict(row, p);
    }
    let notes = notes(&before, &after, same_session);
    let swings = (used(loaded.0, &before.summary), used(loaded.1, &after.summary));
    let order = OrderChange::of(&swings.0, &swings.1, same_session, meant(measures));
    Ok(Comparison { before, after, rows, order, not_compared, notes })
}

/// Whether the order of peaks is what these measures were chosen for: few, with a gap among them.
pub(crate) fn meant(measures: &[Measure]) -> bool {
    measures.len() <= 5 && measures.iter().any(|m| matches!(m, Measure::Gap(..)))
}

/// What differences of means show beyond all that is computed of a shift, cm: change of the lever while
/// the skin slides, of posture between blocks (found on real swings of one golfer).
const SHIFT_FLOOR_CM: f64 = 0.3;

/// Variance of a difference by errors that more swings do not average away. In one session both
/// sides have the same error, and it cancels so far as their swings are made alike; straps put on anew
/// have another.
fn shared_var(before: &MeasureSummary, after: &MeasureSummary, same_session: bool) -> f64 {
    let (Some(b), Some(a)) = (before.shared, after.shared) else { return 0.0 };
    let shared =
        if same_session { squared(&std::array::from_fn(|i| a[i] - b[i])) } else { squared(&a) + squared(&b) };
    shared + SHIFT_FLOOR_CM.powi(2)
}

fn row(before: &MeasureSummary, after: &MeasureSummary, same_session: bool) -> Row {
    let sds: Vec<f64> = [before, after].iter().filter_map(|s| s.measuring_sd).collect();
    Row {
        measure: before.measure,
        difference: after.sample.mean - before.sample.mean,
        welch: welch(&before.sample, &after.sample, LEVEL)
            .and_then(|w| w.with_known(shared_var(before, after, same_session), LEVEL)),
        p_holm: None,
        measuring_sd: crate::stats::rms(&sds),
        worn_anew_sd: if same_session { None } else { worn_anew(before, after) },
        verdict: Verdict::TooFew,
        before: before.clone(),
        after: after.clone(),
    }
}

fn worn_anew(before: &MeasureSummary, after: &MeasureSummary) -> Option<f64> {
    let sds: Vec<f64> = [before, after].into_iter().filter_map(worn_anew_sd).collect();
    crate::stats::rms(&sds)
}

/// Of one row; `p` is that of [`p_with_wearing`].
fn verdict(row: &Row, p: Option<f64>) -> Verdict {
    let (Some(welch), Some(p), Some(p_holm)) = (row.welch, p, row.p_holm) else {
        return Verdict::TooFew;
    };
    // Student's interval leaves out 0 exactly when |difference| exceeds its half-width.
    if welch.difference.abs() <= welch.half_width {
        return Verdict::CantTell;
    }
    if p_holm < ALPHA {
        Verdict::Changed
    } else if p < ALPHA {
        Verdict::Perhaps
    } else {
        Verdict::WornAnew
    }
}

/// The p of a row's difference by itself. Between sessions the variance of the
/// difference has a second part, the straps' seat and the skin on both days: it enters every number of a
/// session alike, so more swings do not average it away and the SD between swings does not
/// show it. Degrees of freedom after Satterthwaite 1946, with that variance as known.
fn p_with_wearing(row: &Row) -> Option<f64> {
    let welch = row.welch?;
    match row.worn_anew_sd {
        Some(sd) => Some(welch.with_known(2.0 * sd.powi(2), LEVEL)?.p),
        None => Some(welch.p),
    }
}

fn notes(before: &Side, after: &Side, same_session: bool) -> Vec<String> {
    let mut notes = Vec::new();
    if !before.player.same_as(&after.player) {
        notes.push(format!(
            "Different players ('{}' and '{}'): this is a difference between people, not a change.",
            before.player.name, after.player.name
        ));
    }
    if same_session {
        let shared = before.summary.used.iter().filter(|n| after.summary.used.contains(n)).count();
        if shared > 0 {
            notes.push(format!(
                "{shared} swings are on both sides, so the sides are not independent and the intervals are too narrow; name two blocks that share none."
            ));
        }
    } else {
        notes.push(
            "Two sessions: straps were put on anew in between. Their seat and the skin below them shift all numbers of a session alike; it is part of the verdicts and the adjusted p, not of the intervals."
                .into(),
        );
    }
    for side in [before, after] {
        if let Some(advice) = side.summary.advice() {
            notes.push(format!("{}: {} swings. {advice}", side.title, side.summary.used.len()));
        }
    }
    notes
}
