//! From a swing's last sample to its numbers in the page, as one figure: printed, never
//! asserted. `cargo test -p peakorder-tests --test page delay -- --nocapture`
//!
//! Engine, board and server of the daemon run here as they do in `peakorderd serve`; the page is
//! in headless Chromium. Timed is, for every swing, from the batch of records that completes it
//! being handed to the engine to its headline and strip standing in the document: recording,
//! measuring, files, JSON, the stream, the page. Both ends read this machine's clock. Between
//! swings the page is waited for, as in a lesson, where seconds lie between them. How fast the
//! daemon's part alone is, `cargo bench -p peakorder-daemon --bench serve` tells.

use crate::common::{SOON, keep_what_is_shown, kept};
use peakorder_daemon::engine::Engine;
use peakorder_daemon::serve::board::book::Book;
use peakorder_daemon::serve::board::{Clock, Running};
use peakorder_daemon::serve::lesson::Kind;
use peakorder_daemon::serve::{Options, Server};
use peakorder_daemon::source::pace::Speed;
use peakorder_daemon::source::virtual_session::virtual_session;
use peakorder_daemon::virtual_straps::Script;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_tests::browser::{Browser, TABLET};
use std::time::{SystemTime, UNIX_EPOCH};

/// Lessons of 26 swings.
const LESSONS: u64 = 8;
/// Records in a batch: three straps' packets of one connection interval and a half.
const BATCH: usize = 4;

fn now_ms() -> f64 {
    SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64() * 1e3
}

#[test]
fn delay_from_the_last_sample_to_the_page() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .expect("the runtime starts");
    let server = runtime
        .block_on(Server::open(Options {
            listen: ([127, 0, 0, 1], 0).into(),
            library: home.path().join("library"),
            kind: Kind::Virtual { seed: 1, speed: Speed::Max },
            allowed_hosts: Vec::new(),
            passcode_file: None,
            forget_devices: false,
        }))
        .expect("it listens");
    let (at, board) = (server.at, server.board());
    runtime.spawn(server.run(std::future::pending()));
    browser.goto(&format!("http://{at}/#swing"));
    browser.sees("No lesson is running", SOON);

    let mut delays = Vec::new();
    for seed in 1..=LESSONS {
        let script = Script::lesson(seed);
        let id = format!("lesson-{seed}");
        let session = virtual_session(&script, &id, Player::default(), "2026-01-01T00:00:00Z");
        // Where the page asks for the curves.
        let dir =
            SessionDir::create(&home.path().join("library/sessions").join(&id), false).expect("a new folder");
        let mut engine = Engine::new(dir, session, true).expect("a valid session");
        let mut events = engine.watch();
        board.begin(Running::new(
            Book::new(&id, engine.session().clone(), None, "baseline"),
            Clock::OfRecords,
        ));
        browser.sees("No swing yet", SOON);
        keep_what_is_shown(&browser);
        let mut handed_ms = Vec::new();
        let records: Vec<_> = script.session().records().collect();
        for batch in records.chunks(BATCH) {
            let before = engine.pipeline().swings();
            let start = now_ms();
            engine.take(batch).expect("it records");
            board.seen(batch, &engine, &mut events);
            if engine.pipeline().swings() > before {
                handed_ms.push(start);
                let number = engine.pipeline().swings();
                browser.until(&format!("swing {number}"), &format!("return {number} in window.kept"), SOON);
            }
        }
        engine.finish().expect("it ends");
        for (number, shown) in kept(&browser) {
            delays.push(shown["at"].as_f64().expect("a time") - handed_ms[number as usize - 1]);
        }
        board.end(&mut events, None);
        browser.sees("No lesson is running", SOON);
    }
    assert!(delays.len() >= 200, "{} swings were seen as they came", delays.len());
    delays.sort_by(f64::total_cmp);
    let at = |share: f64| delays[((delays.len() - 1) as f64 * share).round() as usize];
    println!(
        "last sample in to numbers in the page: median {:.0} ms, p95 {:.0} ms, p99 {:.0} ms, largest {:.0} ms of {} swings",
        at(0.5),
        at(0.95),
        at(0.99),
        at(1.0),
        delays.len()
    );
}
