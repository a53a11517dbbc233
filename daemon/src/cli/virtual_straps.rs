//! `peakorderd virtual`: a session with virtual straps.

use super::console;
use super::{NotInRange, number_within};
use crate::engine::{BATCHES, Engine};
use crate::source::pace::{Speed, play};
use anyhow::Context as _;
use jiff::{Span, civil};
use peakorder_protocol::Handedness;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{DrillOptions, PlayerParams, Population, PracticeOptions, Script, Sliding};
use std::path::PathBuf;
use std::process::ExitCode;
use tokio::sync::mpsc;

/// Arguments of `peakorderd virtual`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Session folder to make.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Everything is drawn from this number; the same number gives the same session. With --player only the day:
    /// what varies from swing to swing, how straps sit, their sensors and clocks.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Who plays: build and habits are drawn from this number, so that the same player can be had on many days.
    #[arg(long, value_name = "P")]
    player: Option<u64>,
    /// How alike a swing is to the one before it: correlation from 0 (each by itself) to below 1.
    #[arg(long, default_value_t = 0.0, value_name = "R", value_parser = correlation)]
    correlation: f64,
    /// How far everything in the swing drifts from the first swing to the last, in standard deviations between swings.
    #[arg(long, default_value_t = 0.0, value_name = "D", value_parser = drift, allow_negative_numbers = true)]
    drift: f64,
    /// The skin under each strap slides by about so much at a full turn, on every day by another amount (SD 4/9 of it).
    #[arg(long, default_value_t = 0.0, value_name = "DEG", value_parser = skin)]
    skin: f64,
    /// Number of swings.
    #[arg(long, default_value_t = 10)]
    swings: u32,
    /// After so many swings the straps are taken off, put on again and calibrated anew.
    #[arg(long, value_name = "N")]
    re_wear_after: Option<u32>,
    /// After half of the swings comes a drill of so many turns back and through without a ball, slow, some of them held.
    #[arg(long, value_name = "N")]
    drill: Option<u32>,
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

fn correlation(s: &str) -> Result<f64, NotInRange> {
    number_within(s, 0.0..=0.99, "a correlation from 0 to 0.99")
}

fn drift(s: &str) -> Result<f64, NotInRange> {
    number_within(s, -5.0..=5.0, "a drift from -5 to 5 standard deviations")
}

fn skin(s: &str) -> Result<f64, NotInRange> {
    number_within(s, 0.0..=20.0, "an angle from 0 to 20 degrees")
}

/// The first day; with a player, seed N is N days later.
const FIRST_DAY: civil::Date = civil::date(2026, 1, 1);
/// Days of a player begin anew after so many, for calendars end.
const DAYS: u64 = 1_000_000;

/// Id of the session, name of the player and start.
fn about(player: Option<u64>, seed: u64) -> anyhow::Result<(String, String, String)> {
    Ok(match player {
        None => (format!("virtual-{seed}"), "invented player".into(), format!("{FIRST_DAY}T00:00:00Z")),
        Some(player) => {
            let day = FIRST_DAY.checked_add(Span::new().try_days((seed % DAYS) as i64)?)?;
            (
                format!("virtual-{player}-{seed}"),
                format!("invented player {player}"),
                format!("{day}T00:00:00Z"),
            )
        }
    })
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let population = if arguments.professional { Population::Professional } else { Population::Amateur };
    let who = arguments.player.unwrap_or(arguments.seed);
    let mut player = PlayerParams::drawn_from(population, who);
    player.handedness = arguments.handedness;
    let options = PracticeOptions {
        correlation: arguments.correlation,
        drift: arguments.drift,
        wear_again_after: arguments.re_wear_after,
        drill: arguments.drill.map(|repetitions| DrillOptions { repetitions, ..DrillOptions::default() }),
        ..PracticeOptions::default()
    };
    let mut script = Script::practice(arguments.seed, player, arguments.swings, &options);
    let mut straps = script.straps().clone();
    straps.rate_hz = arguments.rate;
    straps.sliding = (arguments.skin > 0.0).then(|| Sliding::of_size(arguments.skin));
    script = script.with_straps(straps);
    let (id, name, start_utc) = about(arguments.player, arguments.seed)?;
    let named = Player { name, handedness: arguments.handedness, ..Player::default() };
    let session = virtual_session(&script, &id, named, &start_utc);
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
