//! Invented lessons played batch by batch through engine, hub and server of this process, as
//! `peakorderd serve` does it, with what is timed told to the caller. The browser tests measure
//! with it too.

use peakorder_daemon::engine::{Engine, Recording};
use peakorder_daemon::serve::hub::lesson_state::LessonState;
use peakorder_daemon::serve::hub::{Hub, LessonClock, RunningLesson};
use peakorder_daemon::serve::lesson::LessonSource;
use peakorder_daemon::serve::{Options, Server};
use peakorder_daemon::source::pace::Speed;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_virtual_straps::Script;
use peakorder_virtual_straps::virtual_session;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Instant;

/// Lessons played; each has 26 swings.
pub(crate) const LESSONS: u64 = 8;
/// Records in a batch: three straps' packets of one connection interval and a half.
const BATCH: usize = 4;

/// A server in this process.
pub(crate) struct Played {
    /// Where it listens.
    pub(crate) at: SocketAddr,
    hub: Arc<Hub>,
    library: tempfile::TempDir,
    _runtime: tokio::runtime::Runtime,
}

impl Played {
    pub(crate) fn open() -> Self {
        let library = tempfile::tempdir().expect("a folder for the sessions");
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .expect("the runtime starts");
        let server = runtime
            .block_on(Server::open(Options {
                listen: ([127, 0, 0, 1], 0).into(),
                library: library.path().to_owned(),
                source: LessonSource::Virtual { seed: 1, speed: Speed::Max },
                allowed_hosts: Vec::new(),
                passcode_file: None,
                encryption: peakorder_daemon::serve::tls::Encryption::Off,
                forget_devices: false,
            }))
            .expect("it listens");
        let (at, hub) = (server.at, server.hub());
        runtime.spawn(server.run(std::future::pending()));
        Self { at, hub, library, _runtime: runtime }
    }

    /// Plays a lesson. `begun` is called when it stands on the hub; `swing` for each swing,
    /// with its number and the moment when the batch that completes it was handed over.
    pub(crate) fn lesson(&self, seed: u64, begun: impl FnOnce(), mut swing: impl FnMut(u32, Instant)) {
        let script = Script::lesson(seed);
        let id = format!("lesson-{seed}");
        let session = virtual_session(&script, &id, Player::default(), "2026-01-01T00:00:00Z");
        let folder = self.library.path().join("sessions").join(&id);
        let dir = SessionDir::create(&folder, false).expect("a new folder");
        let mut engine = Engine::new(dir, session, Recording::Unpaced).expect("a valid session");
        let mut events = engine.watch();
        self.hub.begin(RunningLesson::new(
            LessonState::new(&id, engine.session().clone(), None, "baseline"),
            LessonClock::LatestRecord,
        ));
        begun();
        let records: Vec<_> = script.session().records().collect();
        for batch in records.chunks(BATCH) {
            let before = engine.pipeline().swings();
            let start = Instant::now();
            engine.push(batch);
            self.hub.update(batch, engine.computation(), &mut events);
            if engine.pipeline().swings() > before {
                swing(engine.pipeline().swings(), start);
            }
        }
        engine.finish().expect("it ends");
        self.hub.end(&mut events, None);
    }
}
