//! `peakorderd import`.

use super::console;
use crate::engine::{BATCHES, Engine, Recording};
use crate::output::program;
use crate::source::import::{Import, SampleFile, read_marks};
use crate::source::pace::{Speed, play};
use anyhow::{Context as _, bail};
use peakorder_motion::settings::FilterKind;
use peakorder_protocol::packet::common_clock;
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::{
    FORMAT, LOG_FILE, MOBILITY_FILE, Player, SESSION_FILE, SWINGS_DIR, Session, SessionDir, SessionError,
    SourceKind, Strap,
};
use peakorder_protocol::{Handedness, Role};
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
    #[arg(long, default_value = "")]
    player: String,
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

    // Everything is made in a folder beside the target: input that turns out bad half-way
    // leaves nothing behind and replaces nothing.
    // A link is followed, so that what it points to is replaced and not the link.
    let target = &arguments.out.canonicalize().unwrap_or_else(|_| arguments.out.clone());
    if !arguments.force && target.read_dir().is_ok_and(|mut d| d.next().is_some()) {
        return Err(SessionError::Exists(target.clone()).into());
    }
    if holds_a_session(target) && std::env::current_dir().is_ok_and(|here| here.starts_with(target)) {
        bail!(
            "{} is the folder you are in and would be replaced; go to another and try again",
            target.display()
        );
    }
    let work = beside(target, "importing");
    let aside = beside(target, "replaced");
    if aside.exists() {
        bail!(
            "{} holds the session that an earlier import to {} was about to replace when it was broken off; \
             keep or remove it, then try again",
            aside.display(),
            target.display()
        );
    }
    if work.exists() {
        // Another import may be at work in it, or the folder may be somebody's own.
        bail!(
            "{} is in the way: if an import to {} is running, wait for it; if one was broken off, remove \
             the folder and try again",
            work.display(),
            target.display()
        );
    }
    let dir = SessionDir::create(&work, false)?;
    let result = import(&arguments, dir, files, marks, &roles, total).await;
    match result {
        Ok(line) => {
            put_in_place(&work, target, &aside)?;
            console::print_line(&line);
            Ok(ExitCode::SUCCESS)
        }
        Err(error) => {
            let _ = std::fs::remove_dir_all(&work);
            Err(error)
        }
    }
}

/// Moves every file below `from` to its place below `to`; what else is there stays.
fn move_files(from: &Path, to: &Path) -> anyhow::Result<()> {
    std::fs::create_dir_all(to).with_context(|| to.display().to_string())?;
    for entry in std::fs::read_dir(from).with_context(|| from.display().to_string())? {
        let path = entry.with_context(|| from.display().to_string())?.path();
        let place = to.join(path.file_name().unwrap_or_default());
        if path.is_dir() {
            move_files(&path, &place)?;
        } else {
            std::fs::rename(&path, &place).with_context(|| place.display().to_string())?;
        }
    }
    Ok(())
}

fn holds_a_session(folder: &Path) -> bool {
    [SESSION_FILE, LOG_FILE, MOBILITY_FILE, SWINGS_DIR].iter().any(|name| folder.join(name).exists())
}

fn beside(target: &Path, what: &str) -> PathBuf {
    let mut name = target.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{what}"));
    target.with_file_name(name)
}

/// Puts the finished session `work` in the place of `target`. At every moment the old session
/// or the new one is whole on disk: the old one goes aside, the new one comes in, and only
/// then is the old one deleted. What is in the folder and is not the session's stays there.
fn put_in_place(work: &Path, target: &Path, aside: &Path) -> anyhow::Result<()> {
    let rename = |from: &Path, to: &Path| std::fs::rename(from, to).with_context(|| to.display().to_string());
    if !target.exists() {
        return rename(work, target);
    }
    if !holds_a_session(target) {
        move_files(work, target)?;
        return std::fs::remove_dir_all(work).with_context(|| work.display().to_string());
    }
    rename(target, aside)?;
    if let Err(error) = rename(work, target) {
        rename(aside, target)?;
        return Err(error);
    }
    SessionDir::create(aside, true)?;
    move_files(aside, target)?;
    std::fs::remove_dir_all(aside).with_context(|| aside.display().to_string())
}

async fn import(
    arguments: &Arguments,
    dir: SessionDir,
    files: Vec<SampleFile>,
    marks: Vec<(f64, peakorder_protocol::log::Mark)>,
    roles: &[Role],
    total_bytes: u64,
) -> anyhow::Result<String> {
    let import = Import::new(files, marks);
    if import.shift_s() != 0.0 {
        console::print_error(&format!(
            "times begin at {:.3} s; that becomes 0 in the session",
            import.shift_s()
        ));
    }
    let profile_toml =
        Profile::builtin(common_clock::PROFILE_ID).context("the built-in import profile is missing")?;
    let name = arguments.out.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let now = jiff::ZonedDateTime::now();
    let session = Session {
        format: FORMAT.into(),
        id: format!("import-{name}"),
        started_utc: now.timestamp().to_string(),
        zone: now.time_zone().iana_name().unwrap_or("UTC").into(),
        recorded_by: program(),
        computed_by: program(),
        source: SourceKind::Import,
        invented: false,
        player: Player {
            name: arguments.player.clone(),
            handedness: arguments.handedness,
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
    let (_, summary) = engine.run(batches, console::never()).await?;
    let mut import = reader.await.context("reading stopped")?;
    if let Some(error) = import.take_error() {
        bail!(error);
    }
    for notice in import.notices() {
        console::print_error(&notice);
    }
    Ok(console::summary_line(&arguments.out, &summary))
}
