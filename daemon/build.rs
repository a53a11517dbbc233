//! Says which commit the program was built from, as `PEAKORDER_COMMIT`, for `--version`.
//!
//! `daemon/build.rs` and `analysis/build.rs` are the same file: a packaged crate is built from itself alone.

use std::path::Path;
use std::process::Command;
use std::{env, fs};

/// Digits of a commit that are shown.
const DIGITS: usize = 10;

fn main() {
    println!("cargo::rerun-if-env-changed=PEAKORDER_COMMIT");
    for watched in ["build.rs", "src", "Cargo.toml"] {
        println!("cargo::rerun-if-changed={watched}");
    }
    let commit = named().or_else(packaged).or_else(checked_out).unwrap_or_else(|| "commit unknown".into());
    println!("cargo::rustc-env=PEAKORDER_COMMIT={commit}");
}

/// Whoever builds packages may know it better than the folder does.
fn named() -> Option<String> {
    let named = env::var("PEAKORDER_COMMIT").ok()?.trim().to_owned();
    let plain = |c: char| c.is_ascii_graphic() || c == ' ';
    (!named.is_empty() && named.chars().all(plain)).then_some(named)
}

/// What `cargo package` has noted.
fn packaged() -> Option<String> {
    let note = fs::read_to_string(".cargo_vcs_info.json").ok()?;
    let digits: String =
        note.split_once("\"sha1\"")?.1.chars().skip_while(|c| !c.is_ascii_hexdigit()).collect();
    let digits: String = digits.chars().take_while(char::is_ascii_hexdigit).take(DIGITS).collect();
    let dirty = if note.contains("\"dirty\": true") { "-dirty" } else { "" };
    (digits.len() == DIGITS).then(|| digits + dirty)
}

/// What git says of this folder. Asked in release builds only: a debug build would be made anew after every commit.
fn checked_out() -> Option<String> {
    if env::var("PROFILE").as_deref() != Ok("release") {
        return None;
    }
    for state in ["HEAD", "logs/HEAD"] {
        if let Some(path) = git(&["rev-parse", "--git-path", state]).filter(|p| Path::new(p).exists()) {
            println!("cargo::rerun-if-changed={path}");
        }
    }
    git(&["describe", "--always", "--dirty", "--exclude=*", &format!("--abbrev={DIGITS}")])
}

fn git(arguments: &[&str]) -> Option<String> {
    let out = Command::new("git").args(arguments).output().ok().filter(|o| o.status.success())?;
    let text = String::from_utf8(out.stdout).ok()?.trim().to_owned();
    (!text.is_empty()).then_some(text)
}
