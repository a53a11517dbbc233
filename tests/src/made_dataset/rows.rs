//! Drawn lessons as rows of the product's tables: columns are found by their names.

use super::create_folder;
use super::lesson::{Lesson, Made, Person, definitions, spread};
use peakorder_analysis::data::{
    MeasureRow, block_stats_table, bone_sd_key, def_key, measure_rows, measures, measures_table, sd_key,
    sessions_table, swings_table,
};
use peakorder_analysis::measure::Measure;
use peakorder_tables::{Cell, Format, Schema, Table, WriteError, Writer};
use std::path::PathBuf;

/// What a column of swings holds.
#[derive(Clone, Copy)]
enum Source {
    Own(&'static str),
    Value(usize),
    Sd(usize),
    BoneSd(usize),
    Definition(usize),
}

/// Columns of swings that are not of a measure; `Tables::new` finds each in the product's table.
const OWN: [&str; 23] = [
    "session_id",
    "player_id",
    "bay",
    "started_utc",
    "swing",
    "impact_s",
    "block_no",
    "block",
    "phase",
    "drills",
    "wearing",
    "handedness",
    "kind",
    "counted",
    "usable",
    "peak_order",
    "trunk_speed",
    "withheld_n",
    "withheld",
    "withheld_why",
    "lost_samples",
    "clipped_samples",
    "clock_sd_ms",
];

/// The tables, and what stands in their columns.
pub(super) struct Tables {
    swings: (Schema, Vec<Source>),
    sessions: Schema,
    block_stats: Schema,
    pub(super) measures: Table<MeasureRow>,
    pub(super) measure_rows: Vec<MeasureRow>,
    /// Key, definitions, spread.
    of_measures: Vec<(String, [String; 2], f64)>,
}

/// One month's files: swings, sessions, block statistics.
pub(super) type Files = [Writer; 3];

impl Tables {
    pub(super) fn new() -> Self {
        let swings = swings_table().schema().clone();
        let all: Vec<Measure> = measures().collect();
        let of = |name: &str, key: fn(Measure) -> String| all.iter().position(|m| key(*m) == name);
        let source = |name: &str| {
            None.or_else(|| OWN.into_iter().find(|n| *n == name).map(Source::Own))
                .or_else(|| of(name, Measure::key).map(Source::Value))
                .or_else(|| of(name, sd_key).map(Source::Sd))
                .or_else(|| of(name, bone_sd_key).map(Source::BoneSd))
                .or_else(|| of(name, def_key).map(Source::Definition))
                .unwrap_or_else(|| panic!("swings has a new column {name}: give it values here"))
        };
        let sources = swings.columns.iter().map(|c| source(&c.name)).collect();
        Self {
            swings: (swings, sources),
            sessions: sessions_table().schema().clone(),
            block_stats: block_stats_table().schema().clone(),
            measures: measures_table(),
            measure_rows: measure_rows(),
            of_measures: all
                .iter()
                .map(|m| {
                    (m.key(), definitions(*m).map(peakorder_analysis::measure::Definition::text), spread(*m))
                })
                .collect(),
        }
    }

    /// Begins the files of a month; `path` says where that of a table is to lie.
    pub(super) fn begin(&self, path: impl Fn(&str) -> PathBuf) -> Result<Files, WriteError> {
        let file = |table: &str, schema: &Schema| {
            let path = path(table);
            create_folder(&path);
            Writer::create(&path, schema, Format::Parquet)
        };
        Ok([
            file("swings", &self.swings.0)?,
            file("sessions", &self.sessions)?,
            file("block_stats", &self.block_stats)?,
        ])
    }

    /// Adds a lesson to them.
    pub(super) fn push(
        &self,
        [swings, sessions, block_stats]: &mut Files,
        person: &Person,
        lesson: &Lesson,
    ) -> Result<(), WriteError> {
        for (number, made) in (1_u32..).zip(&lesson.swings) {
            let withheld = made.withheld.join("; ");
            let mut cells = Vec::with_capacity(self.swings.1.len());
            for source in &self.swings.1 {
                cells.push(match *source {
                    Source::Own("swing") => number.into(),
                    Source::Own("impact_s") => Cell::Real(f64::from(number) * 40.0),
                    Source::Own(name) => of_swing(name, person, lesson, made, &withheld),
                    Source::Value(at) => made.values[at].into(),
                    Source::Sd(at) => made.values[at].map(|x| self.sd(at, x)).into(),
                    Source::BoneSd(at) => made.values[at].map(|x| 2.0 * self.sd(at, x)).into(),
                    Source::Definition(at) => made.values[at].map(|_| self.definition(at, made)).into(),
                });
            }
            swings.push(&cells)?;
        }
        let row: Vec<Cell<'_>> =
            self.sessions.columns.iter().map(|c| of_session(&c.name, person, lesson)).collect();
        sessions.push(&row)?;
        for block in 0..lesson.blocks.len() {
            self.push_stats(block_stats, person, lesson, block)?;
        }
        Ok(())
    }

    /// A stated uncertainty that is another in every swing.
    fn sd(&self, measure: usize, value: f64) -> f64 {
        self.of_measures[measure].2 * (0.2 + 0.05 * (value - value.floor()))
    }

    fn definition(&self, measure: usize, made: &Made) -> &str {
        &self.of_measures[measure].1[usize::from(!made.calibrated)]
    }

    fn push_stats(
        &self,
        file: &mut Writer,
        person: &Person,
        lesson: &Lesson,
        block: usize,
    ) -> Result<(), WriteError> {
        let counted: Vec<&Made> = lesson.swings.iter().filter(|s| s.block == block && s.counted()).collect();
        for (at, (key, ..)) in self.of_measures.iter().enumerate() {
            let mut by_definition: Vec<(&str, Vec<f64>)> = Vec::new();
            for made in &counted {
                let Some(value) = made.values[at] else { continue };
                let definition = self.definition(at, made);
                match by_definition.iter_mut().find(|d| d.0 == definition) {
                    Some((_, values)) => values.push(value),
                    None => by_definition.push((definition, vec![value])),
                }
            }
            let most = by_definition.iter().map(|d| d.1.len()).max().unwrap_or(0);
            // Of equally frequent ones, that met first.
            let main = by_definition.iter().position(|d| d.1.len() == most);
            for (place, (definition, values)) in by_definition.iter().enumerate() {
                let n = values.len() as f64;
                let mean = values.iter().sum::<f64>() / n;
                let squares: f64 = values.iter().map(|x| (x - mean).powi(2)).sum();
                let row: Vec<Cell<'_>> = self
                    .block_stats
                    .columns
                    .iter()
                    .map(|c| match c.name.as_str() {
                        "block_no" => Cell::Int(block as i64 + 1),
                        "block" => lesson.blocks[block].label.into(),
                        "phase" => lesson.blocks[block].phase.into(),
                        "measure" => Cell::Text(key),
                        "definition" => Cell::Text(definition),
                        "n" => Cell::Int(values.len() as i64),
                        "mean" => Cell::Real(mean),
                        "variance" => (values.len() > 1).then(|| squares / (n - 1.0)).into(),
                        "main" => (Some(place) == main).into(),
                        "measuring_sd" => Cell::Real(self.sd(at, mean)),
                        "bone_sd" => Cell::Real(2.0 * self.sd(at, mean)),
                        name => of_lesson(name, person, lesson),
                    })
                    .collect();
                file.push(&row)?;
            }
        }
        Ok(())
    }
}

fn of_swing<'a>(
    name: &'static str,
    person: &'a Person,
    lesson: &'a Lesson,
    made: &'a Made,
    withheld: &'a str,
) -> Cell<'a> {
    match name {
        "block_no" => Cell::Int(made.block as i64 + 1),
        "block" => lesson.blocks[made.block].label.into(),
        "phase" => lesson.blocks[made.block].phase.into(),
        "wearing" => Cell::Int(1),
        "handedness" => Cell::Text("right"),
        "kind" => Cell::Text(made.kind),
        "counted" => made.counted().into(),
        "usable" => made.usable.into(),
        "peak_order" => made.usable.then_some(made.order).into(),
        "trunk_speed" => Cell::Text(if made.calibrated { "axial" } else { "resultant" }),
        "withheld_n" => Cell::Int(made.withheld.len() as i64),
        "withheld" | "withheld_why" => (!withheld.is_empty()).then_some(withheld).into(),
        "lost_samples" => made.lost_samples.into(),
        "clipped_samples" => Cell::Int(0),
        "clock_sd_ms" => Cell::Real(0.4),
        name => of_lesson(name, person, lesson),
    }
}

fn of_session<'a>(name: &str, person: &'a Person, lesson: &'a Lesson) -> Cell<'a> {
    let count =
        |which: fn(&Made) -> bool| Cell::Int(lesson.swings.iter().filter(|s| which(s)).count() as i64);
    match name {
        "lesson_date" => Cell::Date(lesson.day),
        "duration_s" => Cell::Real(lesson.swings.len() as f64 * 40.0 + 3.0),
        "handedness" => Cell::Text("right"),
        "invented" => Cell::Flag(true),
        "software" => Cell::Text("peakorder tests"),
        "strap_pelvis" | "strap_thorax" | "strap_lead_arm" => Cell::Text(person.strap),
        "swings" => count(|_| true),
        "counted" => count(Made::counted),
        "repetitions" => Cell::Int(0),
        "lost_samples" => Cell::Int(lesson.swings.iter().map(|s| i64::from(s.lost_samples)).sum()),
        // A digest of its rows; the session's id tells these apart as well.
        "content" => Cell::Text(&lesson.id),
        name => of_lesson(name, person, lesson),
    }
}

fn of_lesson<'a>(name: &str, person: &'a Person, lesson: &'a Lesson) -> Cell<'a> {
    match name {
        "session_id" => Cell::Text(&lesson.id),
        "player_id" => Cell::Text(&person.id),
        "bay" => lesson.bay.into(),
        "started_utc" => Cell::Instant(lesson.started_us),
        "drills" => lesson.drills.as_deref().into(),
        name => panic!("a table has a new column {name}: give it values here"),
    }
}
