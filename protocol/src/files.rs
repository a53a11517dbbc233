//! Files as this project reads and writes them. Every reader of data opens its files here: only
//! regular ones, and never more bytes than the format can have. What is written is never seen half
//! by a reader, a crash or a power cut.

use std::fs::{self, File, FileType, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

/// Why the content of a path is not read; the cause inside an [`io::Error`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotRead {
    /// Reading it might wait for ever, or never end.
    #[error("it is {0}, not a regular file; name a regular file")]
    NotRegular(PathKind),
    /// Longer than any file of its kind.
    #[error(
        "it has more than {limit_bytes} bytes, the most that a file of its kind can have; it is something else"
    )]
    TooLarge {
        /// The most that is read.
        limit_bytes: u64,
    },
}

/// What a path names that is no regular file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PathKind {
    /// A folder.
    Folder,
    /// A named pipe, or one that a shell made.
    Pipe,
    /// A socket.
    Socket,
    /// A device.
    Device,
    /// Anything else.
    Other,
}

impl std::fmt::Display for PathKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Folder => "a folder",
            Self::Pipe => "a pipe",
            Self::Socket => "a socket",
            Self::Device => "a device",
            Self::Other => "something else",
        })
    }
}

impl From<NotRead> for io::Error {
    fn from(why: NotRead) -> Self {
        Self::new(io::ErrorKind::InvalidInput, why)
    }
}

/// Opens a regular file (links are followed) for reading. A pipe or a device is refused at once.
pub fn open(path: &Path) -> io::Result<File> {
    open_regular(path, OpenOptions::new().read(true))
}

/// Opens `path` with `options`; if it is there, it must be a regular file.
pub fn open_regular(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    // Looked at before as well, for opening a device can already do something.
    match fs::metadata(path) {
        Ok(meta) => refuse_if_not_regular(meta.file_type())?,
        Err(e) if e.kind() == io::ErrorKind::NotFound => {}
        Err(e) => return Err(e),
    }
    let file = without_waiting(options).open(path)?;
    refuse_if_not_regular(file.metadata()?.file_type())?;
    Ok(file)
}

/// Opening a pipe would wait for somebody at its other end.
#[cfg(unix)]
fn without_waiting(options: &mut OpenOptions) -> &mut OpenOptions {
    use std::os::unix::fs::OpenOptionsExt as _;
    options.custom_flags(libc::O_NONBLOCK)
}

#[cfg(not(unix))]
fn without_waiting(options: &mut OpenOptions) -> &mut OpenOptions {
    options
}

fn refuse_if_not_regular(kind: FileType) -> io::Result<()> {
    if kind.is_file() { Ok(()) } else { Err(NotRead::NotRegular(kind_of(kind)).into()) }
}

#[cfg(unix)]
fn kind_of(kind: FileType) -> PathKind {
    use std::os::unix::fs::FileTypeExt as _;
    if kind.is_dir() {
        PathKind::Folder
    } else if kind.is_fifo() {
        PathKind::Pipe
    } else if kind.is_socket() {
        PathKind::Socket
    } else if kind.is_char_device() || kind.is_block_device() {
        PathKind::Device
    } else {
        PathKind::Other
    }
}

#[cfg(not(unix))]
fn kind_of(kind: FileType) -> PathKind {
    if kind.is_dir() { PathKind::Folder } else { PathKind::Other }
}

/// Reads a regular file of at most `limit_bytes`. The limit holds while it is read, whatever length
/// the file says it has.
pub fn read(path: &Path, limit_bytes: u64) -> io::Result<Vec<u8>> {
    read_open(&mut open(path)?, limit_bytes)
}

/// Reads the rest of a file that [`open`] or [`open_regular`] opened, at most `limit_bytes`.
pub fn read_open(file: &mut File, limit_bytes: u64) -> io::Result<Vec<u8>> {
    let says = file.metadata()?.len();
    let too_large = NotRead::TooLarge { limit_bytes };
    if says > limit_bytes {
        return Err(too_large.into());
    }
    let mut bytes = Vec::with_capacity(says as usize);
    file.take(limit_bytes + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > limit_bytes { Err(too_large.into()) } else { Ok(bytes) }
}

/// Reads a regular file of at most `limit_bytes` as UTF-8.
pub fn read_text(path: &Path, limit_bytes: u64) -> io::Result<String> {
    String::from_utf8(read(path, limit_bytes)?).map_err(|e| {
        let at = e.utf8_error().valid_up_to();
        io::Error::new(
            io::ErrorKind::InvalidData,
            format!("byte {at} is not UTF-8 text; the file is damaged"),
        )
    })
}

/// How long a file must outlive the writing of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lasting {
    /// On the disk before the call returns: it exists nowhere else.
    Synced,
    /// When the system gets to it: it can be computed again.
    Recomputable,
}

/// Replaces the file at `path` by `bytes`, whole or not at all: written beside it and
/// renamed. The file is readable by its owner only; what peakorder writes is about people.
pub fn replace(path: &Path, bytes: &[u8], lasting: Lasting) -> io::Result<()> {
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    let part = PathBuf::from(name);
    // What an earlier try left there, or a link or pipe of somebody else's.
    match fs::remove_file(&part) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
        _ => {}
    }
    let mut file = private_file(&part, OpenOptions::new().write(true).create_new(true))?;
    file.write_all(bytes)?;
    if lasting == Lasting::Synced {
        file.sync_all()?;
    }
    drop(file);
    fs::rename(&part, path)?;
    if lasting == Lasting::Synced {
        sync_folder_of(path)?;
    }
    Ok(())
}

/// A rename lasts once its folder is on the disk; only Unix can be asked for that.
#[cfg(unix)]
fn sync_folder_of(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder_of(_: &Path) -> io::Result<()> {
    Ok(())
}

/// Creates a folder and those above it, for their owner only. Their names survive a power cut.
#[cfg(unix)]
pub fn private_dir(path: &Path) -> io::Result<()> {
    use std::os::unix::fs::DirBuilderExt as _;
    let new: Vec<&Path> = path.ancestors().take_while(|a| !a.as_os_str().is_empty() && !a.exists()).collect();
    fs::DirBuilder::new().recursive(true).mode(0o700).create(path)?;
    for folder in new {
        // Best effort: some file systems cannot sync a folder.
        sync_folder_of(folder).unwrap_or(());
    }
    Ok(())
}

/// Creates a folder and those above it.
#[cfg(not(unix))]
pub fn private_dir(path: &Path) -> io::Result<()> {
    fs::create_dir_all(path)
}

/// As [`open_regular`]; a new file is readable by its owner only.
pub fn open_private(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(options, 0o600);
    open_regular(path, options)
}

/// Opens `path` for writing, readable by its owner only.
#[cfg(unix)]
pub fn private_file(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    use std::os::unix::fs::OpenOptionsExt as _;
    options.mode(0o600).open(path)
}

/// Opens `path` for writing.
#[cfg(not(unix))]
pub fn private_file(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    options.open(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_an_error_leaves_the_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f");
        for lasting in [Lasting::Recomputable, Lasting::Synced] {
            replace(&path, b"old, and longer", lasting).unwrap();
            replace(&path, b"new", lasting).unwrap();
            assert_eq!(fs::read(&path).unwrap(), b"new");
            assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
        }
        // The place beside it is taken: nothing can be written there.
        fs::create_dir(folder.path().join("f.part")).unwrap();
        assert!(replace(&path, b"newer", Lasting::Synced).is_err());
        assert_eq!(fs::read(&path).unwrap(), b"new");
    }

    #[cfg(unix)]
    #[test]
    fn only_regular_files_are_opened_and_no_more_is_read_than_the_limit() {
        let why = |e: io::Error| *e.get_ref().and_then(|e| e.downcast_ref::<NotRead>()).expect("a cause");
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe");
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let socket = folder.path().join("socket");
        let _listening = std::os::unix::net::UnixListener::bind(&socket).unwrap();
        for (path, kind) in [
            (pipe.as_path(), PathKind::Pipe),
            (&socket, PathKind::Socket),
            (Path::new("/dev/zero"), PathKind::Device),
            (folder.path(), PathKind::Folder),
        ] {
            assert_eq!(why(read(path, 10).unwrap_err()), NotRead::NotRegular(kind), "{}", path.display());
        }
        let path = folder.path().join("f");
        fs::write(&path, b"0123456789").unwrap();
        assert_eq!(read(&path, 10).unwrap(), b"0123456789");
        assert_eq!(why(read(&path, 9).unwrap_err()), NotRead::TooLarge { limit_bytes: 9 });
        // A file that is longer than it says: those of /proc say 0.
        assert_eq!(
            why(read(Path::new("/proc/self/maps"), 99).unwrap_err()),
            NotRead::TooLarge { limit_bytes: 99 }
        );
        // A pipe where the new content is prepared does not hold up the writing.
        assert!(
            std::process::Command::new("mkfifo")
                .arg(folder.path().join("f.part"))
                .status()
                .unwrap()
                .success()
        );
        replace(&path, b"new", Lasting::Synced).unwrap();
        assert_eq!(read_text(&path, 10).unwrap(), "new");
    }

    #[cfg(unix)]
    #[test]
    fn what_is_written_is_its_owners_only() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f");
        replace(&path, b"x", Lasting::Synced).unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    }
}
