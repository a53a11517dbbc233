//! `peakorderd scan`.

use super::bluetooth::{ConfigFile, harmless, table};
use super::console;
use super::{NotInRange, number_within};
use crate::ble::finding::{AllHeard, Heard, listen};
use crate::ble::read_battery;
use std::io::{self, IsTerminal as _, Write as _};
use std::process::ExitCode;
use std::time::Duration;

/// Arguments of `peakorderd scan`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// How long to listen.
    #[arg(long, default_value_t = 8.0, value_name = "N", value_parser = seconds)]
    seconds: f64,
    /// Show devices of no known profile as well.
    #[arg(long)]
    all: bool,
    /// Connect each strap briefly afterwards and read its battery level.
    #[arg(long)]
    battery: bool,
    /// Print a line of JSON for each device when it is first heard or says something new.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

/// A time span on the command line.
pub(super) fn seconds(s: &str) -> Result<f64, NotInRange> {
    number_within(s, 0.5..=86_400.0, "a number of seconds from 0.5 to 86400")
}

fn rows(all: &AllHeard, unknown_too: bool) -> (String, usize) {
    let mut shown: Vec<&Heard> =
        all.values().map(|(h, _)| h).filter(|h| unknown_too || h.profile.is_some()).collect();
    // Straps first, the nearest first.
    shown.sort_by_key(|h| (h.profile.is_none(), -h.rssi_dbm.unwrap_or(i16::MIN + 1), h.id.clone()));
    let heading = ["address", "name", "signal dBm", "profile", "battery", "worn on"];
    let mut lines = vec![heading.map(String::from).to_vec()];
    lines.extend(shown.iter().map(|h| {
        vec![
            h.id.clone(),
            harmless(&h.name),
            h.rssi_dbm.map_or_else(String::new, |r| r.to_string()),
            h.profile.clone().unwrap_or_default(),
            h.battery_percent.map_or_else(String::new, |b| format!("{b} %")),
            h.worn_on.map_or_else(String::new, |r| r.to_string()),
        ]
    }));
    let others = all.len() - shown.len();
    let text = if shown.is_empty() { "no strap heard yet\n".into() } else { table(&lines) };
    (text, others)
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let setup = arguments.config.load()?;
    let radio = setup.radio().await?;
    let live = !arguments.json && io::stdout().is_terminal();
    let mut drawn = 0;
    let mut draw = |text: &str| {
        let up = if drawn > 0 { format!("\x1b[{drawn}A\x1b[J") } else { String::new() };
        drawn = text.lines().count();
        let mut out = io::stdout();
        // A closed pipe is silent.
        let _ = write!(out, "{up}{text}").and_then(|()| out.flush());
    };
    let length = Duration::from_secs_f64(arguments.seconds);
    let mut all = listen(&radio, &setup, length, console::stop_signal(), |all, news| {
        if arguments.json {
            for heard in news.iter().filter(|h| arguments.all || h.profile.is_some()) {
                print(heard);
            }
        } else if live {
            let (text, others) = rows(all, arguments.all);
            draw(&format!("{text}{}", other_devices(others)));
        }
    })
    .await?;
    if arguments.battery {
        for (heard, peripheral) in all.values_mut() {
            if heard.profile.is_some() && heard.battery_percent.is_none() {
                heard.battery_percent = read_battery(peripheral).await;
                if arguments.json {
                    print(heard);
                }
            }
        }
    }
    if !arguments.json {
        let (text, others) = rows(&all, arguments.all);
        draw(&format!("{text}{}", other_devices(others)));
        if all.values().all(|(h, _)| h.profile.is_none()) {
            console::print_error(
                "no strap heard: switch the straps on, charge them, close phone apps that hold them; \
                 for a strap of no known profile: peakorderd scan --all, then peakorderd profile check",
            );
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn other_devices(n: usize) -> String {
    match n {
        0 => String::new(),
        1 => "and 1 device of no known profile (--all shows it)\n".into(),
        n => format!("and {n} devices of no known profile (--all shows them)\n"),
    }
}

fn print(heard: &Heard) {
    if let Ok(line) = serde_json::to_string(heard) {
        console::print_line(&line);
    }
}
