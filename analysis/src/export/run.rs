//! One export: sessions in, a folder out.

use super::computed::{Computed, Naming};
use super::error::ExportError;
use super::for_import::{ForImport, MARKS_FILE, strap_name};
use super::log::{NoSamples, Reading, Seen, read};
use super::mcap_file::McapFile;
use super::rows::MarkRow;
use super::samples::FromLog;
use super::stage::Stage;
use super::tables::Written;
use super::what::What;
use crate::codes::Codes;
use crate::library;
use crate::load::{LoadError, Loaded, load};
use crate::terminal::word;
use peakorder_protocol::files::{Lasting, replace};
use peakorder_protocol::log::{Mark, MarkKind};
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::{Handedness, Role};
use peakorder_tables::{Format, dictionary};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The data dictionary's file.
const DICTIONARY_FILE: &str = "datapackage.json";

/// What kind of files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Tables with their data dictionary.
    Tables(Format),
    /// An MCAP file for each session.
    Mcap,
    /// What `peakorderd import` takes, of one session.
    ForImport,
}

/// What is to be exported.
pub struct Wanted<'a> {
    /// Session folders, or folders that hold them.
    pub sessions: &'a [PathBuf],
    /// Folder to make.
    pub into: &'a Path,
    /// Kind of files.
    pub kind: Kind,
    /// Only these tables; empty for all.
    pub only: &'a [What],
    /// What replaces names; where they are kept, only that of a player without an id.
    pub codes: &'a Codes,
    /// Names are kept, and so is what was typed.
    pub names: bool,
}

/// What was exported.
#[derive(Debug)]
pub struct Done {
    /// Files, each with its number of rows.
    pub files: Vec<(String, u64)>,
    /// What was left out or is damaged, a line each.
    pub notices: Vec<String>,
    /// Of files for import: what imports them.
    pub import: Option<String>,
}

/// Where the rows go.
enum To {
    Tables(Box<Tables>),
    Mcap { folder: PathBuf, names: BTreeSet<String>, files: Vec<(String, u64)> },
    ForImport(ForImport),
}

/// Tables that are open.
struct Tables {
    computed: Computed,
    from_log: FromLog,
    needs_log: bool,
    needs_calibration: bool,
}

impl Tables {
    fn open(folder: &Path, only: &[What], format: Format) -> Result<Self, ExportError> {
        let wanted: Vec<What> =
            What::ALL.into_iter().filter(|w| only.is_empty() || only.contains(w)).collect();
        Ok(Self {
            computed: Computed::open(folder, &wanted, format)?,
            from_log: FromLog::open(folder, &wanted, format)?,
            needs_log: wanted.iter().any(|w| w.needs_log()),
            needs_calibration: wanted.contains(&What::SamplesSegment),
        })
    }

    fn finish(self, folder: &Path) -> Result<Vec<(String, u64)>, ExportError> {
        let mut written: Vec<Written> = Vec::new();
        self.computed.finish(&mut written)?;
        self.from_log.finish(&mut written)?;
        write_dictionary(folder, &written)?;
        Ok(files(written))
    }
}

fn files(written: Vec<Written>) -> Vec<(String, u64)> {
    written.into_iter().map(|w| (w.name, w.rows)).collect()
}

fn write_dictionary(folder: &Path, written: &[Written]) -> Result<(), ExportError> {
    let files: Vec<_> = written.iter().map(|w| (w.name.clone(), w.schema.clone())).collect();
    let text = format!("{:#}\n", dictionary("peakorder-export", &files));
    let path = folder.join(DICTIONARY_FILE);
    replace(&path, text.as_bytes(), Lasting::Synced).map_err(ExportError::io(&path))
}

/// Exports `wanted`: the folder is there whole or not at all.
pub fn export(wanted: &Wanted<'_>) -> Result<Done, ExportError> {
    let mut paths = Vec::new();
    for folder in wanted.sessions {
        paths.extend(library::sessions_in(folder)?);
    }
    paths.sort();
    paths.dedup();
    if paths.is_empty() {
        return Err(library::FindError::NoSession(wanted.sessions.to_vec()).into());
    }
    if wanted.kind == Kind::ForImport && paths.len() > 1 {
        return Err(ExportError::SeveralForImport(paths.len()));
    }
    let stage = Stage::new(wanted.into)?;
    let mut to = match wanted.kind {
        Kind::Tables(format) => To::Tables(Box::new(Tables::open(stage.path(), wanted.only, format)?)),
        Kind::Mcap => To::Mcap { folder: stage.path().to_owned(), names: BTreeSet::new(), files: Vec::new() },
        Kind::ForImport => To::ForImport(ForImport::new(stage.path())),
    };
    let mut notices = Vec::new();
    let mut ids = BTreeSet::new();
    let mut first_error: Option<LoadError> = None;
    let mut handedness = None;
    for path in &paths {
        let name = path.display().to_string();
        let mut loaded = match load(&name) {
            Ok(loaded) => loaded,
            Err(why) => {
                notices.push(why.to_string());
                first_error.get_or_insert(why);
                continue;
            }
        };
        if !ids.insert(loaded.session.id.clone()) {
            notices.push(format!("{name}: the same session as one before; left out"));
            continue;
        }
        let mut said: Vec<String> = loaded.problems.iter().map(|p| format!("left out: {}", p.text)).collect();
        said.extend(loaded.notices.iter().cloned());
        handedness = Some(loaded.session.player.handedness);
        let naming = Naming { codes: (!wanted.names).then_some(wanted.codes), ids: wanted.codes };
        let typed = Typed { remarks: loaded.remarks.clone(), naming };
        if !wanted.names {
            wanted.codes.hide(&mut loaded);
        }
        one_session(&mut to, &loaded, &typed, &mut said)?;
        notices.extend(said.into_iter().map(|said| format!("{name}: {said}")));
    }
    if let (true, Some(why)) = (ids.is_empty(), first_error) {
        return Err(why.into());
    }
    let mut done = Done { files: Vec::new(), notices, import: None };
    match to {
        To::Tables(tables) => done.files = tables.finish(stage.path())?,
        To::Mcap { files, .. } => done.files = files,
        To::ForImport(to) => {
            let mut written = Vec::new();
            let roles = to.finish(&mut written)?;
            done.files = files(written);
            if roles.is_empty() {
                return Err(ExportError::Nothing(done.notices.join("; ")));
            }
            done.import = Some(import_line(wanted.into, &roles, handedness));
        }
    }
    stage.finish()?;
    Ok(done)
}

/// The command that imports the files in `folder`.
fn import_line(folder: &Path, roles: &[Role], handedness: Option<Handedness>) -> String {
    let path = |file: &str| word(&folder.join(file).display().to_string());
    let mut words = vec!["peakorderd import --out FOLDER".to_owned()];
    for name in roles.iter().map(|role| strap_name(*role)) {
        words.push(format!("--{name} {}", path(&format!("{name}.csv"))));
    }
    words.push(format!("--marks {}", path(MARKS_FILE)));
    words.extend(handedness.map(|h| format!("--handedness {}", h.key())));
    words.join(" ")
}

/// What is known of labels before they were hidden.
struct Typed<'a> {
    remarks: Remarks,
    naming: Naming<'a>,
}

impl Typed<'_> {
    /// A mark as it may be told.
    fn mark(&self, mark: &Mark) -> MarkRow {
        let label = || self.remarks.block(&mark.detail);
        let detail = match (mark.kind, self.naming.codes) {
            (MarkKind::Block | MarkKind::Drill, Some(codes)) => codes.block(label()),
            (MarkKind::Block | MarkKind::Drill, None) => label().to_owned(),
            (MarkKind::Note, Some(_)) => String::new(),
            _ => mark.detail.clone(),
        };
        MarkRow {
            t_s: mark.t_ns as f64 * 1e-9,
            kind: mark.kind.as_str(),
            detail: (!detail.is_empty()).then_some(detail),
        }
    }
}

fn one_session(
    to: &mut To,
    loaded: &Loaded,
    typed: &Typed<'_>,
    said: &mut Vec<String>,
) -> Result<(), ExportError> {
    let id: Arc<str> = loaded.session.id.as_str().into();
    let (dir, session) = (&loaded.dir, &loaded.session);
    let reading = match to {
        To::Tables(tables) => {
            tables.computed.session(loaded, &typed.naming, said)?;
            if !tables.needs_log {
                return Ok(());
            }
            let from_log = &mut tables.from_log;
            from_log.next_session();
            read(dir, session, &mut |seen| match seen {
                Seen::Sample(row) => from_log.sample(&id, row),
                Seen::Mark(mark) => from_log.mark(&id, typed.mark(mark)),
            })?
        }
        To::Mcap { folder, names, files } => {
            if !dir.log_path().exists() {
                said.push("samples.log: no such file; no MCAP file was made of it".into());
                return Ok(());
            }
            let name = free_name(&id, names);
            let mut file = McapFile::create(&folder.join(&name), session, &id, start_ns(session, said))?;
            let reading = read(dir, session, &mut |seen| match seen {
                Seen::Sample(row) => file.sample(row),
                Seen::Mark(mark) => file.mark(typed.mark(mark)),
            })?;
            files.push((name, file.finish()?));
            reading
        }
        To::ForImport(to) => read(dir, session, &mut |seen| match seen {
            Seen::Sample(row) => to.sample(row),
            Seen::Mark(mark) => {
                to.mark(typed.mark(mark));
                Ok(())
            }
        })?,
    };
    let segments = matches!(to, To::Tables(tables) if tables.needs_calibration);
    tell(reading, segments, said);
    Ok(())
}

/// What is to be said of a recording.
fn tell(reading: Result<Reading, NoSamples>, segments: bool, said: &mut Vec<String>) {
    let reading = match reading {
        Ok(reading) => reading,
        Err(why) => return said.push(why.to_string()),
    };
    if let Some(damage) = reading.damage {
        said.push(format!(
            "samples.log: {damage}. What can be read was exported; peakorder verify says what is lost"
        ));
    }
    if reading.empty {
        said.push("samples.log: no samples in it".into());
    }
    if segments && !reading.uncalibrated.is_empty() {
        let straps: Vec<&str> = reading.uncalibrated.iter().map(|r: &Role| r.label()).collect();
        said.push(format!(
            "not in samples_segment: {}, never calibrated (still, bow, arm raise); as worn it is in samples_strap",
            straps.join(", ")
        ));
    }
}

/// Nanoseconds from 1970 to the start of the session.
fn start_ns(session: &peakorder_protocol::session::Session, said: &mut Vec<String>) -> u64 {
    let start = session.started_utc.parse::<jiff::Timestamp>().ok();
    let ns = start.and_then(|t| u64::try_from(t.as_nanosecond()).ok());
    ns.unwrap_or_else(|| {
        said.push("when it began cannot be read in session.toml; its times count from 1970".into());
        0
    })
}

/// A file name for the session that no other one has.
fn free_name(id: &str, taken: &mut BTreeSet<String>) -> String {
    let plain: String = id
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() || "-_".contains(c) { c } else { '_' })
        .take(80)
        .collect();
    let mut name = format!("{plain}.mcap");
    let mut n = 1;
    while !taken.insert(name.clone()) {
        n += 1;
        name = format!("{plain}-{n}.mcap");
    }
    name
}
