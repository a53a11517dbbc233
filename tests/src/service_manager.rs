//! A stand-in for the service manager: the socket that `NOTIFY_SOCKET` names, and what came in over it.

use std::os::unix::net::UnixDatagram;
use std::path::PathBuf;
use std::process::Command;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

type Heard = Arc<Mutex<Vec<(Instant, String)>>>;

/// Listens until the test ends.
pub struct FakeServiceManager {
    folder: tempfile::TempDir,
    heard: Heard,
}

impl FakeServiceManager {
    /// One that listens. `at_ready` runs the moment that a program says it is ready, before anything else is heard.
    ///
    /// # Panics
    /// Where no socket can be made.
    pub fn start(at_ready: impl Fn() + Send + 'static) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let socket = UnixDatagram::bind(folder.path().join("notify")).expect("a socket");
        let heard = Heard::default();
        let into = Arc::clone(&heard);
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(length) = socket.recv(&mut buffer) {
                let text = String::from_utf8_lossy(&buffer[..length]).into_owned();
                // One datagram may say several things, a line each (sd_notify(3)).
                for line in text.lines() {
                    if line == "READY=1" {
                        at_ready();
                    }
                    into.lock()
                        .unwrap_or_else(PoisonError::into_inner)
                        .push((Instant::now(), line.to_owned()));
                }
            }
        });
        Self { folder, heard }
    }

    /// Has `command` started by this manager, which wants to hear from it within `watchdog`.
    pub fn hears(&self, command: &mut Command, watchdog: Option<Duration>) {
        command.env("NOTIFY_SOCKET", self.socket());
        if let Some(interval) = watchdog {
            command.env("WATCHDOG_USEC", interval.as_micros().to_string());
        }
    }

    /// Where it listens.
    pub fn socket(&self) -> PathBuf {
        self.folder.path().join("notify")
    }

    /// Everything that came, with its time.
    pub fn heard(&self) -> Vec<(Instant, String)> {
        self.heard.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Everything that came and begins with `key=`, without that.
    pub fn said(&self, key: &str) -> Vec<String> {
        let of_key =
            |(_, line): (Instant, String)| Some(line.strip_prefix(key)?.strip_prefix('=')?.to_owned());
        self.heard().into_iter().filter_map(of_key).collect()
    }
}
