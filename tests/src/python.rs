//! The Python with the readers of open data that `PEAKORDER_PYTHON` names.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Its path; `None`, loudly, where none is named. With `PEAKORDER_NEEDS_PYTHON` set that is a failure.
///
/// # Panics
/// Without one where it is needed.
pub fn python() -> Option<PathBuf> {
    let named = std::env::var_os("PEAKORDER_PYTHON").filter(|p| !p.is_empty()).map(PathBuf::from);
    if named.is_none() {
        assert!(
            std::env::var_os("PEAKORDER_NEEDS_PYTHON").is_none(),
            "PEAKORDER_PYTHON names no python3 with the packages of tests/scripts/open_data.txt"
        );
        eprintln!(
            "SKIPPED: PEAKORDER_PYTHON names no python3 with the packages of tests/scripts/open_data.txt; .ci/run makes one"
        );
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
