//! `ask.py`, run as a reader runs it, and its answers.

use peakorder_tests::programs::workspace;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Answers agree to this, relative to the larger of 1 and the number: engines add in another order.
pub(crate) const TOLERANCE: f64 = 1e-9;

/// One question's answer.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    pub(crate) columns: Vec<String>,
    pub(crate) rows: Vec<Vec<Value>>,
}

impl Answer {
    /// A number of a row, by its column.
    pub(crate) fn number(&self, row: &[Value], column: &str) -> f64 {
        let cell = self.cell(row, column);
        cell.as_f64().unwrap_or_else(|| panic!("{column} is {cell}"))
    }

    /// A text of a row, by its column.
    pub(crate) fn text(&self, row: &[Value], column: &str) -> String {
        self.cell(row, column).as_str().unwrap_or_else(|| panic!("{column} is no text")).to_owned()
    }

    pub(crate) fn cell<'a>(&self, row: &'a [Value], column: &str) -> &'a Value {
        let at = self.columns.iter().position(|c| c == column);
        &row[at.unwrap_or_else(|| panic!("no column {column} in {:?}", self.columns))]
    }

    /// Rows by the columns named.
    pub(crate) fn by(&self, keys: &[&str]) -> BTreeMap<Vec<String>, Vec<Value>> {
        let key = |row: &Vec<Value>| keys.iter().map(|k| self.text(row, k)).collect::<Vec<String>>();
        let rows: BTreeMap<_, _> = self.rows.iter().map(|row| (key(row), row.clone())).collect();
        assert_eq!(rows.len(), self.rows.len(), "{keys:?} tell rows apart");
        rows
    }
}

fn folder() -> PathBuf {
    workspace().join("analysis/sql")
}

/// Runs the program with these arguments.
pub(crate) fn run(python: &Path, arguments: &[&str]) -> Output {
    Command::new(python).arg(folder().join("ask.py")).args(arguments).output().expect("Python starts")
}

/// All answers of an engine to a dataset.
pub(crate) fn ask(python: &Path, engine: &str, dataset: &Path, out: &Path) -> BTreeMap<String, Answer> {
    let text = |p: &Path| p.to_str().expect("paths of tests are UTF-8").to_owned();
    let done = run(python, &[engine, &text(dataset), "--out", &text(out)]);
    let (said, trouble) = (String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
    assert!(done.status.success(), "{engine}: {trouble}");
    assert!(!trouble.contains("note:"), "{engine}: {trouble}");
    for line in said.lines().filter(|l| l.contains(" rows, ")) {
        println!("{engine}: {line}");
    }
    let mut answers = BTreeMap::new();
    for entry in std::fs::read_dir(folder().join("questions")).expect("the questions") {
        let question =
            entry.expect("a file").path().file_stem().expect("a name").to_string_lossy().into_owned();
        let document =
            std::fs::read(out.join(format!("{question}.json"))).expect("every question is answered");
        let document: Value = serde_json::from_slice(&document).expect("JSON");
        let columns = serde_json::from_value(document["columns"].clone()).expect("names");
        let rows = serde_json::from_value(document["rows"].clone()).expect("rows");
        assert!(out.join(format!("{question}.csv")).is_file());
        answers.insert(question, Answer { columns, rows });
    }
    answers
}

/// Whether two numbers agree; of the first its size counts.
pub(crate) fn agree(a: f64, b: f64) -> bool {
    (a - b).abs() <= TOLERANCE * a.abs().max(1.0)
}

/// Whether two rows say the same.
pub(crate) fn same(a: &[Value], b: &[Value]) -> bool {
    let alike = |(x, y): (&Value, &Value)| match (x.as_f64(), y.as_f64()) {
        (Some(x), Some(y)) => agree(x, y),
        _ => x == y,
    };
    a.len() == b.len() && a.iter().zip(b).all(alike)
}

/// A Spark cluster of a master and two workers, each a process of its own, until it is dropped.
pub(crate) struct Cluster {
    python: PathBuf,
    folder: tempfile::TempDir,
    port: u16,
    pub(crate) address: String,
}

impl Cluster {
    pub(crate) fn start(python: &Path) -> Self {
        let free = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = free.local_addr().expect("its number").port();
        drop(free);
        let mut cluster = Self {
            python: python.to_owned(),
            folder: tempfile::tempdir().expect("a folder"),
            port,
            address: String::new(),
        };
        let done = cluster.command("start");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).expect("an address").trim().clone_into(&mut cluster.address);
        cluster
    }

    fn command(&self, what: &str) -> Output {
        Command::new(folder().join("cluster.sh"))
            .arg(what)
            .env("PEAKORDER_PYTHON", &self.python)
            .env("CLUSTER_PORT", self.port.to_string())
            .env("CLUSTER_FOLDER", self.folder.path().join("cluster"))
            .output()
            .expect("bash starts")
    }

    /// How many of its processes there are: a master and its workers.
    pub(crate) fn processes(&self) -> usize {
        let files = std::fs::read_dir(self.folder.path().join("cluster")).expect("its folder");
        files.filter(|f| f.as_ref().is_ok_and(|f| f.path().extension().is_some_and(|e| e == "pid"))).count()
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let _ = self.command("stop");
    }
}
