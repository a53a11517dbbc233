//! Announces the page in the local network (mDNS, DNS-SD), by the system's own service for that.
//!
//! On Linux this is Avahi, if it runs. Where there is none nothing is announced, and nothing else is different.

#[cfg(target_os = "linux")]
mod avahi;

use super::access::host::AnnouncedHost;
use std::sync::Arc;
use std::sync::mpsc::{Sender, channel};
use std::time::Duration;
use tokio::sync::oneshot;

/// The end waits so long for the announcement to be withdrawn; the system withdraws it as well when the program is gone.
const WITHDRAWING: Duration = Duration::from_secs(2);

/// What is announced.
#[derive(Debug, Clone, Copy)]
pub(super) struct Announced {
    /// Port of the page.
    pub(super) port: u16,
    /// Connections are encrypted.
    pub(super) encrypted: bool,
}

/// An announcement; withdrawn by [`Announcement::end`].
#[derive(Debug)]
pub(super) struct Announcement {
    stop: Sender<()>,
    done: oneshot::Receiver<()>,
}

impl Announcement {
    /// Announces on a thread of its own. The name by which others reach this computer then is put into `host`.
    pub(super) fn start(what: Announced, host: Arc<AnnouncedHost>) -> Option<Self> {
        let (stop, stopped) = channel();
        let (tell_done, done) = oneshot::channel();
        let thread = std::thread::Builder::new().name("announce".into()).spawn(move || {
            announce(what, &host, &stopped);
            // Nobody may wait for it any more.
            let _ = tell_done.send(());
        });
        match thread {
            Ok(_) => Some(Self { stop, done }),
            Err(error) => {
                tracing::warn!(%error, "The page cannot be announced.");
                None
            }
        }
    }

    /// Withdraws it.
    pub(super) async fn end(self) {
        drop(self.stop);
        let _ = tokio::time::timeout(WITHDRAWING, self.done).await;
    }
}

#[cfg(target_os = "linux")]
use avahi::announce;

#[cfg(not(target_os = "linux"))]
fn announce(_: Announced, _: &AnnouncedHost, _: &std::sync::mpsc::Receiver<()>) {}
