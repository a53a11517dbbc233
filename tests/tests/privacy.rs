//! What is kept of a player can be listed, taken along and removed, and what is handed on need not
//! say who it was. All players here are invented.

use peakorder_tests::files::{assert_same, contents};
use peakorder_tests::programs::{CommandOutput, analysis, daemon, peakorderd, workspace};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

const ID: &str = "00aa11bb22cc33dd";
const OTHER: &str = "ff00ff00ff00ff00";
const NAME: &str = "Zaphyra Quillon";
/// Everything that says who it is or was typed about her. Folder names and ids come on top.
const SECRETS: [&str; 9] = [
    NAME,
    "Zaphyra",
    "Quillon",
    "quiet elbow",
    "two operations",
    "hops on Tuesdays",
    "rustle",
    ID,
    "Zaph drill",
];

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn write(path: &Path, content: &str) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, content).unwrap();
}

fn card(library: &Path, id: &str, name: &str) {
    let about = format!(
        "name = \"{name}\"\nhandedness = \"right\"\ngoal = \"a quiet elbow\"\nlimits = \"knee, two operations\"\nconsent = true\nconsent_utc = \"2026-03-01T10:00:00Z\"\n"
    );
    write(&library.join("players").join(format!("{id}.toml")), &about);
}

/// A committed recording as a session of `name`, with `id` if there is one.
fn session(folder: &Path, session_id: &str, id: Option<&str>, name: &str, started: &str) -> PathBuf {
    session_from(&workspace().join("recordings/baseline-right"), folder, session_id, id, name, started)
}

/// The same of another recording.
fn session_from(
    recording: &Path,
    folder: &Path,
    session_id: &str,
    id: Option<&str>,
    name: &str,
    started: &str,
) -> PathBuf {
    let folder = folder.join(session_id);
    for (file, bytes) in contents(recording) {
        let path = folder.join(file);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    let file = folder.join("session.toml");
    let mut session: toml::Table = fs::read_to_string(&file).unwrap().parse().unwrap();
    session.insert("id".into(), session_id.into());
    session.insert("started_utc".into(), started.into());
    let player = session["player"].as_table_mut().unwrap();
    for (key, value) in [("name", name), ("goal", "a quiet elbow"), ("limits", "knee, two operations")] {
        player.insert(key.into(), value.into());
    }
    if let Some(id) = id {
        player.insert("id".into(), id.into());
    }
    fs::write(&file, toml::to_string_pretty(&session).unwrap()).unwrap();
    folder
}

/// What the coach wrote, with every kind of text.
fn remarks(folder: &Path) {
    let lines = [
        json!({ "id": 1, "t_s": 1.0, "what": "note", "text": "hops on Tuesdays" }),
        json!({ "id": 2, "t_s": 2.0, "what": "note", "swing": 1, "text": "Zaphyra hops on Tuesdays" }),
        json!({ "id": 3, "t_s": 3.0, "what": "outcome", "swing": 1, "labels": ["thin", "rustle"] }),
        json!({ "id": 4, "t_s": 4.0, "what": "exclude", "swing": 2, "excluded": true, "reason": "rustle of Quillon" }),
        json!({ "id": 5, "t_s": 5.0, "what": "target", "target": { "measure": "pelvis_turn_top_deg",
            "bound": "at_most", "value": -40.0, "margin": 2.0, "block": "pivot drill", "words": "Zaphyra turns" } }),
        json!({ "id": 6, "t_s": 6.0, "what": "balls", "block": "Zaphyra's irons", "every_swing": true }),
        json!({ "id": 7, "t_s": 7.0, "what": "balls", "block": "rustle", "every_swing": false, "without_ball": true }),
    ];
    let text = lines.iter().map(Value::to_string).collect::<Vec<_>>().join("\n") + "\n";
    fs::write(folder.join("remarks.jsonl"), text).unwrap();
}

/// A library of two players, one with two sessions.
fn library(folder: &Path) -> PathBuf {
    let library = folder.join("library");
    card(&library, ID, NAME);
    card(&library, OTHER, "Ann Sample");
    let sessions = library.join("sessions");
    remarks(&session(&sessions, "20260301T100000Z-aaaa", Some(ID), NAME, "2026-03-01T10:00:00Z"));
    // Under an earlier name.
    session(&sessions, "20260401T100000Z-bbbb", Some(ID), "Zaphyra Maiden", "2026-04-01T10:00:00Z");
    session(&sessions, "20260402T100000Z-cccc", Some(OTHER), "Ann Sample", "2026-04-02T10:00:00Z");
    library
}

/// Where one of `words` stands in a file or a name below `folder`.
fn traces(folder: &Path, words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            let mut bytes = path.file_name().unwrap().as_encoded_bytes().to_vec();
            bytes.push(b'\n');
            if path.is_dir() {
                folders.push(path.clone());
            } else {
                bytes.extend(fs::read(&path).unwrap());
            }
            for word in words {
                if bytes.windows(word.len()).any(|w| w == word.as_bytes()) {
                    found.push(format!("{}: {word}", path.display()));
                }
            }
        }
    }
    found
}

const TRACES: [&str; 7] =
    ["Zaphyra", "Quillon", ID, "20260301T100000Z-aaaa", "20260401T100000Z-bbbb", "hops on", "rustle"];

fn players(library: &Path, arguments: &[&str]) -> CommandOutput {
    daemon([&["players", "--library", text(library)], arguments].concat())
}

#[test]
fn a_player_is_forgotten_and_nothing_is_left() {
    let home = tempfile::tempdir().unwrap();
    let library = library(home.path());
    // What a broken-off write leaves, and a session whose file was damaged.
    write(&library.join("players").join(format!("{ID}.toml.part")), "name = \"Zaphyra\"");
    write(&library.join("sessions/20260301T100000Z-aaaa/swings/0001.json.part"), "Zaphyra");
    let damaged = library.join("sessions/20260401T100000Z-bbbb/session.toml");
    let half = fs::read_to_string(&damaged).unwrap().replace("[straps.pelvis]", "[straps");
    fs::write(&damaged, half).unwrap();
    assert!(traces(&library, &TRACES).len() > 8);
    let others: Vec<_> =
        contents(&library).into_keys().filter(|f| f.contains("cccc") || f.contains(OTHER)).collect();

    // It shows what goes, and does nothing unless somebody says so.
    let asked = players(&library, &["forget", "zaphyra quillon"]);
    assert_eq!(asked.code, Some(1));
    assert!(asked.err.contains("--yes"), "{}", asked.err);
    for word in [
        NAME,
        ID,
        "20260301T100000Z-aaaa",
        "2026-03-01T10:00:00Z",
        "20260401T100000Z-bbbb",
        "7 remarks",
        "2 sessions",
        "backups",
    ] {
        assert!(asked.out.contains(word), "{word} is not in:\n{}", asked.out);
    }
    assert!(!asked.out.contains("cccc"));
    assert!(traces(&library, &TRACES).len() > 8, "nothing was removed");

    let done = players(&library, &["forget", ID, "--yes"]).done();
    assert!(done.out.contains("Forgotten."), "{}", done.out);
    assert_eq!(traces(&library, &TRACES), Vec::<String>::new());
    let left: Vec<_> = contents(&library).into_keys().filter(|f| f != "in-use.lock").collect();
    assert_eq!(left, others, "the other player keeps everything");
    assert!(players(&library, &["forget", ID, "--yes"]).failed().contains("players list"));
}

#[test]
fn forgetting_that_is_killed_is_finished_by_the_next_one() {
    let home = tempfile::tempdir().unwrap();
    let mut broken_off = 0;
    for attempt in 0..12_u64 {
        let library = home.path().join(format!("library-{attempt}"));
        card(&library, ID, NAME);
        for n in 0..12 {
            session(&library.join("sessions"), &format!("s-{n:02}"), Some(ID), NAME, "2026-03-01T10:00:00Z");
        }
        let mut child = Command::new(peakorderd())
            .args(["players", "--library", text(&library), "forget", ID, "--yes"])
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        // Until the first session is gone, and then a little longer each time.
        let sessions = || {
            fs::read_dir(library.join("sessions"))
                .unwrap()
                .filter(|e| e.as_ref().is_ok_and(|e| e.file_name().to_string_lossy().starts_with("s-")))
                .count()
        };
        let start = std::time::Instant::now();
        while sessions() == 12 && start.elapsed() < Duration::from_secs(20) {
            std::thread::yield_now();
        }
        std::thread::sleep(Duration::from_micros(400 * attempt));
        child.kill().unwrap();
        child.wait().unwrap();
        let card = library.join("players").join(format!("{ID}.toml"));
        if card.exists() {
            broken_off += 1;
            let _ = players(&library, &["forget", ID, "--yes"]).done();
        }
        // The card goes last: without it nothing else is there.
        assert_eq!(
            traces(&library, &["Zaphyra", ID, "s-0", "s-1", ".forgotten"]),
            Vec::<String>::new(),
            "{attempt}"
        );
        assert_eq!(fs::read_dir(library.join("sessions")).unwrap().count(), 0);
    }
    assert!(broken_off > 0, "no kill came in time");
    println!("{broken_off} of 12 were broken off half-way");
}

#[test]
fn sessions_that_only_share_the_name_go_when_asked_for() {
    let home = tempfile::tempdir().unwrap();
    let library = library(home.path());
    session(&library.join("sessions"), "imported", None, " zaphyra quillon", "2026-02-01T10:00:00Z");
    let asked = players(&library, &["forget", ID]);
    assert!(asked.out.contains("--also-by-name") && asked.out.contains("imported"), "{}", asked.out);
    let _ = players(&library, &["forget", ID, "--yes"]).done();
    assert!(library.join("sessions/imported/session.toml").is_file());
    card(&library, ID, NAME);
    let _ = players(&library, &["forget", NAME, "--yes", "--also-by-name"]).done();
    assert_eq!(traces(&library, &["aphyra", "imported"]), Vec::<String>::new());
}

#[test]
fn who_is_meant_must_be_clear_and_nobody_is_forgotten_behind_a_server() {
    let home = tempfile::tempdir().unwrap();
    let library = library(home.path());
    card(&library, "0123", "ZAPHYRA quillon");
    let several = players(&library, &["forget", NAME, "--yes"]).failed();
    assert!(several.contains(ID) && several.contains("0123"), "{several}");
    let _ = players(&library, &["forget", "0123", "--yes"]).done();
    assert!(players(&library, &["forget", "Nobody", "--yes"]).failed().contains("Nobody"));
    let nowhere = home.path().join("nowhere");
    assert!(players(&nowhere, &["list"]).failed().contains("no library"));
    assert!(!nowhere.exists());

    let listed: Value = serde_json::from_str(&players(&library, &["list", "--json"]).done().out).unwrap();
    let hers = listed.as_array().unwrap().iter().find(|p| p["id"] == ID).unwrap();
    assert_eq!((&hers["sessions"], &hers["consent_utc"]), (&json!(2), &json!("2026-03-01T10:00:00Z")));
    assert!(players(&library, &["list"]).done().out.contains(NAME));

    let server = TestServer::virtual_lessons(&library, "1");
    let refused = players(&library, &["forget", ID, "--yes"]).failed();
    assert!(refused.contains("coach's page"), "{refused}");
    // To look and to copy is no harm.
    let _ = players(&library, &["list"]).done();
    assert_eq!(server.get("/api/v1/players").expect(200).as_array().unwrap().len(), 2);
}

#[test]
fn a_player_is_exported_whole() {
    let home = tempfile::tempdir().unwrap();
    let library = library(home.path());
    let into = home.path().join("export");
    let _ = players(&library, &["export", NAME, "--into", text(&into)]).done();
    for id in ["20260301T100000Z-aaaa", "20260401T100000Z-bbbb"] {
        let copy = into.join("sessions").join(id);
        assert_same(&contents(&library.join("sessions").join(id)), &contents(&copy));
        let _ = analysis(["show", text(&copy)]).done();
    }
    assert_eq!(fs::read_dir(into.join("sessions")).unwrap().count(), 2, "nobody else's");
    let card: toml::Table = fs::read_to_string(into.join("player.toml")).unwrap().parse().unwrap();
    assert_eq!(card["name"].as_str(), Some(NAME));
    assert_eq!(card["consents"][0]["at_utc"].as_str(), Some("2026-03-01T10:00:00Z"));
    let read_me = fs::read_to_string(into.join("README.txt")).unwrap();
    for word in
        ["player.toml", "samples.log", "swings", "curves", "mobility.json", "remarks.jsonl", "docs/formats"]
    {
        assert!(read_me.contains(word), "{word}");
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        for (path, mode) in [(into.clone(), 0o700), (into.join("player.toml"), 0o600)] {
            assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, mode, "{}", path.display());
        }
    }
    let again = players(&library, &["export", NAME, "--into", text(&into)]).failed();
    assert!(again.contains("already there"), "{again}");
    // One that fails leaves nothing.
    let half = home.path().join("half");
    let bad = library.join("sessions/20260301T100000Z-aaaa/swings/0001.json");
    fs::remove_file(&bad).unwrap();
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("/dev/zero", &bad).unwrap();
        let _ = players(&library, &["export", NAME, "--into", text(&half)]).done();
        assert!(
            !half.join("sessions/20260301T100000Z-aaaa/swings/0001.json").exists(),
            "a link is not followed"
        );
    }
}

/// Every output that can carry a name, with codes: (what it is, its text).
fn coded_outputs(home: &Path, library: &Path, key: &Path, run: &str) -> Vec<(String, String)> {
    let sessions = library.join("sessions");
    let (first, second) = (sessions.join("20260301T100000Z-aaaa"), sessions.join("20260401T100000Z-bbbb"));
    let codes = ["--codes", "--code-key", text(key)];
    let report = home.join(format!("report-{run}.html"));
    let commands: Vec<Vec<&str>> = vec![
        vec!["show", text(&first), "--json"],
        vec!["show", text(&first)],
        vec!["show", text(&first), "1", "--json"],
        vec!["show", text(&first), "1"],
        vec!["export", text(&first)],
        vec!["compare", text(&first), text(&second), "--json"],
        vec!["compare", text(&first), text(&second)],
        vec!["trend", text(library), "--player", NAME, "--json"],
        vec!["trend", text(library), "--player", NAME],
        vec!["report", text(&first), "--out", text(&report)],
        vec!["mobility", text(&first), "--json"],
        vec!["mobility", text(&first)],
        vec!["mobility", text(&first), text(&second), "--json"],
        vec!["mobility", text(&first), text(&second)],
        vec!["trend", text(library), "--player", NAME, "--block", "pivot drill", "--json"],
    ];
    let mut out: Vec<(String, String)> = commands
        .into_iter()
        .map(|c| (c[0].to_owned() + c.last().unwrap(), analysis([&c[..], &codes].concat()).done().out))
        .filter(|(what, _)| !what.starts_with("report"))
        .collect();
    out.push(("report".into(), fs::read_to_string(&report).unwrap()));
    let into = home.join(format!("coded-{run}"));
    let _ = players(library, &[&["export", NAME, "--into", text(&into)][..], &codes].concat()).done();
    for (file, bytes) in contents(&into) {
        out.push((format!("players export {file}"), String::from_utf8(bytes).unwrap() + &file));
    }
    out
}

#[test]
fn with_codes_nothing_says_who_it_was() {
    let home = tempfile::tempdir().unwrap();
    // The invented lesson: blocks, a drill, mobility checks.
    let demo = home.path().join("demo");
    let _ = daemon(["demo", "--out", text(&demo)]).done();
    let library = home.path().join("library");
    card(&library, ID, NAME);
    let sessions = library.join("sessions");
    let first =
        session_from(&demo, &sessions, "20260301T100000Z-aaaa", Some(ID), NAME, "2026-03-01T10:00:00Z");
    remarks(&first);
    session_from(
        &demo,
        &sessions,
        "20260401T100000Z-bbbb",
        Some(ID),
        "Zaphyra Maiden",
        "2026-04-01T10:00:00Z",
    );
    // A swing file and curves that cannot be read are told without the folder.
    fs::remove_file(first.join("swings/0001.curves")).unwrap();
    fs::write(first.join("swings/0003.json"), "{}").unwrap();
    let key = home.path().join("key");
    let outputs = coded_outputs(home.path(), &library, &key, "a");
    assert!(outputs.len() >= 19, "{}", outputs.len());
    let folders = [text(home.path()), "20260301T100000Z-aaaa", "20260401T100000Z-bbbb", "-aaaa", "-bbbb"];
    for (what, output) in &outputs {
        for word in SECRETS.iter().chain(&folders) {
            assert!(!output.contains(word), "{what} says “{word}”:\n{output}");
        }
    }
    // The same without codes does say so: the check above can fail.
    let plain = analysis(["show", text(&first), "--json"]).done().out;
    assert!(
        [NAME, "hops on Tuesdays", "rustle", "pivot drill", "20260301T100000Z-aaaa"]
            .iter()
            .all(|w| plain.contains(w))
    );

    // The numbers are the same, and so is the code: over sessions, commands and runs with one key.
    let document = |text: &str| serde_json::from_str::<Value>(text).unwrap();
    let show = document(&outputs[0].1);
    let code = show["session"]["player"].as_str().unwrap().to_owned();
    assert!(code.starts_with("player-") && code.len() == "player-".len() + 12, "{code}");
    assert_eq!(show["swings"][0]["measures"], document(&plain)["swings"][0]["measures"]);
    assert_eq!(show["remarks"]["swings"]["1"]["labels"], json!(["thin"]), "the page's own words stay");
    assert_eq!(document(&outputs[7].1)["player"], code);
    assert!(outputs.iter().find(|o| o.0.starts_with("export")).unwrap().1.contains(&code));
    assert!(outputs.iter().find(|o| o.0 == "report").unwrap().1.contains(&code));
    let again = coded_outputs(home.path(), &library, &key, "b");
    let names = |o: &[(String, String)]| o.iter().map(|(_, text)| text.clone()).collect::<Vec<_>>();
    assert_eq!(names(&again), names(&outputs));

    // Python's own HMAC gives the same code from the same key, as docs/privacy.md says.
    let script = "import hmac,hashlib,sys; k=bytes.fromhex(open(sys.argv[1]).read()); \
        print('player-'+hmac.new(k,b'player id\\0'+sys.argv[2].encode(),hashlib.sha256).hexdigest()[:12])";
    let python = Command::new("python3").args(["-c", script, text(&key), ID]).output().expect("python3 runs");
    assert_eq!(String::from_utf8(python.stdout).unwrap().trim(), code);
    // Another key, or none, gives another code.
    let other = analysis(["show", text(&first), "--json", "--codes"]).done().out;
    assert!(!other.contains(&code) && other.contains("player-"));
    assert!(
        analysis(["show", text(&first), "--code-key", text(&key)]).code == Some(2),
        "a key without --codes"
    );
    write(&home.path().join("no-key"), "name = 1");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        assert_eq!(fs::metadata(&key).unwrap().permissions().mode() & 0o777, 0o600);
        let open = home.path().join("no-key");
        let refused = analysis(["show", text(&first), "--codes", "--code-key", text(&open)]).failed();
        assert!(refused.contains("chmod 600"), "{refused}");
    }
}
