//! `peakorderd align`: constant differences between the straps' times, by twisting them
//! together.

use super::bluetooth::{ConfigFile, table};
use super::console;
use crate::ble::straps::{Incoming, IncomingKind, SessionClock, StrapTarget, Straps};
use crate::config::ClockAlignment;
use anyhow::{Context as _, bail};
use nalgebra::Vector3;
use peakorder_analysis::words;
use peakorder_motion::clock::time::DeviceTime;
use peakorder_motion::clock::twist::{FAST_RAD_S, Rates, lag};
use peakorder_motion::stream::StrapStream;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::log::StrapEventKind;
use peakorder_protocol::profile::ClockKind;
use serde::Serialize;
use std::process::ExitCode;
use std::time::Duration;

/// Arguments of `peakorderd align`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Take all straps together in one hand, off the body, and twist them in all directions. \
    Never align on a swing: the time between pelvis and thorax is what is to be measured."
)]
pub(super) struct Arguments {
    /// Give up if the straps were not twisted enough after N seconds.
    #[arg(long, default_value_t = 60.0, value_name = "N", value_parser = super::scan::seconds)]
    seconds: f64,
    /// Show what was found and leave the configuration as it is.
    #[arg(long)]
    dry_run: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

/// Connecting all straps may take this long.
const CONNECTING: Duration = Duration::from_secs(40);
/// The clocks settle this long before the twist.
const SETTLING: Duration = Duration::from_secs(5);
/// Fast rotation to be gathered, s.
const TWIST_S: f64 = 6.0;
/// Rates of two straps that differ by more than this share have a wrong scale.
const GAIN: f64 = 0.05;

/// A worse alignment is reported, milliseconds (95 %).
const WORTH_MS: f64 = 2.0;

/// One strap's samples, kept on its own clock until the end.
struct Gathered {
    stream: StrapStream,
    samples: Vec<(DeviceTime, Vector3<f64>)>,
    fast_s: f64,
}

impl Gathered {
    fn new(wanted: &StrapTarget) -> Self {
        Self { stream: StrapStream::unaligned(&wanted.profile), samples: Vec::new(), fast_s: 0.0 }
    }

    fn streaming(&self) -> bool {
        self.stream.counts().samples > 0
    }

    /// Keeps what the last notification brought.
    fn keep(&mut self) {
        let period_s = self.stream.period_s();
        for sample in self.stream.received().samples {
            if sample.step_s == f64::INFINITY {
                // The strap restarted: its earlier times cannot be compared.
                self.samples.clear();
                self.fast_s = 0.0;
            }
            if sample.gyro.norm() > FAST_RAD_S {
                self.fast_s += period_s;
            }
            self.samples.push((sample.device, sample.gyro));
        }
    }

    /// Standard uncertainty of its clock at the last sample, seconds.
    fn clock_sd_s(&self) -> f64 {
        self.stream.clock().state(self.stream.latest()).sd_s
    }

    /// The samples on the session clock by the final estimate.
    fn rates(&self) -> Rates {
        let mut rates = Rates::default();
        for (device, rate) in &self.samples {
            rates.push(self.stream.session(*device).s(), *rate);
        }
        rates
    }
}

#[derive(Serialize)]
struct Found {
    role: Role,
    latency_ms: f64,
    u95_ms: f64,
    residual: f64,
    gain: f64,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let mut setup = arguments.config.load()?;
    let assigned = setup.assigned()?;
    if assigned.len() < 2 {
        bail!("one strap is assigned; aligning needs two or more (peakorderd straps)");
    }
    for (role, wanted) in &assigned {
        if wanted.profile.clock().kind == ClockKind::None {
            bail!(
                "the {role} strap sends neither a counter nor a time: its times shift with every lost packet, \
                 so an alignment would not hold"
            );
        }
    }
    let radio = setup.radio().await?;
    let mut straps =
        Straps::start(&radio, assigned.iter().map(|(_, w)| w.clone()).collect(), SessionClock::start());
    let mut gathered: Vec<Gathered> = assigned.iter().map(|(_, w)| Gathered::new(w)).collect();
    let limit = Duration::from_secs_f64(arguments.seconds);
    let outcome = gather(&mut straps, &assigned, &mut gathered, limit, arguments.json).await;
    straps.close().await;
    outcome?;

    let reference = gathered[0].rates();
    let mut found =
        vec![Found { role: assigned[0].0, latency_ms: 0.0, u95_ms: 0.0, residual: 0.0, gain: 1.0 }];
    for ((role, _), strap) in assigned.iter().zip(&gathered).skip(1) {
        let twist = lag(&reference, &strap.rates()).with_context(|| {
            format!("{} and {role} strap could not be aligned; nothing was changed", assigned[0].0)
        })?;
        if (twist.gain - 1.0).abs() > GAIN {
            console::print_error(&format!(
                "the {role} strap shows {:.0} % of the rotation of the {} strap: the scale in one of their profiles is wrong",
                twist.gain * 100.0,
                assigned[0].0
            ));
        }
        if twist.loose {
            console::print_error(&format!(
                "the {role} strap moved a little against the {} strap ({:.1} %); hold them firmer for a better figure",
                assigned[0].0,
                twist.residual * 100.0
            ));
        }
        // The constant includes the clocks' own uncertainty at the moment of the twist.
        let clock_sd_s = strap.clock_sd_s().max(gathered[0].clock_sd_s());
        let u95_ms = Z95 * twist.sd_s.hypot(clock_sd_s) * 1e3;
        if u95_ms > WORTH_MS {
            console::print_error(&format!(
                "the {role} strap's times are known to ± {u95_ms:.1} ms only, because of its clock and not of the twist \
                 (peakorderd check says why)"
            ));
        }
        found.push(Found {
            role: *role,
            latency_ms: twist.lag_s * 1e3,
            u95_ms,
            residual: twist.residual,
            gain: twist.gain,
        });
    }
    if !arguments.dry_run {
        let at_utc = jiff::Timestamp::now().to_string();
        for f in &found {
            if let Some(strap) = setup.config.straps.get_mut(&f.role) {
                strap.alignment = Some(ClockAlignment {
                    latency_ms: f.latency_ms,
                    sd_ms: f.u95_ms / Z95,
                    residual: f.residual,
                    at_utc: at_utc.clone(),
                });
            }
        }
        setup.config.save_straps(&setup.path)?;
    }
    if arguments.json {
        console::print_line(&serde_json::to_string(&found)?);
        return Ok(ExitCode::SUCCESS);
    }
    let mut rows = vec![["strap", "later by, ms", "± ms (95 %)", "not common, %"].map(String::from).to_vec()];
    rows.extend(found.iter().map(|f| {
        vec![
            f.role.to_string(),
            format!("{:+.2}", f.latency_ms),
            format!("{:.2}", f.u95_ms),
            format!("{:.2}", f.residual * 100.0),
        ]
    }));
    console::print_line(table(&rows).trim_end());
    if !arguments.dry_run {
        console::print_line(
            "stored; new sessions take it off. Twist again after the lesson: the change between the two is an honest check.",
        );
    }
    Ok(ExitCode::SUCCESS)
}

/// Connects, lets the clocks settle, and gathers the twist.
async fn gather(
    straps: &mut Straps,
    assigned: &[(Role, StrapTarget)],
    gathered: &mut [Gathered],
    limit: Duration,
    json: bool,
) -> anyhow::Result<()> {
    let tell = |text: &str| {
        if json { console::print_error(text) } else { console::print_line(text) }
    };
    tell("connecting …");
    receive(straps, assigned, gathered, CONNECTING, false, |g| g.iter().all(Gathered::streaming)).await?;
    if let Some(((role, _), _)) = assigned.iter().zip(gathered.iter()).find(|(_, g)| !g.streaming()) {
        bail!("nothing comes in from the {role} strap: switch it on, charge it, bring it near");
    }
    tell("take all straps together firmly in one hand, off the body …");
    receive(straps, assigned, gathered, SETTLING, false, |_| false).await?;
    tell("… and twist them now, fast and in all directions, until told to stop");
    let enough = |g: &[Gathered]| g.iter().all(|g| g.fast_s >= TWIST_S);
    receive(straps, assigned, gathered, limit, true, enough).await?;
    tell("enough");
    Ok(())
}

/// Receives what comes for `length`, or until `enough`.
async fn receive(
    straps: &mut Straps,
    assigned: &[(Role, StrapTarget)],
    gathered: &mut [Gathered],
    length: Duration,
    keep: bool,
    enough: impl Fn(&[Gathered]) -> bool,
) -> anyhow::Result<()> {
    let end = tokio::time::sleep(length);
    let stop = console::stop_signal();
    tokio::pin!(end, stop);
    let mut items: Vec<Incoming> = Vec::new();
    while !enough(gathered) {
        tokio::select! {
            () = &mut end => return Ok(()),
            () = &mut stop => bail!("stopped; nothing was changed"),
            more = straps.receive(&mut items) => if !more { bail!("no strap is left; nothing was changed") },
        }
        for item in items.drain(..) {
            let role = assigned[item.strap].0;
            let strap = &mut gathered[item.strap];
            if item.pass_to(&mut strap.stream) && keep {
                strap.keep();
            }
            match item.kind {
                IncomingKind::Event(StrapEventKind::Disconnected { .. }) if keep => {
                    bail!(
                        "the link to the {role} strap was lost while twisting; nothing was changed, try again"
                    );
                }
                IncomingKind::Packet { .. } | IncomingKind::Event(_) => {}
                IncomingKind::Status(what) => {
                    console::print_error(&format!("{role} strap: {}", words::strap::event(&what)));
                }
                IncomingKind::GivenUp(text) => bail!("the {role} strap cannot be used: {text}"),
            }
        }
    }
    Ok(())
}
