//! Writes a dataset of invented players, as large as wanted: to measure with, and to try questions on.

use peakorder_tests::made_dataset::{Plan, write};
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let plan = |swings: &str, months: &str, seed: &str| {
        Some(Plan {
            swings: swings.parse().ok().filter(|n| *n > 0)?,
            months: months.parse().ok().filter(|n| (1..=240).contains(n))?,
            seed: seed.parse().ok()?,
            first_player: 0,
        })
    };
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let asked = match words.as_slice() {
        [folder, swings] => plan(swings, "24", "1").map(|p| (folder, p)),
        [folder, swings, months, seed] => plan(swings, months, seed).map(|p| (folder, p)),
        _ => None,
    };
    let Some((folder, plan)) = asked else {
        eprintln!("usage: made_dataset FOLDER SWINGS [MONTHS SEED] (24 months, seed 1)");
        return ExitCode::from(2);
    };
    if Path::new(folder).exists() {
        eprintln!("made_dataset: {folder} is there; name a new folder");
        return ExitCode::from(2);
    }
    let began = Instant::now();
    match write(Path::new(folder), &plan) {
        Ok(made) => {
            let (taken, Plan { months, seed, .. }) = (began.elapsed().as_secs_f64(), plan);
            println!(
                "{} swings in {} sessions of {} players over {months} months, seed {seed}: {taken:.1} s",
                made.swings, made.sessions, made.players
            );
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("made_dataset: {e}");
            ExitCode::FAILURE
        }
    }
}
