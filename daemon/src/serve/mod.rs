//! `peakorderd serve`: the coach's page and the API behind it.
//!
//! ```text
//! straps or virtual straps → source/ → engine → hub/   state and events, one lock
//!                                                → api/   JSON and event streams
//! library/     players and sessions on disk      → api/
//! page         the page's files, built in
//! access/      host, origin, rate and pairing: checks every request first
//! connections  TCP connections and their limits
//! ```
//!
//! Nobody who watches can hold up the recording: events go to bounded queues whose oldest
//! entries are lost first, and a lock is held only while memory is written.

pub mod access;
mod announce;
pub mod api;
mod api_error;
mod app_state;
mod compressed;
mod connection_slots;
mod connections;
pub mod hub;
pub mod lesson;
pub mod library;
mod metrics;
mod page;
mod past_lesson;
mod random;
mod remarks;
mod strap_setup;
mod tick;
pub mod tls;
mod told_folders;
mod toml_file;
mod viewers;
mod write_timeout;

use crate::service::ServiceManager;
use access::paired_devices::PairedDevices;
use access::pairing::{Pairing, PairingLinks};
use access::rate_limit::RateLimits;
use access::{AccessControl, terminal};
use announce::{Announced, Announcement};
use anyhow::{Context as _, bail};
use app_state::AppState;
use hub::Hub;
use lesson::{LessonControl, LessonSource, WhenEnded};
use library::Library;
use metrics::Metrics;
use peakorder_protocol::files;
use remarks::RemarkWriter;
use std::io::{self, ErrorKind};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use strap_setup::SetupControl;
use tick::tick;
use tls::{Encryption, Names, Tls};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, oneshot, watch};

/// Shortest passcode, characters. With the limit on guesses (one in half a minute for all
/// devices together) nobody can try enough of them; own judgement.
const PASSCODE_MIN: usize = 8;
const PASSCODE_MAX: usize = 256;

/// Past sessions that may be played at the same time; each takes a thread.
const PLAYBACKS: usize = 6;

/// How to serve.
#[derive(Debug, Clone)]
pub struct Options {
    /// Address to listen on.
    pub listen: SocketAddr,
    /// Library folder.
    pub library: PathBuf,
    /// Where lessons get their samples.
    pub source: LessonSource,
    /// Host names that requests may use besides this computer's addresses.
    pub allowed_hosts: Vec<String>,
    /// File with the passcode.
    pub passcode_file: Option<PathBuf>,
    /// How connections are encrypted.
    pub encryption: Encryption,
    /// Forget the paired devices: each has to pair again.
    pub forget_devices: bool,
    /// What runs after every lesson.
    pub when_ended: WhenEnded,
    /// The page is announced in the network, if other devices reach it.
    pub announce: bool,
}

/// A server that listens.
pub struct Server {
    listener: TcpListener,
    app: Arc<AppState>,
    close: watch::Sender<bool>,
    tls: Option<Tls>,
    announce: bool,
    /// Where it listens.
    pub at: SocketAddr,
    /// Links to pair devices with; `None` on a loopback address.
    pub links: Option<PairingLinks>,
}

impl Server {
    /// Opens the library and listens.
    pub async fn open(options: Options) -> anyhow::Result<Self> {
        let passcode = options.passcode_file.as_deref().map(passcode).transpose()?;
        let library = Arc::new(Library::open(&options.library)?);
        library.begin_reading();
        if options.forget_devices {
            PairedDevices::forget(&options.library).context("the paired devices could not be forgotten")?;
        }
        let secure = options.encryption != Encryption::Off;
        let (pairing, links) = if options.listen.ip().to_canonical().is_loopback() {
            if passcode.is_some() {
                bail!(
                    "--passcode-file is for addresses that other devices can reach; name one with --listen"
                );
            }
            (Pairing::open(), None)
        } else {
            let (pairing, links) = Pairing::paired(passcode, PairedDevices::open(&options.library), secure);
            (pairing, Some(links))
        };
        let listener =
            TcpListener::bind(options.listen).await.map_err(|why| cannot_listen(options.listen, why))?;
        let at = listener.local_addr().context("the listening address is not known")?;
        tracing::info!(%at, library = %options.library.display(), encrypted = secure, pairing = links.is_some(), "Listening.");
        let names = Names { at: terminal::reachable(at), hosts: &options.allowed_hosts };
        let tls = tls::open(&options.encryption, &options.library, &names)?;
        let invented = matches!(options.source, LessonSource::Virtual { .. });
        let hub = Arc::new(Hub::new(random::hex(8), invented));
        let straps = SetupControl::new(&options.source);
        let lessons =
            LessonControl::new(options.source, Arc::clone(&library), Arc::clone(&hub), options.when_ended);
        let access = Arc::new(AccessControl {
            allowed_hosts: options.allowed_hosts,
            announced: Arc::default(),
            pairing,
            rate_limits: RateLimits::default(),
        });
        let remarks = Arc::new(RemarkWriter::new(Arc::clone(&hub), Arc::clone(&library)));
        let (close, closing) = watch::channel(false);
        let app = Arc::new(AppState {
            hub,
            library,
            lessons,
            straps,
            access,
            remarks,
            metrics: Metrics::default(),
            viewers: Arc::default(),
            playbacks: Arc::new(Semaphore::new(PLAYBACKS)),
            closing,
        });
        let announce = options.announce && links.is_some();
        Ok(Self { listener, app, close, tls, announce, at, links })
    }

    /// The state that it shows.
    pub fn hub(&self) -> Arc<Hub> {
        Arc::clone(&self.app.hub)
    }

    /// Serves until `stop` is done, then ends the running lesson.
    pub async fn run(self, stop: impl Future<Output = ()>) {
        let Self { listener, app, close, tls, announce, at, .. } = self;
        let what = Announced { port: at.port(), encrypted: tls.is_some() };
        let mut manager = ServiceManager::of_environment();
        let (stopping, stop_told) = oneshot::channel();
        let assessing = tokio::spawn(assess(Arc::clone(&app.hub)));
        let router = api::router(Arc::clone(&app));
        let mut closing = app.closing.clone();
        let serving = tokio::spawn(connections::serve(listener, tls, router, async move {
            let _ = closing.wait_for(|c| *c).await;
        }));
        let announcement =
            announce.then(|| Announcement::start(what, Arc::clone(&app.access.announced))).flatten();
        manager.ready();
        let ticking = tokio::spawn(tick(Arc::clone(&app.hub), manager, stop_told));
        stop.await;
        tracing::info!("Stopping.");
        ServiceManager::stopping();
        // An error means that nobody ticks any more, which the service manager will notice.
        let _ = stopping.send(());
        if app.hub.running().is_some()
            && let Err(why) = app.lessons.end().await
        {
            tracing::warn!(%why, "The lesson did not end in time.");
        }
        if let Some(announcement) = announcement {
            announcement.end().await;
        }
        app.straps.stop().await;
        close.send_replace(true);
        // It only fails if it panicked, which has been reported.
        let _ = serving.await;
        ticking.abort();
        assessing.abort();
    }
}

/// Assesses swings as they come.
async fn assess(hub: Arc<Hub>) {
    loop {
        hub.unassessed().await;
        let hub = Arc::clone(&hub);
        if let Err(why) = tokio::task::spawn_blocking(move || hub.assess()).await {
            tracing::error!(%why, "Swings could not be compared with the baseline.");
        }
    }
}

fn cannot_listen(at: SocketAddr, why: io::Error) -> anyhow::Error {
    let do_what = match why.kind() {
        ErrorKind::AddrInUse => {
            "another program listens there; is peakorderd running already? --listen takes another port"
        }
        ErrorKind::AddrNotAvailable => {
            "this computer does not have that address; --listen 0.0.0.0:7311 takes all it has"
        }
        ErrorKind::PermissionDenied => "this user may not; take a port from 1024 on with --listen",
        _ => "--listen takes another",
    };
    anyhow::Error::new(why).context(format!("cannot listen on {at}: {do_what}"))
}

/// The passcode in `file`, which only its owner may read.
pub fn passcode(file: &Path) -> anyhow::Result<String> {
    let name = file.display();
    let meta = std::fs::metadata(file).with_context(|| format!("{name}"))?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        if meta.permissions().mode() & 0o077 != 0 {
            bail!("{name}: others can read the passcode; run: chmod 600 {name}");
        }
    }
    let text = files::read_text(file, 4096).with_context(|| format!("{name}"))?;
    let passcode = text.trim();
    if !(PASSCODE_MIN..=PASSCODE_MAX).contains(&passcode.chars().count()) {
        bail!("{name}: the passcode must have {PASSCODE_MIN} to {PASSCODE_MAX} characters");
    }
    Ok(passcode.to_owned())
}

/// The address to open in a browser, and the links where devices have to pair.
/// Codes to photograph are left out where nobody looks at a screen.
pub fn greeting(server: &Server, codes: bool) -> String {
    let scheme = if server.tls.is_some() { "https" } else { "http" };
    let page = format!("{scheme}://{}", terminal::reachable(server.at));
    let mut text = format!("{page}/");
    if let Some(tls) = &server.tls {
        text += "\n\nIts certificate's SHA-256 fingerprint, to compare with what the browser shows before you trust it:\n  ";
        text += tls.fingerprint();
    }
    if let Some(links) = &server.links {
        text += "\n\n";
        text += &terminal::links(&page, links, codes);
    }
    text
}
