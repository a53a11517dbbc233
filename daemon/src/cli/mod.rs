//! The command line of `peakorderd`.

mod align;
mod bluetooth;
mod check;
mod console;
mod demo;
mod doctor;
mod import;
mod import_folder;
mod log;
#[cfg(feature = "packaged")]
mod manual;
mod players;
mod profile;
mod programs;
mod replay;
mod run;
mod scan;
mod serve;
mod straps;
mod virtual_straps;
mod watch;

use anyhow::Context as _;
use clap::{Parser, Subcommand};
use peakorder_analysis::exit;
use peakorder_motion::settings::FilterKind;
use peakorder_protocol::session::HIP_BREADTHS_CM;
use peakorder_protocol::text::{causes, clean, is_visible};
use std::ops::RangeInclusive;
use std::process::ExitCode;

/// Settings that differ from the defaults, as they stand in `session.toml`.
fn settings(filter: Option<FilterKind>) -> toml::Table {
    filter.map(|kind| ("filter".to_owned(), kind.to_string().into())).into_iter().collect()
}

/// A player's name from the command line; empty is unnamed.
fn player_name(typed: &str) -> Result<String, String> {
    let name = typed.trim();
    if name.is_empty() {
        return Ok(String::new());
    }
    if !is_visible(name) {
        return Err("no character of that name can be seen; type it again, or leave it out".into());
    }
    // It is stored as it will be shown.
    Ok(clean(name))
}

/// A breadth across the hips, cm.
fn hip_breadth_cm(typed: &str) -> Result<f64, NotInRange> {
    number_within(typed, HIP_BREADTHS_CM, "a breadth from 20 to 60 cm, or leave it out")
}

const CAUTION: &str =
    "Warm up before you swing, stop on pain. peakorder measures; it gives no medical advice.";

/// Records inertial straps worn on pelvis, upper back and lead arm, and measures the
/// kinematic sequence of every golf swing.
#[derive(Debug, Parser)]
#[command(name = "peakorderd", version = crate::VERSION, about, max_term_width = 100)]
#[command(after_help = CAUTION, after_long_help = format!("{CAUTION}\n\n{}", exit::section()))]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Record a lesson with the straps that are assigned; type marks while it runs.
    Run(run::Arguments),
    /// Serve the coach's page: the lesson live, players, past sessions.
    Serve(serve::Arguments),
    /// List the library's players; forget one, or export all that is kept of one.
    Players(players::Arguments),
    /// Watch a lesson that peakorderd serve shows, in a terminal.
    Watch(watch::Arguments),
    /// Show straps nearby.
    Scan(scan::Arguments),
    /// Say or find out which strap is worn where.
    Straps(straps::Arguments),
    /// Measure the straps' signal before a lesson, and say what to do about it.
    Check(check::Arguments),
    /// Twist the straps together to find constant differences between their times.
    Align(align::Arguments),
    /// Look whether this computer is ready for a session.
    Doctor(doctor::Arguments),
    /// List, show and try strap profiles.
    Profile(profile::Arguments),
    /// Play an invented lesson through virtual straps and the whole chain, and show what came of it.
    Demo(demo::Arguments),
    /// Make a session of CSV files from any logger, as if recorded live.
    Import(import::Arguments),
    /// Compute a recorded session's swings again from its raw samples.
    Replay(replay::Arguments),
    /// Record a session with virtual straps (for trying things out and for tests).
    Virtual(virtual_straps::Arguments),
    /// Print what a shell needs to complete these commands.
    #[cfg(feature = "packaged")]
    Completions(peakorder_analysis::packaged::CompletionsArguments),
    /// Print the man page, or write those of all commands.
    #[cfg(feature = "packaged")]
    Manual(peakorder_analysis::packaged::ManualArguments),
}

/// A number on the command line is none, or out of its range.
#[derive(Debug, Clone, thiserror::Error)]
#[error("use {0}")]
struct NotInRange(&'static str);

/// Reads a number; `wanted` says which there may be.
fn number_within(text: &str, range: RangeInclusive<f64>, wanted: &'static str) -> Result<f64, NotInRange> {
    text.parse().ok().filter(|v| range.contains(v)).ok_or(NotInRange(wanted))
}

/// Parses the command line, runs the command, prints its failure.
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    log::start();
    let result = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .context("the runtime could not be started")
        .and_then(|runtime| {
            runtime.block_on(async {
                match arguments.command {
                    Command::Run(a) => run::run(a).await,
                    Command::Serve(a) => serve::run(a).await,
                    Command::Players(a) => players::run(a),
                    Command::Watch(a) => watch::run(a).await,
                    Command::Scan(a) => scan::run(a).await,
                    Command::Straps(a) => straps::run(a).await,
                    Command::Check(a) => check::run(a).await,
                    Command::Align(a) => align::run(a).await,
                    Command::Doctor(a) => doctor::run(a).await,
                    Command::Profile(a) => profile::run(a),
                    Command::Demo(a) => demo::run(a).await,
                    Command::Import(a) => import::run(a).await,
                    Command::Replay(a) => replay::run(a).await,
                    Command::Virtual(a) => virtual_straps::run(a).await,
                    #[cfg(feature = "packaged")]
                    Command::Completions(a) => manual::completions(&a),
                    #[cfg(feature = "packaged")]
                    Command::Manual(a) => manual::run(&a),
                }
            })
        });
    match result {
        Ok(code) => code,
        Err(error) => {
            console::print_error(&causes(error.as_ref()));
            ExitCode::FAILURE
        }
    }
}
