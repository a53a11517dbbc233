//! The known strap profiles: the built-in ones and the user's own.

use super::radio::Advert;
use peakorder_protocol::profile::Profile;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A profile is small; anything larger is something else.
const LIMIT_BYTES: u64 = 1 << 20;

/// One profile.
#[derive(Debug, Clone)]
pub struct KnownProfile {
    /// The checked profile.
    pub profile: Arc<Profile>,
    /// Its whole text.
    pub text: String,
    /// Where it was read; `None` for a built-in one.
    pub file: Option<PathBuf>,
}

/// All profiles, in the order in which they are tried.
#[derive(Debug, Default)]
pub struct Profiles {
    known: Vec<KnownProfile>,
    problems: Vec<String>,
}

/// Reads and checks the profile at `path`.
pub fn read(path: &Path) -> Result<KnownProfile, String> {
    let named = |problem: String| format!("{}: {problem}", path.display());
    let size = path.metadata().map_err(|e| named(e.to_string()))?.len();
    if size > LIMIT_BYTES {
        return Err(named(format!(
            "{size} bytes, more than the limit of {LIMIT_BYTES}; this is not a strap profile"
        )));
    }
    let text = std::fs::read_to_string(path).map_err(|e| named(e.to_string()))?;
    let profile = Profile::from_toml(&text).map_err(|e| named(e.to_string()))?;
    Ok(KnownProfile { profile: Arc::new(profile), text, file: Some(path.to_owned()) })
}

impl Profiles {
    /// The user's profiles in `dir` (which need not exist), then the built-in ones. A
    /// user's profile replaces a built-in one of the same id.
    pub fn load(dir: &Path) -> Self {
        let mut profiles = Self::default();
        let mut files: Vec<PathBuf> = std::fs::read_dir(dir)
            .map(|entries| entries.filter_map(|e| Some(e.ok()?.path())).collect())
            .unwrap_or_default();
        files.retain(|f| f.extension().is_some_and(|e| e == "toml"));
        files.sort();
        for file in files {
            match read(&file) {
                Ok(own) => match profiles.get(own.profile.id()) {
                    Some(first) => profiles.problems.push(format!(
                        "{}: id '{}' is taken by {} already; this file is not used",
                        file.display(),
                        own.profile.id(),
                        first.file.as_deref().unwrap_or(Path::new("a built-in profile")).display()
                    )),
                    None => profiles.known.push(own),
                },
                Err(problem) => profiles.problems.push(problem),
            }
        }
        for profile in Profile::all_builtin() {
            if profiles.get(profile.id()).is_none() {
                let text = Profile::builtin(profile.id()).unwrap_or_default().to_owned();
                profiles.known.push(KnownProfile { profile: Arc::new(profile), text, file: None });
            }
        }
        profiles
    }

    /// The profile `id`.
    pub fn get(&self, id: &str) -> Option<&KnownProfile> {
        self.known.iter().find(|s| s.profile.id() == id)
    }

    /// The first profile that fits what a device advertises.
    pub fn fitting(&self, advert: &Advert) -> Option<&KnownProfile> {
        self.known.iter().find(|s| {
            s.profile.matching().is_some_and(|m| {
                m.service.as_ref().is_some_and(|uuid| advert.services.iter().any(|s| s == uuid))
                    || m.name_prefix.as_ref().is_some_and(|p| advert.name.starts_with(p.as_str()))
                    || m.company_id.is_some_and(|c| advert.companies.contains(&c))
            })
        })
    }

    /// Every profile, in the order in which they are tried.
    pub fn all(&self) -> &[KnownProfile] {
        &self.known
    }

    /// Files that could not be used, and why.
    pub fn problems(&self) -> &[String] {
        &self.problems
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn own_profiles_come_first_and_bad_files_are_named() {
        let dir = tempfile::tempdir().unwrap();
        let text = Profile::builtin("ref-strap-v1").unwrap().replace("Open reference strap", "Mine");
        std::fs::write(dir.path().join("a.toml"), &text).unwrap();
        std::fs::write(dir.path().join("b.toml"), &text).unwrap();
        std::fs::write(dir.path().join("c.toml"), "nonsense").unwrap();
        std::fs::write(dir.path().join("readme.txt"), "nonsense").unwrap();
        let profiles = Profiles::load(dir.path());
        assert_eq!(profiles.get("ref-strap-v1").unwrap().profile.name(), "Mine");
        assert_eq!(profiles.problems().len(), 2);
        assert!(profiles.problems()[0].contains("b.toml") && profiles.problems()[1].contains("c.toml"));
        let advert =
            Advert { services: vec![peakorder_protocol::packet::SERVICE_UUID.into()], ..Advert::default() };
        assert_eq!(profiles.fitting(&advert).unwrap().profile.name(), "Mine");
        assert!(profiles.fitting(&Advert { name: "headphones".into(), ..Advert::default() }).is_none());
    }
}
