//! What a session with straps needs: the configuration and the profiles it names.

use super::profiles::Profiles;
use super::radio::Radio;
use super::straps::StrapTarget;
use crate::config::{Config, profiles_dir};
use crate::output::program;
use anyhow::{Context as _, bail};
use peakorder_protocol::Role;
use peakorder_protocol::session::{FORMAT, Player, Session, SourceKind, Strap};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Configuration and profiles.
pub struct Setup {
    /// Where the configuration is.
    pub path: PathBuf,
    /// Its contents.
    pub config: Config,
    /// The known profiles.
    pub profiles: Profiles,
}

impl Setup {
    /// Reads the configuration at `path` and the profiles beside it; what is wrong with
    /// single profiles is in [`Profiles::problems`].
    pub fn load(path: &Path) -> anyhow::Result<Self> {
        let config = Config::load(path)?;
        let profiles = Profiles::load(&profiles_dir(path));
        Ok(Self { path: path.to_owned(), config, profiles })
    }

    /// The straps that are worn, in the order of their roles.
    pub fn assigned(&self) -> anyhow::Result<Vec<(Role, StrapTarget)>> {
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
                let known = self.profiles.get(&strap.profile).with_context(|| {
                    format!(
                        "the {role} strap has profile '{}', which there is not; assign it again with: \
                         peakorderd straps set {} {} --profile ID (peakorderd profile list shows the ids)",
                        strap.profile,
                        role.key().replace('_', "-"),
                        strap.id
                    )
                })?;
                Ok((*role, StrapTarget { id: strap.id.clone(), profile: Arc::clone(&known.profile) }))
            })
            .collect()
    }

    /// The adapter that the configuration names.
    pub async fn radio(&self) -> anyhow::Result<Radio> {
        Ok(Radio::open(self.config.adapter.as_deref()).await?)
    }

    /// A new session of `player` that begins now, with the straps worn at `roles`, to be
    /// computed with `settings`.
    pub fn session(&self, roles: &[Role], player: Player, settings: toml::Table) -> Session {
        let now = jiff::ZonedDateTime::now();
        let aligned = self.config.alignments();
        Session {
            format: FORMAT.into(),
            id: now_id(&now),
            started_utc: now.timestamp().to_string(),
            zone: now.time_zone().iana_name().unwrap_or("UTC").into(),
            recorded_by: program(),
            computed_by: program(),
            source: SourceKind::Straps,
            invented: false,
            player,
            straps: roles
                .iter()
                .filter_map(|role| {
                    let assigned = self.config.straps.get(role)?;
                    let known = self.profiles.get(&assigned.profile)?;
                    let alignment = aligned.get(role);
                    let strap = Strap {
                        name: format!("{} {}", assigned.name, assigned.id).trim().to_owned(),
                        profile: assigned.profile.clone(),
                        profile_toml: known.text.clone(),
                        latency_ms: alignment.map_or(0.0, |a| a.latency_ms),
                        latency_sd_ms: alignment.map(|a| a.sd_ms),
                        interval_ms: None,
                    };
                    Some((*role, strap))
                })
                .collect(),
            settings,
            calibration: Vec::new(),
            troubles: Vec::new(),
        }
    }
}

/// Id of a session that begins at `now`: sortable by time; two sessions of one daemon that
/// start in the same microsecond do not happen.
pub fn now_id(now: &jiff::ZonedDateTime) -> String {
    let started = now.timestamp();
    format!("{}-{:05x}", started.strftime("%Y%m%dT%H%M%SZ"), started.subsec_microsecond())
}
