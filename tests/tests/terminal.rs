//! What the programs print on a terminal: within its width, with colour only where it is wanted, and no escape sequence in
//! a file.
#![cfg(target_os = "linux")]

use peakorder_tests::programs::{daemon, peakorder, peakorderd};
use std::path::Path;
use std::process::{Command, Stdio};
use unicode_width::UnicodeWidthStr as _;

const ESCAPE: char = '\x1b';

/// What `command` prints on a terminal of so many columns, by util-linux's `script`.
fn on_terminal(command: &str, columns: u32, variables: &[(&str, &str)]) -> String {
    let mut script = Command::new("script");
    script
        .args([
            "--quiet",
            "--return",
            "--command",
            &format!("stty rows 25 cols {columns}; {command}"),
            "/dev/null",
        ])
        .stdin(Stdio::null())
        .env_remove("COLUMNS")
        .env_remove("NO_COLOR")
        .env("TERM", "xterm-256color")
        .envs(variables.iter().copied());
    let out = script.output().expect("script, of util-linux (Debian package bsdutils)");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stdout));
    String::from_utf8(out.stdout).expect("UTF-8").replace("\r\n", "\n")
}

/// The text as a terminal shows it: what a progress bar drew and wiped away again is gone.
fn shown(text: &str) -> String {
    let text = text.rsplit("\x1b[2K").next().unwrap_or(text).trim_start_matches('\r');
    let mut shown = String::new();
    let mut rest = text.chars();
    while let Some(c) = rest.next() {
        match c {
            ESCAPE => while rest.next().is_some_and(|c| !c.is_ascii_alphabetic()) {},
            c => shown.push(c),
        }
    }
    shown
}

fn assert_within(text: &str, columns: usize) {
    for line in text.lines() {
        assert!(line.width() <= columns, "{} columns, of {columns}:\n{line}\nin\n{text}", line.width());
    }
}

/// Programs by their names, as they are when they are installed.
fn installed(arguments: &str) -> String {
    let folder = peakorderd().parent().expect("a folder").display().to_string();
    format!("PATH='{folder}':$PATH {arguments}")
}

fn demo(folder: &Path, more: &str) -> String {
    installed(&format!("sh -c 'cd {} && peakorderd demo {more}'", folder.display()))
}

#[test]
fn the_demo_fits_a_terminal_of_25_lines_and_80_columns() {
    let folder = tempfile::tempdir().expect("a folder");
    for seed in [1, 2, 5, 9] {
        let text = on_terminal(&demo(folder.path(), &format!("--seed {seed} 2>/dev/null")), 80, &[]);
        let text = shown(&text);
        assert_within(&text, 80);
        assert!(text.lines().count() <= 25, "{} lines:\n{text}", text.lines().count());
        for part in
            ["invented", "before", "after", "95 %", "verdict", "demo-session", "peakorder show demo-session"]
        {
            assert!(text.contains(part), "no '{part}' in\n{text}");
        }
    }
}

#[test]
fn the_commands_that_the_demo_names_work() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = shown(&on_terminal(&demo(folder.path(), "2>/dev/null"), 80, &[]));
    let commands: Vec<&str> = text.lines().filter_map(|l| l.strip_prefix("  peakorder ")).collect();
    assert_eq!(commands.len(), 3, "{text}");
    for command in commands {
        let _ = on_terminal(
            &installed(&format!("sh -c 'cd {} && peakorder {command}'", folder.path().display())),
            80,
            &[],
        );
    }
    assert!(folder.path().join("lesson.html").is_file());
    assert!(text.contains("  peakorderd serve --virtual"), "{text}");
}

#[test]
fn text_keeps_within_the_terminal_and_colour_is_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let session = folder.path().join("demo-session").display().to_string();
    let _ = daemon(["demo", "--out", &session]).done();
    let program = peakorder().display().to_string();
    let commands = [
        format!("{program} show {session}"),
        format!("{program} show {session} 7"),
        format!("{program} mobility {session}"),
        format!("{program} compare {session}:baseline {session}:after --all --curves"),
    ];
    for command in &commands {
        for columns in [60, 72, 80, 110] {
            let text = on_terminal(command, columns, &[]);
            assert!(text.contains(ESCAPE), "no colour on a terminal: {command}");
            assert_within(&shown(&text), columns as usize);
        }
        // https://no-color.org: set, and not empty.
        let plain = on_terminal(command, 80, &[("NO_COLOR", "1")]);
        assert!(!plain.contains(ESCAPE), "colour in spite of NO_COLOR: {command}");
        let empty = on_terminal(command, 80, &[("NO_COLOR", "")]);
        assert!(empty.contains(ESCAPE), "an empty NO_COLOR asks for nothing: {command}");
        // Given to the program itself, for a shell says its own COLUMNS.
        let told = on_terminal(&format!("env COLUMNS=70 {command}"), 110, &[]);
        assert_within(&shown(&told), 70);
    }
}

#[test]
fn nothing_escapes_into_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let (out, err) = (folder.path().join("out"), folder.path().join("err"));
    let session = folder.path().join("demo-session");
    let command = format!(
        "{} demo --full --out {} >{} 2>{}",
        peakorderd().display(),
        session.display(),
        out.display(),
        err.display()
    );
    let seen = on_terminal(&command, 80, &[("PEAKORDER_LOG", "debug")]);
    assert!(!seen.contains(ESCAPE), "{seen}");
    let missing = format!("{} show /nowhere 2>>{}; true", peakorder().display(), err.display());
    let wrong = format!("{} --no-such-option 2>>{}; true", peakorderd().display(), err.display());
    for command in [missing, wrong] {
        let _ = on_terminal(&command, 80, &[]);
    }
    for file in [out, err] {
        let text = std::fs::read_to_string(&file).expect("a file");
        assert!(!text.is_empty(), "{}", file.display());
        assert!(!text.contains(ESCAPE), "{}: {text}", file.display());
    }
}
