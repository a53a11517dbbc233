//! The Python with the readers of open data that `PEAKORDER_PYTHON` names.

use std::path::PathBuf;

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
