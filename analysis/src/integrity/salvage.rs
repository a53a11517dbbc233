//! Writing a session folder of what is left of a damaged one.

use super::log::hole_of;
use super::{Health, HoleKind};
use jiff::{SignedDuration, Timestamp};
use peakorder_protocol::files::{self, Lasting};
use peakorder_protocol::log::{LogError, LogReader, LogWriter};
use peakorder_protocol::role::Role;
use peakorder_protocol::session::{Session, SessionDir, SessionError};
use std::fs;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// Largest file that is copied as it is; a swing's curves take some hundred kilobytes.
const COPY_LIMIT_BYTES: u64 = 64 << 20;

/// What is to be saved, and how.
#[derive(Debug)]
pub struct Wanted<'a> {
    /// The damaged folder. Nothing in it is touched.
    pub from: &'a Path,
    /// The folder to write; it must not hold anything.
    pub into: &'a Path,
    /// A session of the same player with the same straps, where `session.toml` cannot be read.
    pub like: Option<&'a Path>,
    /// When the session began, for the same case.
    pub started: Option<Timestamp>,
}

/// What was saved.
#[derive(Debug)]
pub struct Salvaged {
    /// The damaged folder.
    pub health: Health,
    /// The new folder.
    pub into: PathBuf,
    /// Records written.
    pub records: u64,
    /// What was assumed to write a `session.toml`; empty where it could be read.
    pub assumed: Vec<Assumption>,
}

/// Something that a new `session.toml` says and the log does not hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Assumption {
    /// Player, straps, zone and settings are those of another session.
    Like(PathBuf),
    /// The session's id is the one that its swing files name.
    IdOfSwings(String),
    /// No file names the session's id, so it has a new one.
    NewId(String),
    /// The start was given on the command line.
    StartGiven(Timestamp),
    /// The start is in the session's id.
    StartOfId(Timestamp),
    /// The start is when the log was last changed, less the log's length.
    StartOfFile(Timestamp),
}

/// Why nothing was saved. The message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum SalvageError {
    /// A folder could not be read or written.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The log cannot be read at all.
    #[error("{0}; nothing was written")]
    Unreadable(String),
    /// The log could not be read or written to its end.
    #[error("{}: {source}", path.display())]
    Log {
        /// The log.
        path: PathBuf,
        /// Cause.
        source: LogError,
    },
    /// A file could not be copied.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// Cause.
        source: io::Error,
    },
    /// The session's straps are not known.
    #[error(
        "{0}; the recording does not hold the straps' profiles. Name a session of the same player with the same straps: add --like SESSION"
    )]
    NoSessionFile(String),
    /// The other session lacks a strap.
    #[error("the recording holds the {role} strap, and {} has none; name another session with --like", like.display())]
    NoSuchStrap {
        /// The strap.
        role: Role,
        /// The other session.
        like: PathBuf,
    },
}

/// Writes a session folder of all that can be read in another one.
pub fn salvage(wanted: &Wanted<'_>) -> Result<Salvaged, SalvageError> {
    let health = Health::of(wanted.from)?;
    let from = SessionDir::at(wanted.from);
    if let Some(why) = health.log_problem() {
        return Err(SalvageError::Unreadable(why));
    }
    let Ok(log) = &health.log else { unreachable!("its problem was told") };
    let mut assumed = Vec::new();
    let mut session = match (&health.session, wanted.like) {
        (Ok(session), _) => session.clone(),
        (Err(_), Some(like)) => rebuilt(&health, &from, like, wanted.started, &mut assumed)?,
        (Err(why), None) => return Err(SalvageError::NoSessionFile(why.to_string())),
    };
    session.troubles.extend(log.losses());
    session.troubles.sort_by_key(|note| note.t_ms);

    let into = SessionDir::create(wanted.into, false)?;
    into.write_session(&session)?;
    let records = copy_log(&from, &into)?;
    let named = |number| (from.swing_path(number), into.swing_path(number));
    let curves = |number| (from.curves_path(number), into.curves_path(number));
    let mut copies: Vec<(PathBuf, PathBuf)> = health.swings.iter().map(|n| named(*n)).collect();
    copies.extend(health.curves.iter().map(|n| curves(*n)));
    if health.mobility {
        copies.push((from.mobility_path(), into.mobility_path()));
    }
    let remarks = from.remarks();
    if remarks.path().is_file() {
        copies.push((remarks.path().to_owned(), into.remarks().path().to_owned()));
    }
    for (from, to) in copies {
        let copied = files::read(&from, COPY_LIMIT_BYTES)
            .and_then(|bytes| files::replace(&to, &bytes, Lasting::Synced));
        copied.map_err(|source| SalvageError::Io { path: from, source })?;
    }
    Ok(Salvaged { health, into: wanted.into.to_owned(), records, assumed })
}

/// Copies every whole frame. Where something is missing, the frames' numbers have a gap, so that no
/// reader takes what is left for the whole.
fn copy_log(from: &SessionDir, into: &SessionDir) -> Result<u64, SalvageError> {
    let read = |source| SalvageError::Log { path: from.log_path(), source };
    let wrote = |source| SalvageError::Log { path: into.log_path(), source };
    let mut reader = LogReader::open(&from.log_path()).map_err(read)?;
    let mut writer = LogWriter::create(&into.log_path()).map_err(wrote)?;
    let (mut batch, mut seen, mut records) = (Vec::new(), 0, 0);
    while reader.next_batch(&mut batch).map_err(read)? {
        let found = &reader.findings()[seen..];
        seen += found.len();
        if hole_of(found, 0.0, None).is_some_and(|hole| hole.kind != HoleKind::Header) {
            writer.mark_gap();
        }
        records += batch.len() as u64;
        writer.append(&batch).map_err(wrote)?;
    }
    writer.finish().map_err(wrote)?;
    Ok(records)
}

/// A session file for a recording that has none, after another session's.
fn rebuilt(
    health: &Health,
    from: &SessionDir,
    like: &Path,
    started: Option<Timestamp>,
    assumed: &mut Vec<Assumption>,
) -> Result<Session, SalvageError> {
    let (_, mut session) = SessionDir::open(like)?;
    let log = health.log.as_ref().expect("the log was read before");
    if let Some(role) = log.straps.keys().find(|role| !session.straps.contains_key(role)) {
        return Err(SalvageError::NoSuchStrap { role: *role, like: like.to_owned() });
    }
    assumed.push(Assumption::Like(like.to_owned()));
    session.straps.retain(|role, _| log.straps.contains_key(role));
    session.calibration.clear();
    session.troubles.clear();

    // Swing files say whose they are; the first that can be read speaks for all.
    let swing = health.swings.iter().find_map(|number| from.read_swing(*number).ok());
    let path = from.log_path();
    let io = |source| SalvageError::Io { path: path.clone(), source };
    if let Some(swing) = swing {
        session.player.handedness = swing.handedness;
        session.id = swing.session;
        assumed.push(Assumption::IdOfSwings(session.id.clone()));
    } else {
        // The beginning of two logs differs in the moments of the first packets.
        let mut bytes = Vec::new();
        let log = files::open(&path).map_err(io)?;
        log.take(1 << 20).read_to_end(&mut bytes).map_err(io)?;
        session.id = format!("salvaged-{:08x}", peakorder_protocol::document::checksum(&bytes));
        assumed.push(Assumption::NewId(session.id.clone()));
    }
    let start = if let Some(given) = started {
        assumed.push(Assumption::StartGiven(given));
        given
    } else if let Some(of_id) = start_in(&session.id) {
        assumed.push(Assumption::StartOfId(of_id));
        of_id
    } else {
        let changed = fs::metadata(&path).and_then(|m| m.modified()).map_err(io)?;
        let changed = Timestamp::try_from(changed).unwrap_or(Timestamp::UNIX_EPOCH);
        let start = changed.saturating_sub(SignedDuration::from_secs(log.seconds as i64)).unwrap_or(changed);
        let start = Timestamp::from_second(start.as_second()).unwrap_or(start);
        assumed.push(Assumption::StartOfFile(start));
        start
    };
    session.started_utc = start.to_string();
    Ok(session)
}

/// Ids of recorded sessions begin with their start, as in `20261125T100512Z-1f3a`.
fn start_in(id: &str) -> Option<Timestamp> {
    let (start, _) = id.split_once('-')?;
    (start.len() == 16 && start.ends_with('Z')).then(|| start.parse().ok()).flatten()
}
