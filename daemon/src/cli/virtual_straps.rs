//! `peakorderd virtual`: a session with virtual straps.

use super::console;
use super::{NotInRange, number_within};
use crate::engine::{BATCHES, Engine};
use crate::source::pace::{Speed, play};
use anyhow::Context as _;
use peakorder_protocol::Handedness;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};
use std::path::PathBuf;
use std::process::ExitCode;
use tokio::sync::mpsc;

/// Arguments of `peakorderd virtual`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Session folder to make.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Everything is drawn from this number; the same number gives the same session.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Number of swings.
    #[arg(long, default_value_t = 10)]
    swings: u32,
    /// Side the invented player swings from.
    #[arg(long, default_value = "right", value_name = "right|left")]
    handedness: Handedness,
    /// Drawn from published means of touring professionals instead of amateurs.
    #[arg(long)]
    professional: bool,
    /// Samples a second.
    #[arg(long, default_value_t = 208.0, value_name = "HZ", value_parser = rate)]
    rate: f64,
    /// How fast: max, or times real time.
    #[arg(long, default_value = "max", value_name = "max|N")]
    speed: Speed,
    /// Replace the session that is already in DIR.
    #[arg(long)]
    force: bool,
    /// Print every event as a line of JSON.
    #[arg(long)]
    json: bool,
}

fn rate(s: &str) -> Result<f64, NotInRange> {
    number_within(s, 50.0..=416.0, "a rate from 50 to 416 Hz")
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let population = if arguments.professional { Population::Professional } else { Population::Amateur };
    let mut player = PlayerParams::drawn_from(population, arguments.seed);
    player.handedness = arguments.handedness;
    let mut script = Script::practice(arguments.seed, player, arguments.swings, &PracticeOptions::default());
    let mut straps = script.straps().clone();
    straps.rate_hz = arguments.rate;
    script = script.with_straps(straps);
    let named =
        Player { name: "invented player".into(), handedness: arguments.handedness, ..Player::default() };
    let session =
        virtual_session(&script, &format!("virtual-{}", arguments.seed), named, "2026-01-01T00:00:00Z");
    let dir = SessionDir::create(&arguments.out, arguments.force)?;
    let engine = Engine::new(dir, session, arguments.speed.into())?;
    let (to, batches) = mpsc::channel(BATCHES);
    let speed = arguments.speed;
    let source = tokio::task::spawn_blocking(move || play(script.session().records(), speed, &to, |_| {}));
    let json = arguments.json;
    let printer = tokio::spawn(console::follow(engine.watch(), move |event| {
        console::print_event(event, json);
    }));
    let (dir, summary) = engine.run(batches, console::stop_signal()).await?;
    printer.await.context("printing stopped")?;
    source.await.context("the virtual straps stopped")?;
    if !json {
        console::print_line(&console::summary_line(dir.path(), &summary));
    }
    Ok(ExitCode::SUCCESS)
}
