//! What a dataset's folder may turn out to hold: one line that names the file and says what to do.

use crate::ask::{ask, run};
use peakorder_tables::{Cell, Column, Format, Table, Writer};
use peakorder_tests::made_dataset::{Plan, write};
use peakorder_tests::python::python;
use std::fs;
use std::path::{Path, PathBuf};

const ENGINES: [&str; 2] = ["duckdb", "datafusion"];

struct Tried {
    python: PathBuf,
    folder: tempfile::TempDir,
}

impl Tried {
    fn new() -> Option<Self> {
        let python = python()?;
        let folder = tempfile::tempdir().expect("a folder");
        write(&folder.path().join("d"), &Plan { swings: 100, months: 2, seed: 3, first_player: 0 })
            .expect("a dataset");
        Some(Self { python, folder })
    }

    fn dataset(&self) -> PathBuf {
        self.folder.path().join("d")
    }

    fn text(&self) -> String {
        self.dataset().to_str().expect("UTF-8").to_owned()
    }

    /// The one line with which these arguments are refused.
    fn refused(&self, arguments: &[&str]) -> String {
        let done = run(&self.python, arguments);
        let said = String::from_utf8_lossy(&done.stderr).trim_end().to_owned();
        assert_eq!(done.status.code(), Some(2), "{said}");
        assert_eq!(said.lines().count(), 1, "{said}");
        assert!(said.starts_with("ask.py: "), "{said}");
        said
    }

    fn each_engine_names(&self, file: &str, what: &str) {
        for engine in ENGINES {
            let said = self.refused(&[engine, &self.text()]);
            assert!(said.contains(file) && said.contains(what), "{engine}: {said}");
            assert!(said.contains(';'), "what to do: {said}");
        }
    }
}

fn put(path: &Path, bytes: &[u8]) {
    fs::write(path, bytes).expect("a file is written");
}

#[test]
fn files_that_are_not_finished_are_passed_over() {
    let Some(tried) = Tried::new() else { return };
    let month = tried.dataset().join("swings/month=2024-01");
    let before = ask(&tried.python, "duckdb", &tried.dataset(), &tried.folder.path().join("before"));
    put(&month.join(".made.parquet.Xy3z"), b"PAR1 half");
    put(&month.join(".other.parquet"), b"PAR1 half");
    put(&month.join("other.parquet.part"), b"PAR1 half");
    put(&month.join("_other.parquet"), b"");
    fs::create_dir(tried.dataset().join("swings/month=2024-05")).expect("an empty month");
    for engine in ENGINES {
        let after = ask(&tried.python, engine, &tried.dataset(), &tried.folder.path().join(engine));
        assert_eq!(before["load"], after["load"]);
        assert_eq!(before["order_shares"], after["order_shares"]);
    }
}

#[test]
fn a_foreign_or_damaged_file_is_named() {
    let Some(tried) = Tried::new() else { return };
    let month = tried.dataset().join("swings/month=2024-01");
    let whole = fs::read(month.join("made.parquet")).expect("the file");
    let bad = month.join("bad.parquet");
    for (bytes, what) in [
        (&b"hello"[..], "no whole Parquet file"),
        (&b""[..], "no whole Parquet file"),
        (&whole[..whole.len() / 2], "no whole Parquet file"),
        // A footer that says nonsense.
        (
            &[&whole[..whole.len() - 2000], &[0x5a; 1992], &whole[whole.len() - 8..]].concat(),
            "no whole Parquet file",
        ),
    ] {
        put(&bad, bytes);
        tried.each_engine_names("bad.parquet", what);
    }
    fs::remove_file(&bad).expect("it was there");
    // The footer is whole, what it speaks of is not.
    let mut damaged = whole.clone();
    let footer = u32::from_le_bytes(whole[whole.len() - 8..][..4].try_into().expect("four bytes")) as usize;
    damaged[4..whole.len() - 8 - footer].fill(0x5a);
    put(&month.join("made.parquet"), &damaged);
    tried.each_engine_names("month=2024-01/made.parquet", "damaged");
    put(&month.join("made.parquet"), &whole);
    let table = |id: &str| {
        Table::<f64>::new(id, "Numbers.").column(Column::real("x", "m", "One."), |x| Cell::Real(*x))
    };
    for (id, what) in [
        ("peakorder.dataset/2/swings", "peakorder.dataset/2/swings"),
        ("peakorder.dataset/1/sessions", "peakorder.dataset/1/sessions"),
        ("peakorder.dataset/1/swings", "no column session_id"),
        ("", "not of peakorder"),
    ] {
        let mut file = Writer::create(&bad, table(id).schema(), Format::Parquet).expect("a file");
        file.push(&[Cell::Real(1.0)]).expect("a row");
        file.finish().expect("it is whole");
        tried.each_engine_names("bad.parquet", what);
    }
    fs::rename(&bad, tried.dataset().join("swings/stray.parquet")).expect("it is moved");
    tried.each_engine_names("stray.parquet", "month=YYYY-MM");
}

#[test]
fn a_session_that_stands_there_twice_does_not_count_twice() {
    let Some(tried) = Tried::new() else { return };
    let month = tried.dataset().join("sessions/month=2024-02");
    fs::copy(month.join("made.parquet"), month.join("from-another-bay.parquet")).expect("a copy");
    tried.each_engine_names("made.parquet", "count twice");
    fs::remove_file(month.join("from-another-bay.parquet")).expect("it was there");
    // Swings of a month are not there yet.
    fs::remove_file(tried.dataset().join("swings/month=2024-02/made.parquet")).expect("it was there");
    let done = run(&tried.python, &["duckdb", &tried.text(), "load"]);
    assert!(done.status.success());
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(said.starts_with("note: sessions tell of ") && said.lines().count() == 1, "{said}");
}

#[test]
fn a_forgotten_player_that_came_back_is_not_asked_of() {
    let Some(tried) = Tried::new() else { return };
    // SHA-256 of "player-000000", computed with sha256sum.
    let mark = "7ddedb04dec4458d8c5c1b930b1bc2dc0f25f6bf403e3e13454218768eae1b95";
    let forgotten = tried.dataset().join("forgotten");
    fs::create_dir_all(&forgotten).expect("a folder");
    put(&forgotten.join(mark), b"");
    tried.each_engine_names("made.parquet", "forgotten");
}

#[test]
fn a_wrong_command_is_told_what_would_be_right() {
    let Some(tried) = Tried::new() else { return };
    let dataset = tried.text();
    let empty = tried.folder.path().join("empty");
    fs::create_dir(&empty).expect("a folder");
    let empty = empty.to_str().expect("UTF-8");
    for (arguments, what) in [
        (vec!["mysql", dataset.as_str()], "duckdb, datafusion, spark://HOST:PORT"),
        (vec!["duckdb", dataset.as_str(), "chnage"], "there are change, check"),
        (vec!["duckdb", "/no/such/folder"], "no such folder"),
        (vec!["duckdb", empty], "no dataset"),
        (vec!["duckdb", dataset.as_str(), "load", "--out", "/proc/none"], "name another folder"),
        (vec!["duckdb", dataset.as_str(), "--conf", "a=b"], "is for Spark"),
        // A port that nobody listens at.
        (vec!["spark://127.0.0.1:9", dataset.as_str()], "cluster.sh start"),
    ] {
        let said = tried.refused(&arguments);
        assert!(said.contains(what), "{said}");
    }
}

#[test]
fn a_missing_package_is_named_with_the_command_that_installs_it() {
    let Some(tried) = Tried::new() else { return };
    // Modules in the working folder of `-S -E` alone: none of the packages.
    let ask = peakorder_tests::programs::workspace().join("analysis/sql/ask.py");
    let bare = std::process::Command::new(&tried.python)
        .args(["-I", "-S"])
        .arg("-c")
        .arg("import sys; sys.path.insert(0, sys.argv[1].rpartition('/')[0]); sys.argv = sys.argv[1:]; import ask; sys.exit(ask.main())")
        .arg(ask)
        .args(["duckdb", &tried.text()])
        .output()
        .expect("Python starts");
    let said = String::from_utf8_lossy(&bare.stderr);
    assert_eq!(said, "ask.py: the Python package pyarrow is missing; install it with: pip install pyarrow\n");
    assert_eq!(bare.status.code(), Some(2));
}
