//! Other programs' readers of our files, in Python.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The interpreter that `PEAKORDER_PYTHON` names, with the packages that the scripts import; `None` where it names none, and
/// then the test says that it was skipped. With `PEAKORDER_NEEDS_PYTHON` set it fails instead.
pub fn interpreter() -> Option<PathBuf> {
    let named = std::env::var_os("PEAKORDER_PYTHON").filter(|p| !p.is_empty()).map(PathBuf::from);
    if named.is_none() {
        assert!(
            std::env::var_os("PEAKORDER_NEEDS_PYTHON").is_none(),
            "PEAKORDER_PYTHON must name a python3 with pandas, pyarrow, mcap and scipy"
        );
        eprintln!("SKIPPED: PEAKORDER_PYTHON names no python3");
    }
    named
}

/// Runs a script of `tests/scripts` and returns what it printed; panics where it fails.
pub fn run(python: &Path, script: &str, arguments: &[OsString]) -> String {
    let path = crate::programs::workspace().join("tests/scripts").join(script);
    let out = Command::new(python).arg(&path).args(arguments).output().expect("python starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(out.status.success(), "{} failed:\n{}\n{}", path.display(), text(&out.stdout), text(&out.stderr));
    text(&out.stdout)
}
