//! How long a swing takes from its last sample to the bytes at a browser's socket.
//!
//! The invented lesson's records go through engine and hub as in a live lesson, batch by
//! batch, while a client reads `/api/v1/events` over TCP. Timed is, for every swing, from
//! the batch that completes it being handed to the engine to its event being read whole:
//! recording, measuring, writing its files, JSON, the stream. Between swings the client is
//! waited for, as in a lesson, where seconds lie between them.
//!
//! Then how long the recording can wait for the lock of the state while a lesson is long, and how
//! much work is done outside that lock.

mod long_lesson;
mod played;

use played::Played;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Lessons played; each has 26 swings.
const LESSONS: u64 = 8;

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
    let played = Played::open();
    let at = played.at;
    let (to, arrived) = mpsc::channel();
    std::thread::spawn(move || reader(at, &to));
    arrived.recv().expect("the stream begins");

    let mut took = Vec::new();
    for seed in 1..=LESSONS {
        played.lesson(
            seed,
            || {},
            |_, start| {
                took.push(arrived.recv_timeout(Duration::from_secs(10)).expect("the swing arrives") - start);
            },
        );
    }
    took.sort_unstable();
    println!(
        "last sample in to event at the client, {} swings: median {:.2} ms, p99 {:.2} ms, largest {:.2} ms",
        took.len(),
        percentile(&took, 0.5),
        percentile(&took, 0.99),
        percentile(&took, 1.0)
    );
    long_lesson::measure();
}
