//! Files of two bays brought to one place with rsync, as `docs/dataset.md` says.

use crate::ask::{Answer, ask, same};
use peakorder_tests::made_dataset::{Plan, write};
use peakorder_tests::python::python;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What a bay runs.
fn send(bay: &Path, to: &Path) {
    let done = Command::new("rsync")
        .args(["--archive", "--delay-updates", "--exclude=.*", "--exclude=dataset.lock"])
        .args([format!("{}/", bay.display()), format!("{}/", to.display())])
        .output()
        .expect("rsync starts (apt install rsync)");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() { all.extend(files(&path)) } else { all.push(path) }
    }
    all.sort();
    all
}

/// A bay's dataset of players of its own; its files have names of their own, as the product's have.
fn bay(folder: &Path, name: &str, first_player: u64) -> PathBuf {
    let bay = folder.join(name);
    write(&bay, &Plan { swings: 300, months: 2, seed: 5, first_player }).expect("a dataset");
    for file in files(&bay).iter().filter(|f| !f.ends_with("measures.parquet")) {
        fs::rename(file, file.with_file_name(format!("{name}.parquet"))).expect("it is renamed");
    }
    bay
}

#[test]
fn two_bays_are_one_dataset_and_nothing_that_was_sent_is_lost() {
    let Some(python) = python() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let (first, second) = (bay(folder.path(), "first", 0), bay(folder.path(), "second", 1000));
    let all = folder.path().join("all");
    send(&first, &all);
    send(&second, &all);
    let answers = |of: &Path, name: &str| ask(&python, "duckdb", of, &folder.path().join(name));
    let alone = [answers(&first, "a"), answers(&second, "b")];
    let together = answers(&all, "c");
    for question in ["change", "typical_error", "retention"] {
        // No player swung at both, and the players of the first come before those of the second.
        let rows: Vec<_> = alone.iter().flat_map(|a| &a[question].rows).collect();
        let pooled = &together[question];
        assert!(!rows.is_empty() && rows.len() == pooled.rows.len(), "{question}");
        for (row, other) in rows.into_iter().zip(&pooled.rows) {
            assert!(same(row, other), "{question}: {row:?} and {other:?}");
        }
    }
    let swings = |a: &Answer| -> f64 { a.rows.iter().map(|row| a.number(row, "swings")).sum() };
    assert_eq!(swings(&together["load"]), swings(&alone[0]["load"]) + swings(&alone[1]["load"]));
    // Sent again, nothing changes; nor when a bay has lost its files.
    let before = files(&all);
    send(&first, &all);
    fs::remove_dir_all(first.join("swings")).expect("the bay's disk fails");
    send(&first, &all);
    assert_eq!(files(&all), before);
    assert_eq!(answers(&all, "d")["load"], together["load"]);
}
