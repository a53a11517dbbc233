//! The configuration file: which strap is worn where, and what is known of it.
//!
//! ```toml
//! adapter = "hci0"                   # optional; the first one otherwise
//!
//! [straps.pelvis]
//! id = "C0:FF:EE:00:00:01"           # address; on macOS the id that the system gives
//! name = "strap 1"
//! profile = "ref-strap-v1"
//!
//! [straps.pelvis.alignment]          # written by `peakorderd align`
//! latency_ms = 0.0
//! sd_ms = 0.0
//! residual = 0.0
//! at_utc = "2026-11-25T10:00:00Z"
//! ```
//!
//! It lies in the platform's configuration folder unless `--config` or `PEAKORDER_CONFIG`
//! names another; a folder `profiles` beside it holds strap profiles of one's own.

use etcetera::BaseStrategy as _;
use peakorder_protocol::files::{self, Lasting};
use peakorder_protocol::{Role, toml_line};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Environment variable that names the configuration file.
pub const CONFIG_ENV: &str = "PEAKORDER_CONFIG";
/// Port of the live page on this computer.
pub const PAGE_PORT: u16 = 7311;
/// Set by systemd for services with `ConfigurationDirectory=`.
const SYSTEMD_ENV: &str = "CONFIGURATION_DIRECTORY";
/// A configuration is small; anything larger is something else.
const LIMIT_BYTES: u64 = 1 << 20;

/// Contents of the configuration file.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Config {
    /// Bluetooth adapter to use, as the system names it; the first one if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub adapter: Option<String>,
    /// Straps, by where they are worn.
    #[serde(default)]
    pub straps: BTreeMap<Role, Assigned>,
}

/// One strap that is worn somewhere.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Assigned {
    /// Address; on macOS the id that the system gives the strap.
    pub id: String,
    /// Name as advertised when it was assigned.
    #[serde(default)]
    pub name: String,
    /// Profile id.
    pub profile: String,
    /// Outcome of the physical alignment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alignment: Option<ClockAlignment>,
}

/// What a physical alignment found for one strap. Straps that were aligned together carry
/// the same date; their latencies are relative to one of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockAlignment {
    /// Constant latency to be taken off the strap's times, milliseconds.
    pub latency_ms: f64,
    /// Its standard uncertainty, milliseconds.
    pub sd_ms: f64,
    /// Share of the rotation that was not common to the straps.
    pub residual: f64,
    /// When, RFC 3339 UTC.
    pub at_utc: String,
}

/// Why the configuration could not be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// Reading or writing failed.
    #[error("{}: {source}", path.display())]
    Io {
        /// File concerned.
        path: PathBuf,
        /// Cause.
        source: std::io::Error,
    },
    /// Not a configuration.
    #[error("{}: {reason}", path.display())]
    Malformed {
        /// File concerned.
        path: PathBuf,
        /// Where and why.
        reason: Malformed,
    },
    /// The platform has no folder for it.
    #[error("no configuration folder: {0}; name a file with --config or {CONFIG_ENV}")]
    NoFolder(String),
}

/// Why a text is not a configuration.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Malformed {
    /// Not TOML, or not with these keys: line, column and what.
    #[error("{0}")]
    Toml(String),
    /// It has no form as TOML.
    #[error(transparent)]
    Unwritable(#[from] toml::ser::Error),
    /// One strap has two places.
    #[error("strap {id} is both {one} and {other}; put it right with: peakorderd straps set")]
    WornTwice {
        /// Its address.
        id: String,
        /// One place.
        one: Role,
        /// The other.
        other: Role,
    },
    /// No physical alignment gives such figures.
    #[error("the alignment of the {0} strap is out of bounds; run: peakorderd align")]
    Alignment(Role),
}

/// Where the configuration is: `given` (`--config`), else the environment, else the
/// platform's folder.
pub fn locate(given: Option<&Path>) -> Result<PathBuf, ConfigError> {
    if let Some(path) = given {
        return Ok(path.to_owned());
    }
    if let Some(path) = std::env::var_os(CONFIG_ENV).filter(|p| !p.is_empty()) {
        return Ok(path.into());
    }
    if let Some(dir) = std::env::var_os(SYSTEMD_ENV).filter(|p| !p.is_empty()) {
        return Ok(Path::new(&dir).join("config.toml"));
    }
    let base = etcetera::choose_base_strategy().map_err(|e| ConfigError::NoFolder(e.to_string()))?;
    Ok(base.config_dir().join("peakorder").join("config.toml"))
}

/// Folder of the user's own strap profiles that belongs to the configuration at `path`.
pub fn profiles_dir(path: &Path) -> PathBuf {
    path.parent().unwrap_or(Path::new(".")).join("profiles")
}

impl Config {
    /// Reads the file at `path`; an absent one is an empty configuration.
    pub fn load(path: &Path) -> Result<Self, ConfigError> {
        let io = |source| ConfigError::Io { path: path.to_owned(), source };
        let malformed = |reason| ConfigError::Malformed { path: path.to_owned(), reason };
        let text = match files::read_text(path, LIMIT_BYTES) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => return Err(io(e)),
        };
        Self::from_toml(&text).map_err(malformed)
    }

    /// Reads and checks a configuration's text.
    pub fn from_toml(text: &str) -> Result<Self, Malformed> {
        let config: Self = toml::from_str(text).map_err(|e| Malformed::Toml(toml_line::explain(text, &e)))?;
        config.check()?;
        Ok(config)
    }

    /// The configuration's text.
    pub fn to_toml(&self) -> Result<String, Malformed> {
        Ok(toml::to_string_pretty(self)?)
    }

    fn check(&self) -> Result<(), Malformed> {
        for (role, strap) in &self.straps {
            if let Some((other, _)) =
                self.straps.iter().find(|(r, s)| *r != role && same_id(&s.id, &strap.id))
            {
                return Err(Malformed::WornTwice { id: strap.id.clone(), one: *role, other: *other });
            }
            if let Some(a) = &strap.alignment
                && !(a.latency_ms.abs() <= 1000.0 && (0.0..=1000.0).contains(&a.sd_ms))
            {
                return Err(Malformed::Alignment(*role));
            }
        }
        Ok(())
    }

    /// Writes the file at `path`, whole or not at all, with its folder.
    pub fn save(&self, path: &Path) -> Result<(), ConfigError> {
        let io = |source| ConfigError::Io { path: path.to_owned(), source };
        if let Some(dir) = path.parent().filter(|d| !d.as_os_str().is_empty()) {
            fs::create_dir_all(dir).map_err(io)?;
        }
        let text =
            self.to_toml().map_err(|reason| ConfigError::Malformed { path: path.to_owned(), reason })?;
        files::replace(path, text.as_bytes(), Lasting::Synced).map_err(io)
    }

    /// Puts a strap on a segment. If it was on another one it moves, and its alignment,
    /// which belongs to the strap, moves with it.
    pub fn assign(&mut self, role: Role, id: &str, name: &str, profile: &str) {
        let before = self.straps.iter().find(|(_, s)| same_id(&s.id, id)).map(|(r, s)| (*r, s.clone()));
        let mut alignment = None;
        if let Some((old_role, old)) = before {
            alignment = old.alignment.filter(|_| old.profile == profile);
            self.straps.remove(&old_role);
        }
        let strap = Assigned { id: id.into(), name: name.into(), profile: profile.into(), alignment };
        self.straps.insert(role, strap);
    }

    /// The alignments that hold for a session with these straps: those of the latest
    /// action, and only if at least two of the straps took part in it. Latencies of
    /// different actions are relative to different straps and cannot be compared.
    pub fn alignments(&self) -> BTreeMap<Role, &ClockAlignment> {
        let all = self.straps.iter().filter_map(|(r, s)| Some((*r, s.alignment.as_ref()?)));
        let Some(latest) = all.clone().map(|(_, a)| a.at_utc.as_str()).max() else { return BTreeMap::new() };
        let together: BTreeMap<_, _> = all.filter(|(_, a)| a.at_utc == latest).collect();
        if together.len() < 2 { BTreeMap::new() } else { together }
    }
}

/// Addresses are compared without regard to case.
pub fn same_id(a: &str, b: &str) -> bool {
    a.eq_ignore_ascii_case(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn aligned(at_utc: &str) -> ClockAlignment {
        ClockAlignment { latency_ms: 1.5, sd_ms: 0.2, residual: 0.001, at_utc: at_utc.into() }
    }

    #[test]
    fn an_absent_file_is_an_empty_configuration_and_what_is_saved_is_read_back() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("deep").join("config.toml");
        assert_eq!(Config::load(&path).unwrap(), Config::default());
        let mut config = Config::default();
        config.assign(Role::LeadArm, "AA:00", "strap", "ref-strap-v1");
        config.straps.get_mut(&Role::LeadArm).unwrap().alignment = Some(aligned("2026-01-01T00:00:00Z"));
        config.save(&path).unwrap();
        assert_eq!(Config::load(&path).unwrap(), config);
    }

    #[test]
    fn an_unknown_key_and_a_strap_worn_twice_are_named() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("config.toml");
        fs::write(&path, "adaptor = \"hci0\"\n").unwrap();
        assert!(Config::load(&path).unwrap_err().to_string().contains("adaptor"));
        let one = "id = \"AA:bb\"\nprofile = \"p\"\n";
        fs::write(
            &path,
            format!(
                "[straps.pelvis]\n{one}[straps.thorax]\n{}",
                one.to_uppercase().replace("ID", "id").replace("PROFILE", "profile")
            ),
        )
        .unwrap();
        let error = Config::load(&path).unwrap_err();
        let worn_twice = Malformed::WornTwice { id: "AA:bb".into(), one: Role::Pelvis, other: Role::Thorax };
        assert!(matches!(&error, ConfigError::Malformed { reason, .. } if *reason == worn_twice), "{error}");
    }

    #[test]
    fn a_strap_that_moves_keeps_its_alignment_and_leaves_its_old_place() {
        let mut config = Config::default();
        config.assign(Role::Pelvis, "AA", "strap", "ref-strap-v1");
        config.straps.get_mut(&Role::Pelvis).unwrap().alignment = Some(aligned("2026-01-01T00:00:00Z"));
        config.assign(Role::Thorax, "aa", "strap", "ref-strap-v1");
        assert_eq!(config.straps.keys().collect::<Vec<_>>(), [&Role::Thorax]);
        assert!(config.straps[&Role::Thorax].alignment.is_some());
        // Another layout has another latency.
        config.assign(Role::Thorax, "aa", "strap", "other");
        assert!(config.straps[&Role::Thorax].alignment.is_none());
    }

    #[test]
    fn alignments_of_different_actions_are_not_mixed() {
        let mut config = Config::default();
        for (role, id, at) in [
            (Role::Pelvis, "1", "2026-01-02T00:00:00Z"),
            (Role::Thorax, "2", "2026-01-02T00:00:00Z"),
            (Role::LeadArm, "3", "2026-01-01T00:00:00Z"),
        ] {
            config.assign(role, id, "", "p");
            config.straps.get_mut(&role).unwrap().alignment = Some(aligned(at));
        }
        assert_eq!(config.alignments().keys().collect::<Vec<_>>(), [&Role::Pelvis, &Role::Thorax]);
        config.straps.remove(&Role::Thorax);
        assert!(config.alignments().is_empty(), "one strap alone is aligned to nothing");
    }
}
