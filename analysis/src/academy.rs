//! Which drills changed what, over all players of a dataset.
//!
//! The player is the unit, in two stages (Matthews, Altman, Campbell & Royston 1990, "Analysis of serial measurements in medical
//! research", BMJ 300:230): first a player's mean change from the baseline to the block after the drill, over the lessons with
//! that drill; then mean, spread and Student interval of those over players, each counted once, however many lessons
//! and swings he has. So the interval holds for players like these, and swings that resemble each other make it no narrower.
//! Before and after of a lesson are one wearing of the straps, so that their seat is on both sides alike.
//!
//! What fewer than [`FEWEST`] players have in common is not shown, for it might be told whose it is.

use crate::compare::FALSE_DISCOVERIES;
use crate::dataset::{Dataset, DatasetError, Monthly};
use crate::measure::Measure;
use crate::stats::{LEVEL, Sample, false_discovery, t_quantile, t_two_sided_p};
use peakorder_tables::{Cell, ParquetFile};
use std::collections::{BTreeMap, BTreeSet};

/// The fewest players of whom something is shown. Own judgement; common practice for small cells, no source.
pub const FEWEST: usize = 5;

/// What a drill, or a lesson without one, changed in one measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Labels of the drills between, joined by ` + `; `None`: none.
    pub drills: Option<String>,
    /// The measure.
    pub measure: Measure,
    /// How it is defined.
    pub definition: String,
    /// Players.
    pub players: usize,
    /// Their lessons.
    pub lessons: usize,
    /// Mean of the players' mean changes, after less before, in the measure's unit.
    pub change: f64,
    /// Holds it with 95 %, for players like these.
    pub interval: (f64, f64),
    /// Standard deviation of the players' mean changes.
    pub between_players_sd: f64,
    /// The typical player's own standard deviation from swing to swing: root mean square over players, before the drill.
    pub swing_sd: Option<f64>,
    /// p of no change, among all rows (Benjamini & Hochberg 1995).
    pub p_adjusted: f64,
    /// It is one of those of which one in ten at most are there by chance.
    pub found: bool,
}

/// What a dataset says of drills.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Academy {
    /// Players with a lesson that has a before and an after.
    pub players: usize,
    /// Those lessons.
    pub lessons: usize,
    /// By drill, then measure.
    pub rows: Vec<Row>,
    /// Drills that fewer than [`FEWEST`] players did: how many.
    pub suppressed_drills: usize,
    /// Rows left out for the same reason.
    pub suppressed_rows: usize,
    /// Only invented sessions were found, and they were taken.
    pub invented: bool,
}

/// A block's statistics of one measure.
#[derive(Debug, Clone, Copy)]
struct Block {
    n: i64,
    mean: f64,
    variance: Option<f64>,
}

/// Before and after of one measure in one session, by measure and definition.
#[derive(Default)]
struct Lesson {
    session: String,
    player: String,
    drills: Option<String>,
    before: BTreeMap<(String, String), Block>,
    after: BTreeMap<(String, String), Block>,
}

/// A player's changes, and the sums of squares of the swings before.
#[derive(Default)]
struct Changes {
    of_lessons: Vec<f64>,
    squares: f64,
    df: f64,
}

type Key = (Option<String>, String, String);

#[derive(Default)]
struct Gathered {
    by_row: BTreeMap<Key, BTreeMap<String, Changes>>,
    drills: BTreeMap<Option<String>, BTreeSet<String>>,
    players: BTreeSet<String>,
    lessons: usize,
}

impl Gathered {
    fn take(&mut self, lesson: &Lesson) {
        let mut has_both = false;
        for (key, after) in &lesson.after {
            let Some(before) = lesson.before.get(key) else { continue };
            has_both = true;
            let row = (lesson.drills.clone(), key.0.clone(), key.1.clone());
            let own = self.by_row.entry(row).or_default().entry(lesson.player.clone()).or_default();
            own.of_lessons.push(after.mean - before.mean);
            if let Some(variance) = before.variance {
                let df = (before.n - 1) as f64;
                own.squares += df * variance;
                own.df += df;
            }
        }
        if has_both {
            self.lessons += 1;
            self.players.insert(lesson.player.clone());
            self.drills.entry(lesson.drills.clone()).or_default().insert(lesson.player.clone());
        }
    }
}

/// Looks at all lessons that have a baseline and a block after it. Invented sessions are left out, unless there are no others.
pub fn academy(dataset: &Dataset) -> Result<Academy, DatasetError> {
    let (real, invented) = sessions(dataset)?;
    let only_invented = real.is_empty() && !invented.is_empty();
    let wanted = if only_invented { invented } else { real };
    let mut gathered = Gathered::default();
    for path in dataset.all_files(Monthly::BlockStats)? {
        gather(&ParquetFile::open(&path)?, &wanted, &mut gathered)?;
    }
    Ok(Academy { invented: only_invented, ..summed(gathered) })
}

/// Ids of the sessions of people, and of invented ones.
fn sessions(dataset: &Dataset) -> Result<(BTreeSet<String>, BTreeSet<String>), DatasetError> {
    let (mut real, mut invented) = (BTreeSet::new(), BTreeSet::new());
    for path in dataset.all_files(Monthly::Sessions)? {
        ParquetFile::open(&path)?.read(&["session_id", "invented"], |row| {
            let id = row[0].text().unwrap_or_default().to_owned();
            if row[1] == Cell::Flag(true) {
                invented.insert(id)
            } else {
                real.insert(id)
            };
        })?;
    }
    Ok((real, invented))
}

const COLUMNS: [&str; 10] =
    ["session_id", "player_id", "drills", "phase", "measure", "definition", "n", "mean", "variance", "main"];

/// A session's rows stand together in a file.
fn gather(file: &ParquetFile, wanted: &BTreeSet<String>, into: &mut Gathered) -> Result<(), DatasetError> {
    let mut lesson = Lesson::default();
    file.read(&COLUMNS, |row| {
        let text = |at: usize| row[at].text().unwrap_or_default();
        if lesson.session != text(0) {
            into.take(&std::mem::take(&mut lesson));
            text(0).clone_into(&mut lesson.session);
            text(1).clone_into(&mut lesson.player);
            lesson.drills = row[2].text().map(ToOwned::to_owned);
        }
        if !wanted.contains(&lesson.session) || row[9] != Cell::Flag(true) {
            return;
        }
        let (Some(n), Some(mean)) = (row[6].int(), row[7].real()) else { return };
        let side = match text(3) {
            "baseline" => &mut lesson.before,
            "after" => &mut lesson.after,
            _ => return,
        };
        let block = Block { n, mean, variance: row[8].real() };
        side.insert((text(4).to_owned(), text(5).to_owned()), block);
    })?;
    into.take(&lesson);
    Ok(())
}

fn summed(gathered: Gathered) -> Academy {
    let mut suppressed_rows = 0;
    let mut rows: Vec<Row> = Vec::new();
    for ((drills, key, definition), players) in gathered.by_row {
        let Some(measure) = Measure::from_key(&key) else { continue };
        if players.len() < FEWEST {
            suppressed_rows += 1;
            continue;
        }
        if let Some(row) = of_players(drills, measure, definition, &players) {
            rows.push(row);
        }
    }
    let place = |m: Measure| Measure::ALL.iter().position(|a| *a == m);
    rows.sort_by(|a, b| {
        // The definition that most players have comes first.
        (&a.drills, place(a.measure), b.players, &a.definition).cmp(&(
            &b.drills,
            place(b.measure),
            a.players,
            &b.definition,
        ))
    });
    let p: Vec<f64> = rows.iter().map(|r| r.p_adjusted).collect();
    for (row, p) in rows.iter_mut().zip(false_discovery(&p)) {
        row.p_adjusted = p;
        row.found = p < FALSE_DISCOVERIES;
    }
    Academy {
        players: gathered.players.len(),
        lessons: gathered.lessons,
        rows,
        suppressed_drills: gathered.drills.values().filter(|players| players.len() < FEWEST).count(),
        suppressed_rows,
        invented: false,
    }
}

fn of_players(
    drills: Option<String>,
    measure: Measure,
    definition: String,
    players: &BTreeMap<String, Changes>,
) -> Option<Row> {
    let means: Vec<f64> =
        players.values().map(|c| c.of_lessons.iter().sum::<f64>() / c.of_lessons.len() as f64).collect();
    let sample = Sample::of(&means)?;
    let sd = sample.sd?;
    let df = (sample.n - 1) as f64;
    let error = sd / (sample.n as f64).sqrt();
    let half = t_quantile(f64::midpoint(1.0, LEVEL), df)? * error;
    let p = if error > 0.0 { t_two_sided_p(sample.mean / error, df)? } else { 1.0 };
    let own: Vec<f64> = players.values().filter(|c| c.df > 0.0).map(|c| c.squares / c.df).collect();
    Some(Row {
        drills,
        measure,
        definition,
        players: sample.n,
        lessons: players.values().map(|c| c.of_lessons.len()).sum(),
        change: sample.mean,
        interval: (sample.mean - half, sample.mean + half),
        between_players_sd: sd,
        swing_sd: (!own.is_empty()).then(|| (own.iter().sum::<f64>() / own.len() as f64).sqrt()),
        p_adjusted: p,
        found: false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lesson(player: usize, drills: Option<&str>, change: f64) -> Lesson {
        let key = ("pelvis_turn_top_deg".to_owned(), "a".to_owned());
        let block = |mean| Block { n: 8, mean, variance: Some(4.0) };
        Lesson {
            session: String::new(),
            player: format!("p{player}"),
            drills: drills.map(ToOwned::to_owned),
            before: [(key.clone(), block(-30.0))].into(),
            after: [(key, block(-30.0 + change))].into(),
        }
    }

    /// Five changes with mean 2.0 and SD 1.5811; Student's 0.975 quantile with four degrees of freedom is 2.7764 (Fisher & Yates 1963, table III,
    /// from memory), so the half-width is 2.7764 × 1.5811 / √5 = 1.9632.
    #[test]
    fn a_player_counts_once_however_many_lessons_he_has() {
        let mut gathered = Gathered::default();
        for (player, change) in [0.0, 1.0, 2.0, 3.0, 4.0].into_iter().enumerate() {
            for _ in 0..=player {
                gathered.take(&lesson(player, Some("pivot"), change));
            }
        }
        let academy = summed(gathered);
        assert_eq!((academy.players, academy.lessons, academy.rows.len()), (5, 15, 1));
        let row = &academy.rows[0];
        assert_eq!((row.players, row.lessons), (5, 15));
        assert!((row.change - 2.0).abs() < 1e-12);
        assert!((row.interval.1 - 3.9632).abs() < 2e-4, "{:?}", row.interval);
        assert!((row.between_players_sd - 2.5_f64.sqrt()).abs() < 1e-12);
        assert!((row.swing_sd.unwrap() - 2.0).abs() < 1e-12);
    }

    #[test]
    fn what_four_players_have_in_common_is_not_shown() {
        let mut gathered = Gathered::default();
        for player in 0..4 {
            gathered.take(&lesson(player, Some("pivot"), 1.0 + player as f64));
        }
        let academy = summed(gathered);
        assert!(academy.rows.is_empty());
        assert_eq!((academy.suppressed_drills, academy.suppressed_rows), (1, 1));
    }

    #[test]
    fn a_lesson_without_the_same_definition_on_both_sides_adds_nothing() {
        let mut gathered = Gathered::default();
        for player in 0..6 {
            let mut lesson = lesson(player, None, 1.0);
            let after = std::mem::take(&mut lesson.after);
            lesson.after = after.into_iter().map(|((m, _), b)| ((m, "b".to_owned()), b)).collect();
            gathered.take(&lesson);
        }
        assert_eq!((gathered.lessons, gathered.by_row.len()), (0, 0));
    }
}
