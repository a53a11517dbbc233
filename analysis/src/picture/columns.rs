//! The dots of a measure: every swing before, in the blocks between, and after.

use crate::compare::{Comparison, Row};
use crate::load::Loaded;
use crate::measure::Measure;
use crate::report::day;
use crate::summary::{MeasureSummary, summarise_measure};
use peakorder_protocol::remark::Standing;
use peakorder_protocol::swing::Swing;

/// Where a column stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// What the player brought.
    Before,
    /// Practised between.
    Between,
    /// What came of it.
    After,
}

impl Part {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::Between => "between",
            Self::After => "after",
        }
    }

    /// As a column is called.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::Between => "drill",
            Self::After => "after",
        }
    }
}

/// What kind of movement a dot is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Movement {
    /// A swing at a ball, as far as is known.
    Swing,
    /// A swing without a ball.
    WithoutBall,
}

impl Movement {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Swing => "swing",
            Self::WithoutBall => "without-ball",
        }
    }

    /// How it is drawn, in words; `None` for what is usual.
    pub const fn said(self) -> Option<&'static str> {
        match self {
            Self::Swing => None,
            Self::WithoutBall => Some("Triangles: swings without a ball."),
        }
    }

    /// All kinds.
    pub const ALL: [Self; 2] = [Self::Swing, Self::WithoutBall];

    fn of(loaded: &Loaded, swing: &Swing) -> Self {
        let without = loaded.remarks.without_ball(&swing.block);
        match loaded.remarks.standing(swing) {
            Standing::Rehearsal => Self::WithoutBall,
            Standing::Counts if without => Self::WithoutBall,
            _ => Self::Swing,
        }
    }
}

/// One swing's value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dot {
    /// Number of the swing.
    pub number: u32,
    /// In the measure's unit and sign.
    pub value: f64,
    /// What it is of.
    pub movement: Movement,
}

/// A block's dots.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Before, between or after.
    pub part: Part,
    /// The block's label, or the day of another session.
    pub title: String,
    /// In the order made.
    pub dots: Vec<Dot>,
    /// Mean of the block, in the measure's unit and sign.
    pub mean: f64,
    /// Half-width of its 95 % interval.
    pub half_width: Option<f64>,
}

/// What a picture is drawn of, beside the comparison.
#[derive(Debug, Clone, Copy)]
pub struct Sides<'a> {
    /// Before, as compared.
    pub before: &'a Loaded,
    /// More sessions of before.
    pub also_before: &'a [Loaded],
    /// After, as compared.
    pub after: &'a Loaded,
    /// All of the session of after: its blocks between are drawn as well.
    pub whole: &'a Loaded,
}

/// The columns of a measure, before first.
pub(super) fn columns(row: &Row, compared: &Comparison, sides: Sides<'_>) -> Vec<Column> {
    let same = compared.before.session == compared.after.session;
    let title = |loaded: &Loaded, side_title: &str| {
        if same { side_title.to_owned() } else { day(&loaded.session) }
    };
    let mut columns: Vec<Column> = Vec::new();
    for (loaded, side) in sides.also_before.iter().zip(&compared.also_before) {
        if let Some(summary) = side.summary.measure(row.measure).filter(|m| m.definition == row.after.definition) {
            columns.push(column(Part::Before, day(&loaded.session), summary, loaded));
        }
    }
    // The row's own numbers, where before is one session; of several they are in the columns.
    let before = compared.before.summary.measure(row.measure).unwrap_or(&row.before);
    columns.push(column(Part::Before, title(sides.before, &compared.before.title), before, sides.before));
    if same {
        columns.extend(between(row, sides));
    }
    columns.push(column(Part::After, title(sides.after, &compared.after.title), &row.after, sides.after));
    columns
}

fn column(part: Part, title: String, summary: &MeasureSummary, loaded: &Loaded) -> Column {
    let dots = summary
        .places
        .iter()
        .zip(&summary.values)
        .map(|(&number, &value)| Dot {
            number,
            value,
            movement: loaded
                .swings
                .iter()
                .find(|s| s.number == number)
                .map_or(Movement::Swing, |s| Movement::of(loaded, s)),
        })
        .collect();
    Column { part, title, dots, mean: summary.sample.mean, half_width: summary.half_width }
}

/// The blocks that lie between the two compared, each with all swings that have the number and are not left out.
fn between(row: &Row, sides: Sides<'_>) -> Vec<Column> {
    let whole = sides.whole;
    let at = |side: &Loaded| whole.blocks.iter().position(|b| Some(b) == side.block.as_ref());
    let (Some(a), Some(b)) = (at(sides.before), at(sides.after)) else { return Vec::new() };
    let (first, last) = (a.min(b), a.max(b));
    let labels = whole.blocks.get(first + 1..last).unwrap_or_default();
    labels.iter().filter_map(|label| drill(row.measure, row, label, whole)).collect()
}

fn drill(measure: Measure, row: &Row, label: &str, whole: &Loaded) -> Option<Column> {
    let shown: Vec<&Swing> = whole
        .swings
        .iter()
        .filter(|s| s.block == label && !matches!(whole.remarks.standing(s), Standing::Excluded(_)))
        .filter(|s| measure.part_of_mean(s).is_some_and(|v| v.definition == row.after.definition))
        .collect();
    // Where some count, the mean is theirs; of a drill that is without a ball all do.
    let counted: Vec<&Swing> = shown.iter().copied().filter(|s| whole.remarks.counts(s)).collect();
    let mean_of = if counted.is_empty() { &shown } else { &counted };
    let summary = summarise_measure(measure, mean_of)?;
    let dots = shown
        .iter()
        .filter_map(|s| {
            let value = measure.part_of_mean(s)?.value;
            Some(Dot { number: s.number, value, movement: Movement::of(whole, s) })
        })
        .collect();
    Some(Column {
        part: Part::Between,
        title: super::block_title(label),
        dots,
        mean: summary.sample.mean,
        half_width: summary.half_width,
    })
}
