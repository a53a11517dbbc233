//! How long a swing takes from its last sample to the bytes at a browser's socket.
//!
//! The invented lesson's records go through engine and board as in a live lesson, batch by
//! batch, while a client reads `/api/v1/events` over TCP. Timed is, for every swing, from
//! the batch that completes it being handed to the engine to its event being read whole:
//! recording, measuring, writing its files, JSON, the stream. Between swings the client is
//! waited for, as in a lesson, where seconds lie between them.

use peakorder_daemon::engine::Engine;
use peakorder_daemon::serve::board::book::Book;
use peakorder_daemon::serve::board::{Clock, Running};
use peakorder_daemon::serve::lesson::Kind;
use peakorder_daemon::serve::{Options, Server};
use peakorder_daemon::source::pace::Speed;
use peakorder_daemon::source::virtual_session::virtual_session;
use peakorder_daemon::virtual_straps::Script;
use peakorder_protocol::session::{Player, SessionDir};
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Lessons played; each has 26 swings.
const LESSONS: u64 = 8;
/// Records in a batch: three straps' packets of one connection interval and a half.
const BATCH: usize = 4;

fn percentile(sorted: &[Duration], share: f64) -> f64 {
    let at = ((sorted.len() - 1) as f64 * share).round() as usize;
    sorted[at].as_secs_f64() * 1e3
}

/// Reads the stream and reports when each swing's event was there.
fn reader(at: std::net::SocketAddr, arrived: &mpsc::Sender<Instant>) {
    let mut stream = TcpStream::connect(at).expect("it listens");
    write!(stream, "GET /api/v1/events HTTP/1.1\r\nHost: {at}\r\n\r\n").expect("it takes the request");
    let mut swing = false;
    for line in BufReader::new(stream).lines().map_while(Result::ok) {
        if line == "event: hello" {
            let _ = arrived.send(Instant::now());
        } else if line == "event: swing" {
            swing = true;
        } else if swing && line.starts_with("data:") {
            swing = false;
            if arrived.send(Instant::now()).is_err() {
                return;
            }
        }
    }
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the sessions");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .expect("the runtime starts");
    let server = runtime
        .block_on(Server::open(Options {
            listen: ([127, 0, 0, 1], 0).into(),
            library: folder.path().join("library"),
            kind: Kind::Virtual { seed: 1, speed: Speed::Max },
            allowed_hosts: Vec::new(),
            passcode_file: None,
            forget_devices: false,
        }))
        .expect("it listens");
    let (at, board) = (server.at, server.board());
    runtime.spawn(server.run(std::future::pending()));
    let (to, arrived) = mpsc::channel();
    std::thread::spawn(move || reader(at, &to));
    arrived.recv().expect("the stream begins");

    let mut took = Vec::new();
    for seed in 1..=LESSONS {
        let script = Script::lesson(seed);
        let id = format!("bench-{seed}");
        let session = virtual_session(&script, &id, Player::default(), "2026-01-01T00:00:00Z");
        let dir = SessionDir::create(&folder.path().join(&id), false).expect("a new folder");
        let mut engine = Engine::new(dir, session, true).expect("a valid session");
        let mut events = engine.watch();
        board.begin(Running::new(
            Book::new(&id, engine.session().clone(), None, "baseline"),
            Clock::OfRecords,
        ));
        let records: Vec<_> = script.session().records().collect();
        for batch in records.chunks(BATCH) {
            let before = engine.pipeline().swings();
            let start = Instant::now();
            engine.take(batch).expect("it records");
            board.seen(batch, &engine, &mut events);
            if engine.pipeline().swings() > before {
                took.push(arrived.recv_timeout(Duration::from_secs(10)).expect("the swing arrives") - start);
            }
        }
        engine.finish().expect("it ends");
        board.end(&mut events, None);
    }
    took.sort_unstable();
    println!(
        "last sample in to event at the client, {} swings: median {:.2} ms, p99 {:.2} ms, largest {:.2} ms",
        took.len(),
        percentile(&took, 0.5),
        percentile(&took, 0.99),
        percentile(&took, 1.0)
    );
}
