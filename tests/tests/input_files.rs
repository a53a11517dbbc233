//! What a session, a library or a logger's file may turn out to be: a pipe, a device, a file without
//! end, a file of another kind. Every reader ends at once, with one line that names the file.
#![cfg(unix)]

use peakorder_tests::programs::{CommandOutput, daemon, peakorder, peakorderd, run_within};
use peakorder_tests::test_server::TestServer;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// Nothing here takes a second; a machine may be busy.
const LIMIT: Duration = Duration::from_secs(20);
const HEADER: &str = "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps,accel_x_g,accel_y_g,accel_z_g";

fn rows(n: usize) -> Vec<String> {
    (0..n).map(|i| format!("{:.2},0.1,0.2,0.3,0.0,1.0,0.0", i as f64 * 0.01)).collect()
}

fn table(rows: &[String]) -> String {
    format!("{HEADER}\n{}\n", rows.join("\n"))
}

fn show<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> CommandOutput {
    run_within(LIMIT, &peakorder(), arguments)
}

fn daemon_within<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> CommandOutput {
    run_within(LIMIT, &peakorderd(), arguments)
}

/// Puts a pipe, and a link to a device without end, in the place of `file`, each while `try_it` runs.
fn with_each_in_place_of(file: &Path, mut try_it: impl FnMut(&str)) {
    let kept = file.with_extension("kept");
    let was_there = file.exists();
    if was_there {
        fs::rename(file, &kept).unwrap();
    }
    assert!(Command::new("mkfifo").arg(file).status().unwrap().success());
    try_it("it is a pipe");
    fs::remove_file(file).unwrap();
    std::os::unix::fs::symlink("/dev/zero", file).unwrap();
    try_it("it is a device");
    fs::remove_file(file).unwrap();
    if was_there {
        fs::rename(kept, file).unwrap();
    }
}

fn one_line_names(said: &str, file: &str, kind: &str) {
    let lines: Vec<&str> = said.lines().filter(|l| l.contains(kind)).collect();
    assert_eq!(lines.len(), 1, "one line with '{kind}' in: {said}");
    assert!(lines[0].contains(file) && lines[0].matches(kind).count() == 1, "{file} once in: {said}");
}

#[test]
fn no_file_of_a_session_may_be_a_pipe_or_a_device() {
    let folder = tempfile::tempdir().unwrap();
    let s = folder.path().join("s");
    let _ = daemon(["demo", "--out", s.to_str().unwrap()]).done();
    let dir = s.to_str().unwrap();
    let file = |name: &str| s.join(name);

    with_each_in_place_of(&file("session.toml"), |kind| {
        one_line_names(&show(["show", dir]).failed(), "session.toml", kind);
        one_line_names(&show(["mobility", dir]).failed(), "session.toml", kind);
        one_line_names(&show(["trend", folder.path().to_str().unwrap()]).failed(), "session.toml", kind);
        one_line_names(&daemon_within(["replay", dir]).failed(), "session.toml", kind);
    });
    with_each_in_place_of(&file("samples.log"), |kind| {
        one_line_names(&daemon_within(["replay", dir]).failed(), "samples.log", kind);
        let into = folder.path().join("copy");
        let said = daemon_within(["replay", dir, "--into", into.to_str().unwrap()]).failed();
        one_line_names(&said, "samples.log", kind);
    });
    with_each_in_place_of(&file("swings/0003.json"), |kind| {
        let said = show(["show", dir]).done();
        one_line_names(&said.err, "0003.json", kind);
        one_line_names(&show(["show", dir, "3"]).failed(), "0003.json", kind);
    });
    with_each_in_place_of(&file("swings/0003.curves"), |kind| {
        let said = show(["show", dir, "3"]).done();
        assert!(
            said.out.contains("0003.curves") && said.out.replace('\n', " ").contains("regular file"),
            "{kind}: {}",
            said.out
        );
    });
    with_each_in_place_of(&file("remarks.jsonl"), |kind| {
        one_line_names(&show(["show", dir]).done().err, "remarks.jsonl", kind);
        let into = folder.path().join("copy");
        let said = daemon_within(["replay", dir, "--into", into.to_str().unwrap(), "--force"]).failed();
        one_line_names(&said, "remarks.jsonl", kind);
    });
    with_each_in_place_of(&file("mobility.json"), |kind| {
        one_line_names(&show(["mobility", dir]).failed(), "mobility.json", kind);
    });
    let _ = show(["show", dir]).done();
}

#[test]
fn no_file_that_a_command_is_given_may_be_a_pipe_or_a_device() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let arg = |name: &str| path(name).display().to_string();
    fs::write(path("good.csv"), table(&rows(500))).unwrap();
    with_each_in_place_of(&path("f"), |kind| {
        let given = arg("f");
        let good = arg("good.csv");
        for arguments in [
            vec!["import", "--out", &arg("s"), "--pelvis", &good, "--thorax", &given],
            vec!["import", "--out", &arg("s"), "--thorax", &good, "--marks", &given],
            vec!["straps", "--config", &given],
            vec!["profile", "check", &given],
            vec!["serve", "--library", &arg("library"), "--listen", "0.0.0.0:0", "--passcode-file", &given],
        ] {
            let said = daemon_within(&arguments);
            if arguments[0] == "serve" {
                // Who may read the file is looked at first; a device is everybody's.
                assert_eq!(said.code, Some(1), "{}", said.err);
                assert!(said.err.contains(&given), "{}", said.err);
            } else {
                one_line_names(&said.failed(), &given, kind);
            }
        }
    });
    assert!(!path("s").exists());
}

#[test]
fn a_library_whose_lock_is_a_pipe_is_refused() {
    let library = tempfile::tempdir().unwrap();
    let path = library.path().to_str().unwrap();
    with_each_in_place_of(&library.path().join("in-use.lock"), |kind| {
        let said = daemon_within(["serve", "--library", path, "--listen", "127.0.0.1:0", "--virtual"]);
        one_line_names(&said.failed(), "in-use.lock", kind);
    });
}

/// The other players and devices are still there, and the server ends when it is asked to.
#[test]
fn a_library_with_pipes_in_it_is_served() {
    let library = tempfile::tempdir().unwrap();
    let players = library.path().join("players");
    fs::create_dir(&players).unwrap();
    fs::write(players.join("a1.toml"), "name = \"An invented one\"\nhandedness = \"right\"\n").unwrap();
    with_each_in_place_of(&players.join("b2.toml"), |kind| {
        with_each_in_place_of(&library.path().join("devices.toml"), |_| {
            let session = library.path().join("sessions/20260101T000000Z-0000");
            fs::create_dir_all(&session).unwrap();
            with_each_in_place_of(&session.join("session.toml"), |_| {
                let server = TestServer::virtual_lessons(library.path(), "20");
                let players = server.get("/api/v1/players").expect(200);
                assert_eq!(players.as_array().unwrap().len(), 1, "{kind}: {players}");
                let _ = server.get("/api/v1/sessions").expect(200);
                assert!(server.end(), "it ends when asked to");
            });
        });
    });
}

struct Imports {
    folder: tempfile::TempDir,
}

impl Imports {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn import(&self, bytes: &[u8]) -> CommandOutput {
        fs::write(self.path("f.csv"), bytes).unwrap();
        let (out, file) = (self.path("s"), self.path("f.csv"));
        let said = daemon_within([
            "import",
            "--force",
            "--out",
            out.to_str().unwrap(),
            "--thorax",
            file.to_str().unwrap(),
        ]);
        assert!(!self.path("s.importing").exists(), "something was left behind");
        said
    }
}

fn utf16(text: &str, marked: bool, big: bool) -> Vec<u8> {
    let unit = |u: u16| if big { u.to_be_bytes() } else { u.to_le_bytes() };
    let mark = marked.then_some(0xfeff);
    mark.into_iter().chain(text.encode_utf16()).flat_map(unit).collect()
}

#[test]
fn a_file_of_another_kind_is_called_what_it_is_and_what_to_do() {
    let imports = Imports::new();
    let good = table(&rows(300));
    let decimal_commas: Vec<String> = rows(300)
        .iter()
        .map(|r| r.split(',').map(|v| v.replace('.', ",")).collect::<Vec<_>>().join(";"))
        .collect();
    let quoted: Vec<String> = rows(300)
        .iter()
        .map(|r| r.split(',').map(|v| format!("\"{}\"", v.replace('.', ","))).collect::<Vec<_>>().join(","))
        .collect();
    let cases: Vec<(Vec<u8>, &[&str])> = vec![
        (utf16(&good, true, false), &["UTF-16", "save it as UTF-8"]),
        (utf16(&good, true, true), &["UTF-16", "save it as UTF-8"]),
        (utf16(&good, false, false), &["UTF-16", "save it as UTF-8"]),
        (good.replace(',', ";").into_bytes(), &["semicolons", "commas between values"]),
        (
            format!("{}\n{}\n", HEADER.replace(',', ";"), decimal_commas.join("\n")).into_bytes(),
            &["semicolons", "decimal commas", "points in numbers"],
        ),
        (good.replace(',', "\t").into_bytes(), &["tabs", "commas between values"]),
        (good.replace("time_s", "Time_s").into_bytes(), &["'Time_s'", "time_s", "small letters"]),
        (good.replace("gyro_y_dps", "Gyro_Y_dps").into_bytes(), &["'Gyro_Y_dps'", "gyro_y_dps"]),
        (
            format!("{HEADER}\n{}\n", decimal_commas.join("\n").replace(';', ",")).into_bytes(),
            &["line 2", "decimal commas", "decimal points"],
        ),
        (table(&quoted).into_bytes(), &["line 2", "'0,00'", "decimal comma", "decimal points"]),
        (b"PK\x03\x04 and so on".to_vec(), &["workbook", "CSV"]),
        (vec![0x1f, 0x8b, 8, 0, 0, 0], &["gzip", "unpack"]),
        (vec![0; 4096], &["not text", "CSV"]),
    ];
    for (bytes, parts) in cases {
        let said = imports.import(&bytes).failed();
        for part in [&["f.csv"], parts].concat() {
            assert!(said.contains(part), "'{part}' is not in: {said}");
        }
    }
    // A byte order mark of UTF-8, and lines that end as on other systems, are read.
    for text in [
        format!("\u{feff}{good}"),
        good.replace('\n', "\r\n") + "\r\n",
        good.replace('\n', "\r"),
        good.replace("0.1", "\"0.1\""),
    ] {
        assert!(imports.import(text.as_bytes()).done().out.contains("300 samples"));
    }
}

#[test]
fn the_line_named_is_the_line_in_the_file_whatever_ends_it() {
    let imports = Imports::new();
    let mut bad = rows(300);
    bad[200] = bad[200].replace("0.2", "x");
    let text = table(&bad);
    for end in ["\n", "\r\n", "\r"] {
        let said = imports.import(text.replace('\n', end).as_bytes()).failed();
        assert!(said.contains("f.csv, line 202: gyro_y is 'x'"), "{end:?}: {said}");
    }
    // A marks file's lines as well.
    fs::write(imports.path("good.csv"), table(&rows(300))).unwrap();
    fs::write(imports.path("marks.csv"), "time_s,mark,detail\r\n0.5,note,a\r\n1.0,jump,\r\n").unwrap();
    let path = |name: &str| imports.path(name).display().to_string();
    let (out, good, marks) = (path("s"), path("good.csv"), path("marks.csv"));
    let said = daemon_within(["import", "--out", &out, "--thorax", &good, "--marks", &marks]).failed();
    assert!(said.contains("marks.csv, line 3: 'jump'"), "{said}");
}

/// 50 MB without the end of a line or of a quoted value, and a value of 0.9 MB that is no number: a
/// short message, in memory that has nothing to do with the file's size.
#[test]
fn a_value_without_end_is_refused_in_little_memory_and_a_bad_one_is_cut() {
    let imports = Imports::new();
    let first = rows(1).remove(0);
    let endless = [
        format!("{HEADER}\n{first}\n{}", "7".repeat(50_000_000)),
        format!("{HEADER}\n{first}\n\"{}", "1,2,3\n".repeat(8_000_000)),
        "x".repeat(50_000_000),
    ];
    for text in &endless {
        fs::write(imports.path("f.csv"), text).unwrap();
        let (said, peak_kb) = peak_memory(&imports.path("s"), &imports.path("f.csv"));
        assert!(
            said.contains("f.csv, line") && said.contains("does not end"),
            "{}",
            &said[..500.min(said.len())]
        );
        assert!(said.len() < 400, "{} bytes are printed", said.len());
        eprintln!("peak memory {peak_kb} kB");
        assert!(peak_kb < 40_000, "{peak_kb} kB");
    }
    let mut wide = rows(300);
    wide[100] = wide[100].replace("0.2", &format!("a\u{1b}[31m{}", "x".repeat(900_000)));
    let said = imports.import(table(&wide).as_bytes()).failed();
    assert!(said.contains("line 102: gyro_y is 'a") && said.contains("more bytes"), "{}", &said[..500]);
    assert!(said.len() < 400 && !said.contains('\u{1b}'), "{} bytes", said.len());
    let names: Vec<String> = (0..100_000).map(|i| format!("c{i}")).collect();
    let said = imports.import(format!("{}\n1\n", names.join(",")).as_bytes()).failed();
    assert!(said.contains("it has c0, c1") && said.len() < 1000, "{} bytes", said.len());
}

/// What a failing import said, and its peak resident memory, kB.
fn peak_memory(out: &Path, file: &Path) -> (String, u64) {
    let mut child = Command::new(peakorderd())
        .args(["import", "--out", out.to_str().unwrap(), "--thorax", file.to_str().unwrap()])
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut peak = 0;
    let status = loop {
        let text = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let kb = text
            .lines()
            .find(|l| l.starts_with("VmHWM"))
            .and_then(|l| l.split_whitespace().nth(1)?.parse().ok());
        peak = peak.max(kb.unwrap_or(0));
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    let mut said = String::new();
    std::io::Read::read_to_string(&mut child.stderr.take().unwrap(), &mut said).unwrap();
    assert_eq!(status.code(), Some(1), "{}", &said[..500.min(said.len())]);
    (said, peak)
}
