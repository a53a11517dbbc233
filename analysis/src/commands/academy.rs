//! `peakorder academy`: which drills changed what, over all players of a dataset.

use peakorder_analysis::SAFETY;
use peakorder_analysis::academy::{Academy, FEWEST, Row, academy};
use peakorder_analysis::dataset::Dataset;
use peakorder_analysis::render::{Style, columns, number, wrap};
use peakorder_analysis::words::plural;
use peakorder_protocol::text::clean;
use serde::Serialize;
use std::fmt::Write as _;
use std::path::PathBuf;

/// Which dataset, and how much of it.
#[derive(Debug, clap::Args)]
pub(crate) struct AcademyArguments {
    /// Folder of the dataset.
    #[arg(value_name = "DATASET")]
    dataset: PathBuf,
    /// Print also what may be there by chance.
    #[arg(long)]
    all: bool,
    /// Write a JSON document instead of text.
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    players: usize,
    lessons: usize,
    invented: bool,
    fewest_players: usize,
    suppressed_drills: usize,
    suppressed_rows: usize,
    rows: Vec<DocumentRow>,
}

#[derive(Serialize)]
struct DocumentRow {
    drills: Option<String>,
    measure: String,
    definition: String,
    players: usize,
    lessons: usize,
    change: f64,
    interval_95: (f64, f64),
    between_players_sd: f64,
    swing_sd: Option<f64>,
    p_adjusted: f64,
    found: bool,
}

impl From<&Row> for DocumentRow {
    fn from(row: &Row) -> Self {
        Self {
            drills: row.drills.clone(),
            measure: row.measure.key(),
            definition: row.definition.clone(),
            players: row.players,
            lessons: row.lessons,
            change: row.change,
            interval_95: row.interval,
            between_players_sd: row.between_players_sd,
            swing_sd: row.swing_sd,
            p_adjusted: row.p_adjusted,
            found: row.found,
        }
    }
}

/// The text to print.
pub(crate) fn run(arguments: &AcademyArguments, style: Style) -> anyhow::Result<String> {
    let academy = academy(&Dataset::open(&arguments.dataset)?)?;
    if arguments.json {
        return crate::document(&Document {
            schema: "peakorder.academy/1",
            players: academy.players,
            lessons: academy.lessons,
            invented: academy.invented,
            fewest_players: FEWEST,
            suppressed_drills: academy.suppressed_drills,
            suppressed_rows: academy.suppressed_rows,
            rows: academy.rows.iter().map(DocumentRow::from).collect(),
        });
    }
    Ok(text(&academy, arguments.all, style))
}

/// How the table is to be read.
const READING: &str = "Change: the block after less the baseline of the same lesson. Each player counts once, by the mean of his \
    lessons; the interval is for players like these. One in ten of those shown may be there by chance. Lessons without a drill change \
    too, by settling in: a drill did what it did beyond them. Players chose their drills; nobody dealt them out.";

fn text(academy: &Academy, all: bool, style: Style) -> String {
    let mut text = format!(
        "{} with a before and an after, of {}{}\n",
        plural(academy.lessons, "lesson"),
        plural(academy.players, "player"),
        if academy.invented { " (all invented)" } else { "" }
    );
    let mut drills: Vec<&Option<String>> = academy.rows.iter().map(|r| &r.drills).collect();
    drills.dedup();
    for drill in drills {
        let rows: Vec<&Row> = academy.rows.iter().filter(|r| r.drills == *drill).collect();
        let shown: Vec<&&Row> = rows.iter().filter(|r| all || r.found).collect();
        let players = rows.iter().map(|r| r.players).max().unwrap_or(0);
        let lessons = rows.iter().map(|r| r.lessons).max().unwrap_or(0);
        let name =
            drill.as_deref().map_or_else(|| "Without a drill".to_owned(), |d| format!("Drill {}", clean(d)));
        let _ = writeln!(text, "\n{name}: {}, {}", plural(players, "player"), plural(lessons, "lesson"));
        if shown.is_empty() {
            let _ = writeln!(
                text,
                "  nothing that chance alone does not explain, in {}",
                plural(rows.len(), "number")
            );
            continue;
        }
        let (lines, defined) = table(&shown);
        text.push_str(&lines);
        for line in defined {
            wrap(&mut text, style, "  ", &line);
        }
        let rest = rows.len() - shown.len();
        if rest > 0 {
            let _ = writeln!(text, "  {rest} more can be chance (--all)");
        }
    }
    if academy.rows.is_empty() {
        let _ = writeln!(text, "\nnothing to show: no drill has lessons of {FEWEST} players or more");
    }
    if academy.suppressed_rows > 0 {
        let _ = writeln!(
            text,
            "\nNot shown, for fewer than {FEWEST} players have it: {} and {} of others",
            plural(academy.suppressed_drills, "drill"),
            plural(academy.suppressed_rows, "number")
        );
    }
    text.push('\n');
    wrap(&mut text, style, "", READING);
    wrap(&mut text, style, "", SAFETY);
    text
}

/// Marks of the second, third … definition of a measure.
const MARKS: [&str; 4] = ["", " ²", " ³", " ⁴"];

/// The table, and what its marks mean: values of one measure that are defined otherwise have a row of their own.
fn table(rows: &[&&Row]) -> (String, Vec<String>) {
    let head = ["", "change", "95 % interval", "players differ by", "own swings by", "players"];
    let mut cells: Vec<Vec<String>> = vec![head.map(str::to_owned).to_vec()];
    let mut defined: Vec<String> = Vec::new();
    for (at, row) in rows.iter().enumerate() {
        let decimals = row.measure.decimals();
        let plain = |x: f64| number(x, decimals, false);
        let signed = |x: f64| number(x, decimals, true);
        let before = rows[..at].iter().filter(|r| r.measure == row.measure).count();
        let mark = MARKS[before.min(MARKS.len() - 1)];
        if before > 0 {
            let line = format!("{} {}", mark.trim(), clean(&row.definition));
            if !defined.contains(&line) {
                defined.push(line);
            }
        }
        cells.push(vec![
            format!("{}{mark}", row.measure.name()),
            signed(row.change),
            format!("{} to {}", signed(row.interval.0), signed(row.interval.1)),
            plain(row.between_players_sd),
            row.swing_sd.map_or_else(|| "–".into(), plain),
            row.players.to_string(),
        ]);
    }
    (columns(&cells), defined)
}
