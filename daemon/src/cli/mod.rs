//! The command line of `peakorderd`.

mod demo;
mod import;
mod replay;
mod rehearse;
mod report;

use anyhow::Context as _;
use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Records inertial straps worn on pelvis, upper back and lead arm, and measures the
/// kinematic sequence of every golf swing.
#[derive(Debug, Parser)]
#[command(name = "peakorderd", version, about, max_term_width = 100)]
#[command(after_help = "Warm up before you swing, stop on pain. peakorder measures; it gives no medical advice.")]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Play an invented lesson through virtual straps and the whole chain, and show what came of it.
    Demo(demo::Arguments),
    /// Make a session of CSV files from any logger, as if recorded live.
    Import(import::Arguments),
    /// Compute a recorded session's swings again from its raw samples.
    Replay(replay::Arguments),
    /// Record a session with virtual straps (for trying things out and for tests).
    Virtual(rehearse::Arguments),
}

/// Parses the command line, runs the command, prints its failure.
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    tracing_subscriber::fmt()
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_env("PEAKORDER_LOG")
                .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("warn")),
        )
        .with_writer(std::io::stderr)
        .init();
    let result = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .context("the runtime could not be started")
        .and_then(|runtime| {
            runtime.block_on(async {
                match arguments.command {
                    Command::Demo(a) => demo::run(a).await,
                    Command::Import(a) => import::run(a).await,
                    Command::Replay(a) => replay::run(a).await,
                    Command::Virtual(a) => rehearse::run(a).await,
                }
            })
        });
    match result {
        Ok(code) => code,
        Err(error) => {
            report::complain(&format!("{error:#}"));
            ExitCode::FAILURE
        }
    }
}
