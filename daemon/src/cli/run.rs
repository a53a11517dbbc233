//! `peakorderd run`: a lesson with straps on.

use super::bluetooth::{ConfigFile, Setup};
use super::report;
use crate::ble::straps::{Incoming, SessionClock, Straps, What};
use crate::ble::watch::{Noticed, StrapWatch};
use crate::engine::{BATCHES, Engine};
use crate::output::program;
use anyhow::Context as _;
use indicatif::ProgressBar;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{Arrival, Mark, MarkKind, Record, StrapEvent, StrapEventKind};
use peakorder_protocol::session::{FORMAT, Player, Session, SessionDir, SourceKind, Strap};
use peakorder_protocol::{Handedness, Role};
use std::fmt::Write as _;
use std::io::BufRead as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;
use tokio::sync::mpsc;

/// Arguments of `peakorderd run`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "While it runs, type marks, one a line: block NAME, note TEXT, still-start, still-end, \
    bow-start, bow-end, arm-raise-start, arm-raise-end, turn-start, turn-end; stop (or Ctrl-C) ends the session."
)]
pub(super) struct Arguments {
    /// Session folder to make.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Name of the player.
    #[arg(long, default_value = "", value_name = "NAME")]
    player: String,
    /// Side the player swings from.
    #[arg(long, default_value = "right", value_name = "right|left")]
    handedness: Handedness,
    /// What the player works on.
    #[arg(long, default_value = "", value_name = "TEXT")]
    goal: String,
    /// Stop by itself after N seconds.
    #[arg(long, value_name = "N", value_parser = super::scan::seconds)]
    seconds: Option<f64>,
    /// Replace the session that is already in DIR.
    #[arg(long)]
    force: bool,
    /// Print every event as a line of JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

/// The straps must have closed their links this long after the stop.
const CLOSING: Duration = Duration::from_secs(12);

fn session(setup: &Setup, roles: &[Role], player: Player) -> Session {
    let now = jiff::ZonedDateTime::now();
    let started = now.timestamp();
    let aligned = setup.config.alignments();
    Session {
        format: FORMAT.into(),
        // Sortable by time; two daemons that start in the same microsecond do not happen.
        id: format!("{}-{:05x}", started.strftime("%Y%m%dT%H%M%SZ"), started.subsec_microsecond()),
        started_utc: started.to_string(),
        zone: now.time_zone().iana_name().unwrap_or("UTC").into(),
        recorded_by: program(),
        computed_by: program(),
        source: SourceKind::Straps,
        invented: false,
        player,
        straps: roles
            .iter()
            .filter_map(|role| {
                let assigned = setup.config.straps.get(role)?;
                let shelved = setup.shelf.get(&assigned.profile)?;
                let alignment = aligned.get(role);
                let strap = Strap {
                    name: format!("{} {}", assigned.name, assigned.id).trim().to_owned(),
                    profile: assigned.profile.clone(),
                    profile_toml: shelved.text.clone(),
                    latency_ms: alignment.map_or(0.0, |a| a.latency_ms),
                    latency_sd_ms: alignment.map(|a| a.sd_ms),
                    interval_ms: None,
                };
                Some((*role, strap))
            })
            .collect(),
        settings: toml::Table::new(),
        calibration: Vec::new(),
    }
}

/// What a typed line asks for.
#[derive(Debug, PartialEq)]
enum Typed {
    Mark(MarkKind, String),
    Stop,
    Nothing,
}

fn typed(line: &str) -> Result<Typed, String> {
    let line = line.trim();
    let (word, detail) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    match word {
        "" => Ok(Typed::Nothing),
        "stop" => Ok(Typed::Stop),
        _ => Ok(Typed::Mark(
            word.parse::<MarkKind>().map_err(|e| format!("{e}, or stop"))?,
            detail.trim().to_owned(),
        )),
    }
}

/// Reads marks from the terminal (or a pipe) until it ends. A thread of its own, because a
/// read from a terminal cannot be called off.
fn read_marks(clock: SessionClock, to: mpsc::Sender<(u64, Typed)>) {
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { return };
            match typed(&line) {
                Ok(Typed::Nothing) => {}
                Ok(what) => {
                    if to.blocking_send((clock.now_ns(), what)).is_err() {
                        return;
                    }
                }
                Err(why) => report::complain(&why),
            }
        }
    });
}

/// What the line at the bottom of the terminal shows of one strap.
#[derive(Debug, Clone, Default)]
struct Health {
    /// What was last said of it, so that the same is not said (and recorded) again and again.
    said: String,
    connected: bool,
    battery: String,
    samples: u64,
}

/// Moves what the straps send to the engine, and thinks about it afterwards.
struct Desk {
    roles: Vec<Role>,
    watches: Vec<StrapWatch>,
    health: Vec<Health>,
    bar: ProgressBar,
    refused: usize,
}

impl Desk {
    fn record(&mut self, item: &mut Incoming) -> Option<Record> {
        let (t_ns, role) = (item.t_ns, self.roles[item.strap]);
        match &mut item.what {
            What::Packet { channel, bytes } => {
                Some(Record::Arrival(Arrival { t_ns, role, channel: *channel, bytes: bytes.clone() }))
            }
            What::Event { kind, detail } => {
                Some(Record::Strap(StrapEvent { t_ns, role, kind: *kind, detail: detail.clone() }))
            }
            What::Say(text) => {
                let said = &mut self.health[item.strap].said;
                if said == text {
                    return None;
                }
                said.clone_from(text);
                Some(Record::Strap(StrapEvent {
                    t_ns,
                    role,
                    kind: StrapEventKind::Note,
                    detail: text.clone(),
                }))
            }
            // Said by the event that comes with it.
            What::Refused(_) => None,
        }
    }

    /// What is noticed about an item becomes a record as well.
    fn think(&mut self, item: &Incoming, records: &mut Vec<Record>) {
        let role = self.roles[item.strap];
        match &item.what {
            What::Packet { channel, bytes } => {
                let mut noticed = Vec::new();
                self.watches[item.strap].packet(item.t_ns, *channel, bytes, &mut noticed);
                for noticed in noticed {
                    let (kind, text) = match noticed {
                        Noticed::Restarted => {
                            (StrapEventKind::Restarted, "it restarted: its clock begins anew".to_owned())
                        }
                        Noticed::Rest(Ok(f)) => {
                            let text = format!(
                                "at rest it shows {:.2} g and {:.1} °/s, as it should",
                                f.acc_m_s2 / 9.80665,
                                f.gyro_rad_s.to_degrees()
                            );
                            (StrapEventKind::Note, text)
                        }
                        Noticed::Rest(Err(why)) => (StrapEventKind::Note, why),
                    };
                    records.push(Record::Strap(StrapEvent { t_ns: item.t_ns, role, kind, detail: text }));
                }
            }
            What::Event { kind, detail } => {
                let health = &mut self.health[item.strap];
                match kind {
                    StrapEventKind::Connected => {
                        self.watches[item.strap].connected();
                        health.said.clear();
                        health.connected = true;
                    }
                    StrapEventKind::Disconnected => health.connected = false,
                    StrapEventKind::Battery => health.battery = format!(", battery {detail} %"),
                    _ => {}
                }
            }
            What::Say(_) => {}
            What::Refused(_) => self.refused += 1,
        }
    }

    /// The line at the bottom of the terminal, once a second.
    fn show(&mut self) {
        let mut line = String::new();
        for ((role, health), watch) in self.roles.iter().zip(&mut self.health).zip(&self.watches) {
            let samples = watch.samples();
            let rate = samples - std::mem::replace(&mut health.samples, samples);
            let state = match (health.connected, rate) {
                (false, _) => "NOT CONNECTED".into(),
                (true, 0) => "SILENT".into(),
                (true, rate) => format!("{rate} samples/s{}", health.battery),
            };
            let _ = write!(line, "  {role}: {state}");
        }
        self.bar.set_message(line);
    }

    /// Until the straps are closed. Raw first: the engine (and so the disk) gets a
    /// notification before anything else looks at it.
    async fn work(
        mut self,
        mut straps: Straps,
        mut marks: mpsc::Receiver<(u64, Typed)>,
        to: mpsc::Sender<Vec<Record>>,
        stop: impl Future<Output = ()>,
    ) -> Self {
        tokio::pin!(stop);
        let mut stopping = false;
        let mut typing = true;
        let mut second = tokio::time::interval(Duration::from_secs(1));
        let mut items = Vec::new();
        loop {
            let mut records = Vec::new();
            tokio::select! {
                more = straps.take(&mut items) => {
                    if !more {
                        break;
                    }
                    records.extend(items.iter_mut().filter_map(|i| self.record(i)));
                }
                mark = marks.recv(), if typing => match mark {
                    Some((t_ns, Typed::Mark(kind, detail))) => {
                        records.push(Record::Mark(Mark { t_ns, kind, detail }));
                    }
                    Some((_, Typed::Stop)) => {
                        stopping = true;
                        straps.stop();
                    }
                    Some((_, Typed::Nothing)) => {}
                    None => typing = false,
                },
                _ = second.tick() => self.show(),
                () = &mut stop, if !stopping => {
                    stopping = true;
                    straps.stop();
                }
            }
            if !records.is_empty() && to.send(records).await.is_err() {
                break;
            }
            let mut noticed = Vec::new();
            for item in items.drain(..) {
                self.think(&item, &mut noticed);
            }
            if !noticed.is_empty() && to.send(noticed).await.is_err() {
                break;
            }
        }
        straps.close().await;
        self.bar.finish_and_clear();
        self
    }
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let setup = arguments.config.load()?;
    let assigned = setup.assigned()?;
    let radio = setup.radio().await?;
    let roles: Vec<Role> = assigned.iter().map(|(r, _)| *r).collect();
    for (role, wanted) in &assigned {
        for notice in wanted.profile.notices() {
            report::complain(&format!("{role} strap: {notice}"));
        }
    }
    let player = Player {
        name: arguments.player,
        handedness: arguments.handedness,
        goal: arguments.goal,
        ..Player::default()
    };
    let session = session(&setup, &roles, player);
    let engine = Engine::new(SessionDir::create(&arguments.out, arguments.force)?, session, true)?;
    let clock = SessionClock::start();
    let json = arguments.json;
    let bar = report::progress(0, "{elapsed_precise}{msg}");
    let above = bar.clone();
    let printer = tokio::spawn(report::follow(engine.watch(), move |event| {
        let Some(line) = report::line(event, json) else { return };
        // Swings go to whoever reads stdout, what happens to the straps to the person watching.
        above.suspend(|| match event {
            LiveEvent::Strap { .. } if !json => report::complain(&line),
            _ => report::say(&line),
        });
    }));
    let (to, batches) = mpsc::channel(BATCHES);
    let (mark_to, marks) = mpsc::channel(16);
    read_marks(clock, mark_to);
    let desk = Desk {
        watches: assigned.iter().map(|(_, w)| StrapWatch::new(&w.profile)).collect(),
        health: vec![Health::default(); roles.len()],
        roles,
        bar,
        refused: 0,
    };
    let straps = Straps::start(&radio, assigned.into_iter().map(|(_, w)| w).collect(), clock);
    let limit = arguments.seconds;
    let stop = async move {
        let time_up = async {
            match limit {
                Some(seconds) => tokio::time::sleep(Duration::from_secs_f64(seconds)).await,
                None => report::never().await,
            }
        };
        tokio::select! {
            () = report::stop_signal() => {}
            () = time_up => {}
        }
    };
    let (stopped, stopping) = tokio::sync::oneshot::channel();
    let working = tokio::spawn(desk.work(straps, marks, to, async move {
        stop.await;
        let _ = stopped.send(());
    }));
    // The engine ends when the desk has handed over the last record. A strap that does not
    // let go, or a second signal, must not keep the session open.
    let gone = async move {
        if stopping.await.is_err() {
            report::never().await;
        }
        tokio::select! {
            () = tokio::time::sleep(CLOSING) => {}
            () = report::stop_signal() => {}
        }
    };
    let ended = engine.run(batches, gone).await;
    // Even when the recording broke off: a strap that is not told to stop sends on.
    let desk = tokio::time::timeout(CLOSING, working).await;
    let (dir, summary) = ended.context("the session broke off; what was recorded before is kept")?;
    printer.await.context("printing stopped")?;
    if !json {
        report::say(&report::summary_line(dir.path(), &summary));
    }
    if let Ok(Ok(desk)) = desk
        && desk.refused == desk.roles.len()
    {
        report::complain("no strap could be used; see above");
        return Ok(ExitCode::FAILURE);
    }
    Ok(ExitCode::SUCCESS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_lines_are_marks_or_say_what_to_type() {
        assert_eq!(typed("block pivot drill "), Ok(Typed::Mark(MarkKind::Block, "pivot drill".into())));
        assert_eq!(typed("still-start"), Ok(Typed::Mark(MarkKind::StillStart, String::new())));
        assert_eq!(typed("  stop "), Ok(Typed::Stop));
        assert_eq!(typed(""), Ok(Typed::Nothing));
        assert!(typed("blok x").unwrap_err().contains("block"));
    }
}
