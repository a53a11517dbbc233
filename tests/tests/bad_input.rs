//! Bad input gets one clear line that says what is wrong, where, and what to do; nothing is
//! overwritten unasked and nothing half-made is left behind.

#[path = "../fuzz/src/crc32c.rs"]
mod crc32c;

use crc32c::crc32c;
use peakorder_tests::files::contents;
use peakorder_tests::programs::{analysis, daemon, peakorderd};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

const HEADER: &str = "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps,accel_x_g,accel_y_g,accel_z_g";

/// A file of `n` still samples at 100 Hz from `from_s` on, each line passed through `edit`.
fn still(path: &Path, from_s: f64, n: usize, edit: impl Fn(usize, String) -> String) {
    let mut text = format!("{HEADER}\n");
    for i in 0..n {
        let line = format!("{:.3},0.1,0.2,0.3,0.0,1.0,0.0", from_s + i as f64 * 0.01);
        writeln!(text, "{}", edit(i, line)).unwrap();
    }
    fs::write(path, text).unwrap();
}

fn plain(_: usize, line: String) -> String {
    line
}

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn arg(&self, name: &str) -> String {
        self.path(name).display().to_string()
    }

    /// Imports `pelvis.csv` and `thorax.csv`, must fail, and must leave nothing behind.
    fn import_fails(&self) -> String {
        let (out, pelvis, thorax) = (self.arg("s"), self.arg("pelvis.csv"), self.arg("thorax.csv"));
        let said = daemon(["import", "--out", &out, "--pelvis", &pelvis, "--thorax", &thorax]).failed();
        assert!(!self.path("s").exists() && !self.path("s.importing").exists(), "something was left behind");
        said
    }

    /// A small recorded session in `s`.
    fn session(&self) {
        let _ = daemon(["virtual", "--out", &self.arg("s"), "--seed", "4", "--swings", "1", "--rate", "104"])
            .done();
    }
}

fn says(message: &str, parts: &[&str]) {
    for part in parts {
        assert!(message.contains(part), "'{part}' is not in: {message}");
    }
}

#[test]
fn a_bad_sample_file_is_named_with_its_line_and_leaves_nothing_behind() {
    type Edit = fn(usize, String) -> String;
    let cases: [(Edit, &[&str]); 3] = [
        (
            |i, l| if i == 500 { l.replace("0.2", "NaN") } else { l },
            &["thorax.csv", "line 502", "gyro_y", "NaN"],
        ),
        (
            |i, l| if i == 500 { l.replacen("5.000", "4.0", 1) } else { l },
            &["thorax.csv", "line 502", "back to 4"],
        ),
        (|i, l| if i == 500 { l[..10].to_owned() } else { l }, &["thorax.csv", "line 502", "values"]),
    ];
    for (edit, parts) in cases {
        let bench = Bench::new();
        still(&bench.path("pelvis.csv"), 0.0, 1000, plain);
        still(&bench.path("thorax.csv"), 0.0, 1000, edit);
        says(&bench.import_fails(), parts);
    }
}

#[test]
fn missing_columns_empty_files_and_files_that_do_not_overlap_are_told_apart() {
    let bench = Bench::new();
    still(&bench.path("pelvis.csv"), 0.0, 500, plain);
    let thorax = bench.path("thorax.csv");

    fs::write(&thorax, "time_s,gyro_x_dps,gyro_y_dps,accel_x_g,accel_y_g,accel_z_g\n0,0,0,0,1,0\n").unwrap();
    says(&bench.import_fails(), &["thorax.csv", "line 1", "gyro_z_rad_s or gyro_z_dps", "it has time_s"]);
    fs::write(&thorax, "").unwrap();
    says(&bench.import_fails(), &["thorax.csv", "empty", "header"]);
    fs::write(&thorax, format!("{HEADER}\n")).unwrap();
    says(&bench.import_fails(), &["thorax.csv", "no sample"]);
    still(&thorax, 100.0, 500, plain);
    says(&bench.import_fails(), &["pelvis", "thorax", "do not overlap", "common clock"]);
    fs::remove_file(&thorax).unwrap();
    says(&bench.import_fails(), &["thorax.csv"]);

    still(&thorax, 0.0, 500, plain);
    fs::write(bench.path("marks.csv"), "time_s,mark,detail\n1.0,stand-on-one-leg,\n").unwrap();
    let arguments = [
        "import",
        "--out",
        &bench.arg("s"),
        "--thorax",
        &bench.arg("thorax.csv"),
        "--marks",
        &bench.arg("marks.csv"),
    ];
    says(&daemon(arguments).failed(), &["marks.csv", "line 2", "stand-on-one-leg"]);
}

#[test]
fn wrong_usage_is_exit_code_2() {
    let _ = daemon(["import", "--nonsense"]).refused();
    let _ = daemon(["import", "--out", "somewhere"]).refused();
    let _ = daemon(["replay", "x", "--speed", "-1"]).refused();
    let _ = analysis(["compare", "only-one"]).refused();
}

#[test]
fn an_occupied_folder_is_left_alone_unless_forced_and_then_only_the_session_gives_way() {
    let bench = Bench::new();
    still(&bench.path("thorax.csv"), 0.0, 500, plain);
    fs::create_dir(bench.path("s")).unwrap();
    fs::write(bench.path("s/notes.txt"), "mine").unwrap();
    fs::write(bench.path("s/session.toml"), "old").unwrap();
    let before = contents(&bench.path("s"));
    let (out, thorax) = (bench.arg("s"), bench.arg("thorax.csv"));
    says(&daemon(["import", "--out", &out, "--thorax", &thorax]).failed(), &["already exists", "--force"]);
    assert_eq!(contents(&bench.path("s")), before);
    // A forced import of a bad file replaces nothing either.
    still(&bench.path("bad.csv"), 0.0, 500, |i, l| if i == 400 { "x".into() } else { l });
    let _ = daemon(["import", "--force", "--out", &out, "--thorax", &bench.arg("bad.csv")]).failed();
    assert_eq!(contents(&bench.path("s")), before);
    fs::create_dir(bench.path("s/swings")).unwrap();
    fs::write(bench.path("s/swings/video.txt"), "mine").unwrap();
    fs::write(bench.path("s/swings/0007.json"), "an older session's").unwrap();
    let _ = daemon(["import", "--force", "--out", &out, "--thorax", &thorax]).done();
    assert_eq!(fs::read_to_string(bench.path("s/swings/video.txt")).unwrap(), "mine");
    assert!(!bench.path("s/swings/0007.json").exists());
    assert_eq!(fs::read_to_string(bench.path("s/notes.txt")).unwrap(), "mine");
    assert!(fs::read_to_string(bench.path("s/session.toml")).unwrap().contains("peakorder.session/1"));
}

/// An import that was killed between putting the old session aside and deleting it: both are
/// there, and the next import touches neither.
#[test]
fn a_session_put_aside_is_never_removed_by_another_import() {
    let bench = Bench::new();
    still(&bench.path("thorax.csv"), 0.0, 500, plain);
    let (out, thorax) = (bench.arg("s"), bench.arg("thorax.csv"));
    let _ = daemon(["import", "--out", &out, "--thorax", &thorax]).done();
    fs::rename(bench.path("s"), bench.path("s.replaced")).unwrap();
    let before = contents(&bench.path("s.replaced"));
    let said = daemon(["import", "--force", "--out", &out, "--thorax", &thorax]).failed();
    says(&said, &["s.replaced", "keep or remove it"]);
    assert_eq!(contents(&bench.path("s.replaced")), before);
    assert!(!bench.path("s").exists());
}

/// The folder of a link is replaced, not the link; and nothing is left beside it.
#[cfg(unix)]
#[test]
fn a_forced_import_through_a_link_replaces_what_it_points_to() {
    let bench = Bench::new();
    still(&bench.path("thorax.csv"), 0.0, 500, plain);
    let thorax = bench.arg("thorax.csv");
    let _ = daemon(["import", "--out", &bench.arg("real"), "--thorax", &thorax, "--player", "A"]).done();
    std::os::unix::fs::symlink(bench.path("real"), bench.path("link")).unwrap();
    let _ = daemon(["import", "--force", "--out", &bench.arg("link"), "--thorax", &thorax, "--player", "B"])
        .done();
    assert!(bench.path("link").is_symlink());
    assert!(fs::read_to_string(bench.path("real/session.toml")).unwrap().contains("\"B\""));
    assert_eq!(fs::read_dir(bench.folder.path()).unwrap().count(), 3, "link, real, thorax.csv");
}

#[test]
fn a_folder_where_an_import_would_work_is_never_removed() {
    let bench = Bench::new();
    still(&bench.path("thorax.csv"), 0.0, 500, plain);
    fs::create_dir(bench.path("s.importing")).unwrap();
    fs::write(bench.path("s.importing/notes.txt"), "mine").unwrap();
    let (out, thorax) = (bench.arg("s"), bench.arg("thorax.csv"));
    says(&daemon(["import", "--out", &out, "--thorax", &thorax]).failed(), &["s.importing", "in the way"]);
    assert_eq!(fs::read_to_string(bench.path("s.importing/notes.txt")).unwrap(), "mine");
    assert!(!bench.path("s").exists());
}

#[test]
fn a_damaged_recording_is_read_as_far_as_it_goes_and_says_where_it_is_damaged() {
    let bench = Bench::new();
    bench.session();
    let log = bench.path("s/samples.log");
    let whole = fs::read(&log).unwrap();

    let frames = frames(&whole);
    let (last, last_len) = *frames.last().unwrap();
    fs::write(&log, &whole[..whole.len() - 7]).unwrap();
    let said = daemon(["replay", &bench.arg("s")]);
    let at = format!("byte {last}: the file ends inside a frame, {} bytes left out", last_len - 7);
    let copy = format!("peakorderd replay {} --into {}", bench.arg("s"), bench.arg("s-readable"));
    says(&said.clone().failed(), &["samples.log", &at, &copy]);
    assert!(said.out.contains("1 swing "), "{}", said.out);

    // One bit of the middle frame's payload.
    let (middle, middle_len) = frames[frames.len() / 2];
    let mut flipped = whole.clone();
    flipped[middle + middle_len / 2] ^= 0x10;
    fs::write(&log, &flipped).unwrap();
    let said = daemon(["replay", &bench.arg("s"), "--into", &bench.arg("copy")]).failed();
    let at = format!("byte {middle}: damaged frame (wrong checksum), {middle_len} bytes skipped");
    says(&said, &["samples.log", &at, "the copy in", &bench.arg("copy"), "session.toml says what is lost"]);
    let _ = daemon(["replay", &bench.arg("copy")]).done();
    let verified = analysis(["verify", &bench.arg("copy")]);
    assert_eq!(verified.code, Some(1), "{}", verified.out);
    assert!(verified.out.contains("are lost from here on"), "{}", verified.out);
    // In place, nothing that is there already is lost before the user says so.
    let swing = bench.path("s/swings/0001.json");
    let kept = fs::read(&swing).unwrap();
    let said = daemon(["replay", &bench.arg("s")]).failed();
    says(&said, &["samples.log", &at, "left as they are", "--damaged"]);
    assert!(fs::read(&swing).unwrap() == kept);
    says(
        &daemon(["replay", &bench.arg("s"), "--damaged"]).failed(),
        &[&at, "All that could be read was used"],
    );

    fs::write(&log, b"something else entirely, and long enough").unwrap();
    says(&daemon(["replay", &bench.arg("s")]).failed(), &["samples.log", "not a recording log"]);
    fs::remove_file(&log).unwrap();
    let said = daemon(["replay", &bench.arg("s")]).failed();
    assert_eq!(said.matches("samples.log").count(), 1, "the file is named once: {said}");
}

/// Offset and length of every frame of a log, by the layout in `docs/formats/log.md`:
/// 16 bytes of file header, then frames of 24 bytes and the length at their byte 8.
fn frames(log: &[u8]) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut at = 16;
    while at < log.len() {
        assert_eq!(log[at..at + 4], [0xf7, 0x50, 0x4b, 0xd9]);
        let length = 24 + u32::from_le_bytes(log[at + 8..at + 12].try_into().unwrap()) as usize;
        out.push((at, length));
        at += length;
    }
    out
}

#[test]
fn a_recording_of_a_newer_version_is_called_newer_and_left_alone() {
    let bench = Bench::new();
    bench.session();
    let log = bench.path("s/samples.log");
    let whole = fs::read(&log).unwrap();
    // The file's version, then a frame's.
    let mut file = whole.clone();
    file[8] = 3;
    let crc = crc32c(&file[..12]).to_le_bytes();
    file[12..16].copy_from_slice(&crc);
    let mut frame = whole.clone();
    let (at, length) = frames(&whole)[3];
    frame[at + 4] = 3;
    let crc = crc32c(&[&frame[at..at + 20], &frame[at + 24..at + length]].concat()).to_le_bytes();
    frame[at + 20..at + 24].copy_from_slice(&crc);
    for newer in [file, frame] {
        fs::write(&log, &newer).unwrap();
        let said = daemon(["replay", &bench.arg("s"), "--into", &bench.arg("copy"), "--force"]).failed();
        says(&said, &["samples.log", "version 3", "update peakorder"]);
        assert!(fs::read(&log).unwrap() == newer);
        let swing = fs::read(bench.path("s/swings/0001.json")).unwrap();
        says(
            &daemon(["replay", &bench.arg("s")]).failed(),
            &["samples.log", "version 3", "update peakorder"],
        );
        assert!(fs::read(bench.path("s/swings/0001.json")).unwrap() == swing, "nothing was removed");
    }
}

#[test]
fn newer_formats_and_broken_session_files_are_called_what_they_are() {
    let bench = Bench::new();
    bench.session();
    let file = bench.path("s/session.toml");
    let text = fs::read_to_string(&file).unwrap();
    let with = |edited: String| {
        fs::write(&file, edited).unwrap();
        daemon(["replay", &bench.arg("s")]).failed()
    };
    says(
        &with(text.replace("peakorder.session/1", "peakorder.session/2")),
        &["session.toml", "session/2", "update"],
    );
    says(&with(text.replace("rate_hz = 208.0", "rate_hz = 208.0\nbogus_key = 1")), &["bogus_key"]);
    says(&with(format!("{text}\n[broken")), &["session.toml", "line"]);
    says(&daemon(["replay", &bench.arg("nowhere")]).failed(), &["not a session folder"]);
    says(&analysis(["show", &bench.arg("nowhere")]).failed(), &["no such folder", "session folder"]);
}

#[test]
fn an_empty_session_file_is_called_damaged_and_not_newer() {
    let bench = Bench::new();
    bench.session();
    for (content, what) in [
        ("", "empty"),
        (" \n\n", "empty"),
        ("\0\0\0\0", "empty"),
        ("id = \"x\"\n", "does not say its format"),
    ] {
        fs::write(bench.path("s/session.toml"), content).unwrap();
        for said in
            [daemon(["replay", &bench.arg("s")]).failed(), analysis(["show", &bench.arg("s")]).failed()]
        {
            says(&said, &["session.toml", what, "damaged", "samples.log", "not lost"]);
            assert!(!said.contains("update"), "{said}");
        }
    }
}

#[test]
fn a_session_whose_swings_folder_is_gone_is_replayed() {
    let bench = Bench::new();
    bench.session();
    let before = contents(&bench.path("s/swings"));
    fs::remove_dir_all(bench.path("s/swings")).unwrap();
    let _ = daemon(["replay", &bench.arg("s")]).done();
    assert_eq!(contents(&bench.path("s/swings")), before);
}

/// ECMA-48: ESC (and CSI, U+009B) begin a control sequence; a name must not give one to the terminal.
#[test]
fn names_and_labels_do_not_control_the_terminal_or_a_table() {
    let bench = Bench::new();
    bench.session();
    let file = bench.path("s/session.toml");
    let text = fs::read_to_string(&file).unwrap();
    let wild = "A\\u001b[2J\\u009b31m\\u202eB";
    assert!(text.contains("name = \"invented player\""));
    fs::write(&file, text.replace("invented player", wild)).unwrap();
    let swing = bench.path("s/swings/0001.json");
    let text = fs::read_to_string(&swing).unwrap();
    let at = text.find("\"block\"").unwrap();
    let end = at + text[at..].find(',').unwrap();
    // Without its checksum, as before files had one.
    let whole = text.rfind(",\n  \"crc32c\"").unwrap();
    fs::write(&swing, format!("{}\"block\":\"{wild}\"{}\n}}\n", &text[..at], &text[end..whole])).unwrap();
    fs::write(bench.path("s/remarks.jsonl"), format!("{{\"id\":1,\"t_s\":1,\"what\":\"{wild}\"}}\n"))
        .unwrap();
    let odd = bench.path("odd\u{1b}[2Jfolder");
    let odd = odd.to_str().unwrap();
    let (s, page) = (bench.arg("s"), bench.arg("page.html"));
    let all = [
        analysis(["show", &s]),
        analysis(["show", &s, "1"]),
        analysis(["export", &s]),
        analysis(["trend", &s, "--block", "x"]),
        analysis(["compare", &s, &s]),
        analysis(["report", &s, "--out", &page]),
        analysis(["show", odd]),
        analysis(["trend", odd]),
        daemon(["replay", odd]),
        daemon(["replay", &s]),
        daemon(["import", "--out", odd, "--thorax", odd]),
    ];
    for (i, said) in all.iter().enumerate() {
        let bad = |c: char| (c.is_control() && !"\n\t".contains(c)) || c == '\u{202e}';
        let text = format!("{}{}", said.out, said.err);
        assert!(!text.is_empty() && !text.contains(bad), "{i}: {text:?}");
    }
    assert!(all[0].out.contains("A\u{fffd}[2J"), "the rest of the name is there: {}", all[0].out);
    assert!(all[2].out.contains("A\u{fffd}[2J"));
}

#[test]
fn a_name_that_nobody_can_see_is_refused_and_shown_as_none() {
    let bench = Bench::new();
    still(&bench.path("thorax.csv"), 0.0, 500, plain);
    let (out, thorax) = (bench.arg("s"), bench.arg("thorax.csv"));
    for name in ["\u{200b}\u{2063}", "\u{3164}", "\u{2800}"] {
        let said = daemon(["import", "--out", &out, "--thorax", &thorax, "--player", name]).refused();
        says(&said, &["can be seen"]);
    }
    let named = ["import", "--out", &out, "--thorax", &thorax, "--player", " a\u{1b}[2J "];
    let _ = daemon(named).done();
    says(&analysis(["show", &out]).done().out, &["Player a\u{fffd}[2J,"]);
    fs::remove_dir_all(&out).unwrap();
    bench.session();
    let file = bench.path("s/session.toml");
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&file, text.replace("invented player", "\\u200b\\u2063")).unwrap();
    says(&analysis(["show", &bench.arg("s")]).done().out, &["Player not named"]);
}

/// The system's reason stands in the message once.
#[test]
fn a_cause_is_said_once() {
    let bench = Bench::new();
    let no_file = bench.arg("none.csv");
    let said = daemon(["import", "--out", &bench.arg("s"), "--thorax", &no_file]).failed();
    assert_eq!(said.matches("os error 2").count(), 1, "{said}");
    fs::create_dir(bench.path("d")).unwrap();
    fs::create_dir(bench.path("d/session.toml")).unwrap();
    for said in [daemon(["replay", &bench.arg("d")]).failed(), analysis(["show", &bench.arg("d")]).failed()] {
        assert_eq!(said.matches("a folder, not a regular file").count(), 1, "{said}");
    }
}

#[test]
fn a_session_without_swings_and_a_damaged_swing_file_are_told() {
    let bench = Bench::new();
    still(&bench.path("thorax.csv"), 0.0, 500, plain);
    let _ = daemon(["import", "--out", &bench.arg("none"), "--thorax", &bench.arg("thorax.csv")]).done();
    let said = analysis(["show", &bench.arg("none")]).done();
    says(&said.out.to_lowercase(), &["no swing"]);
    bench.session();
    fs::write(bench.path("s/swings/0001.json"), "{\"schema\":").unwrap();
    let said = analysis(["show", &bench.arg("s")]);
    assert_eq!(said.code, Some(1));
    says(&said.err, &["0001.json"]);
}

/// Peak resident memory of a running child, kB.
#[cfg(target_os = "linux")]
fn peak_kb(id: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{id}/status")).ok()?;
    status.lines().find(|l| l.starts_with("VmHWM"))?.split_whitespace().nth(1)?.parse().ok()
}

/// 60 MB of samples are read side by side in far less memory than that: what holds for them
/// holds for any size, for nothing is kept but a window.
#[cfg(target_os = "linux")]
#[test]
fn a_large_file_is_read_in_little_memory() {
    let bench = Bench::new();
    still(&bench.path("thorax.csv"), 0.0, 1_700_000, plain);
    assert!(fs::metadata(bench.path("thorax.csv")).unwrap().len() > 55_000_000);
    let mut child = std::process::Command::new(peakorderd())
        .args(["import", "--out", &bench.arg("s"), "--thorax", &bench.arg("thorax.csv")])
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let mut peak = 0;
    while child.try_wait().unwrap().is_none() {
        peak = peak.max(peak_kb(child.id()).unwrap_or(0));
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert!(child.wait().unwrap().success());
    eprintln!("peak memory {peak} kB");
    assert!(peak > 0 && peak < 40_000, "{peak} kB");
}
