//! How the two programs are called by whoever started this one: installed, from a folder, or through cargo.

use peakorder_analysis::terminal::word;
use std::env;
use std::ffi::OsStr;
use std::path::Path;

/// How this program was started.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Started {
    /// `cargo run` in a checkout.
    Cargo,
    /// By its path, in this folder.
    In(String),
    /// By its name, as installed programs are.
    ByName,
}

/// What to type to go on.
#[derive(Debug, Clone)]
pub(super) struct Programs(Started);

impl Programs {
    /// By how this process was started.
    pub(super) fn of_this_process() -> Self {
        // Set by `cargo run` for what it runs.
        let by_cargo = env::var_os("CARGO").is_some()
            && env::var_os("CARGO_PKG_NAME").as_deref() == Some(OsStr::new(env!("CARGO_PKG_NAME")));
        Self::of(by_cargo, env::args_os().next().as_deref())
    }

    fn of(by_cargo: bool, first: Option<&OsStr>) -> Self {
        let folder = first.map(Path::new).and_then(Path::parent).filter(|f| !f.as_os_str().is_empty());
        Self(match folder {
            _ if by_cargo => Started::Cargo,
            Some(folder) => Started::In(folder.display().to_string()),
            None => Started::ByName,
        })
    }

    /// The analysis program.
    pub(super) fn peakorder(&self) -> String {
        self.named("peakorder")
    }

    /// This program.
    pub(super) fn peakorderd(&self) -> String {
        self.named("peakorderd")
    }

    fn named(&self, name: &str) -> String {
        match &self.0 {
            // Aliases of the checkout's .cargo/config.toml.
            Started::Cargo => format!("cargo {name}"),
            Started::In(folder) => word(&format!("{folder}/{name}")),
            Started::ByName => name.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commands_fit_how_the_program_was_started() {
        let of = |by_cargo, first| Programs::of(by_cargo, Some(OsStr::new(first))).peakorder();
        assert_eq!(of(true, "target/release/peakorderd"), "cargo peakorder");
        assert_eq!(of(false, "target/release/peakorderd"), "target/release/peakorder");
        assert_eq!(of(false, "my programs/peakorderd"), "'my programs/peakorder'");
        assert_eq!(of(false, "peakorderd"), "peakorder");
        assert_eq!(Programs::of(false, None).peakorderd(), "peakorderd");
    }
}
