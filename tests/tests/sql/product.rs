//! A library of recorded sessions: what SQL says of its dataset and what the product itself says of the sessions.

use crate::ask::{Answer, agree, ask};
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::codes::Codes;
use peakorder_analysis::compare::compare;
use peakorder_analysis::dataset::{Added, Dataset, Wanted};
use peakorder_analysis::kept::{Point, Stage, kept};
use peakorder_analysis::library::find;
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::summary::summarise;
use peakorder_protocol::Role::{LeadArm, Pelvis, Thorax};
use peakorder_protocol::remark::What;
use peakorder_protocol::swing::{Swing, Withholding};
use peakorder_tests::programs::daemon;
use peakorder_tests::python::python;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Two players on five days: lessons, and practice on the third.
fn record(library: &Path) {
    for player in ["3", "4"] {
        for day in ["1", "2", "3", "4", "5"] {
            let folder = library.join(format!("{player}-{day}"));
            let out = folder.to_str().expect("UTF-8");
            let mut arguments =
                vec!["virtual", "--out", out, "--player", player, "--seed", day, "--swings", "10"];
            if day != "3" {
                arguments.extend(["--drill", "3"]);
            }
            let _ = daemon(arguments).done();
        }
        // The coach leaves a swing out.
        let remarks = load(library.join(format!("{player}-2")).to_str().expect("UTF-8"))
            .expect("it loads")
            .dir
            .remarks();
        remarks
            .append(1.0, What::Exclude { swing: 2, excluded: true, reason: String::new() })
            .expect("a remark");
    }
}

/// Their rows, as `peakorder dataset add` puts them.
fn dataset(folder: &Path, sessions: &[Loaded], codes: &Codes) {
    let dataset = Dataset::open_or_make(folder).expect("a dataset");
    let mut adding = dataset.adding(Wanted { bay: "", codes: Some(codes) }).expect("nobody else writes");
    for loaded in sessions {
        assert_eq!(adding.add(loaded).expect("it is added"), Added::New);
    }
}

type Key = Vec<String>;

fn key<const N: usize>(parts: [&str; N]) -> Key {
    parts.map(str::to_owned).to_vec()
}

/// That the answer has these rows and no others, with these numbers.
fn says(answer: &Answer, keys: &[&str], columns: &[&str], expected: &BTreeMap<Key, Vec<Option<f64>>>) {
    let rows = answer.by(keys);
    assert!(!rows.is_empty());
    assert_eq!(rows.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>());
    for (key, row) in &rows {
        for (column, product) in columns.iter().zip(&expected[key]) {
            let same = match (product, answer.cell(row, column).as_f64()) {
                (Some(product), Some(sql)) => agree(*product, sql),
                (product, sql) => product.is_none() && sql.is_none(),
            };
            assert!(
                same,
                "{key:?} {column}: {product:?} of the product, {} of SQL",
                answer.cell(row, column)
            );
        }
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Standard error of a mean from how its values differ.
fn standard_error(values: &[f64]) -> Option<f64> {
    let squares: f64 = values.iter().map(|x| (x - mean(values)).powi(2)).sum();
    let n = values.len() as f64;
    (n > 1.0).then(|| (squares / (n - 1.0) / n).sqrt())
}

#[test]
fn sql_says_of_a_library_what_the_product_says() {
    let Some(python) = python() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let library = folder.path().join("library");
    record(&library);
    let mut sessions: Vec<Loaded> = fs::read_dir(&library)
        .expect("the library")
        .map(|entry| load(entry.expect("an entry").path().to_str().expect("UTF-8")).expect("it loads"))
        .collect();
    sessions.sort_by(|a, b| a.session.id.cmp(&b.session.id));
    let codes = Codes::from_file(&folder.path().join("key")).expect("a key");
    dataset(&folder.path().join("dataset"), &sessions, &codes);
    for engine in ["duckdb", "datafusion"] {
        let answers = ask(&python, engine, &folder.path().join("dataset"), &folder.path().join(engine));
        of_check(&answers["check"]);
        of_orders(&answers["order_shares"], &sessions);
        of_change(&answers["change"], &sessions, &codes);
        of_typical_error(&answers["typical_error"], &sessions, &codes);
        of_retention(&answers["retention"], &library, &sessions, &codes);
        of_load(&answers["load"], &sessions, &codes);
        of_withheld(&answers["withheld"], &sessions);
    }
}

fn of_check(answer: &Answer) {
    assert!(!answer.rows.is_empty());
    for row in &answer.rows {
        assert_eq!(
            (answer.number(row, "on_one_side"), answer.number(row, "different")),
            (0.0, 0.0),
            "{row:?}"
        );
        // A variance that is none where blocks have one swing.
        let off = ["mean_off", "variance_off"].map(|c| answer.cell(row, c).as_f64().unwrap_or(0.0));
        assert!(off.iter().all(|x| *x < 1e-9), "{row:?}");
    }
}

fn player(loaded: &Loaded, codes: &Codes) -> String {
    codes.player(&loaded.session.player)
}

/// Labels of a session's start and end, by what was recorded: practice has no block and no end.
fn ends(loaded: &Loaded) -> (&str, Option<&str>) {
    let has = |label: &str| loaded.blocks.iter().any(|b| b == label);
    if has("after") { ("baseline", Some("after")) } else { (loaded.blocks[0].as_str(), None) }
}

fn of_orders(answer: &Answer, sessions: &[Loaded]) {
    let mut counts: BTreeMap<Key, f64> = BTreeMap::new();
    let mut all: BTreeMap<Key, f64> = BTreeMap::new();
    for loaded in sessions {
        let (start, end) = ends(loaded);
        let drills = if end.is_some() { "drill" } else { "" };
        for (label, phase) in [(Some(start), "baseline"), (end, "after")] {
            let Some(label) = label else { continue };
            let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| s.block == label).collect();
            for share in summarise(label, &swings, &loaded.remarks).orders {
                *counts.entry(key([drills, phase, &share.order.text()])).or_default() += share.count as f64;
                *all.entry(key([drills, phase])).or_default() += share.count as f64;
            }
        }
    }
    let expected =
        counts.into_iter().map(|(k, n)| (k.clone(), vec![Some(n), Some(n / all[&k[..2]])])).collect();
    says(answer, &["drills", "phase", "peak_order"], &["swings", "share"], &expected);
}

const MEASURED: [&str; 3] = ["player_id", "measure", "definition"];

fn of_change(answer: &Answer, sessions: &[Loaded], codes: &Codes) {
    let mut found: BTreeMap<Key, Vec<(f64, f64)>> = BTreeMap::new();
    for loaded in sessions {
        let (start, Some(end)) = ends(loaded) else { continue };
        let compared = compare(&loaded.only(start), &loaded.only(end), &Family::All).expect("it compares");
        for row in compared.rows {
            assert_eq!((row.before.other_definition, row.after.other_definition), (0, 0));
            let variance = |s: &peakorder_analysis::stats::Sample| Some(s.sd?.powi(2) / s.n as f64);
            let (Some(before), Some(after)) = (variance(&row.before.sample), variance(&row.after.sample))
            else {
                continue;
            };
            let key = key([&player(loaded, codes), &row.measure.key(), &row.before.definition.text()]);
            found.entry(key).or_default().push((row.means_apart, before + after));
        }
    }
    let expected = found
        .into_iter()
        .map(|(key, lessons)| {
            let (changes, variances): (Vec<f64>, Vec<f64>) = lessons.into_iter().unzip();
            let n = changes.len() as f64;
            let of_swings = variances.iter().sum::<f64>().sqrt() / n;
            (key, vec![Some(n), Some(mean(&changes)), Some(of_swings), standard_error(&changes)])
        })
        .collect();
    says(answer, &MEASURED, &["lessons", "change", "se_swings", "se_lessons"], &expected);
}

fn of_typical_error(answer: &Answer, sessions: &[Loaded], codes: &Codes) {
    let mut found: BTreeMap<Key, Vec<(f64, f64)>> = BTreeMap::new();
    for loaded in sessions {
        let (label, _) = ends(loaded);
        let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| s.block == label).collect();
        for m in summarise(label, &swings, &loaded.remarks).measures {
            let Some(sd) = m.sample.sd else { continue };
            let key = key([&player(loaded, codes), &m.measure.key(), &m.definition.text()]);
            let df = (m.sample.n - 1) as f64;
            found.entry(key).or_default().push((df, df * sd * sd));
        }
    }
    let expected = found
        .into_iter()
        .map(|(key, blocks)| {
            let df: f64 = blocks.iter().map(|b| b.0).sum();
            let squares: f64 = blocks.iter().map(|b| b.1).sum();
            (key, vec![Some(blocks.len() as f64), Some(df), Some((squares / df).sqrt())])
        })
        .collect();
    says(answer, &MEASURED, &["blocks", "df", "typical_error"], &expected);
}

fn of_retention(answer: &Answer, library: &Path, sessions: &[Loaded], codes: &Codes) {
    let family = Family::Only(Measure::ALL.into_iter().map(Chosen::of).collect());
    let mut expected = BTreeMap::new();
    for number in ["3", "4"] {
        let name = format!("invented player {number}");
        let of_player = sessions.iter().find(|l| l.session.player.name == name).expect("the player");
        let found = find(&[library.to_owned()], Some(&name)).expect("sessions");
        let kept = kept(&found, &family).expect("measures were named");
        assert_eq!(kept.lessons.len(), 5);
        for course in kept.courses {
            let definition = definition(sessions, &name, course.measure);
            let (mut last, mut gained, mut left, mut since_end) = (None, Vec::new(), Vec::new(), Vec::new());
            for stage in &course.stages {
                if let Some((before, end)) = last {
                    let (before, end): (&Stage, Point) = (before, end);
                    let steps =
                        [(&mut left, before.start, stage.left), (&mut since_end, end, stage.since_end)];
                    let mut any = false;
                    for (steps, from, said) in steps {
                        let step = stage.start.mean - from.mean;
                        // The product also leaves out blocks without any spread, for it states intervals.
                        if stage.start.swings > 1 && from.swings > 1 {
                            steps.push(step);
                            any = true;
                        }
                        // What it states is found to its own accuracy.
                        assert!(
                            said.is_none_or(|s| (s.difference - step).abs() < 1e-6 * step.abs().max(1.0))
                        );
                        assert!(said.is_none() || stage.start.swings > 1 && from.swings > 1);
                    }
                    if any && before.start.swings > 1 && end.swings > 1 {
                        gained.push(end.mean - before.start.mean);
                    }
                }
                if let Some(end) = stage.end {
                    last = Some((stage, end));
                }
            }
            if left.is_empty() && since_end.is_empty() {
                continue;
            }
            let average = |of: &[f64]| (!of.is_empty()).then(|| mean(of));
            let numbers = vec![
                average(&gained),
                Some(left.len() as f64),
                average(&left),
                standard_error(&left),
                Some(since_end.len() as f64),
                average(&since_end),
                standard_error(&since_end),
            ];
            expected.insert(key([&player(of_player, codes), &course.measure.key(), &definition]), numbers);
        }
    }
    let columns = ["gained", "kept_n", "kept", "se_kept", "since_end_n", "since_end", "se_since_end"];
    says(answer, &MEASURED, &columns, &expected);
}

/// The one definition that a measure has in a player's sessions.
fn definition(sessions: &[Loaded], name: &str, measure: Measure) -> String {
    let mut all: Vec<String> = Vec::new();
    for loaded in sessions.iter().filter(|l| l.session.player.name == name) {
        let swings: Vec<&Swing> = loaded.swings.iter().collect();
        let summary = summarise("", &swings, &loaded.remarks);
        all.extend(summary.measure(measure).map(|m| m.definition.text()));
    }
    all.dedup();
    assert_eq!(all.len(), 1, "{measure:?}");
    all.remove(0)
}

fn of_load(answer: &Answer, sessions: &[Loaded], codes: &Codes) {
    let mut expected: BTreeMap<Key, Vec<Option<f64>>> = BTreeMap::new();
    for loaded in sessions {
        let counted = loaded.swings.iter().filter(|s| loaded.remarks.counts(s)).count();
        let day = &loaded.session.started_utc[..10];
        let numbers = [1.0, loaded.swings.len() as f64, counted as f64].map(Some).to_vec();
        let old = expected.insert(key(["", day, &player(loaded, codes)]), numbers);
        assert!(old.is_none(), "one session a day");
    }
    says(answer, &["bay", "lesson_date", "player_id"], &["lessons", "swings", "counted"], &expected);
}

fn of_withheld(answer: &Answer, sessions: &[Loaded]) {
    let all: Vec<&Swing> = sessions.iter().flat_map(|l| &l.swings).collect();
    let share = |which: &dyn Fn(&Withholding) -> bool| {
        let hit = |s: &&&Swing| s.quality.withheld.iter().any(|w| which(&w.what));
        Some(all.iter().filter(hit).count() as f64 / all.len() as f64)
    };
    let turn = [Pelvis, Thorax].map(|r| [Withholding::Segment(r), Withholding::Angles(r)]).concat();
    let arm = [Withholding::ArmAgainstThorax, Withholding::Segment(LeadArm), Withholding::Angles(LeadArm)];
    let numbers = vec![
        Some(all.len() as f64),
        share(&|_| true),
        share(&|w| turn.contains(w)),
        share(&|w| arm.contains(w)),
        share(&|w| *w == Withholding::Sequence),
    ];
    assert!(numbers[1] > Some(0.0), "something is withheld in these sessions");
    let strap = "ref-strap-v1";
    let expected = BTreeMap::from([(key([strap, strap, strap]), numbers)]);
    let columns = ["swings", "any_share", "turn_share", "arm_share", "sequence_share"];
    says(answer, &["strap_pelvis", "strap_thorax", "strap_lead_arm"], &columns, &expected);
}
