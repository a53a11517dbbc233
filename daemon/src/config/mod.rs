//! The configuration file: how the daemon serves, which strap is worn where, and what is known of it.
//!
//! ```toml
//! adapter = "hci0"                   # optional; the first one otherwise
//! state = "/var/lib/peakorder"       # optional; where the program keeps what it writes
//!
//! [serve]                            # all optional; docs/daemon.md has every key
//! listen = "0.0.0.0:7311"
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
//! names another; a folder `profiles` beside it holds strap profiles of one's own. The program never writes it: straps
//! that it assigns go to a file of their own ([`Config::save_straps`]).

pub mod folders;
mod serve;
mod straps;

pub use serve::ServeTable;
pub use straps::{Assigned, ClockAlignment, same_id};

use etcetera::BaseStrategy as _;
use peakorder_protocol::files;
use peakorder_protocol::{Role, toml_line};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Environment variable that names the configuration file.
pub const CONFIG_ENV: &str = "PEAKORDER_CONFIG";
/// Port of the live page on this computer.
pub const PAGE_PORT: u16 = 7311;
/// A configuration is small; anything larger is something else.
const LIMIT_BYTES: u64 = 1 << 20;

/// Contents of the configuration file.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Config {
    /// Bluetooth adapter to use, as the system names it; the first one if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub adapter: Option<String>,
    /// Folder for what the program writes; else the one that the service manager gives.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<PathBuf>,
    /// How the daemon serves.
    #[serde(default)]
    pub serve: ServeTable,
    /// Straps, by where they are worn.
    #[serde(default)]
    pub straps: BTreeMap<Role, Assigned>,
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
    /// A file that was named is not there.
    #[error("{}: there is no such configuration file; make it, or name another with --config", .0.display())]
    Absent(PathBuf),
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
    if let Some(folder) = folders::configuration() {
        return Ok(folder.join("config.toml"));
    }
    let base = etcetera::choose_base_strategy().map_err(|e| ConfigError::NoFolder(e.to_string()))?;
    Ok(base.config_dir().join("peakorder").join("config.toml"))
}

/// Folder of the user's own strap profiles that belongs to the configuration at `path`.
pub fn profiles_dir(path: &Path) -> PathBuf {
    path.parent().unwrap_or(Path::new(".")).join("profiles")
}

impl Config {
    /// Reads the file at `path`, where an absent one is an empty configuration, and the straps that the program has assigned
    /// since. Paths in it are absolute then.
    pub fn load(path: &Path) -> Result<Self, ConfigError> {
        let io = |source| ConfigError::Io { path: path.to_owned(), source };
        let malformed = |reason| ConfigError::Malformed { path: path.to_owned(), reason };
        let mut config = match files::read_text(path, LIMIT_BYTES) {
            Ok(text) => Self::from_toml(&text).map_err(malformed)?,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Self::default(),
            Err(e) => return Err(io(e)),
        };
        let whole = std::path::absolute(path).map_err(io)?;
        let folder = whole.parent().unwrap_or(Path::new("/"));
        config.serve.below(folder);
        config.state = config.state.map(|state| folder.join(state));
        if let Some(straps) = straps::read(&config.straps_path(path))? {
            config.straps = straps;
        }
        Ok(config)
    }

    /// Reads and checks a configuration's text.
    pub fn from_toml(text: &str) -> Result<Self, Malformed> {
        let config: Self = toml::from_str(text).map_err(|e| Malformed::Toml(toml_line::explain(text, &e)))?;
        check(&config.straps)?;
        Ok(config)
    }

    /// The configuration's text.
    pub fn to_toml(&self) -> Result<String, Malformed> {
        Ok(toml::to_string_pretty(self)?)
    }

    /// Folder for what the program writes, where there is one of its own.
    pub fn state_folder(&self) -> Option<PathBuf> {
        self.state.clone().or_else(folders::state)
    }
}

fn check(straps: &BTreeMap<Role, Assigned>) -> Result<(), Malformed> {
    for (role, strap) in straps {
        if let Some((other, _)) = straps.iter().find(|(r, s)| *r != role && same_id(&s.id, &strap.id)) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

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
    fn what_is_wrong_is_named_with_file_line_and_key() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("config.toml");
        let message = |text: &str| {
            fs::write(&path, text).unwrap();
            let said = Config::load(&path).unwrap_err().to_string();
            assert!(said.starts_with(&path.display().to_string()) && !said.contains('\n'), "{said}");
            said
        };
        let listen = message("[serve]\nannounce = true\nlisten = \"localhost:7311\"\n");
        assert!(listen.contains("line 3, column 10, key listen: no address with a port"), "{listen}");
        let announce = message("[serve]\nannounce = \"no\"\n");
        assert!(
            announce.contains("line 2, column 12, key announce: ") && announce.contains("boolean"),
            "{announce}"
        );
        let unknown = message("[serve]\nlisten_on = \"127.0.0.1:1\"\n");
        assert!(unknown.contains("line 2, column 1: unknown field `listen_on`"), "{unknown}");
    }

    #[test]
    fn paths_begin_at_the_configurations_folder() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("config.toml");
        fs::write(&path, "[serve]\nlibrary = \"lib\"\npasscode_file = \"/run/secret\"\n").unwrap();
        let serve = Config::load(&path).unwrap().serve;
        assert_eq!(serve.library, Some(dir.path().join("lib")));
        assert_eq!(serve.passcode_file, Some("/run/secret".into()));
    }
}
