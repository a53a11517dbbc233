//! What the commands that use straps have in common.

use crate::ble::radio::Radio;
use crate::ble::shelf::Shelf;
use crate::ble::straps::Wanted;
use crate::config::{Config, locate, profiles_dir};
use anyhow::{Context as _, bail};
use peakorder_protocol::Role;
use std::path::PathBuf;
use std::sync::Arc;

/// Where the configuration is.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct ConfigFile {
    /// Configuration file; strap profiles of your own lie in the folder `profiles` beside it.
    /// Without this, `PEAKORDER_CONFIG` or the platform's configuration folder.
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
}

/// Configuration and profiles.
pub(super) struct Setup {
    /// Where the configuration is.
    pub(super) path: PathBuf,
    /// Its contents.
    pub(super) config: Config,
    /// The profiles at hand.
    pub(super) shelf: Shelf,
}

impl ConfigFile {
    /// Path of the configuration.
    pub(super) fn path(&self) -> anyhow::Result<PathBuf> {
        Ok(locate(self.config.as_deref())?)
    }

    /// Reads configuration and profiles; profiles that cannot be used are complained of.
    pub(super) fn load(&self) -> anyhow::Result<Setup> {
        let path = self.path()?;
        let config = Config::load(&path)?;
        let shelf = Shelf::load(&profiles_dir(&path));
        for problem in shelf.problems() {
            super::report::complain(problem);
        }
        Ok(Setup { path, config, shelf })
    }
}

impl Setup {
    /// The straps that are worn, in the order of their roles.
    pub(super) fn assigned(&self) -> anyhow::Result<Vec<(Role, Wanted)>> {
        if self.config.straps.is_empty() {
            bail!(
                "no strap is assigned in {}; find yours with: peakorderd scan\n\
                 then assign them with: peakorderd straps identify (by twisting) or peakorderd straps set pelvis ADDRESS",
                self.path.display()
            );
        }
        self.config
            .straps
            .iter()
            .map(|(role, strap)| {
                let shelved = self.shelf.get(&strap.profile).with_context(|| {
                    format!(
                        "the {role} strap has profile '{}', which there is not; assign it again with: \
                         peakorderd straps set {} {} --profile ID (peakorderd profile list shows the ids)",
                        strap.profile,
                        role.key().replace('_', "-"),
                        strap.id
                    )
                })?;
                Ok((*role, Wanted { id: strap.id.clone(), profile: Arc::clone(&shelved.profile) }))
            })
            .collect()
    }

    /// The adapter that the configuration names.
    pub(super) async fn radio(&self) -> anyhow::Result<Radio> {
        Ok(Radio::open(self.config.adapter.as_deref()).await?)
    }
}

/// `time ± …` and such: a figure or a dash.
pub(super) fn figure(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "–".into(), |v| format!("{v:.digits$}"))
}

/// Rows in columns, the first row as heading.
pub(super) fn table(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width =
        |c: usize| rows.iter().filter_map(|r| r.get(c)).map(|cell| cell.chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in rows {
        let mut line = String::new();
        for (cell, width) in row.iter().zip(&widths) {
            line.push_str(cell);
            line.extend(std::iter::repeat_n(' ', width + 2 - cell.chars().count()));
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

/// Text that a device sent, without what a terminal would take for a command.
pub(super) fn harmless(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(28).collect()
}
