//! What the commands that use straps have in common.

use crate::ble::setup::Setup;
use crate::config::locate;
pub(super) use peakorder_analysis::render::columns as table;
use std::path::PathBuf;

/// Where the configuration is.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct ConfigFile {
    /// Configuration file; strap profiles of your own lie in the folder `profiles` beside it.
    /// Without this, `PEAKORDER_CONFIG` or the platform's configuration folder.
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
}

impl ConfigFile {
    /// Whether the command line names it.
    pub(super) const fn is_named(&self) -> bool {
        self.config.is_some()
    }

    /// Path of the configuration.
    pub(super) fn path(&self) -> anyhow::Result<PathBuf> {
        Ok(locate(self.config.as_deref())?)
    }

    /// Reads configuration and profiles; profiles that cannot be used are complained of.
    pub(super) fn load(&self) -> anyhow::Result<Setup> {
        let setup = Setup::load(&self.path()?)?;
        for problem in setup.profiles.problems() {
            super::console::print_error(&problem.to_string());
        }
        Ok(setup)
    }
}

/// `time ± …` and such: a figure or a dash.
pub(super) fn figure(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "–".into(), |v| format!("{v:.digits$}"))
}

/// Text that a device sent, without what a terminal would take for a command.
pub(super) fn harmless(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(28).collect()
}
