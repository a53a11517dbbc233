//! The dataset from outside: many players' sessions as Parquet, read by pyarrow, pandas and scipy; and what may happen to it.

use peakorder_analysis::load::load;
use peakorder_analysis::measure::Measure;
use peakorder_protocol::Role;
use peakorder_protocol::remark::What;
use peakorder_protocol::session::SessionDir;
use peakorder_tests::programs::{analysis, daemon, peakorder};
use peakorder_tests::python::python;
use peakorder_tests::test_server::TestServer;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::{Duration, Instant};

/// Players of the library: enough that their drill is shown, and one more drill of too few.
const PLAYERS: usize = 7;

fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for path in files(from) {
        let to = to.join(path.strip_prefix(from).expect("within"));
        fs::create_dir_all(to.parent().expect("a folder")).expect("a folder");
        fs::copy(&path, &to).expect("copied");
    }
}

fn text(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// An invented lesson: baseline, repetitions of a drill, after.
fn lesson() -> &'static Path {
    static LESSON: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, folder) = LESSON.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let session = folder.path().join("lesson");
        let arguments =
            ["virtual", "--player", "5", "--seed", "1", "--swings", "12", "--drill", "4", "--out"];
        let _ = daemon(arguments.into_iter().chain([text(&session)])).done();
        (folder, session)
    });
    folder
}

/// A session of another player and day, made of the lesson: its numbers are those of the lesson, moved.
fn session(library: &Path, player: &str, day: u32, moved_deg: f64) -> PathBuf {
    let path = library.join("sessions").join(format!("{player}-{day}"));
    copy_folder(lesson(), &path);
    let (dir, mut session) = SessionDir::open(&path).expect("a session");
    session.id = format!("{player}-{day}");
    session.player.id = Some(player.to_owned());
    session.player.name = format!("Name of {player}");
    session.player.goal = "a secret goal".into();
    session.started_utc = format!("2026-{:02}-{:02}T10:00:00Z", 1 + day / 28, 1 + day % 28);
    dir.write_session(&session).expect("written");
    for mut swing in dir.read_swings().expect("swings") {
        swing.session.clone_from(&session.id);
        if swing.block == "after"
            && let Some(turn) = swing.segments.get_mut(&Role::Pelvis).and_then(|s| s.turn_deg.as_mut())
        {
            turn.top += moved_deg;
        }
        let curves = dir.read_curves(swing.number).expect("curves");
        dir.write_swing(swing.number, &swing.to_json().expect("finite"), &curves).expect("written");
    }
    path
}

/// A library of players with two lessons each, whose pelvis turns more after the drill, by another amount each.
fn library(folder: &Path) -> PathBuf {
    let library = folder.join("library");
    fs::create_dir_all(library.join("players")).expect("a folder");
    for player in 0..PLAYERS {
        for lesson in 0..2 {
            let moved = -4.0 - player as f64 - f64::from(lesson);
            session(&library, &format!("p{player}"), player as u32 + 28 * lesson, moved);
        }
    }
    library
}

fn add(dataset: &Path, folder: &Path) -> String {
    analysis(["dataset", "add", text(dataset), text(folder)]).done().out
}

fn json(arguments: &[&str]) -> Value {
    serde_json::from_str(&analysis(arguments).done().out).expect("JSON")
}

fn check(dataset: &Path) -> Value {
    let out = analysis(["dataset", "check", text(dataset), "--json"]);
    serde_json::from_str(&out.out).unwrap_or_else(|e| panic!("{e}: {}", out.err))
}

fn findings(dataset: &Path) -> Vec<String> {
    let report = check(dataset);
    let all = report["findings"].as_array().expect("a list");
    all.iter().map(|f| f["what"].as_str().expect("text").to_owned()).collect()
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found.sort();
    found
}

#[test]
fn sessions_are_added_once_replaced_when_they_change_and_compacted_without_changing_a_row() {
    let folder = tempfile::tempdir().expect("a folder");
    let library = library(folder.path());
    let dataset = folder.path().join("dataset");
    assert!(add(&dataset, &library).contains("14 sessions added, 0 replaced, 0 unchanged"));
    assert!(add(&dataset, &library).contains("0 sessions added, 0 replaced, 14 unchanged"));
    let before = rows(&dataset);
    let compacted = json(&["dataset", "compact", text(&dataset), "--json"]);
    let months = compacted["months"].as_array().expect("months");
    assert_eq!(months.len(), 2);
    // No lesson has remarks; the other four tables are one file each.
    assert!(months.iter().all(|m| m["files_before"] == 28 && m["files_after"] == 4), "{compacted}");
    assert_eq!(rows(&dataset), before);
    assert!(add(&dataset, &library).contains("14 unchanged"), "also of compacted files");
    // A remark leaves a swing out: its row says so, and the means are without it.
    let changed = library.join("sessions/p3-3");
    let dir = SessionDir::at(&changed);
    let first = dir.swing_numbers().expect("numbers")[0];
    let what = What::Exclude { swing: first, excluded: true, reason: "spoken to".into() };
    dir.remarks().append(9.0, what).expect("a remark");
    assert!(add(&dataset, &library).contains("0 sessions added, 1 replaced, 13 unchanged"));
    assert_eq!(findings(&dataset), Vec::<String>::new());
    let counted = check(&dataset)["counted"].as_u64().expect("a number");
    let _ = json(&["dataset", "compact", text(&dataset), "--json"]);
    assert_eq!(findings(&dataset), Vec::<String>::new());
    assert_eq!(check(&dataset)["counted"], counted);
    assert_ne!(rows(&dataset), before);
    // Nothing that names a person or was typed is in any file.
    for path in files(&dataset) {
        let bytes = fs::read(&path).expect("a file");
        for typed in ["Name of", "secret goal", "spoken to"] {
            assert!(
                !bytes.windows(typed.len()).any(|w| w == typed.as_bytes()),
                "{typed} in {}",
                path.display()
            );
        }
    }
}

/// All rows of all tables by pyarrow, as text in one order; nothing without Python.
fn rows(dataset: &Path) -> Option<Value> {
    const READ: &str = "
import json, sys, pyarrow.dataset as ds
out = {}
for table in ['swings', 'sessions', 'block_stats', 'repetitions', 'remarks']:
    try:
        rows = ds.dataset(f'{sys.argv[1]}/{table}', format='parquet').to_table().to_pylist()
    except FileNotFoundError:
        rows = []
    out[table] = sorted(json.dumps(r, sort_keys=True, default=str) for r in rows)
json.dump(out, sys.stdout)
";
    python().map(|python| run(&python, READ, &[text(dataset)]))
}

fn run(python: &Path, program: &str, arguments: &[&str]) -> Value {
    let out = Command::new(python).arg("-c").arg(program).args(arguments).output().expect("python starts");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).expect("JSON")
}

/// The reader is pyarrow; what it must find is what `Measure::of` and the session files say.
#[test]
fn pyarrow_reads_what_the_swing_files_say_with_types_units_and_descriptions() {
    const READ: &str = "
import json, sys, pyarrow.parquet as pq, glob
[path] = glob.glob(f'{sys.argv[1]}/swings/*/*.parquet')
table = pq.read_table(path)
meta = {k.decode(): v.decode() for k, v in pq.ParquetFile(path).metadata.metadata.items()}
json.dump({'rows': json.loads(table.to_pandas().to_json(orient='records', double_precision=15, date_unit='us')),
           'exact': {c: table.column(c).to_pylist() for c in table.column_names if c.endswith(('_deg', '_ms', '_dps', '_percent'))},
           'types': {f.name: str(f.type) for f in pq.read_schema(path)}, 'meta': meta}, sys.stdout)
";
    let Some(python) = python() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let library = folder.path().join("library");
    let path = session(&library, "p1", 3, -2.0);
    let dataset = folder.path().join("dataset");
    add(&dataset, &path);
    let read = run(&python, READ, &[text(&dataset)]);
    let loaded = load(text(&path)).expect("a session");
    assert_eq!(read["rows"].as_array().expect("rows").len(), loaded.swings.len());
    let units: Value =
        serde_json::from_str(read["meta"]["peakorder.units"].as_str().expect("units")).expect("JSON");
    let about: Value =
        serde_json::from_str(read["meta"]["peakorder.about"].as_str().expect("about")).expect("JSON");
    assert_eq!(read["meta"]["peakorder.schema"], "peakorder.dataset/1/swings");
    assert_eq!(read["types"]["started_utc"], "timestamp[us, tz=UTC]");
    assert_eq!(read["types"]["swing"], "int32");
    assert_eq!(units["pelvis_turn_top_deg"], "deg");
    assert_eq!(units["pelvis_peak_speed_dps"], "deg/s");
    let mut compared = 0;
    for (at, swing) in loaded.swings.iter().enumerate() {
        let row = &read["rows"][at];
        assert_eq!(row["swing"], swing.number);
        assert_eq!(row["block"], swing.block.as_str());
        assert_eq!(row["counted"], loaded.remarks.counts(swing));
        for measure in Measure::ALL.into_iter().filter(|m| !m.means_only()) {
            let key = measure.key();
            assert!(about[&key].as_str().is_some_and(|a| !a.is_empty()), "{key} is not described");
            let value = measure.of(swing);
            if let Some(exact) = read["exact"].get(&key) {
                assert_eq!(exact[at].as_f64(), value.map(|v| v.value), "{key} of swing {}", swing.number);
                compared += usize::from(value.is_some());
            }
            let name = key
                .rsplit_once('_')
                .filter(|(_, unit)| *unit != "ratio")
                .map_or(key.as_str(), |(name, _)| name);
            assert_eq!(row[format!("{name}_def")].as_str(), value.map(|v| v.definition.text()).as_deref());
        }
    }
    assert!(compared > 200, "{compared} values compared");
}

/// `scipy` computes the interval of the players' means, and `statsmodels` a mixed-effects model of the lessons with the player as random effect:
/// in a balanced design its mean is that of the two stages, and its standard error the same.
#[test]
fn the_academy_says_what_scipy_and_a_mixed_model_say() {
    const READ: &str = "
import json, sys, warnings, pyarrow.dataset as ds, numpy as np, scipy.stats as st, statsmodels.formula.api as smf
warnings.simplefilter('ignore')
t = ds.dataset(f'{sys.argv[1]}/block_stats', format='parquet').to_table().to_pandas()
t = t[t.main & (t.measure == 'pelvis_turn_top_deg')]
b = t[t.phase == 'baseline'].set_index('session_id'); a = t[t.phase == 'after'].set_index('session_id')
d = a[['mean', 'player_id']].join(b['mean'].rename('b')); d['change'] = d['mean'] - d['b']
m = d.groupby('player_id').change.mean()
low, high = st.t.interval(0.95, len(m) - 1, loc=m.mean(), scale=st.sem(m))
fit = smf.mixedlm('change ~ 1', d, groups=d.player_id).fit(reml=True)
json.dump({'mean': m.mean(), 'low': low, 'high': high, 'sd': m.std(ddof=1),
           'mixed': float(fit.params['Intercept']), 'mixed_se': float(fit.bse['Intercept']), 'se': float(st.sem(m))}, sys.stdout)
";
    let Some(python) = python() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let dataset = folder.path().join("dataset");
    add(&dataset, &library(folder.path()));
    let academy = json(&["academy", text(&dataset), "--json"]);
    assert_eq!((&academy["players"], &academy["lessons"]), (&PLAYERS.into(), &(2 * PLAYERS).into()));
    assert_eq!(academy["invented"], true);
    let rows = academy["rows"].as_array().expect("rows");
    let row = rows.iter().find(|r| r["measure"] == "pelvis_turn_top_deg").expect("the pelvis's turn");
    assert_eq!(row["found"], true, "{row}");
    let theirs = run(&python, READ, &[text(&dataset)]);
    let near = |ours: &Value, theirs: &Value, within: f64| {
        let (a, b) = (ours.as_f64().expect("a number"), theirs.as_f64().expect("a number"));
        assert!((a - b).abs() <= within * b.abs().max(1.0), "{a} and {b}");
    };
    near(&row["change"], &theirs["mean"], 1e-12);
    near(&row["interval_95"][0], &theirs["low"], 1e-9);
    near(&row["interval_95"][1], &theirs["high"], 1e-9);
    near(&row["between_players_sd"], &theirs["sd"], 1e-12);
    // An iteration's result.
    near(&theirs["mixed"], &row["change"], 1e-6);
    near(&theirs["mixed_se"], &theirs["se"], 1e-3);
    // Four of the players by themselves are too few.
    let few = folder.path().join("few");
    for player in 0..4 {
        add(&few, &folder.path().join(format!("library/sessions/p{player}-{player}")));
    }
    let academy = json(&["academy", text(&few), "--json"]);
    assert_eq!(academy["rows"].as_array().map(Vec::len), Some(0));
    assert_eq!(academy["suppressed_drills"], 1);
}

#[test]
fn a_forgotten_player_is_gone_and_does_not_come_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let library = library(folder.path());
    let dataset = folder.path().join("dataset");
    add(&dataset, &library);
    // A copy, as a bay has it.
    let copy = folder.path().join("copy");
    copy_folder(&dataset, &copy);
    let _ = json(&["dataset", "compact", text(&dataset), "--json"]);
    let known = fs::read_to_string(library.join("datasets.txt")).expect("the library knows its datasets");
    assert_eq!(known.lines().count(), 1);

    let error = analysis(["dataset", "forget", text(&dataset), "p2"]).failed();
    assert!(error.contains("add --yes"), "{error}");
    let gone = json(&["dataset", "forget", text(&dataset), "p2", "--yes", "--json"]);
    assert_eq!(gone["sessions"], 2);
    assert_eq!(findings(&dataset), Vec::<String>::new());
    assert_eq!(check(&dataset)["players"], PLAYERS as u64 - 1);
    for path in files(&dataset) {
        let bytes = fs::read(&path).expect("a file");
        assert!(!bytes.windows(4).any(|w| w == b"p2-2"), "{}", path.display());
    }
    // Its sessions are refused.
    let out = analysis(["dataset", "add", text(&dataset), text(&library)]);
    assert_eq!(out.code, Some(1));
    assert!(out.out.contains("12 unchanged, 2 left out"), "{}", out.out);
    assert!(out.err.contains("was forgotten in this dataset"), "{}", out.err);
    // A copy that comes back is found, and compacting removes it.
    for path in files(&copy).iter().filter(|p| p.extension().is_some_and(|e| e == "parquet")) {
        let bytes = fs::read(path).expect("a file");
        if bytes.windows(4).any(|w| w == b"p2-2") {
            let to = dataset.join(path.strip_prefix(&copy).expect("within"));
            fs::copy(path, to).expect("copied");
        }
    }
    assert!(findings(&dataset).contains(&"forgotten".to_owned()));
    assert_eq!(analysis(["dataset", "check", text(&dataset)]).code, Some(1));
    let _ = json(&["dataset", "compact", text(&dataset), "--json"]);
    assert_eq!(findings(&dataset), Vec::<String>::new());
    assert_eq!(check(&dataset)["players"], PLAYERS as u64 - 1);
}

#[test]
fn forgetting_in_the_library_reaches_the_datasets_that_its_sessions_went_into() {
    let folder = tempfile::tempdir().expect("a folder");
    let library = library(folder.path());
    let dataset = folder.path().join("dataset");
    add(&dataset, &library);
    let forget = ["players", "--library", text(&library), "forget", "p4", "--yes"];
    let out = daemon(forget).done().out;
    assert!(out.contains("stay until you give: peakorder dataset forget"), "{out}");
    assert!(findings(&dataset).contains(&"forgotten".to_owned()), "what is still there is said");
    assert!(add(&dataset, &library).contains("12 unchanged, 0 left out"));
    let gone = json(&["dataset", "forget", text(&dataset), "p4", "--yes", "--json"]);
    assert_eq!(gone["sessions"], 2);
    assert_eq!(findings(&dataset), Vec::<String>::new());
}

/// A bay's lessons go into its dataset by themselves.
#[cfg(unix)]
#[test]
fn a_program_of_the_owner_adds_every_lesson_that_ends() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = tempfile::tempdir().expect("a folder");
    let (library, dataset) = (folder.path().join("library"), folder.path().join("dataset"));
    let program = folder.path().join("ended.sh");
    let line = format!(
        "#!/bin/sh\nexec '{}' dataset add '{}' \"$1\" --bay 'bay 7'\n",
        peakorder().display(),
        dataset.display()
    );
    fs::write(&program, line).expect("written");
    fs::set_permissions(&program, fs::Permissions::from_mode(0o700)).expect("executable");
    let arguments =
        ["--listen", "127.0.0.1:0", "--virtual", "--speed", "max", "--when-ended", text(&program)];
    let server = TestServer::start(&library, &arguments);
    let player = server.player("Somebody");
    let session =
        server.post("/api/v1/lesson", &serde_json::json!({ "player": player })).expect(201)["session"]
            .clone();
    // The lesson plays to its end by itself.
    let until = Instant::now() + Duration::from_mins(2);
    while !dataset.join("sessions").is_dir() {
        assert!(Instant::now() < until, "no session came");
        std::thread::sleep(Duration::from_millis(100));
    }
    let report = check(&dataset);
    assert_eq!((&report["sessions"], &report["swings"]), (&1.into(), &26.into()), "of {session}: {report}");
}

#[test]
fn bad_files_are_named_and_nothing_of_them_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    let library = folder.path().join("library");
    let path = session(&library, "p1", 3, -2.0);
    let other = session(&library, "p2", 4, -2.0);
    let dataset = folder.path().join("dataset");
    add(&dataset, &path);

    // No dataset, something else, another version.
    let error = analysis(["dataset", "check", text(folder.path())]).failed();
    assert!(error.contains("no dataset there"), "{error}");
    let error = analysis(["dataset", "add", text(&library), text(&path)]).failed();
    assert!(error.contains("not empty and holds no dataset"), "{error}");
    let later = folder.path().join("later");
    fs::create_dir(&later).expect("a folder");
    fs::write(later.join("dataset.json"), r#"{ "schema": "peakorder.dataset/2" }"#).expect("written");
    for arguments in [["dataset", "check"], ["dataset", "compact"]] {
        let error = analysis(arguments.into_iter().chain([text(&later)])).failed();
        assert!(
            error.contains("is peakorder.dataset/2, and this program knows peakorder.dataset/1"),
            "{error}"
        );
    }

    // Half-written, cut off, foreign, in the wrong place: said by name; readers and writers go on or refuse, and no file changes.
    let month = dataset.join("swings/month=2026-01");
    let whole = files(&month).pop().expect("a file");
    let bytes = fs::read(&whole).expect("a file");
    fs::write(month.join(".session-x.parquet.abc.part"), &bytes[..100]).expect("written");
    assert_eq!(findings(&dataset), ["half-written"]);
    assert_eq!(analysis(["dataset", "check", text(&dataset)]).code, Some(0));
    let cut = month.join("session-cut.parquet");
    fs::write(&cut, &bytes[..bytes.len() / 2]).expect("written");
    let out = analysis(["dataset", "check", text(&dataset)]);
    assert_eq!(out.code, Some(1));
    assert!(out.out.contains("session-cut.parquet: no whole Parquet file"), "{}", out.out);
    let error = analysis(["dataset", "compact", text(&dataset)]).failed();
    assert!(error.contains("session-cut.parquet") && error.contains("move it out of the dataset"), "{error}");
    assert_eq!(fs::read(&whole).expect("still there"), bytes);
    fs::remove_file(&cut).expect("removed");
    let wrong = dataset.join("sessions/month=2026-01/session-wrong.parquet");
    fs::copy(&whole, &wrong).expect("copied");
    let error = analysis(["academy", text(&dataset)]).failed();
    assert!(error.contains("session-wrong.parquet"), "{error}");
    assert!(findings(&dataset).contains(&"file".to_owned()));
    fs::remove_file(&wrong).expect("removed");
    fs::write(month.join("notes.txt"), "?").expect("written");
    assert!(findings(&dataset).contains(&"stray".to_owned()));
    fs::remove_file(month.join("notes.txt")).expect("removed");

    // A session of which a file is damaged is left out, unless it is wanted in part.
    let swing = files(&other.join("swings")).into_iter().find(|p| p.extension().is_some_and(|e| e == "json"));
    fs::write(swing.expect("a swing"), "{").expect("written");
    let out = analysis(["dataset", "add", text(&dataset), text(&other)]);
    assert_eq!(out.code, Some(1));
    assert!(out.err.contains("--partly"), "{}", out.err);
    let out = analysis(["dataset", "add", text(&dataset), text(&other), "--partly"]).done();
    assert!(out.out.contains("1 session added"), "{}", out.out);

    // Adding that was broken off before its last file.
    fs::remove_file(files(&dataset.join("sessions")).pop().expect("a file")).expect("removed");
    assert!(findings(&dataset).contains(&"in-part".to_owned()));
    let _ = analysis(["dataset", "add", text(&dataset), text(&library.join("sessions")), "--partly"]).done();
    assert_eq!(findings(&dataset), ["half-written"]);
}

#[test]
fn two_writers_at_once_wait_for_each_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let library = library(folder.path());
    let dataset = folder.path().join("dataset");
    add(&dataset, &library.join("sessions/p0-0"));
    let sessions = ["p1-1", "p2-2", "p3-3", "p4-4", "p5-5", "p6-6"];
    std::thread::scope(|scope| {
        for session in sessions {
            let (dataset, path) = (&dataset, library.join("sessions").join(session));
            scope.spawn(move || add(dataset, &path));
        }
        scope.spawn(|| json(&["dataset", "compact", text(&dataset), "--json"]));
    });
    let report = check(&dataset);
    assert_eq!((&report["sessions"], &report["players"]), (&7.into(), &7.into()), "{report}");
    assert_eq!(findings(&dataset), Vec::<String>::new());
}

#[test]
fn a_compacting_that_was_killed_is_finished_by_the_next() {
    let folder = tempfile::tempdir().expect("a folder");
    let library = library(folder.path());
    let dataset = folder.path().join("dataset");
    add(&dataset, &library);
    let report = check(&dataset);
    // Killed before the swap: the new file lies aside. Killed after it: the old ones do, with one that came meanwhile.
    let aside = dataset.join("swings/.compacting-2026-01");
    fs::create_dir(&aside).expect("a folder");
    fs::write(aside.join(".compacted-x.parquet.y.part"), "half").expect("written");
    let _ = json(&["dataset", "compact", text(&dataset), "--json"]);
    let month = dataset.join("swings/month=2026-01");
    fs::create_dir(&aside).expect("a folder");
    let newcomer = session(&library, "p9", 9, -3.0);
    add(&dataset, &newcomer);
    let own = files(&month).into_iter().find(|p| text(p).contains("session-")).expect("its file");
    fs::rename(&own, aside.join(own.file_name().expect("a name"))).expect("moved");
    let _ = json(&["dataset", "compact", text(&dataset), "--json"]);
    assert!(!aside.exists());
    assert_eq!(findings(&dataset), Vec::<String>::new());
    let now = check(&dataset);
    assert_eq!(now["sessions"].as_u64(), report["sessions"].as_u64().map(|n| n + 1));
    assert_eq!(now["swings"].as_u64(), report["swings"].as_u64().map(|n| n + 12));
}
