//! `peakorderd run`: a lesson with straps on.

use super::bluetooth::ConfigFile;
use super::console;
use crate::ble::straps::{SessionClock, Straps};
use crate::engine::{BATCHES, Computation, Engine, PulseWatch, Recording};
use crate::serve::hub::strap_status::StrapMonitor;
use crate::serve::hub::views::StrapStatus;
use crate::service::ServiceManager;
use crate::source::straps::{CLOSING, LiveSource, Request};
use anyhow::Context as _;
use peakorder_analysis::words::plural;
use peakorder_motion::settings::FilterKind;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_protocol::{Handedness, Role, UnknownWord};
use std::fmt::Write as _;
use std::io::BufRead as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::sync::{mpsc, oneshot};

/// Arguments of `peakorderd run`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "While it runs, type marks, one a line: block NAME, drill NAME (repetitions without a ball), note TEXT, still-start, still-end, \
    bow-start, bow-end, arm-raise-start, arm-raise-end, shake-start, shake-end, turn-start, turn-end, \
    re-wear (straps taken off and put on again); stop (or Ctrl-C) ends the session."
)]
pub(super) struct Arguments {
    /// Session folder to make.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Name of the player.
    #[arg(long, default_value = "", value_name = "NAME", value_parser = super::player_name)]
    player: String,
    /// Side the player swings from.
    #[arg(long, default_value = "right", value_name = "right|left")]
    handedness: Handedness,
    /// What the player works on.
    #[arg(long, default_value = "", value_name = "TEXT")]
    goal: String,
    /// Breadth across the hips, standing, if it was measured; a shift of the hips is told better with it.
    #[arg(long, value_name = "CM", value_parser = super::hip_breadth_cm)]
    hip_breadth_cm: Option<f64>,
    /// Stop by itself after N seconds.
    #[arg(long, value_name = "N", value_parser = super::scan::seconds)]
    seconds: Option<f64>,
    /// Running orientation filter between swings; written into the session's settings.
    #[arg(long, value_name = "madgwick|mahony|vqf")]
    filter: Option<FilterKind>,
    /// Replace the session that is already in DIR.
    #[arg(long)]
    force: bool,
    /// Print every event as a line of JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

/// What a typed line asks for.
#[derive(Debug, PartialEq)]
enum Typed {
    Mark(MarkKind, String),
    Stop,
}

fn typed(line: &str) -> Result<Option<Typed>, UnknownWord> {
    let line = line.trim();
    let (word, detail) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    match word {
        "" => Ok(None),
        "stop" => Ok(Some(Typed::Stop)),
        _ => Ok(Some(Typed::Mark(word.parse::<MarkKind>()?, detail.trim().to_owned()))),
    }
}

/// Reads marks from the terminal (or a pipe) until it ends. A thread of its own, because a
/// read from a terminal cannot be called off.
fn read_marks(clock: SessionClock, to: mpsc::Sender<Request>) {
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { return };
            match typed(&line) {
                Ok(None) => {}
                Ok(Some(what)) => {
                    let request = match what {
                        Typed::Mark(kind, detail) => Request::mark(clock.now_ns(), kind, &detail),
                        Typed::Stop => Request::Stop,
                    };
                    if to.blocking_send(request).is_err() {
                        return;
                    }
                }
                Err(why) => console::print_error(&format!("{why}, or stop")),
            }
        }
    });
}

/// How the straps are: the line at the bottom of the terminal.
fn status(straps: &[StrapStatus]) -> String {
    let mut line = String::new();
    for strap in straps {
        let battery = strap.battery_percent.map(|b| format!(", battery {b} %")).unwrap_or_default();
        let state = match (strap.connected, strap.rate_hz) {
            (false, _) => "NOT CONNECTED".into(),
            (true, rate) if rate < 1.0 => "SILENT".into(),
            (true, rate) => format!("{rate:.0} samples/s{battery}"),
        };
        let _ = write!(line, "  {}: {state}", strap.role);
    }
    line
}

/// Shows how the straps are, once a second and for ever.
async fn show_status(bar: indicatif::ProgressBar, monitor: Arc<Mutex<StrapMonitor>>, clock: SessionClock) {
    let mut second = tokio::time::interval(Duration::from_secs(1));
    loop {
        second.tick().await;
        if let Ok(monitor) = monitor.lock() {
            bar.set_message(status(&monitor.view(seconds(clock))));
        }
    }
}

/// Tells the service manager how the recording goes, for ever.
async fn tell_manager(
    mut watch: PulseWatch,
    monitor: Arc<Mutex<StrapMonitor>>,
    mut stopping: oneshot::Receiver<()>,
) {
    let mut manager = ServiceManager::of_environment();
    manager.ready();
    let mut looks = tokio::time::interval(manager.look_every());
    let mut asked_to_stop = false;
    loop {
        tokio::select! {
            _ = looks.tick() => {
                let Ok([connected, straps]) = monitor.lock().map(|m| m.connected()) else { continue };
                if watch.goes_on(Instant::now()) {
                    manager.alive();
                }
                let stopping = if asked_to_stop { "Stopping. " } else { "" };
                manager.status(format!("{stopping}Recording, {connected} of {} connected.", plural(straps, "strap")));
            }
            _ = &mut stopping, if !asked_to_stop => asked_to_stop = true,
        }
    }
}

fn seconds(clock: SessionClock) -> f64 {
    clock.now_ns() as f64 * 1e-9
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let setup = arguments.config.load()?;
    let assigned = setup.assigned()?;
    let radio = setup.radio().await?;
    let roles: Vec<Role> = assigned.iter().map(|(r, _)| *r).collect();
    for (role, wanted) in &assigned {
        for notice in wanted.profile.notices() {
            console::print_error(&format!("{role} strap: {notice}"));
        }
    }
    let player = Player {
        name: arguments.player,
        handedness: arguments.handedness,
        goal: arguments.goal,
        hip_breadth_cm: arguments.hip_breadth_cm,
        ..Player::default()
    };
    let session = setup.session(&roles, player, super::settings(arguments.filter));
    let monitor = Arc::new(Mutex::new(StrapMonitor::new(&session)));
    let engine = Engine::new(SessionDir::create(&arguments.out, arguments.force)?, session, Recording::Live)?;
    let clock = SessionClock::start();
    let json = arguments.json;
    let bar = console::progress(0, "{elapsed_precise}{msg}");
    let above = bar.clone();
    let printer = tokio::spawn(console::follow(engine.watch(), move |event| {
        let Some(line) = console::line(event, json) else { return };
        // What happens to straps goes to stderr as well, for the person who watches.
        above.suspend(|| match event {
            LiveEvent::Strap { .. } if !json => console::print_error(&line),
            _ => console::print_event(event, json),
        });
    }));
    let (to, batches) = mpsc::channel(BATCHES);
    let (requests, marks) = mpsc::channel(16);
    read_marks(clock, requests.clone());
    let status = tokio::spawn(show_status(bar.clone(), Arc::clone(&monitor), clock));
    let live = LiveSource::new(roles);
    let straps = Straps::start(&radio, assigned.into_iter().map(|(_, w)| w).collect(), clock);
    let limit = arguments.seconds;
    let (tell_stopping, told_stopping) = oneshot::channel();
    let managed = tokio::spawn(tell_manager(
        PulseWatch::new(engine.pulse(), Instant::now()),
        Arc::clone(&monitor),
        told_stopping,
    ));
    // A signal and the time limit ask like a typed line does.
    tokio::spawn(async move {
        let time_up = async {
            match limit {
                Some(seconds) => tokio::time::sleep(Duration::from_secs_f64(seconds)).await,
                None => console::never().await,
            }
        };
        tokio::select! {
            () = console::stop_signal() => {}
            () = time_up => {}
        }
        // Errors mean that the session has ended already.
        ServiceManager::stopping();
        let _ = tell_stopping.send(());
        let _ = requests.send(Request::Stop).await;
    });
    let (stopped, stopping) = oneshot::channel();
    let working = tokio::spawn(live.run(straps, marks, to, stopped));
    // The engine ends when the live source has handed over the last record. A strap that does not
    // let go, or a second signal, must not keep the session open.
    let gone = async move {
        if stopping.await.is_err() {
            console::never().await;
        }
        tokio::select! {
            () = tokio::time::sleep(CLOSING) => {}
            () = console::stop_signal() => {}
        }
    };
    let seen = move |records: &[Record], computation: &Computation| {
        if let Ok(mut monitor) = monitor.lock() {
            monitor.update(records, computation.pipeline(), seconds(clock));
        }
    };
    let ended = engine.run_watched(batches, gone, seen).await;
    status.abort();
    managed.abort();
    // Even when the recording broke off: a strap that is not told to stop sends on.
    let live = tokio::time::timeout(CLOSING, working).await;
    let (dir, summary) = ended.context("the session broke off; what was recorded before is kept")?;
    bar.finish_and_clear();
    printer.await.context("printing stopped")?;
    if !json {
        console::print_line(&console::summary_line(dir.path(), &summary));
    }
    if let Ok(Ok(live)) = live
        && live.all_refused()
    {
        console::print_error("no strap could be used; see above");
        return Ok(ExitCode::FAILURE);
    }
    Ok(ExitCode::SUCCESS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_lines_are_marks_or_say_what_to_type() {
        assert_eq!(typed("block pivot drill "), Ok(Some(Typed::Mark(MarkKind::Block, "pivot drill".into()))));
        assert_eq!(typed("still-start"), Ok(Some(Typed::Mark(MarkKind::StillStart, String::new()))));
        assert_eq!(typed("  stop "), Ok(Some(Typed::Stop)));
        assert_eq!(typed(""), Ok(None));
        assert_eq!(typed("blok x").unwrap_err().given, "blok");
    }
}
