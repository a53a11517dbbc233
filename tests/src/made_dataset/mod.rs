//! Datasets of invented players, as large as wanted, with the tables that the product writes.
//!
//! Players differ, lessons differ from day to day, drills change what they are for, swings scatter; some
//! are rehearsals, some of straps put on without calibration (another definition), some have numbers
//! withheld. The same plan makes the same rows, whatever the machine.

mod lesson;
mod rows;

use lesson::{Lesson, Person};
use peakorder_analysis::dataset::Dataset;
use peakorder_tables::{Format, WriteError, Writer};
use rows::Tables;
use std::fs;
use std::path::Path;

/// Lessons or practice of a player in a month.
const SESSIONS_A_MONTH: u32 = 2;

/// What is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plan {
    /// At least so many swings.
    pub swings: u64,
    /// Months that they are spread over, from January 2024.
    pub months: u32,
    /// What chance does follows from it.
    pub seed: u64,
    /// Number of the first player: plans of other players have other sessions.
    pub first_player: u64,
}

/// What was made.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Made {
    /// Players.
    pub players: u64,
    /// Sessions.
    pub sessions: u64,
    /// Swings, counted or not.
    pub swings: u64,
}

/// How much the drill of that number adds to a measure, in the measure's own spread from swing to swing.
pub const EFFECT: f64 = 0.8;

/// Which measures (places in the list of those that one swing tells) the drill of that label is for.
pub fn works_on(drill: &str, measure: usize) -> bool {
    lesson::DRILLS.iter().position(|d| *d == drill).is_some_and(|at| measure % lesson::DRILLS.len() == at)
}

/// Writes the dataset into `folder`, which must not hold one.
///
/// # Errors
/// When a file cannot be written.
///
/// # Panics
/// When the product's tables have a column that this module does not know: it must be given values.
pub fn write(folder: &Path, plan: &Plan) -> Result<Made, WriteError> {
    Dataset::open_or_make(folder).unwrap_or_else(|e| panic!("{e}"));
    let players = plan.swings.div_ceil(lesson::swings_in(plan.months * SESSIONS_A_MONTH));
    let tables = Tables::new();
    let mut made = Made { players, ..Made::default() };
    let people: Vec<Person> =
        (plan.first_player..).take(players as usize).map(|p| Person::new(plan.seed, p)).collect();
    for month in 0..plan.months {
        let name = format!("month={}-{:02}", 2024 + month / 12, 1 + month % 12);
        let mut files = tables.begin(|table| folder.join(table).join(&name).join("made.parquet"))?;
        for person in &people {
            for visit in 0..SESSIONS_A_MONTH {
                let lesson = Lesson::of(person, plan.seed, month, visit);
                tables.push(&mut files, person, &lesson)?;
                made.sessions += 1;
                made.swings += lesson.swings.len() as u64;
            }
        }
        for file in files {
            file.finish()?;
        }
    }
    let measures = folder.join("measures/measures.parquet");
    create_folder(&measures);
    let mut file = Writer::create(&measures, tables.measures.schema(), Format::Parquet)?;
    let mut cells = Vec::new();
    for row in &tables.measure_rows {
        tables.measures.row(row, &mut cells);
        file.push(&cells)?;
    }
    file.finish()?;
    Ok(made)
}

/// The folder that `file` is to lie in.
fn create_folder(file: &Path) {
    let folder = file.parent().expect("a file lies in a folder");
    fs::create_dir_all(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
}
