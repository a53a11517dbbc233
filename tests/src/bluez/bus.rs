//! A private message bus.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use tokio::runtime::{Builder, Runtime};

/// What a stand-in on a bus runs on, apart from the test.
///
/// # Panics
/// Where it does not start.
pub fn runtime() -> Runtime {
    Builder::new_multi_thread().worker_threads(1).enable_all().build().expect("a runtime for the stand-in")
}

/// A `dbus-daemon` of one test's own; ends with it.
#[derive(Debug)]
pub struct Bus {
    process: Child,
    folder: tempfile::TempDir,
}

impl Bus {
    /// Starts one. `None`, loudly, on a machine without `dbus-daemon`; in CI that is a failure.
    pub fn start() -> Option<Self> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let socket = folder.path().join("bus");
        let conf = folder.path().join("bus.conf");
        // The type and the open policy make it pass for the system bus.
        let text = format!(
            "<!DOCTYPE busconfig PUBLIC \"-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN\" \
             \"http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd\">\n\
             <busconfig><type>system</type><listen>unix:path={}</listen><auth>EXTERNAL</auth>\
             <policy context=\"default\"><allow user=\"*\"/><allow own=\"*\"/><allow send_destination=\"*\"/>\
             <allow send_type=\"method_call\"/><allow receive_sender=\"*\"/></policy></busconfig>",
            socket.display()
        );
        std::fs::write(&conf, text).expect("the bus is configured");
        let started = Command::new("dbus-daemon")
            .arg(format!("--config-file={}", conf.display()))
            .args(["--nofork", "--nopidfile", "--print-address=1"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let mut process = match started {
            Ok(process) => process,
            Err(error) => {
                assert!(
                    std::env::var_os("CI").is_none_or(|v| v != "true"),
                    "dbus-daemon does not start ({error}); CI must have it: apt-get install dbus-daemon"
                );
                eprintln!(
                    "SKIPPED: no dbus-daemon ({error}); apt-get install dbus-daemon to run the Bluetooth tests"
                );
                return None;
            }
        };
        // The address is printed when the bus listens; its socket file is there a little earlier.
        let mut address = String::new();
        let read = BufReader::new(process.stdout.take().expect("piped")).read_line(&mut address);
        assert!(matches!(read, Ok(1..)), "dbus-daemon ended before it listened: {read:?}");
        Some(Self { process, folder })
    }

    /// Value of `DBUS_SYSTEM_BUS_ADDRESS`.
    pub fn address(&self) -> String {
        format!("unix:path={}", self.folder.path().join("bus").display())
    }

    /// A folder that lasts as long as the bus.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Path of a file in that folder.
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}

impl Bus {
    pub(super) fn kill(&mut self) {
        // It may have ended by itself.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

impl Drop for Bus {
    fn drop(&mut self) {
        self.kill();
    }
}
