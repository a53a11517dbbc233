//! Log lines: for the journal, a file, and nobody who forges them.

use peakorder_tests::programs::peakorderd;
use peakorder_tests::test_server::{PATIENCE, TestServer};
use std::fs::{self, File};
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

const PLAYER: &str = "Invented Zoë";

/// `peakorderd serve` of virtual lessons below `home`, with standard error in the file `log`.
fn served(home: &Path, arguments: &[&str]) -> Command {
    let log = File::create(home.join("log")).unwrap();
    let mut command = Command::new(peakorderd());
    command.args(["serve", "--virtual", "--speed", "max", "--listen", "127.0.0.1:0", "--library"]);
    command
        .arg(home.join("library"))
        .args(arguments)
        .stderr(log)
        .env_remove("PEAKORDER_LOG")
        .env_remove("NO_COLOR");
    command
}

/// As systemd has it when standard error goes to the journal: device and inode of that very stream.
fn as_journal(command: &mut Command, home: &Path) {
    let meta = fs::metadata(home.join("log")).unwrap();
    command.env("JOURNAL_STREAM", format!("{}:{}", meta.dev(), meta.ino()));
}

fn log(home: &Path) -> String {
    fs::read_to_string(home.join("log")).unwrap()
}

#[test]
fn in_the_journal_lines_have_priorities_and_tell_what_a_service_does() {
    let home = tempfile::tempdir().unwrap();
    let mut command = served(home.path(), &[]);
    as_journal(&mut command, home.path());
    let server = TestServer::started_by(&mut command);
    let session = server.whole_lesson(PLAYER);
    assert!(server.end());
    let log = log(home.path());
    for line in log.lines() {
        // `sd-daemon(3)`: 3 error, 4 warning, 6 information, 7 debug.
        assert!(["<3>", "<4>", "<6>", "<7>"].iter().any(|p| line.starts_with(p)), "{line}");
        assert!(
            !line.contains('\u{1b}') && line[3..].starts_with(char::is_alphabetic),
            "neither colour nor time: {line}"
        );
    }
    for wanted in [
        "<6>Starting. version=".to_owned(),
        "<6>Listening. at=127.0.0.1:".into(),
        format!("<6>A lesson began. lesson=\"{session}\" straps=3 invented=true"),
        "<6>Strap connected. role=pelvis".into(),
        format!("<6>The lesson ended. lesson=\"{session}\" swings="),
        "<6>Stopping.".into(),
    ] {
        assert!(log.contains(&wanted), "'{wanted}' is not in:\n{log}");
    }
    assert!(!log.contains(PLAYER) && !log.contains("Zo"), "{log}");
}

#[test]
fn a_file_gets_lines_without_priorities_or_colour_and_only_warnings() {
    let home = tempfile::tempdir().unwrap();
    let mut command = served(home.path(), &["--when-ended", "/nonexistent/program"]);
    // Started by a service, with standard error sent elsewhere since.
    let server = TestServer::started_by(command.env("JOURNAL_STREAM", "1:1"));
    server.whole_lesson(PLAYER);
    until_logged(home.path(), "cannot be started");
    assert!(server.end());
    let log = log(home.path());
    assert!(!log.contains('\u{1b}') && !log.contains("<4>") && !log.contains("INFO"), "{log}");
    let warning = log.lines().find(|l| l.contains("cannot be started")).unwrap();
    assert!(warning.contains(" WARN ") && warning.starts_with("20"), "with its time: {warning}");
}

fn until_logged(home: &Path, text: &str) {
    let start = Instant::now();
    while !log(home).contains(text) {
        assert!(start.elapsed() < PATIENCE, "'{text}' is not in:\n{}", log(home));
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// What comes from elsewhere is part of a line, and never one of its own.
#[test]
fn no_text_from_elsewhere_makes_a_line_of_its_own() {
    let home = tempfile::tempdir().unwrap();
    let program = home.path().join("ended");
    fs::write(&program, "#!/bin/sh\nprintf 'so\\n<0>forged\\033[31m\\r<6>A lesson began.' >&2\nexit 3\n")
        .unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).unwrap();
    let mut command = served(home.path(), &["--when-ended", &program.display().to_string()]);
    as_journal(&mut command, home.path());
    let server = TestServer::started_by(&mut command);
    server.whole_lesson(PLAYER);
    until_logged(home.path(), "forged");
    assert!(server.end());
    let log = log(home.path());
    assert!(!log.lines().any(|l| l.starts_with("<0>")) && !log.contains(['\u{1b}', '\r']), "{log}");
    assert_eq!(log.lines().filter(|l| l.starts_with("<6>A lesson began.")).count(), 1, "{log}");
}

/// A failure is one line with the priority of an error.
#[test]
fn what_ends_the_program_is_an_error_in_the_journal() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("library"), "").unwrap();
    let mut command = served(home.path(), &[]);
    as_journal(&mut command, home.path());
    assert_eq!(command.output().unwrap().status.code(), Some(1));
    let log = log(home.path());
    let errors: Vec<&str> = log.lines().filter(|l| l.starts_with("<3>")).collect();
    assert!(matches!(errors[..], [one] if one.contains("library")), "{log}");
}
