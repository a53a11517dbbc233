//! `peakorderd check`: is the signal good enough for a lesson?

use super::bluetooth::{ConfigFile, figure, table};
use super::console;
use crate::ble::checking::{Progress, SignalCheck, check};
use crate::ble::signal::{GAP_EDGES_MS, SignalReport, Weight};
use peakorder_analysis::words;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use std::fmt::Write as _;
use std::process::ExitCode;

/// Arguments of `peakorderd check`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// How long to measure once all straps stream.
    #[arg(long, default_value_t = 12.0, value_name = "N", value_parser = super::scan::seconds)]
    seconds: f64,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let setup = arguments.config.load()?;
    let assigned = setup.assigned()?;
    let radio = setup.radio().await?;
    if !arguments.json {
        console::print_line("connecting; lay the straps still on a table until the check is done …");
    }
    let bar = console::progress((arguments.seconds * 10.0) as u64, "measuring {bar:40} {msg}");
    let said = |progress: Progress| match progress {
        Progress::Measuring(seconds) => bar.set_position((seconds * 10.0) as u64),
        Progress::Strap(role, what) => {
            console::print_error(&format!("{role} strap: {}", words::strap::event(&what)));
        }
    };
    let whole =
        check(&radio, &assigned, &setup.config, arguments.seconds, console::stop_signal(), said).await;
    bar.finish_and_clear();
    if arguments.json {
        console::print_line(&serde_json::to_string(&whole)?);
    } else {
        console::print_line(render(&whole).trim_end());
    }
    Ok(if whole.ready { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn render(whole: &SignalCheck) -> String {
    type Cell = fn(&SignalReport) -> String;
    let lines: [(&str, Cell); 14] = [
        ("samples a second", |r| figure(r.rate_hz, 1)),
        ("  stated by the profile", |r| format!("{:.0}", r.nominal_rate_hz)),
        ("lost, %", |r| figure(r.lost_percent, 2)),
        ("packets not readable", |r| r.bad_packets.to_string()),
        ("pause between packets, ms: median", |r| figure(r.gap_median_ms, 1)),
        ("  longest", |r| figure(r.gap_max_ms, 0)),
        ("late against the earliest, ms: median", |r| figure(r.late_median_ms, 1)),
        ("  95 % below", |r| figure(r.late_p95_ms, 1)),
        ("time known to, ± ms (95 %)", |r| figure(Some(Z95 * r.clock_sd_ms), 1)),
        ("battery, %", |r| figure(r.battery_percent.map(f64::from), 0)),
        ("noise at rest, °/s", |r| figure(r.still_gyro_sd_dps, 2)),
        ("gravity at rest, g", |r| figure(r.still_acc_g, 3)),
        ("fastest rotation, °/s", |r| figure(Some(r.gyro_max_dps), 0)),
        ("samples at the sensor's limit", |r| r.clipped_samples.to_string()),
    ];
    let mut rows =
        vec![std::iter::once(String::new()).chain(whole.straps.keys().map(Role::to_string)).collect()];
    for (name, cell) in lines {
        rows.push(
            std::iter::once(name.to_owned()).chain(whole.straps.values().map(cell)).collect::<Vec<_>>(),
        );
    }
    for k in 0..=GAP_EDGES_MS.len() {
        let name = match GAP_EDGES_MS.get(k) {
            Some(edge) => format!("pauses up to {edge:.0} ms"),
            None => format!("pauses above {:.0} ms", GAP_EDGES_MS[GAP_EDGES_MS.len() - 1]),
        };
        rows.push(
            std::iter::once(name).chain(whole.straps.values().map(|r| r.gaps[k].to_string())).collect(),
        );
    }
    let mut text = table(&rows);
    text.push('\n');
    for (role, strap) in &whole.straps {
        if strap.findings.is_empty() {
            let _ = writeln!(text, "{role}: good");
        }
        for finding in &strap.findings {
            let _ = writeln!(text, "{role}: {}{}", word(finding.weight), finding.text);
        }
    }
    for finding in &whole.together {
        let _ = writeln!(text, "{}{}", word(finding.weight), finding.text);
    }
    text.push_str(if whole.ready { "ready for a lesson\n" } else { "not ready: see the problems above\n" });
    text
}

const fn word(weight: Weight) -> &'static str {
    match weight {
        Weight::Note => "note: ",
        Weight::Problem => "PROBLEM: ",
    }
}
