//! What is in a recording: notifications and samples by strap, how long it is, what was marked, and what is damaged.
//!
//! ```text
//! cargo run -p peakorder-protocol --example read_log -- SESSION
//! ```
//!
//! SESSION is a session folder; its `session.toml` has the profiles that the bytes of `samples.log` are decoded by.

use peakorder_protocol::Role;
use peakorder_protocol::log::{LogReader, Record};
use peakorder_protocol::profile::{Decoded, Decoder, Profile};
use peakorder_protocol::session::SessionDir;
use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;
use std::process::ExitCode;

/// What came of one strap.
struct Seen {
    decoder: Decoder,
    notifications: usize,
    samples: usize,
    undecoded: usize,
    first_s: f64,
    last_s: f64,
}

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("read_log: {e}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("usage: read_log SESSION, a session folder")?;
    let (dir, session) = SessionDir::open(Path::new(&folder))?;
    let mut straps: BTreeMap<Role, Seen> = BTreeMap::new();
    for (role, strap) in &session.straps {
        let decoder = Decoder::new(&Profile::from_toml(&strap.profile_toml)?);
        let (first_s, last_s) = (f64::INFINITY, 0.0);
        straps.insert(*role, Seen { decoder, notifications: 0, samples: 0, undecoded: 0, first_s, last_s });
    }
    let (mut marks, mut end_s) = (Vec::new(), 0.0_f64);
    let mut log = LogReader::open(&dir.log_path())?;
    let (mut batch, mut decoded) = (Vec::new(), Decoded::default());
    while log.next_batch(&mut batch)? {
        for record in &batch {
            let t_s = record.t_ns() as f64 * 1e-9;
            end_s = end_s.max(t_s);
            match record {
                Record::Mark(mark) => marks.push(format!("{t_s:8.3} s  {} {}", mark.kind, mark.detail)),
                Record::Strap(_) => {}
                Record::Arrival(a) => {
                    let Some(seen) = straps.get_mut(&a.role) else { continue };
                    seen.notifications += 1;
                    // What could be decoded is there even when something could not.
                    seen.undecoded +=
                        usize::from(seen.decoder.decode(a.channel, &a.bytes, &mut decoded).is_err());
                    seen.samples += decoded.samples.len();
                    (seen.first_s, seen.last_s) = (seen.first_s.min(t_s), t_s);
                }
            }
        }
    }
    println!("session {}, {end_s:.3} s", session.id);
    for (role, s) in &straps {
        let span = format!("{:.3} to {:.3} s", s.first_s, s.last_s);
        let Seen { notifications, samples, undecoded, .. } = s;
        println!("{role}: {notifications} notifications, {samples} samples, {undecoded} not decoded, {span}");
    }
    for mark in &marks {
        println!("{}", mark.trim_end());
    }
    for finding in log.findings() {
        println!("damaged: {finding}");
    }
    Ok(())
}
