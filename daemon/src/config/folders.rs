//! Folders that the service manager gives a service.

use std::ffi::OsStr;
use std::path::PathBuf;

/// Set for services with `ConfigurationDirectory=`.
const CONFIGURATION: &str = "CONFIGURATION_DIRECTORY";
/// Set for services with `StateDirectory=`.
const STATE: &str = "STATE_DIRECTORY";

/// Where the service's configuration lies; it may be read only.
pub fn configuration() -> Option<PathBuf> {
    first(&std::env::var_os(CONFIGURATION)?)
}

/// Where the service keeps what it writes.
pub fn state() -> Option<PathBuf> {
    first(&std::env::var_os(STATE)?)
}

/// The first of several folders, which are separated by colons (systemd.exec(5), `ConfigurationDirectory=`). One that is not
/// absolute was not set by a service manager.
fn first(folders: &OsStr) -> Option<PathBuf> {
    std::env::split_paths(folders).next().filter(|folder| folder.is_absolute())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[cfg(unix)]
    fn the_first_of_several_folders_is_taken_and_none_that_is_not_absolute() {
        assert_eq!(first("/etc/a:/etc/b".as_ref()), Some("/etc/a".into()));
        assert_eq!(first("/var/lib/a b".as_ref()), Some("/var/lib/a b".into()));
        for none in ["", ":/etc/b", "relative"] {
            assert_eq!(first(none.as_ref()), None, "{none}");
        }
    }
}
