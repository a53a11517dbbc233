//! Invented lessons played batch by batch through engine, hub and server of this process, as
//! `peakorderd serve` does it, with what is timed told to the caller. The browser tests measure
//! with it too.

use peakorder_daemon::engine::{Engine, Recording};
use peakorder_daemon::serve::hub::lesson_state::LessonState;
use peakorder_daemon::serve::hub::{Hub, LessonClock, RunningLesson};
use peakorder_daemon::serve::lesson::{LessonSource, WhenEnded};
use peakorder_daemon::serve::{Options, Server};
use peakorder_daemon::source::pace::Speed;
use peakorder_protocol::log::Record;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_virtual_straps::Script;
use peakorder_virtual_straps::virtual_session;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Instant;

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
                announce: false,
                when_ended: WhenEnded::default(),
            }))
            .expect("it listens");
        let (at, hub) = (server.at, server.hub());
        runtime.spawn(server.run(std::future::pending()));
        Self { at, hub, library, _runtime: runtime }
    }

    /// Plays a lesson. `begun` is called when it stands on the hub; `swing` for each swing,
    /// with its number and the moment when the batch that completes it was handed over.
    pub(crate) fn lesson(&self, seed: u64, begun: impl FnOnce(), mut swing: impl FnMut(u32, Instant)) {
        let mut before = 0;
        self.batches(
            &format!("lesson-{seed}"),
            seed,
            begun,
            |_| {},
            |_, start, swings| {
                if swings > before {
                    swing(swings, start);
                }
                before = swings;
            },
        );
    }

    /// Plays it as session `id`. `due` is called before each batch with the time of its newest record, s, and may wait;
    /// `done` after it, with that time, when the batch was handed over, and how many swings there are.
    pub(crate) fn batches(
        &self,
        id: &str,
        seed: u64,
        begun: impl FnOnce(),
        mut due: impl FnMut(f64),
        mut done: impl FnMut(f64, Instant, u32),
    ) {
        let script = Script::lesson(seed);
        let session = virtual_session(&script, id, Player::default(), "2026-01-01T00:00:00Z");
        let folder = self.library.path().join("sessions").join(id);
        let dir = SessionDir::create(&folder, false).expect("a new folder");
        let mut engine = Engine::new(dir, session, Recording::Unpaced).expect("a valid session");
        let mut events = engine.watch();
        self.hub.begin(RunningLesson::new(
            LessonState::new(id, engine.session().clone(), None, "baseline"),
            LessonClock::LatestRecord,
        ));
        begun();
        let records: Vec<_> = script.session().records().collect();
        for batch in records.chunks(BATCH) {
            let newest_s = batch.iter().map(Record::t_ns).max().unwrap_or(0) as f64 * 1e-9;
            due(newest_s);
            let start = Instant::now();
            engine.push(batch);
            self.hub.update(batch, engine.computation(), &mut events);
            done(newest_s, start, engine.pipeline().swings());
        }
        engine.finish().expect("it ends");
        self.hub.end(&mut events, None);
    }

    /// The folder of a session that was played.
    #[allow(dead_code, reason = "not every user looks at the files")]
    pub(crate) fn folder(&self, id: &str) -> std::path::PathBuf {
        self.library.path().join("sessions").join(id)
    }

    /// What the coach says of the running session `id`.
    #[allow(dead_code, reason = "not every user has a target")]
    pub(crate) fn set_remarks(&self, id: &str, remarks: peakorder_protocol::remark::Remarks) {
        self.hub.set_remarks(id, remarks);
    }
}
