//! The product's programs, built as the tests were and run as a user runs them.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// Folder with the programs. The first call in a process builds them, in the profile and
/// the target folder of the running test; cargo's own lock keeps processes apart.
fn folder() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let test = std::env::current_exe().expect("the running test has a path");
        // TARGET/PROFILE/deps/test-hash
        let profile = test.parent().and_then(Path::parent).expect("tests lie in PROFILE/deps").to_owned();
        let target = profile.parent().expect("a profile folder lies in the target folder");
        let name = profile.file_name().and_then(OsStr::to_str).unwrap_or("debug");
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| env!("CARGO").into());
        let mut build = Command::new(cargo);
        // The very build that the tests are part of, so that nothing is compiled anew.
        build.current_dir(workspace()).args(["test", "--quiet", "--workspace", "--no-run"]);
        if name != "debug" {
            build.args(["--profile", name]);
        }
        let out = build.arg("--target-dir").arg(target).output().expect("cargo starts");
        assert!(out.status.success(), "the programs do not build:\n{}", String::from_utf8_lossy(&out.stderr));
        profile
    })
}

/// The project's top folder.
pub fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the tests lie one folder down").to_owned()
}

/// `peakorderd`.
pub fn peakorderd() -> PathBuf {
    folder().join(format!("peakorderd{}", std::env::consts::EXE_SUFFIX))
}

/// `peakorder`.
pub fn peakorder() -> PathBuf {
    folder().join(format!("peakorder{}", std::env::consts::EXE_SUFFIX))
}

/// An example of one of the crates.
pub fn example(name: &str) -> PathBuf {
    folder().join("examples").join(format!("{name}{}", std::env::consts::EXE_SUFFIX))
}

/// What a finished program said.
#[derive(Debug, Clone)]
pub struct CommandOutput {
    /// Exit code; `None` when killed.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl CommandOutput {
    /// Of an output, which must be UTF-8.
    ///
    /// # Panics
    /// Where it is not.
    pub fn of(output: Output) -> Self {
        let text = |bytes| String::from_utf8(bytes).expect("programs print UTF-8");
        Self { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
    }

    /// Itself, if the program did its work.
    #[must_use]
    pub fn done(self) -> Self {
        assert_eq!(self.code, Some(0), "stdout:\n{}\nstderr:\n{}", self.out, self.err);
        self
    }

    /// The message, if the program failed as it should: exit code 1, one line on stderr,
    /// no panic.
    #[must_use]
    pub fn failed(self) -> String {
        assert_eq!(self.code, Some(1), "stdout:\n{}\nstderr:\n{}", self.out, self.err);
        assert!(!self.err.contains("panicked"), "{}", self.err);
        assert_eq!(self.err.trim_end().lines().count(), 1, "not one line:\n{}", self.err);
        self.err.trim_end().to_owned()
    }

    /// Asserts that the program refused its command line (exit code 2) and said how to go on.
    pub fn refused(self) -> String {
        assert_eq!(self.code, Some(2), "stdout:\n{}\nstderr:\n{}", self.out, self.err);
        assert!(!self.err.is_empty() && !self.err.contains("panicked"), "{}", self.err);
        self.err
    }
}

/// Runs a program to its end, without colour and with a known width.
pub fn run<I, S>(program: &Path, arguments: I) -> CommandOutput
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    let mut command = Command::new(program);
    command.args(arguments).env("NO_COLOR", "1").env("COLUMNS", "100").env_remove("PEAKORDER_LOG");
    CommandOutput::of(command.output().expect("the program starts"))
}

/// Runs a program that must end by itself within `limit` and in 2 GB of address space; one that waits
/// for ever or takes memory without end fails the test instead of the computer.
#[cfg(unix)]
pub fn run_within<I, S>(limit: std::time::Duration, program: &Path, arguments: I) -> CommandOutput
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    use std::process::Stdio;
    let mut child = Command::new("sh")
        .args(["-c", "ulimit -v 2000000; exec \"$0\" \"$@\""])
        .arg(program)
        .args(arguments)
        .env("NO_COLOR", "1")
        .env("COLUMNS", "100")
        .env_remove("PEAKORDER_LOG")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let id = child.id();
    let (done, ended) = std::sync::mpsc::channel();
    let reader = std::thread::spawn(move || {
        let (out, err) = (child.stdout.take(), child.stderr.take());
        let read = |from: Option<Box<dyn std::io::Read + Send>>| {
            let mut bytes = Vec::new();
            std::io::Read::read_to_end(&mut from.expect("it is piped"), &mut bytes).expect("a pipe");
            bytes
        };
        let err = std::thread::spawn(move || read(err.map(|e| Box::new(e) as _)));
        let stdout = read(out.map(|o| Box::new(o) as _));
        let status = child.wait().expect("it can be waited for");
        let _ = done.send(());
        Output { status, stdout, stderr: err.join().expect("it reads") }
    });
    let in_time = ended.recv_timeout(limit).is_ok();
    if !in_time {
        let _ = Command::new("kill").args(["-9", &id.to_string()]).status();
    }
    let output = CommandOutput::of(reader.join().expect("it reads"));
    assert!(in_time, "it had not ended after {limit:?}; stderr: {}", output.err);
    output
}

/// Runs `peakorderd`.
pub fn daemon<I, S>(arguments: I) -> CommandOutput
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    run(&peakorderd(), arguments)
}

/// Runs `peakorder`.
pub fn analysis<I, S>(arguments: I) -> CommandOutput
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    run(&peakorder(), arguments)
}
