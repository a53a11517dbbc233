//! `peakorderd profile`: what straps send, written down as TOML.

use super::bluetooth::{ConfigFile, table};
use super::console;
use crate::ble::profiles;
use anyhow::{Context as _, bail};
use peakorder_protocol::estimate::STANDARD_GRAVITY_M_S2;
use peakorder_protocol::profile::{ClockKind, Decoded, Decoder, Profile};
use serde::Serialize;
use std::path::PathBuf;
use std::process::ExitCode;

/// Arguments of `peakorderd profile`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// Print JSON.
    #[arg(long, global = true)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Lists the known profiles: the built-in ones and those in the folder `profiles` beside the configuration.
    List,
    /// Print a profile's text, to start one of your own from.
    Show {
        /// Profile id.
        id: String,
    },
    /// Check a profile file, and decode sample bytes with it.
    Check {
        /// Profile file, or the id of a known profile.
        file: PathBuf,
        /// Bytes of one notification in hexadecimal, spaces allowed; give it again for the next one.
        #[arg(long, value_name = "HEX")]
        hex: Vec<String>,
        /// Which of the profile's characteristics they came from, counted from 0.
        #[arg(long, default_value_t = 0, value_name = "N")]
        channel: u8,
    },
}

pub(super) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    match arguments.command {
        Command::List => list(&arguments.config, arguments.json),
        Command::Show { id } => {
            let setup = arguments.config.load()?;
            let known = setup.profiles.get(&id).with_context(|| {
                format!("there is no profile '{id}'; peakorderd profile list shows the ids")
            })?;
            console::print_line(known.text.trim_end());
            Ok(ExitCode::SUCCESS)
        }
        Command::Check { file, hex, channel } => {
            let known = if file.exists() {
                profiles::read(&file)?
            } else {
                let id = file.to_string_lossy();
                arguments.config.load()?.profiles.get(&id).cloned().with_context(|| {
                    format!("{id} is neither a file nor a profile's id (peakorderd profile list)")
                })?
            };
            check(&known.profile, &hex, channel, arguments.json)
        }
    }
}

#[derive(Serialize)]
struct Listed<'a> {
    id: &'a str,
    name: &'a str,
    rate_hz: f64,
    clock: &'static str,
    from: String,
}

fn clock_words(profile: &Profile) -> &'static str {
    match profile.clock().kind {
        ClockKind::Timestamp if profile.clock().has_event_stamps => "time and event stamps",
        ClockKind::Timestamp => "time stamps",
        ClockKind::Counter => "counter",
        ClockKind::None => "none",
        ClockKind::Common => "session times",
    }
}

fn list(config: &ConfigFile, json: bool) -> anyhow::Result<ExitCode> {
    let setup = config.load()?;
    // Imported samples are no strap.
    let straps = setup.profiles.all().iter().filter(|s| s.profile.matching().is_some());
    let listed: Vec<Listed<'_>> = straps
        .map(|s| Listed {
            id: s.profile.id(),
            name: s.profile.name(),
            rate_hz: s.profile.clock().nominal_rate_hz,
            clock: clock_words(&s.profile),
            from: s.file.as_ref().map_or_else(|| "built in".into(), |f| f.display().to_string()),
        })
        .collect();
    if json {
        console::print_line(&serde_json::to_string(&listed)?);
        return Ok(ExitCode::SUCCESS);
    }
    let mut rows = vec![["id", "name", "Hz", "clock", "from"].map(String::from).to_vec()];
    rows.extend(listed.iter().map(|l| {
        vec![l.id.into(), l.name.into(), format!("{:.0}", l.rate_hz), l.clock.into(), l.from.clone()]
    }));
    console::print_line(table(&rows).trim_end());
    Ok(ExitCode::SUCCESS)
}

fn bytes_of(hex: &str) -> anyhow::Result<Vec<u8>> {
    let digits: Vec<u32> = hex
        .replace("0x", "")
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, ':' | ',' | '-'))
        .map(|c| c.to_digit(16).with_context(|| format!("'{c}' in --hex is not a hexadecimal digit")))
        .collect::<anyhow::Result<_>>()?;
    if digits.is_empty() || !digits.len().is_multiple_of(2) {
        bail!("--hex needs two hexadecimal digits a byte, {} given", digits.len());
    }
    Ok(digits.chunks(2).map(|d| (d[0] * 16 + d[1]) as u8).collect())
}

#[derive(Serialize)]
struct Shown {
    notification: usize,
    packet: usize,
    seq: Option<u32>,
    t_ticks: Option<u64>,
    t_s: Option<f64>,
    period_ms: Option<f64>,
    sample: usize,
    gyro_dps: [f64; 3],
    acc_g: [f64; 3],
    clipped: bool,
}

fn check(profile: &Profile, hex: &[String], channel: u8, json: bool) -> anyhow::Result<ExitCode> {
    let clock = profile.clock();
    if !json {
        console::print_line(&format!("{} ({}): valid", profile.name(), profile.id()));
        for (n, uuid) in profile.channels().iter().enumerate() {
            console::print_line(&format!("channel {n}: characteristic {uuid}"));
        }
        let wrap = match clock.kind {
            ClockKind::Timestamp if clock.bits < 64 => {
                format!(", wraps after {:.0} s", clock.tick_s * 2.0_f64.powi(clock.bits as i32))
            }
            _ => String::new(),
        };
        console::print_line(&format!(
            "clock: {}{wrap}; {:.0} samples a second",
            clock_words(profile),
            clock.nominal_rate_hz
        ));
    }
    for notice in profile.notices() {
        console::print_error(notice);
    }
    let mut decoder = Decoder::new(profile);
    let mut decoded = Decoded::default();
    let mut shown = Vec::new();
    let mut failed = false;
    for (n, hex) in hex.iter().enumerate() {
        let bytes = bytes_of(hex)?;
        if let Err(error) = decoder.decode(channel, &bytes, &mut decoded) {
            failed = true;
            console::print_error(&format!("notification {} ({} bytes): {error}", n + 1, bytes.len()));
        }
        for (k, head) in decoded.packets.iter().enumerate() {
            for (i, s) in decoded.samples_of(head).iter().enumerate() {
                shown.push(Shown {
                    notification: n + 1,
                    packet: k + 1,
                    seq: head.seq,
                    t_ticks: head.t_raw,
                    t_s: head.t_raw.map(|t| t as f64 * clock.tick_s),
                    period_ms: head.period_s.map(|p| p * 1e3),
                    sample: i + 1,
                    gyro_dps: s.gyro.map(f64::to_degrees),
                    acc_g: s.acc.map(|a| a / STANDARD_GRAVITY_M_S2),
                    clipped: s.clipped,
                });
            }
        }
    }
    if json {
        console::print_line(&serde_json::to_string(&shown)?);
    } else if !shown.is_empty() {
        console::print_line(samples(&shown).trim_end());
        let g: f64 = shown[0].acc_g.iter().map(|a| a * a).sum::<f64>().sqrt();
        console::print_line(&format!("|acc| of the first sample: {g:.3} g (about 1 if the strap lay still)"));
    }
    if !failed && !hex.is_empty() && shown.is_empty() {
        console::print_error(
            "no packet is complete yet: give the notifications that follow with further --hex",
        );
    }
    Ok(if failed { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}

fn samples(shown: &[Shown]) -> String {
    let heading = [
        "notif.",
        "seq",
        "time s",
        "period ms",
        "sample",
        "gyro x °/s",
        "y",
        "z",
        "acc x g",
        "y",
        "z",
        "limit",
    ];
    let mut rows = vec![heading.map(String::from).to_vec()];
    for s in shown {
        let first = s.sample == 1;
        let only_first = |text: Option<String>| if first { text.unwrap_or_default() } else { String::new() };
        let mut row = vec![
            only_first(Some(s.notification.to_string())),
            only_first(s.seq.map(|q| q.to_string())),
            only_first(s.t_s.map(|t| format!("{t:.6}"))),
            only_first(s.period_ms.map(|p| format!("{p:.4}"))),
            s.sample.to_string(),
        ];
        row.extend(s.gyro_dps.iter().map(|v| format!("{v:.2}")));
        row.extend(s.acc_g.iter().map(|v| format!("{v:.3}")));
        row.push(if s.clipped { "yes".into() } else { String::new() });
        rows.push(row);
    }
    table(&rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hexadecimal_in_the_ways_people_paste_it() {
        assert_eq!(bytes_of("01 a2:FF").unwrap(), [0x01, 0xa2, 0xff]);
        assert_eq!(bytes_of("0x01, 0xA2").unwrap(), [0x01, 0xa2]);
        assert!(bytes_of("012").is_err() && bytes_of("").is_err() && bytes_of("zz").is_err());
    }
}
