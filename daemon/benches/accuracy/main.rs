//! How right the numbers are, against the exact truth of virtual players.
//!
//! `cargo bench -p peakorder-daemon --bench accuracy [-- --quick]` plays thousands of simulated
//! swings of varied players through the whole chain and writes `ACCURACY.md` beside this
//! file. The virtual players share no code with the estimator.

mod bone;
mod explain;
mod one_clock;
mod real;
mod recorded;
mod scenario;
mod tally;

use scenario::Scenario;
use std::fmt::Write as _;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use tally::Tally;

fn main() {
    let quick = std::env::args().any(|a| a == "--quick");
    let only: Option<String> = std::env::args().skip_while(|a| a != "--only").nth(1);
    let scenarios: Vec<Scenario> = scenario::all(quick)
        .into_iter()
        .filter(|s| only.as_ref().is_none_or(|o| s.name.contains(o.as_str())))
        .collect();
    let mut report = String::new();
    let mut all = Tally::default();
    let mut people = Tally::default();
    let mut sliding = Vec::new();
    for scenario in &scenarios {
        let tally = run(scenario);
        if let Some(size) = scenario.sliding_size {
            sliding.push((size, tally.clone()));
        }
        let _ = write!(report, "{}", tally.section(&scenario.name, &scenario.what));
        println!("{}", tally.section(&scenario.name, &scenario.what));
        if scenario.counts {
            all.merge(tally);
        } else if scenario.people {
            people.merge(tally);
        }
    }
    let head = all.section(
        "All scenarios that count towards the targets",
        "Every scenario but those marked otherwise.",
    );
    let bands = format!("{}{}\n", tally::BANDS, all.bands());
    println!("{head}{bands}");
    let together = people.section(
        "Players who move like people, together",
        "Invented ones in the manner of a measured golfer, and the recorded body.",
    );
    let people = format!("{together}{}\n{}", people.bands(), recorded::missing());
    println!("{people}");
    let sizes = tally::growth(&sliding);
    let real = real::section();
    println!("{sizes}{real}");
    if only.is_none() && !quick {
        let text = format!("{}{head}{bands}{people}{sizes}{real}{report}", tally::PREFACE);
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/accuracy/ACCURACY.md");
        match std::fs::write(&path, text) {
            Ok(()) => println!("written to {}", path.display()),
            Err(e) => eprintln!("{}: {e}", path.display()),
        }
    }
}

/// Plays all sessions of a scenario on all cores.
fn run(scenario: &Scenario) -> Tally {
    let next = Arc::new(AtomicUsize::new(0));
    let total = Mutex::new(Tally::default());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, std::num::NonZero::get) {
            scope.spawn(|| {
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    if i >= scenario.sessions {
                        break;
                    }
                    let tally = scenario.play(i as u64);
                    total.lock().expect("no panic holds it").merge(tally);
                }
            });
        }
    });
    total.into_inner().expect("no panic holds it")
}
