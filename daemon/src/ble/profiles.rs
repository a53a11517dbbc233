//! The known strap profiles: the built-in ones and the user's own.

use super::radio::Advert;
use peakorder_protocol::files;
use peakorder_protocol::profile::{Profile, ProfileError};
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
    problems: Vec<ProfileFileError>,
}

/// A profile's file cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("{}: {why}", path.display())]
pub struct ProfileFileError {
    /// The file.
    pub path: PathBuf,
    /// Why.
    pub why: Unusable,
}

/// Why a profile's file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum Unusable {
    /// Reading failed.
    #[error(transparent)]
    Io(#[from] std::io::Error),
    /// Not a profile.
    #[error(transparent)]
    Invalid(#[from] ProfileError),
    /// Another profile has the same id.
    #[error("id '{id}' is taken by {by} already; this file is not used")]
    IdTaken {
        /// The id.
        id: String,
        /// The file that has it.
        by: String,
    },
}

/// Reads and checks the profile at `path`.
pub fn read(path: &Path) -> Result<KnownProfile, ProfileFileError> {
    unnamed(path).map_err(|why| ProfileFileError { path: path.to_owned(), why })
}

fn unnamed(path: &Path) -> Result<KnownProfile, Unusable> {
    let text = files::read_text(path, LIMIT_BYTES)?;
    let profile = Profile::from_toml(&text)?;
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
                    Some(first) => {
                        let by = first.file.as_deref().unwrap_or(Path::new("a built-in profile"));
                        let why =
                            Unusable::IdTaken { id: own.profile.id().into(), by: by.display().to_string() };
                        profiles.problems.push(ProfileFileError { path: file, why });
                    }
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
    pub fn problems(&self) -> &[ProfileFileError] {
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
        let [b, c] = profiles.problems() else { panic!("{:?}", profiles.problems()) };
        assert!(b.path.ends_with("b.toml") && matches!(b.why, Unusable::IdTaken { .. }), "{b}");
        assert!(c.path.ends_with("c.toml") && matches!(c.why, Unusable::Invalid(_)), "{c}");
        let advert =
            Advert { services: vec![peakorder_protocol::packet::SERVICE_UUID.into()], ..Advert::default() };
        assert_eq!(profiles.fitting(&advert).unwrap().profile.name(), "Mine");
        assert!(profiles.fitting(&Advert { name: "headphones".into(), ..Advert::default() }).is_none());
    }
}
