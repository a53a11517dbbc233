//! `peakorder export` as a user meets it: files, messages, and that nothing half-written stays.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn recording(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../recordings").join(name).display().to_string()
}

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_peakorder")).args(args).output().expect("the program starts")
}

/// A run in which no file may grow beyond 200 blocks of 512 bytes, as on a full disk.
#[cfg(unix)]
fn run_on_a_full_disk(args: &[&str]) -> Output {
    Command::new("sh")
        .args(["-c", "trap '' XFSZ; ulimit -f 200; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_peakorder")])
        .args(args)
        .output()
        .expect("the program starts")
}

fn done(o: &Output) -> String {
    assert_eq!(o.status.code(), Some(0), "{}", String::from_utf8_lossy(&o.stderr));
    String::from_utf8(o.stdout.clone()).expect("UTF-8")
}

/// Exit code 1, one line on stderr, nothing on stdout.
fn failed(o: &Output, wanted: &[&str]) {
    let message = String::from_utf8(o.stderr.clone()).expect("UTF-8");
    assert_eq!(o.status.code(), Some(1), "{message}");
    assert!(o.stdout.is_empty());
    assert_eq!(message.lines().count(), 1, "{message}");
    for wanted in wanted {
        assert!(message.contains(wanted), "no '{wanted}' in: {message}");
    }
}

fn names(folder: &Path) -> Vec<String> {
    let name = |e: std::io::Result<std::fs::DirEntry>| e.unwrap().file_name().to_string_lossy().into_owned();
    let mut names: Vec<String> = std::fs::read_dir(folder).unwrap().map(name).collect();
    names.sort();
    names
}

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a temporary folder"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        self.path(name).display().to_string()
    }
}

#[test]
fn each_kind_of_export_has_its_files() {
    let folder = Folder::new();
    let one = recording("baseline-right");
    let text = done(&run(&["export", &one, "--into", &folder.text("csv")]));
    assert!(text.contains("samples_segment.csv: 18117 rows"), "{text}");
    let files = names(&folder.path("csv"));
    assert_eq!(files.len(), 16, "{files:?}");
    assert!(files.contains(&"datapackage.json".into()));

    let both = [one.as_str(), &recording("baseline-left")];
    let into = folder.text("some");
    let _ = done(&run(&[
        "export",
        both[0],
        both[1],
        "--into",
        &into,
        "--format",
        "parquet",
        "--only",
        "marks,swings",
    ]));
    assert_eq!(names(&folder.path("some")), ["datapackage.json", "marks.parquet", "swings.parquet"]);

    let _ = done(&run(&["export", &recording(""), "--into", &folder.text("mcap"), "--format", "mcap"]));
    assert_eq!(names(&folder.path("mcap")).len(), 3, "a file for each session in the folder");

    let text = done(&run(&["export", &one, "--into", &folder.text("import"), "--for-import"]));
    assert_eq!(names(&folder.path("import")), ["lead-arm.csv", "marks.csv", "pelvis.csv", "thorax.csv"]);
    assert!(text.contains("to import: peakorderd import --out FOLDER --pelvis "), "{text}");
    assert_eq!(names(folder.0.path()), ["csv", "import", "mcap", "some"], "nothing is left beside them");
}

#[test]
fn the_data_dictionary_describes_every_column() {
    let folder = Folder::new();
    let _ = done(&run(&["export", &recording("professional"), "--into", &folder.text("out")]));
    let text = std::fs::read_to_string(folder.path("out/datapackage.json")).unwrap();
    let package: Value = serde_json::from_str(&text).unwrap();
    let resources = package["resources"].as_array().unwrap();
    assert_eq!(resources.len(), 15);
    for resource in resources {
        let path = folder.path("out").join(resource["path"].as_str().unwrap());
        let mut table = csv::Reader::from_path(&path).unwrap();
        let fields = resource["schema"]["fields"].as_array().unwrap();
        let described: Vec<&str> = fields.iter().map(|f| f["name"].as_str().unwrap()).collect();
        assert_eq!(table.headers().unwrap().iter().collect::<Vec<_>>(), described, "{}", path.display());
        assert!(fields.iter().all(|f| f["description"].as_str().unwrap().len() > 5));
    }
}

#[test]
fn a_key_gives_a_player_one_code_and_names_are_kept_only_if_asked() {
    let folder = Folder::new();
    let (one, key) = (recording("baseline-right"), folder.text("key"));
    let cell = |into: &str, column: &str, extra: &[&str]| {
        let path = folder.text(into);
        let args: Vec<&str> = ["export", &one, "--into", &path, "--only", "swings"]
            .into_iter()
            .chain(extra.iter().copied())
            .collect();
        let _ = done(&run(&args));
        let mut table = csv::Reader::from_path(folder.path(into).join("swings.csv")).unwrap();
        let at = table.headers().unwrap().iter().position(|h| h == column).unwrap();
        table.records().next().unwrap().unwrap()[at].to_owned()
    };
    let coded = cell("a", "player_id", &["--code-key", &key]);
    assert!(coded.starts_with("player-"), "{coded}");
    assert_eq!(cell("b", "player_id", &["--code-key", &key]), coded);
    assert_ne!(cell("c", "player_id", &[]), coded, "without a key a code is good for one run");
    assert_eq!(cell("d", "player", &[]), "");
    let named = cell("e", "session_id", &["--names"]);
    assert!(!named.starts_with("session-"), "{named}");
}

#[test]
fn one_csv_has_definitions_and_reasons() {
    let folder = Folder::new();
    let out = folder.text("swings.csv");
    let _ = done(&run(&["export", &recording("professional"), "--out", &out]));
    let mut table = csv::Reader::from_path(&out).unwrap();
    let headers = table.headers().unwrap().clone();
    let at = |name: &str| headers.iter().position(|h| h == name).unwrap_or_else(|| panic!("no {name}"));
    assert_eq!(at("withheld_why"), at("withheld") + 1);
    for (measure, definition) in
        [("gap_pelvis_thorax_ms", "gap_pelvis_thorax_def"), ("tempo_ratio", "tempo_ratio_def")]
    {
        assert_eq!(at(definition), at(measure) + 3, "beside its measure");
    }
    let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 4);
    for row in rows {
        assert_eq!(row[at("tempo_ratio")].is_empty(), row[at("tempo_ratio_def")].is_empty());
        assert!(row[at("tempo_ratio_def")].contains("lead arm"), "{}", &row[at("tempo_ratio_def")]);
        let (keys, why) = (&row[at("withheld")], &row[at("withheld_why")]);
        assert!(keys.is_empty() == why.is_empty());
        assert!(
            keys.split("; ").all(|key| key.is_empty() || why.contains(&format!("{key}: "))),
            "{keys} / {why}"
        );
    }
}

#[test]
fn what_is_wrong_is_said_in_a_line() {
    let folder = Folder::new();
    let (one, into) = (recording("baseline-right"), folder.text("out"));
    std::fs::create_dir(folder.path("full")).unwrap();
    std::fs::write(folder.path("full/file"), "mine").unwrap();
    failed(
        &run(&["export", &one, "--into", &folder.text("full")]),
        &["full", "is already there", "new folder"],
    );
    failed(&run(&["export", &one, "--into", &folder.text("full/file")]), &["is already there"]);
    assert_eq!(std::fs::read_to_string(folder.path("full/file")).unwrap(), "mine");
    failed(&run(&["export", &folder.text("nowhere"), "--into", &into]), &["nowhere", "no such folder"]);
    failed(&run(&["export", &folder.text("full"), "--into", &into]), &["no session in it"]);
    failed(&run(&["export", &one, &one, "--out", &into]), &["--into FOLDER"]);
    failed(
        &run(&["export", &recording(""), "--into", &into, "--for-import"]),
        &["one session", "here are 3"],
    );
    failed(&run(&["export", &one, "--into", &into, "--format", "mcap", "--only", "swings"]), &["--only"]);
    for (args, wanted) in [
        (&["--into", &into, "--only", "everything"][..], "no such table; there are sessions, swings"),
        (&["--into", &into, "--out", &into], "cannot be used with"),
        (&["--into", &into, "--for-import", "--format", "mcap"], "cannot be used with"),
        (&["--only", "swings"], "--into"),
        (&["--code-key", "k"], "required"),
    ] {
        let o = run(&["export", &one].into_iter().chain(args.iter().copied()).collect::<Vec<_>>());
        let message = String::from_utf8_lossy(&o.stderr).into_owned();
        assert_eq!(o.status.code(), Some(2), "{args:?}: {message}");
        assert!(message.contains(wanted), "{message}");
    }
    assert_eq!(names(folder.0.path()), ["full"]);
}

/// A session that cannot be read does not cost the others theirs.
#[test]
fn a_session_that_cannot_be_read_is_left_out_and_said() {
    let folder = Folder::new();
    std::fs::create_dir(folder.path("bad")).unwrap();
    std::fs::write(folder.path("bad/session.toml"), "format = 3").unwrap();
    let (bad, into) = (folder.text("bad"), folder.text("out"));
    failed(&run(&["export", &bad, "--into", &into]), &["session.toml"]);
    assert!(!folder.path("out").exists());
    let o = run(&["export", &bad, &recording("professional"), "--into", &into, "--only", "swings"]);
    assert!(done(&o).contains("swings.csv: 4 rows"));
    let message = String::from_utf8_lossy(&o.stderr).into_owned();
    assert!(message.lines().count() == 1 && message.contains("session.toml"), "{message}");
}

#[cfg(unix)]
#[test]
fn on_a_full_disk_nothing_is_left() {
    let folder = Folder::new();
    for kind in [&["--format", "csv"][..], &["--format", "parquet"], &["--format", "mcap"], &["--for-import"]]
    {
        let (one, into) = (recording("baseline-right"), folder.text("out"));
        let args: Vec<&str> =
            ["export", &one, "--into", &into].into_iter().chain(kind.iter().copied()).collect();
        failed(&run_on_a_full_disk(&args), &["too large", "nothing was written"]);
        assert_eq!(names(folder.0.path()), Vec::<String>::new(), "{kind:?}");
    }
}
