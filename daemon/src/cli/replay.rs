//! `peakorderd replay`.

use super::console;
use crate::engine::{BATCHES, Engine, Recording};
use crate::source::pace::{Speed, play};
use crate::source::replay::Replay;
use anyhow::{Context as _, anyhow, bail};
use peakorder_analysis::integrity::LogHealth;
use peakorder_motion::settings::FilterKind;
use peakorder_protocol::log::{Finding, FindingKind, LogError};
use peakorder_protocol::session::SessionDir;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tokio::sync::mpsc;

/// Arguments of `peakorderd replay`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Session folder.
    dir: PathBuf,
    /// How fast: max, or times real time.
    #[arg(long, default_value = "max", value_name = "max|N")]
    speed: Speed,
    /// Write into this new folder and leave DIR as it is. A damaged log is copied as far as
    /// it can be read.
    #[arg(long, value_name = "DIR2")]
    into: Option<PathBuf>,
    /// Running orientation filter between swings; written into the session's settings.
    #[arg(long, value_name = "madgwick|mahony|vqf")]
    filter: Option<FilterKind>,
    /// Replace the session that is already in DIR2.
    #[arg(long, requires = "into")]
    force: bool,
    /// Compute in place although the log is damaged: swings in the damaged parts are lost, and
    /// the others may get other numbers.
    #[arg(long, conflicts_with = "into")]
    damaged: bool,
    /// Print every event as a line of JSON.
    #[arg(long)]
    json: bool,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let (source, mut session) = SessionDir::open(&arguments.dir)?;
    session.settings.extend(super::settings(arguments.filter));
    let known_gaps = session.known_gaps();
    let log_path = source.log_path();
    let size = log_path.metadata().map_or(0, |m| m.len());
    let open = || Replay::open(&log_path).map_err(|error| named(&log_path, error));
    let replay = open()?;
    if arguments.into.is_some() {
        // The copy's log has no damage to show, so its session says what is missing.
        let log = LogHealth::of(&log_path, known_gaps).map_err(|error| named(&log_path, error))?;
        session.troubles.extend(log.losses());
        session.troubles.sort_by_key(|note| note.t_ms);
    }
    let (target, record) = match &arguments.into {
        Some(into) => {
            if into.exists() && into.canonicalize().ok() == arguments.dir.canonicalize().ok() {
                bail!(
                    "--into names the session itself; name another folder, or leave --into out to recompute in place"
                );
            }
            (SessionDir::create(into, arguments.force)?, true)
        }
        None => (source.clone(), false),
    };
    if record {
        // What the coach said of the swings goes with them.
        source.remarks().copy_to(&target.remarks())?;
    } else {
        source.refuse_if_recording()?;
        refuse_to_lose_swings(&arguments, &source, open()?)?;
        source.remove_swings()?;
    }
    let engine =
        Engine::new(target.clone(), session, if record { Recording::Unpaced } else { Recording::Off })?;
    let (to, batches) = mpsc::channel(BATCHES);
    let bar = console::progress(size, "replaying {bar:40} {bytes}/{total_bytes} {eta}");
    let speed = arguments.speed;
    let reader = tokio::task::spawn_blocking(move || {
        let mut replay = replay;
        let mut since = 0_u32;
        play(
            std::iter::from_fn(|| {
                since += 1;
                if since.is_multiple_of(4096) {
                    bar.set_position(replay.offset());
                }
                replay.next()
            }),
            speed,
            &to,
            |_| {},
        );
        bar.finish_and_clear();
        replay
    });
    let json = arguments.json;
    let printer = tokio::spawn(console::follow(engine.watch(), move |event| {
        console::print_event(event, json);
    }));
    let stop = async {
        if matches!(speed, Speed::Max) { console::never().await } else { console::stop_signal().await }
    };
    let (dir, summary) = engine.run(batches, stop).await?;
    printer.await.context("printing stopped")?;
    let mut replay = reader.await.context("reading stopped")?;
    if !json {
        console::print_line(&console::summary_line(dir.path(), &summary));
    }
    if let Some(error) = replay.take_error() {
        return Err(named(&log_path, error));
    }
    if only_known_gaps(replay.findings(), known_gaps) {
        console::print_error(&format!(
            "{}. The session tells of it (troubles in session.toml), so this is no failure; all that was recorded was used",
            places(&log_path, replay.findings())
        ));
        return Ok(ExitCode::SUCCESS);
    }
    if !replay.findings().is_empty() {
        let done = "All that could be read was used; ";
        console::print_error(&damage(&arguments, &log_path, replay.findings(), done));
        return Ok(ExitCode::FAILURE);
    }
    Ok(ExitCode::SUCCESS)
}

fn named(log: &Path, error: LogError) -> anyhow::Error {
    match error {
        // This one names the file itself.
        LogError::Open { .. } => anyhow!(error),
        error => anyhow!("{}: {error}", log.display()),
    }
}

/// Reads the whole log before anything is removed. Swing files that a damaged log can no
/// longer give are kept, unless the user wants what can be read.
fn refuse_to_lose_swings(arguments: &Arguments, source: &SessionDir, mut log: Replay) -> anyhow::Result<()> {
    log.by_ref().for_each(drop);
    if let Some(error) = log.take_error() {
        return Err(named(&source.log_path(), error));
    }
    let damaged = log.findings().iter().any(|f| f.kind.is_damage());
    if damaged && !arguments.damaged && !source.swing_numbers()?.is_empty() {
        bail!(
            "{}. The swing files are left as they are; to compute what can be read in their place, add --damaged",
            damage(arguments, &source.log_path(), log.findings(), "")
        );
    }
    Ok(())
}

/// Whether nothing is wrong with the log but gaps that the session has noted, as a full disk leaves them.
fn only_known_gaps(findings: &[Finding], known: usize) -> bool {
    let gaps = findings.iter().all(|f| matches!(f.kind, FindingKind::SequenceGap { .. }));
    gaps && !findings.is_empty() && findings.len() <= known
}

/// This many places are named.
const NAMED: usize = 5;

/// One line: where the log is damaged, what was done, and how to get a whole one.
fn damage(arguments: &Arguments, log: &Path, findings: &[Finding], done: &str) -> String {
    let mut text = places(log, findings);
    text.push_str(". ");
    text.push_str(done);
    if let Some(into) = &arguments.into {
        let _ = write!(
            text,
            "the copy in {} can be read to its end, and its session.toml says what is lost",
            into.display()
        );
    } else {
        let mut copy = arguments.dir.as_os_str().to_owned();
        copy.push("-readable");
        let (dir, copy) = (quoted(&arguments.dir), quoted(Path::new(&copy)));
        let _ = write!(text, "for a copy that can be read to its end: peakorderd replay {dir} --into {copy}");
    }
    text
}

/// The log's name and what was found in it.
fn places(log: &Path, findings: &[Finding]) -> String {
    let mut text = format!("{}: ", log.display());
    for (i, finding) in findings.iter().take(NAMED).enumerate() {
        let _ = write!(text, "{}{finding}", if i == 0 { "" } else { "; " });
    }
    if let Some(more) = findings.len().checked_sub(NAMED).filter(|more| *more > 0) {
        let _ = write!(text, "; and at {more} more places");
    }
    text
}

/// As it is typed at a shell.
fn quoted(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_alphanumeric() || "/\\._-:".contains(c);
    if text.chars().all(plain) { text } else { format!("'{}'", text.replace('\'', "'\\''")) }
}
