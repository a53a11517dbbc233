//! `peakorderd import`.

use super::console;
use super::import_folder::ImportFolder;
use crate::engine::{BATCHES, Engine, Recording, Summary};
use crate::output::program;
use crate::source::import::{FileHash, Import, SampleFile, hash, read_marks, session_id};
use crate::source::pace::{Speed, play};
use anyhow::{Context as _, bail};
use jiff::fmt::temporal::{DateTimeParser, Pieces};
use jiff::{Timestamp, ZonedDateTime};
use peakorder_analysis::words;
use peakorder_motion::settings::FilterKind;
use peakorder_protocol::calibration::JudgedStep;
use peakorder_protocol::import_warning::ImportWarning;
use peakorder_protocol::packet::common_clock;
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::{FORMAT, Player, Session, SessionDir, SourceKind, Strap};
use peakorder_protocol::{Handedness, Role};
use std::cell::Cell;
use std::future::Future;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tokio::sync::mpsc;

/// Arguments of `peakorderd import`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Session folder to make.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Samples of the pelvis strap.
    #[arg(long, value_name = "FILE.csv")]
    pelvis: Option<PathBuf>,
    /// Samples of the upper-back strap.
    #[arg(long, value_name = "FILE.csv")]
    thorax: Option<PathBuf>,
    /// Samples of the lead-arm strap.
    #[arg(long, value_name = "FILE.csv")]
    lead_arm: Option<PathBuf>,
    /// Marks: guided movements, blocks, notes.
    #[arg(long, value_name = "FILE.csv")]
    marks: Option<PathBuf>,
    /// Side the player swings from.
    #[arg(long, default_value = "right", value_name = "right|left")]
    handedness: Handedness,
    /// Player's name.
    #[arg(long, default_value = "", value_parser = super::player_name)]
    player: String,
    /// Breadth across the hips, standing, if it was measured; a shift of the hips is told better with it.
    #[arg(long, value_name = "CM", value_parser = super::hip_breadth_cm)]
    hip_breadth_cm: Option<f64>,
    /// When the recording began, with its offset from UTC. Without it: what times that count from
    /// 1970 say, else now.
    #[arg(long, value_name = "RFC3339", value_parser = started)]
    started: Option<Started>,
    /// Zone the recording was made in: a name such as Europe/Berlin, or an offset.
    #[arg(long, value_name = "ZONE", value_parser = zone, allow_hyphen_values = true)]
    zone: Option<String>,
    /// Running orientation filter between swings; written into the session's settings.
    #[arg(long, value_name = "madgwick|mahony|vqf")]
    filter: Option<FilterKind>,
    /// Replace the session that is already in DIR.
    #[arg(long)]
    force: bool,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let given = [
        (Role::Pelvis, &arguments.pelvis),
        (Role::Thorax, &arguments.thorax),
        (Role::LeadArm, &arguments.lead_arm),
    ];
    if arguments.pelvis.is_none() && arguments.thorax.is_none() {
        console::print_error(
            "import needs --pelvis FILE.csv or --thorax FILE.csv (better both); see peakorderd import --help",
        );
        return Ok(ExitCode::from(2));
    }
    let mut files = Vec::new();
    for (role, path) in given {
        if let Some(path) = path {
            files.push(SampleFile::open(role, path)?);
        }
    }
    let roles: Vec<Role> = files.iter().map(SampleFile::role).collect();
    let marks = arguments.marks.as_deref().map(read_marks).transpose()?.unwrap_or_default();
    let total: u64 = given.iter().filter_map(|(_, p)| p.as_ref()?.metadata().ok()).map(|m| m.len()).sum();

    let id = id_of(&given, arguments.marks.as_deref())?;
    let same = same_samples(&id.files);

    // Everything is made in a folder beside the target: input that turns out bad half-way
    // leaves nothing behind and replaces nothing.
    let stop = console::stop_signal();
    let import_folder = ImportFolder::new(&arguments.out, arguments.force)?;
    let made = match import_folder.session() {
        Ok(dir) => import(&arguments, dir, files, marks, id.session, total, stop).await,
        Err(error) => Err(error.into()),
    };
    let mut made = match made {
        Ok(made) => made,
        Err(error) => {
            import_folder.give_up();
            return Err(error);
        }
    };
    for notice in &made.notices {
        console::print_error(notice);
    }
    made.warnings.splice(0..0, same);
    let measured = made.summary.swings + made.summary.repetitions;
    if measured == 0 && roles == [Role::Pelvis] {
        made.warnings.push(ImportWarning::MissingStrap { role: Role::Thorax });
    }
    if measured > 0 && made.judged.is_empty() {
        made.warnings.push(ImportWarning::NoGuidedMovements);
    }
    for warning in &made.warnings {
        console::print_error(&format!("warning: {}", words::import::warning(warning)));
    }
    for judged in &made.judged {
        console::print_error(&console::judged_line(judged));
    }
    if measured == 0
        && let Some(why) = made.warnings.iter().find(|w| w.prevents_measuring())
    {
        import_folder.give_up();
        bail!(
            "nothing could be measured: {}. Nothing was written; mend it and import again",
            words::import::warning(why)
        );
    }
    import_folder.finish()?;
    console::print_line(&console::summary_line(&arguments.out, &made.summary));
    Ok(ExitCode::SUCCESS)
}

/// The session's id, and the hashes of the sample files.
struct Id {
    session: String,
    files: Vec<(Role, FileHash)>,
}

fn id_of(given: &[(Role, &Option<PathBuf>)], marks: Option<&Path>) -> anyhow::Result<Id> {
    let mut files = Vec::new();
    for (role, path) in given {
        if let Some(path) = path {
            files.push((*role, hash(path)?));
        }
    }
    let marks = marks.map(hash).transpose()?;
    let parts = files.iter().map(|(role, hash)| (role.key(), *hash));
    let session = session_id(parts.chain(marks.map(|hash| ("marks", hash))));
    Ok(Id { session, files })
}

fn same_samples(files: &[(Role, FileHash)]) -> Vec<ImportWarning> {
    let mut found = Vec::new();
    for (i, (one, hash)) in files.iter().enumerate() {
        let others = files[i + 1..].iter().filter(|(_, other)| other == hash);
        found.extend(others.map(|(other, _)| ImportWarning::SameSamples { one: *one, other: *other }));
    }
    found
}

/// What an import came to.
struct Made {
    summary: Summary,
    judged: Vec<JudgedStep>,
    notices: Vec<String>,
    warnings: Vec<ImportWarning>,
}

async fn import(
    arguments: &Arguments,
    dir: SessionDir,
    files: Vec<SampleFile>,
    marks: Vec<(f64, peakorder_protocol::log::Mark)>,
    id: String,
    total_bytes: u64,
    stop: impl Future<Output = ()>,
) -> anyhow::Result<Made> {
    let roles: Vec<Role> = files.iter().map(SampleFile::role).collect();
    let import = Import::new(files, marks);
    let mut notices = Vec::new();
    if import.shift_s() != 0.0 {
        notices.push(format!("times begin at {:.3} s; that becomes 0 in the session", import.shift_s()));
    }
    let began = Began::of(arguments, import.shift_s());
    notices.extend(began.notice.map(ToOwned::to_owned));
    let profile_toml =
        Profile::builtin(common_clock::PROFILE_ID).context("the built-in import profile is missing")?;
    let session = Session {
        format: FORMAT.into(),
        id,
        started_utc: began.started.to_string(),
        zone: began.zone,
        recorded_by: program(),
        computed_by: program(),
        source: SourceKind::Import,
        invented: false,
        player: Player {
            name: arguments.player.clone(),
            handedness: arguments.handedness,
            hip_breadth_cm: arguments.hip_breadth_cm,
            ..Player::default()
        },
        straps: roles
            .iter()
            .map(|role| {
                let strap = Strap {
                    name: "imported".into(),
                    profile: common_clock::PROFILE_ID.into(),
                    profile_toml: profile_toml.into(),
                    latency_ms: 0.0,
                    latency_sd_ms: None,
                    interval_ms: None,
                };
                (*role, strap)
            })
            .collect(),
        settings: super::settings(arguments.filter),
        calibration: Vec::new(),
        troubles: Vec::new(),
    };
    let engine = Engine::new(dir, session, Recording::Unpaced)?;
    let (to, batches) = mpsc::channel(BATCHES);
    let bar = console::progress(total_bytes, "importing {bar:40} {bytes}/{total_bytes} {eta}");
    let reader = tokio::task::spawn_blocking(move || {
        let mut import = import;
        // The bar follows bytes, not time: the end of the files is known, that of the session is not.
        let mut since = 0_u32;
        play(
            std::iter::from_fn(|| {
                since += 1;
                if since.is_multiple_of(1024) {
                    bar.set_position(import.bytes_read());
                }
                import.next()
            }),
            Speed::Max,
            &to,
            |_| {},
        );
        bar.finish_and_clear();
        import
    });
    let broken_off = Cell::new(false);
    let stopped = async {
        stop.await;
        broken_off.set(true);
    };
    let printer = tokio::spawn(console::follow(engine.watch(), console::print_trouble));
    let (dir, summary) = engine.run(batches, stopped).await?;
    printer.await.context("printing stopped")?;
    let mut import = reader.await.context("reading stopped")?;
    if broken_off.get() {
        bail!("broken off; nothing was written, import again to have the session");
    }
    if let Some(error) = import.take_error() {
        bail!(error);
    }
    notices.extend(import.notices());
    let judged = SessionDir::open(dir.path())?.1.calibration;
    Ok(Made { summary, judged, notices, warnings: import.warnings() })
}

/// When the session began, and in which zone.
struct Began {
    started: Timestamp,
    zone: String,
    notice: Option<&'static str>,
}

/// Times of samples from here on are taken for seconds since 1970: September 2001.
const UNIX_TIME_FROM_S: f64 = 1e9;
/// … to here: January 2100.
const UNIX_TIME_TO_S: f64 = 4.1e9;

impl Began {
    /// By the command line, else by times that count from 1970, else now.
    fn of(arguments: &Arguments, shift_s: f64) -> Self {
        let here = || ZonedDateTime::now().time_zone().iana_name().unwrap_or("UTC").to_owned();
        let zone = |or: String| arguments.zone.clone().unwrap_or(or);
        if let Some(Started { at, offset }) = &arguments.started {
            return Self { started: *at, zone: zone(offset.clone()), notice: None };
        }
        let unix = (UNIX_TIME_FROM_S..UNIX_TIME_TO_S).contains(&shift_s);
        let unix = unix.then(|| Timestamp::from_millisecond((shift_s * 1e3).round() as i64).ok()).flatten();
        match unix {
            Some(started) => Self { started, zone: zone(here()), notice: None },
            None => Self {
                started: Timestamp::now(),
                zone: zone(here()),
                notice: Some(
                    "the session is dated now, for its files do not say when it was; --started 2026-11-25T10:05:12+01:00 says it",
                ),
            },
        }
    }
}

/// `--started`: an instant, and the offset it was written with.
#[derive(Debug, Clone)]
struct Started {
    at: Timestamp,
    offset: String,
}

fn started(typed: &str) -> Result<Started, String> {
    let wrong = || "not a date and time with its offset, such as 2026-11-25T10:05:12+01:00 or …Z".to_owned();
    let at: Timestamp = typed.parse().map_err(|_| wrong())?;
    let pieces = Pieces::parse(typed).map_err(|_| wrong())?;
    let offset = match pieces.to_numeric_offset() {
        Some(offset) if offset.seconds() != 0 => offset.to_string(),
        _ => "UTC".into(),
    };
    Ok(Started { at, offset })
}

fn zone(typed: &str) -> Result<String, String> {
    DateTimeParser::new()
        .parse_time_zone(typed)
        .map(|_| typed.to_owned())
        .map_err(|_| "no such zone; write its name such as Europe/Berlin, or an offset such as +01:00".into())
}
