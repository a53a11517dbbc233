//! Whether the system's journal reads what this program writes.

/// Whether standard error is the journal's own stream, by what the service manager says of it (systemd.exec(5),
/// `JOURNAL_STREAM`: device and inode, with a colon between). A program that was started by a service, with standard error
/// sent elsewhere, still has the variable.
#[cfg(unix)]
pub fn is_journal() -> bool {
    use std::os::fd::AsFd as _;
    use std::os::unix::fs::MetadataExt as _;
    let Some(stream) = std::env::var("JOURNAL_STREAM").ok().filter(|s| !s.is_empty()) else { return false };
    let ours =
        std::io::stderr().as_fd().try_clone_to_owned().and_then(|fd| std::fs::File::from(fd).metadata());
    ours.is_ok_and(|stderr| same(&stream, stderr.dev(), stderr.ino()))
}

/// There is no journal here.
#[cfg(not(unix))]
pub fn is_journal() -> bool {
    false
}

#[cfg(unix)]
fn same(stream: &str, device: u64, inode: u64) -> bool {
    let numbers = stream.split_once(':').and_then(|(d, i)| Some((d.parse().ok()?, i.parse().ok()?)));
    numbers == Some((device, inode))
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn only_the_very_same_file_is_the_journal() {
        assert!(same("9:31415", 9, 31415));
        for other in ["9:31416", "8:31415", "9", "9:", ":31415", "9:31415:1", "nine:31415"] {
            assert!(!same(other, 9, 31415), "{other}");
        }
    }
}
