//! The program itself: that it starts, says what it is, and refuses what it does not know.
//! (With a test of its own, cargo builds the program along with the tests; the tests from
//! outside use that one.)

use std::process::{Command, Output};

fn peakorderd(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_peakorderd")).args(arguments).output().expect("it starts")
}

#[test]
fn it_says_its_version_and_the_cautions() {
    let version = peakorderd(&["--version"]);
    assert!(version.status.success());
    assert!(String::from_utf8_lossy(&version.stdout).contains(env!("CARGO_PKG_VERSION")));
    let help = peakorderd(&["--help"]);
    assert!(help.status.success());
    let text = String::from_utf8_lossy(&help.stdout).into_owned();
    assert!(text.contains("stop on pain") && text.contains("no medical advice"), "{text}");
}

#[test]
fn what_it_does_not_know_is_wrong_usage() {
    let unknown = peakorderd(&["no-such-command"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&unknown.stderr).contains("no-such-command"));
}
