//! Many swings of invented players: the same answers on every engine, and those that were put into them.

use crate::ask::{Answer, Cluster, agree, ask, same};
use peakorder_analysis::data::measures;
use peakorder_tests::made_dataset::{EFFECT, Plan, works_on, write};
use peakorder_tests::python::python;
use serde_json::Value;
use std::collections::BTreeMap;

/// Few months: every file costs a cluster a task, for each measure that the check asks of.
const PLAN: Plan = Plan { swings: 100_000, months: 4, seed: 7, first_player: 0 };

#[test]
fn a_hundred_thousand_swings_give_the_same_answers_on_every_engine() {
    let Some(python) = python() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let dataset = folder.path().join("dataset");
    let made = write(&dataset, &PLAN).expect("the dataset is written");
    assert!(made.swings >= PLAN.swings, "{made:?}");
    let duckdb = ask(&python, "duckdb", &dataset, &folder.path().join("duckdb"));
    what_was_put_in_comes_out(&duckdb, made.swings);
    let datafusion = ask(&python, "datafusion", &dataset, &folder.path().join("datafusion"));
    alike(&duckdb, &datafusion);
    let cluster = Cluster::start(&python);
    assert_eq!(cluster.processes(), 3);
    let spark = ask(&python, &cluster.address, &dataset, &folder.path().join("spark"));
    alike(&duckdb, &spark);
}

fn alike(a: &BTreeMap<String, Answer>, b: &BTreeMap<String, Answer>) {
    let mut compared = 0;
    for (question, a) in a {
        let b = &b[question];
        assert_eq!((&a.columns, a.rows.len()), (&b.columns, b.rows.len()), "{question}");
        for (row_a, row_b) in a.rows.iter().zip(&b.rows) {
            assert!(same(row_a, row_b), "{question}: {row_a:?} and {row_b:?}");
            compared += row_a.len();
        }
    }
    println!("{compared} values agree");
}

fn what_was_put_in_comes_out(answers: &BTreeMap<String, Answer>, swings: u64) {
    let check = &answers["check"];
    assert_eq!(check.rows.len(), measures().count());
    for row in &check.rows {
        assert_eq!(check.cell(row, "stored_rows"), check.cell(row, "computed_rows"));
        assert_eq!((check.number(row, "on_one_side"), check.number(row, "different")), (0.0, 0.0), "{row:?}");
        for column in ["mean_off", "variance_off"] {
            assert!(check.number(row, column) < 1e-9, "{row:?}");
        }
    }
    let load = &answers["load"];
    let total: f64 = load.rows.iter().map(|row| load.number(row, "swings")).sum();
    assert!(agree(total, swings as f64), "{total} of {swings} swings");
    let withheld = &answers["withheld"];
    let total: f64 = withheld.rows.iter().map(|row| withheld.number(row, "swings")).sum();
    assert!(agree(total, swings as f64), "{total} of {swings} swings");
    the_drills_effect_is_found(&answers["change"], &answers["typical_error"]);
}

/// Of each measure the mean change over players: two of four drills are done in a lesson, each equally often, so half of
/// the lessons have one that is for it.
fn the_drills_effect_is_found(change: &Answer, error: &Answer) {
    let errors = error.by(&["player_id", "measure", "definition"]);
    let mut by_measure: BTreeMap<String, Vec<(f64, f64)>> = BTreeMap::new();
    for row in &change.rows {
        let key = ["player_id", "measure", "definition"].map(|k| change.text(row, k)).to_vec();
        let spread = errors.get(&key).map(|e| error.number(e, "typical_error")).expect("it has a spread");
        let lessons = change.number(row, "lessons");
        by_measure
            .entry(key[1].clone())
            .or_default()
            .push((lessons * change.number(row, "change") / spread, lessons));
    }
    for (at, measure) in measures().enumerate() {
        let drills = ["step in", "wall turn", "pump", "feet together"];
        assert_eq!(drills.iter().filter(|d| works_on(d, at)).count(), 1);
        let of = &by_measure[&measure.key()];
        let lessons: f64 = of.iter().map(|(_, n)| n).sum();
        let mean = of.iter().map(|(x, _)| x).sum::<f64>() / lessons;
        // A change of two means of some nine swings has a standard error of 0.5 spreads.
        let standard_error = 0.5 / lessons.sqrt();
        // Dividing by an estimated spread adds a few per cent.
        assert!(
            (mean - EFFECT / 2.0).abs() < 4.0 * standard_error + 0.05 * EFFECT,
            "{}: {mean} spreads over {lessons} lessons, {EFFECT} was put in",
            measure.key()
        );
    }
    assert!(change.rows.iter().any(|row| change.cell(row, "se_lessons") != &Value::Null));
}
