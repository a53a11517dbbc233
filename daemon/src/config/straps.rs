//! Which strap is worn where: the part of the configuration that the program writes itself.
//!
//! What an operator has written is never written over, and a service may not be able to. So assignments and
//! alignments go to a file of their own. It has all of them: once it is there, the table `[straps]` of the configuration
//! file, from which the first one was made, is not used any more.

use super::{Config, ConfigError, LIMIT_BYTES, Malformed, check};
use peakorder_protocol::files::{self, Lasting};
use peakorder_protocol::{Role, toml_line};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Name of the file in a state folder.
const IN_STATE: &str = "straps.toml";
/// Its ending beside a configuration file.
const BESIDE: &str = "straps.toml";

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

/// Contents of the file.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct StrapsFile {
    #[serde(default)]
    straps: BTreeMap<Role, Assigned>,
}

/// The straps of the file at `path`; `None` if it is not there.
pub(super) fn read(path: &Path) -> Result<Option<BTreeMap<Role, Assigned>>, ConfigError> {
    let malformed = |reason| ConfigError::Malformed { path: path.to_owned(), reason };
    let text = match files::read_text(path, LIMIT_BYTES) {
        Ok(text) => text,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
        Err(source) => return Err(ConfigError::Io { path: path.to_owned(), source }),
    };
    let file: StrapsFile =
        toml::from_str(&text).map_err(|e| malformed(Malformed::Toml(toml_line::explain(&text, &e))))?;
    check(&file.straps).map_err(malformed)?;
    Ok(Some(file.straps))
}

impl Config {
    /// Where the assignments of the configuration at `path` are written: in the folder that `state` or the service manager
    /// names, else beside the configuration.
    pub fn straps_path(&self, path: &Path) -> PathBuf {
        match self.state_folder() {
            Some(folder) => folder.join(IN_STATE),
            None => path.with_extension(BESIDE),
        }
    }

    /// Writes the assignments of the configuration at `path`, whole or not at all, with their folder.
    pub fn save_straps(&self, path: &Path) -> Result<(), ConfigError> {
        let path = &self.straps_path(path);
        let io = |source| ConfigError::Io { path: path.clone(), source };
        if let Some(dir) = path.parent().filter(|d| !d.as_os_str().is_empty()) {
            fs::create_dir_all(dir).map_err(io)?;
        }
        let file = StrapsFile { straps: self.straps.clone() };
        let text = toml::to_string_pretty(&file)
            .map_err(|why| ConfigError::Malformed { path: path.clone(), reason: why.into() })?;
        let text = format!("# Written by peakorderd: which strap is worn where.\n{text}");
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
    fn what_is_saved_is_read_back_and_the_operators_file_stays_as_it_is() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("deep").join("config.toml");
        assert_eq!(
            Config::load(&path).unwrap(),
            Config::default(),
            "an absent file is an empty configuration"
        );
        let mut config = Config::default();
        config.assign(Role::LeadArm, "AA:00", "strap", "ref-strap-v1");
        config.straps.get_mut(&Role::LeadArm).unwrap().alignment = Some(aligned("2026-01-01T00:00:00Z"));
        config.save_straps(&path).unwrap();
        assert_eq!(Config::load(&path).unwrap(), config);
        assert!(!path.exists());

        let by_hand = "# Bay 2.\n[straps.pelvis]\nid = \"BB\"\nprofile = \"ref-strap-v1\"\n";
        let path = dir.path().join("bay.toml");
        fs::write(&path, by_hand).unwrap();
        let mut config = Config::load(&path).unwrap();
        assert_eq!(config.straps[&Role::Pelvis].id, "BB");
        config.straps.remove(&Role::Pelvis);
        config.save_straps(&path).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), by_hand);
        assert!(
            Config::load(&path).unwrap().straps.is_empty(),
            "a strap that was forgotten does not come back"
        );
        assert!(dir.path().join("bay.straps.toml").exists());
    }

    #[test]
    fn a_state_folder_takes_what_is_written() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("config.toml");
        fs::write(&path, "state = \"lib\"\n").unwrap();
        let mut config = Config::load(&path).unwrap();
        config.assign(Role::Thorax, "AA", "", "ref-strap-v1");
        config.save_straps(&path).unwrap();
        assert!(dir.path().join("lib/straps.toml").exists(), "below the configuration's folder");
        assert_eq!(Config::load(&path).unwrap(), config);
        fs::write(dir.path().join("lib/straps.toml"), "[straps.thorax]\nid = 1\n").unwrap();
        let why = Config::load(&path).unwrap_err().to_string();
        assert!(why.contains("straps.toml: line 2, column 6, key id: "), "{why}");
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
