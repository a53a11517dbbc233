//! `peakorderd check`: is the signal good enough for a lesson?

use super::bluetooth::{ConfigFile, figure, table};
use super::console;
use crate::ble::signal::{Finding, GAP_EDGES_MS, SignalMeter, SignalReport, Weight};
use crate::ble::straps::{IncomingKind, SessionClock, Straps};
use peakorder_analysis::words;
use peakorder_motion::clock::time::SessionTime;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Duration;

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

/// Connecting all straps may take this long.
const CONNECTING: Duration = Duration::from_secs(40);

#[derive(Serialize)]
struct Whole {
    straps: BTreeMap<Role, SignalReport>,
    /// What concerns several straps.
    together: Vec<Finding>,
    ready: bool,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let setup = arguments.config.load()?;
    let assigned = setup.assigned()?;
    let radio = setup.radio().await?;
    let aligned = setup.config.alignments();
    let mut meters: Vec<SignalMeter> = assigned
        .iter()
        .map(|(role, w)| SignalMeter::new(&w.profile, aligned.get(role).map(|a| a.sd_ms * 1e-3)))
        .collect();
    let mut refused: Vec<Option<String>> = vec![None; assigned.len()];
    let mut streaming = vec![false; assigned.len()];
    if !arguments.json {
        console::print_line("connecting; lay the straps still on a table until the check is done …");
    }
    let clock = SessionClock::start();
    let mut straps = Straps::start(&radio, assigned.iter().map(|(_, w)| w.clone()).collect(), clock);
    let bar = console::progress((arguments.seconds * 10.0) as u64, "measuring {bar:40} {msg}");
    let stop = console::stop_signal();
    tokio::pin!(stop);
    let mut end = tokio::time::Instant::now() + CONNECTING;
    let mut measuring = false;
    let mut items = Vec::new();
    loop {
        if !measuring && streaming.iter().zip(&refused).all(|(s, r)| *s || r.is_some()) {
            measuring = true;
            end = tokio::time::Instant::now() + Duration::from_secs_f64(arguments.seconds);
        }
        tokio::select! {
            () = tokio::time::sleep_until(end) => break,
            () = &mut stop => break,
            more = straps.receive(&mut items) => if !more { break },
        }
        if measuring {
            let left = end.saturating_duration_since(tokio::time::Instant::now()).as_secs_f64();
            bar.set_position(((arguments.seconds - left) * 10.0) as u64);
        }
        for item in items.drain(..) {
            let (role, _) = assigned[item.strap];
            let meter = &mut meters[item.strap];
            meter.push(&item);
            match item.kind {
                IncomingKind::Packet { .. } => streaming[item.strap] = true,
                IncomingKind::Event(_) => {}
                IncomingKind::Status(what) => {
                    console::print_error(&format!("{role} strap: {}", words::strap::event(&what)));
                }
                IncomingKind::GivenUp(text) => refused[item.strap] = Some(text),
            }
        }
    }
    bar.finish_and_clear();
    let now = SessionTime::from_ns(clock.now_ns());
    straps.close().await;

    let mut whole = Whole { straps: BTreeMap::new(), together: together(&assigned, &meters), ready: true };
    for (i, (role, _)) in assigned.iter().enumerate() {
        let mut strap = meters[i].report(now);
        if let Some(why) = refused[i].take() {
            strap.findings =
                vec![Finding { weight: Weight::Problem, text: format!("cannot be used: {why}") }];
        }
        whole.straps.insert(*role, strap);
    }
    let problem = |v: &Finding| v.weight == Weight::Problem;
    whole.ready =
        !whole.straps.values().any(|s| s.findings.iter().any(problem)) && !whole.together.iter().any(problem);
    if arguments.json {
        console::print_line(&serde_json::to_string(&whole)?);
    } else {
        console::print_line(render(&whole).trim_end());
    }
    Ok(if whole.ready { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// What pairs of straps do not know of each other.
fn together(assigned: &[(Role, crate::ble::straps::StrapTarget)], meters: &[SignalMeter]) -> Vec<Finding> {
    let limits = |i: usize| meters[i].stream().clock().limits();
    let mut all = Vec::new();
    for i in 0..meters.len() {
        for j in i + 1..meters.len() {
            let u95_ms = limits(i).constant_u95_s(limits(j)) * 1e3;
            if u95_ms > 1.5 {
                all.push(Finding {
                    weight: Weight::Note,
                    text: format!(
                        "{} and {} are unlike straps that were never aligned: their times may differ by ± {u95_ms:.0} ms; \
                         run: peakorderd align",
                        assigned[i].0, assigned[j].0
                    ),
                });
            }
        }
    }
    all
}

fn render(whole: &Whole) -> String {
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
