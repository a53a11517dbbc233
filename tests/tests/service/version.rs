//! What both programs say of themselves.

use peakorder_tests::programs::{analysis, daemon, workspace};
use std::fs;

/// Debug builds are not told the commit unless `PEAKORDER_COMMIT` is set while they are built.
#[test]
fn both_programs_name_version_and_commit_alike() {
    let version = env!("CARGO_PKG_VERSION");
    let said = daemon(["--version"]).done().out;
    let commit =
        said.trim().strip_prefix(&format!("peakorderd {version} (")).and_then(|s| s.strip_suffix(')'));
    assert!(commit.is_some_and(|c| !c.is_empty()), "{said}");
    assert_eq!(analysis(["--version"]).done().out.trim(), said.trim().replace("peakorderd", "peakorder"));
}

#[test]
fn both_programs_explain_their_exit_codes() {
    let codes = ["Exit status:", "\n  0 ", "\n  1 ", "\n  2 ", "\n  128+N "];
    for help in [daemon(["--help"]).done().out, analysis(["--help"]).done().out] {
        assert!(codes.iter().all(|code| help.contains(code)), "{help}");
    }
}

#[test]
fn both_crates_have_the_same_build_script() {
    let script = |krate: &str| fs::read_to_string(workspace().join(krate).join("build.rs")).unwrap();
    assert_eq!(script("daemon"), script("analysis"));
}
