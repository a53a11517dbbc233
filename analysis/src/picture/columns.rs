//! The dots of a measure: every swing before, in the blocks between, and after.

use crate::compare::{Comparison, Row};
use crate::load::Loaded;
use crate::report::day;
use crate::stats::{LEVEL, Rule, Series, level, mean};
use crate::summary::MeasureSummary;
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
    /// A repetition of a drill, measured where the thorax is furthest back.
    Repetition,
}

impl Movement {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Swing => "swing",
            Self::WithoutBall => "without-ball",
            Self::Repetition => "repetition",
        }
    }

    /// How it is drawn, in words; `None` for what is usual.
    pub const fn said(self) -> Option<&'static str> {
        match self {
            Self::Swing => None,
            Self::WithoutBall => Some("Triangles pointing up: swings without a ball."),
            Self::Repetition => {
                Some("Triangles pointing down: repetitions of the drill, where the thorax was furthest back.")
            }
        }
    }

    /// All kinds.
    pub const ALL: [Self; 3] = [Self::Swing, Self::WithoutBall, Self::Repetition];

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
        if let Some(summary) =
            side.summary.measure(row.measure).filter(|m| m.definition == row.after.definition)
        {
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
    Column { part, title, dots, mean: summary.sample.mean, half_width: summary.half_width() }
}

/// The blocks that lie between the two compared, each with all that has the number and is not left out.
fn between(row: &Row, sides: Sides<'_>) -> Vec<Column> {
    let labels = labels(sides.whole);
    let at = |side: &Loaded| labels.iter().position(|b| Some(*b) == side.block.as_deref());
    let (Some(a), Some(b)) = (at(sides.before), at(sides.after)) else { return Vec::new() };
    let between = labels.get(a.min(b) + 1..a.max(b)).unwrap_or_default();
    between.iter().filter_map(|label| drill(row, label, sides.whole)).collect()
}

/// The labels of all blocks, those that hold nothing but repetitions too, in the order begun.
fn labels(whole: &Loaded) -> Vec<&str> {
    let swings = whole.swings.iter().map(|s| (s.number, s.block.as_str()));
    let mut all: Vec<(u32, &str)> =
        swings.chain(whole.repetitions.iter().map(|r| (r.number, r.block.as_str()))).collect();
    all.sort_unstable();
    let mut labels: Vec<&str> = Vec::new();
    for (_, label) in all {
        if !labels.contains(&label) {
            labels.push(label);
        }
    }
    labels
}

fn drill(row: &Row, label: &str, whole: &Loaded) -> Option<Column> {
    let swings = whole
        .swings
        .iter()
        .filter(|s| s.block == label && !matches!(whole.remarks.standing(s), Standing::Excluded(_)))
        .filter_map(|s| {
            let value = row.measure.part_of_mean(s).filter(|v| v.definition == row.after.definition)?.value;
            let dot = Dot { number: s.number, value, movement: Movement::of(whole, s) };
            // What counts of a block with both is what it is for.
            Some((dot, whole.remarks.counts(s)))
        });
    let repetitions = whole
        .repetitions
        .iter()
        .filter(|r| r.block == label && whole.remarks.excluded(r.number).is_none())
        .filter_map(|r| {
            let value = row.measure.of_repetition(r).filter(|v| v.value.is_finite())?.value;
            Some((Dot { number: r.number, value, movement: Movement::Repetition }, false))
        });
    let mut all: Vec<(Dot, bool)> = swings.chain(repetitions).collect();
    all.sort_by_key(|(dot, _)| dot.number);
    let of_kind = |wanted: &dyn Fn(&(Dot, bool)) -> bool| -> Vec<Dot> {
        all.iter().filter(|d| wanted(d)).map(|d| d.0).collect()
    };
    // Where some count, the mean is theirs; else that of the repetitions; else of all.
    let kinds = [of_kind(&|d| d.1), of_kind(&|d| d.0.movement == Movement::Repetition), of_kind(&|_| true)];
    let (mean, half_width) = mean_of(kinds.iter().find(|k| !k.is_empty())?)?;
    let dots = all.into_iter().map(|d| d.0).collect();
    Some(Column { part: Part::Between, title: super::block_title(label), dots, mean, half_width })
}

/// Mean and half-width of its interval, as of a block of swings.
fn mean_of(dots: &[Dot]) -> Option<(f64, Option<f64>)> {
    let values: Vec<f64> = dots.iter().map(|d| d.value).collect();
    let places: Vec<f64> = dots.iter().map(|d| f64::from(d.number)).collect();
    let interval = level(Series { values: &values, places: &places }, &Rule::standard())
        .and_then(|l| l.mean.interval(LEVEL));
    Some((mean(&values)?, interval.map(|(low, high)| (high - low) / 2.0)))
}
