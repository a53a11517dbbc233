//! The session folder.
//!
//! ```text
//! DIR/session.toml        what was recorded, of whom, with what, and how it was computed
//! DIR/samples.log         raw arrivals, marks and strap events (see `log`)
//! DIR/swings/NNNN.json    one swing (see `swing`)
//! DIR/swings/NNNN.curves  its curves (see `curves`)
//! DIR/mobility.json       mobility checks, if any were made (see `mobility`)
//! DIR/remarks.jsonl       what the coach says of swings, if anything (see `remark`)
//! ```
//!
//! A folder is self-contained and may be moved. `session.toml`, `samples.log` and
//! `remarks.jsonl` are made once; all else can be recomputed from the first two. Every file is
//! described for other programs in `docs/formats/`.

use crate::calibration::JudgedStep;
use crate::document::DocumentError;
use crate::files::{self, Lasting, private_dir};
use crate::log::is_being_written;
use crate::mobility::Mobility;
use crate::remark::RemarkFile;
use crate::repetition::Numbered;
use crate::role::{Handedness, Role};
use crate::swing::Swing;
use crate::text::{excerpt, is_visible};
use crate::trouble::TroubleNote;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

/// Value of [`Session::format`].
pub const FORMAT: &str = "peakorder.session/1";
/// File names inside a session folder.
pub const SESSION_FILE: &str = "session.toml";
/// The recording log.
pub const LOG_FILE: &str = "samples.log";
/// Mobility checks.
pub const MOBILITY_FILE: &str = "mobility.json";
/// Folder of swing files.
pub const SWINGS_DIR: &str = "swings";
/// `session.toml` is small; anything larger is not ours.
const SESSION_FILE_LIMIT_BYTES: u64 = 4 << 20;
/// A swing file has some 10 kB.
const SWING_FILE_LIMIT_BYTES: u64 = 4 << 20;
/// A mobility check has some 10 kB; a session has a few.
const MOBILITY_FILE_LIMIT_BYTES: u64 = 16 << 20;
/// A curves file of one swing has some 100 kB.
const CURVES_FILE_LIMIT_BYTES: u64 = 64 << 20;

/// Breadths across the hips that a person can have, centimetres (own judgement; adults have some 28–45).
pub const HIP_BREADTHS_CM: std::ops::RangeInclusive<f64> = 20.0..=60.0;

/// Contents of `session.toml`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Session {
    /// Always [`FORMAT`].
    pub format: String,
    /// Unique, sortable id, e.g. `20261125T100512Z-1f3a`.
    pub id: String,
    /// Wall-clock start, RFC 3339 UTC.
    pub started_utc: String,
    /// IANA zone (or offset) the session was recorded in.
    pub zone: String,
    /// Program and version that recorded it.
    pub recorded_by: String,
    /// Program and version that computed the swing files.
    pub computed_by: String,
    /// Where the samples came from.
    pub source: SourceKind,
    /// The scenario is invented (virtual straps); shown wherever the session is.
    #[serde(default)]
    pub invented: bool,
    /// The player.
    pub player: Player,
    /// Straps, by segment.
    pub straps: BTreeMap<Role, Strap>,
    /// Settings the swings were computed with; missing keys take the program's defaults.
    #[serde(default)]
    pub settings: toml::Table,
    /// The calibration steps as judged, for the reader; recomputed on replay.
    #[serde(default)]
    pub calibration: Vec<JudgedStep>,
    /// What went wrong while it was recorded.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub troubles: Vec<TroubleNote>,
}

/// Where the samples came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SourceKind {
    /// Straps over Bluetooth.
    Straps,
    /// Simulated straps.
    Virtual,
    /// CSV files of another logger.
    Import,
}

/// Who swung.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Player {
    /// Id in the library that the session was recorded into; it outlives a change of name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// Name as the coach writes it.
    pub name: String,
    /// Side the player swings from.
    pub handedness: Handedness,
    /// What the player works on.
    #[serde(default)]
    pub goal: String,
    /// Limits of the body in the coach's words (not a diagnosis).
    #[serde(default)]
    pub limits: String,
    /// Breadth across the hips, standing, centimetres, if it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hip_breadth_cm: Option<f64>,
    /// When the player agreed to be recorded, as the library had it at the start, RFC 3339 UTC.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub consent_utc: Option<String>,
}

impl Player {
    /// Whether both are one person: by id where both have one, else by name.
    pub fn same_as(&self, other: &Self) -> bool {
        match (&self.id, &other.id) {
            (Some(a), Some(b)) => a == b,
            _ => self.named(&other.name),
        }
    }

    /// The name; empty if nobody could see it.
    pub fn shown_name(&self) -> &str {
        if is_visible(&self.name) { &self.name } else { "" }
    }

    /// Whether this is the name, without regard to case.
    pub fn named(&self, name: &str) -> bool {
        self.name.trim().to_lowercase() == name.trim().to_lowercase()
    }
}

/// One strap of the session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Strap {
    /// Name or address.
    pub name: String,
    /// Profile id.
    pub profile: String,
    /// The profile's whole text, so that the folder can be decoded without this version's built-ins.
    pub profile_toml: String,
    /// Constant latency taken off this strap's times (physical alignment), milliseconds.
    #[serde(default)]
    pub latency_ms: f64,
    /// Standard uncertainty of that constant; absent = straps were never aligned physically.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub latency_sd_ms: Option<f64>,
    /// BLE connection interval if known, milliseconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub interval_ms: Option<f64>,
}

/// Why a session folder could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// Not a folder with a `session.toml`.
    #[error("{} is not a session folder: it has no {SESSION_FILE}; name the folder that peakorderd wrote", .0.display())]
    NotASession(PathBuf),
    /// I/O failed.
    #[error("{}: {source}", path.display())]
    Io {
        /// File concerned.
        path: PathBuf,
        /// Cause.
        source: std::io::Error,
    },
    /// Not valid TOML of this format.
    #[error("{}: {reason}", path.display())]
    Malformed {
        /// File concerned.
        path: PathBuf,
        /// Where and why.
        reason: String,
    },
    /// A computed file that is not as it was written. The recording still gives it.
    #[error("{}: {what}; peakorderd replay makes it anew from the recording", path.display())]
    Damaged {
        /// File concerned.
        path: PathBuf,
        /// What is wrong with it.
        what: DocumentError,
    },
    /// A session's own file that is not what any version wrote.
    #[error(
        "{}: {what}, so it is damaged; put a copy of it back, or run peakorder salvage. The samples in {LOG_FILE} \
         beside it are not lost by this",
        path.display()
    )]
    SessionFileDamaged {
        /// File concerned.
        path: PathBuf,
        /// What is the matter.
        what: Damage,
    },
    /// A version this program does not know.
    #[error("{}: format is {}, this program reads '{FORMAT}'; update peakorder to open it", path.display(), excerpt(found))]
    Version {
        /// File concerned.
        path: PathBuf,
        /// What it says.
        found: String,
    },
    /// A program is recording into it.
    #[error("{} is being recorded at this moment; end that session first, or name another folder", .0.display())]
    BeingRecorded(PathBuf),
    /// The target folder holds something already.
    #[error("{} already exists and is not empty; name another folder, or add --force to replace the session in it", .0.display())]
    Exists(PathBuf),
}

/// How a `session.toml` is not what any version wrote.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damage {
    /// Nothing, blanks or zero bytes.
    Empty,
    /// No key `format`, which every version writes first.
    NoFormat,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Empty => "the file is empty",
            Self::NoFormat => "the file does not say its format",
        })
    }
}

impl Session {
    /// Reads the text of a `session.toml`; `file` is what messages call it.
    pub fn from_toml(text: &str, file: &Path) -> Result<Self, SessionError> {
        let malformed = |e: toml::de::Error| SessionError::Malformed {
            path: file.to_owned(),
            reason: crate::toml_line::explain(text, &e),
        };
        // The format is looked at first so that a newer file is called newer, not malformed.
        if text.trim_matches(|c: char| c.is_whitespace() || c == '\0').is_empty() {
            return Err(SessionError::SessionFileDamaged { path: file.to_owned(), what: Damage::Empty });
        }
        let table: toml::Table = text.parse().map_err(malformed)?;
        match table.get("format").and_then(toml::Value::as_str) {
            Some(FORMAT) => {}
            Some(found) => {
                return Err(SessionError::Version { path: file.to_owned(), found: found.to_owned() });
            }
            None => {
                return Err(SessionError::SessionFileDamaged {
                    path: file.to_owned(),
                    what: Damage::NoFormat,
                });
            }
        }
        // The text is read again only for where in it the mistake is.
        table.try_into().or_else(|_: toml::de::Error| toml::from_str(text)).map_err(malformed)
    }

    /// The text of `session.toml`.
    pub fn to_toml(&self) -> Result<String, toml::ser::Error> {
        toml::to_string_pretty(self)
    }
}

impl Session {
    /// How many gaps in the log this file tells of.
    pub fn known_gaps(&self) -> usize {
        self.troubles.iter().filter(|note| note.what.leaves_gap()).count()
    }
}

impl SessionError {
    fn io(path: &Path) -> impl FnOnce(std::io::Error) -> Self + '_ {
        move |source| Self::Io { path: path.to_owned(), source }
    }

    /// A file that a replay makes again, unless a newer program wrote it.
    fn document(path: &Path) -> impl FnOnce(DocumentError) -> Self + '_ {
        move |what| match what {
            DocumentError::Schema { .. } => Self::malformed(path)(what),
            what => Self::Damaged { path: path.to_owned(), what },
        }
    }

    fn malformed<E: fmt::Display>(path: &Path) -> impl FnOnce(E) -> Self + '_ {
        move |e| Self::Malformed { path: path.to_owned(), reason: e.to_string() }
    }
}

/// A session folder on disk.
#[derive(Debug, Clone)]
pub struct SessionDir {
    path: PathBuf,
}

impl SessionDir {
    /// Opens an existing folder and reads its `session.toml`.
    pub fn open(path: &Path) -> Result<(Self, Session), SessionError> {
        let file = path.join(SESSION_FILE);
        let text = match files::read_text(&file, SESSION_FILE_LIMIT_BYTES) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                return Err(SessionError::NotASession(path.to_owned()));
            }
            Err(e) => return Err(SessionError::io(&file)(e)),
        };
        Ok((Self { path: path.to_owned() }, Session::from_toml(&text, &file)?))
    }

    /// The folder as it is, with or without a `session.toml`: to look at one that is damaged.
    pub fn at(path: &Path) -> Self {
        Self { path: path.to_owned() }
    }

    /// Creates a folder for a new session. A folder that is not empty is refused unless
    /// `force`; even then only a session's own files are removed, never anything else.
    pub fn create(path: &Path, force: bool) -> Result<Self, SessionError> {
        let occupied = match fs::read_dir(path) {
            Ok(mut entries) => entries.next().is_some(),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => false,
            Err(e) => return Err(SessionError::io(path)(e)),
        };
        let dir = Self { path: path.to_owned() };
        if occupied {
            if !force {
                return Err(SessionError::Exists(path.to_owned()));
            }
            dir.refuse_if_recording()?;
            dir.remove_swings()?;
            // Remarks are about the swings of the session that goes.
            for file in [SESSION_FILE, LOG_FILE, MOBILITY_FILE].map(|name| path.join(name)) {
                remove_if_there(&file)?;
            }
            remove_if_there(dir.remarks().path())?;
        }
        private_dir(path).map_err(SessionError::io(path))?;
        let swings = path.join(SWINGS_DIR);
        private_dir(&swings).map_err(SessionError::io(&swings))?;
        Ok(dir)
    }

    /// Refuses a session that a program is recording at this moment.
    pub fn refuse_if_recording(&self) -> Result<(), SessionError> {
        if is_being_written(&self.log_path()) {
            return Err(SessionError::BeingRecorded(self.path.clone()));
        }
        Ok(())
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Path of the recording log.
    pub fn log_path(&self) -> PathBuf {
        self.path.join(LOG_FILE)
    }

    /// Path of swing `number`'s JSON.
    pub fn swing_path(&self, number: u32) -> PathBuf {
        self.path.join(SWINGS_DIR).join(format!("{number:04}.json"))
    }

    /// Path of swing `number`'s curves.
    pub fn curves_path(&self, number: u32) -> PathBuf {
        self.path.join(SWINGS_DIR).join(format!("{number:04}.curves"))
    }

    /// What the coach says of the swings. Nothing else in this folder's keeping touches it.
    pub fn remarks(&self) -> RemarkFile {
        RemarkFile::of(&self.path)
    }

    /// Writes `session.toml`, whole or not at all, and to the disk.
    pub fn write_session(&self, session: &Session) -> Result<(), SessionError> {
        let file = self.path.join(SESSION_FILE);
        let text = session.to_toml().map_err(SessionError::malformed(&file))?;
        files::replace(&file, text.as_bytes(), Lasting::Synced).map_err(SessionError::io(&file))
    }

    /// Writes one swing ([`Swing::to_json`]) and its curves, each whole or not at all. The folder of swings is made
    /// again if it is gone.
    pub fn write_swing(&self, number: u32, json: &str, curves: &[u8]) -> Result<(), SessionError> {
        let folder = self.path.join(SWINGS_DIR);
        private_dir(&folder).map_err(SessionError::io(&folder))?;
        replace_computed(&self.curves_path(number), curves)?;
        replace_computed(&self.swing_path(number), json.as_bytes())
    }

    /// Writes one repetition of a drill, which has no curves.
    pub fn write_repetition(&self, number: u32, json: &str) -> Result<(), SessionError> {
        let folder = self.path.join(SWINGS_DIR);
        private_dir(&folder).map_err(SessionError::io(&folder))?;
        replace_computed(&self.swing_path(number), json.as_bytes())
    }

    /// Path of the mobility checks.
    pub fn mobility_path(&self) -> PathBuf {
        self.path.join(MOBILITY_FILE)
    }

    /// Writes the mobility checks, whole or not at all.
    pub fn write_mobility(&self, mobility: &Mobility) -> Result<(), SessionError> {
        replace_computed(&self.mobility_path(), mobility.to_json().as_bytes())
    }

    /// Reads the mobility checks; `None` when the session has none.
    pub fn read_mobility(&self) -> Result<Option<Mobility>, SessionError> {
        let path = self.mobility_path();
        let bytes = match files::read(&path, MOBILITY_FILE_LIMIT_BYTES) {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(e) => return Err(SessionError::io(&path)(e)),
        };
        text_of(&bytes).and_then(Mobility::from_json).map(Some).map_err(SessionError::document(&path))
    }

    /// Removes the mobility checks (before a replay makes them anew).
    pub fn remove_mobility(&self) -> Result<(), SessionError> {
        remove_if_there(&self.mobility_path())
    }

    /// Removes all swing files (before a replay writes them anew).
    pub fn remove_swings(&self) -> Result<(), SessionError> {
        let dir = self.path.join(SWINGS_DIR);
        let entries = match fs::read_dir(&dir) {
            Ok(entries) => entries,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(()),
            Err(e) => return Err(SessionError::io(&dir)(e)),
        };
        for entry in entries {
            let path = entry.map_err(SessionError::io(&dir))?.path();
            if number_of(&path, "json").or_else(|| number_of(&path, "curves")).is_some() {
                fs::remove_file(&path).map_err(SessionError::io(&path))?;
            }
        }
        Ok(())
    }

    /// Removes the computed swings after number `last`: a recording that was broken off may not give them again.
    pub fn remove_swings_after(&self, last: u32) -> Result<(), SessionError> {
        for number in self.swing_numbers()?.into_iter().filter(|n| *n > last) {
            remove_if_there(&self.swing_path(number))?;
            remove_if_there(&self.curves_path(number))?;
        }
        Ok(())
    }

    /// Numbers of the swings on disk, ascending.
    pub fn swing_numbers(&self) -> Result<Vec<u32>, SessionError> {
        let dir = self.path.join(SWINGS_DIR);
        let entries = match fs::read_dir(&dir) {
            Ok(entries) => entries,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(e) => return Err(SessionError::io(&dir)(e)),
        };
        let mut numbers = Vec::new();
        for entry in entries {
            let path = entry.map_err(SessionError::io(&dir))?.path();
            numbers.extend(number_of(&path, "json"));
        }
        numbers.sort_unstable();
        Ok(numbers)
    }

    /// Reads the file of number `number`, of a swing or of a repetition.
    pub fn read_numbered(&self, number: u32) -> Result<Numbered, SessionError> {
        let path = self.swing_path(number);
        let bytes = files::read(&path, SWING_FILE_LIMIT_BYTES).map_err(SessionError::io(&path))?;
        text_of(&bytes).and_then(Numbered::from_json).map_err(SessionError::document(&path))
    }

    /// Reads swing `number`.
    pub fn read_swing(&self, number: u32) -> Result<Swing, SessionError> {
        let path = self.swing_path(number);
        let bytes = files::read(&path, SWING_FILE_LIMIT_BYTES).map_err(SessionError::io(&path))?;
        text_of(&bytes).and_then(Swing::from_json).map_err(SessionError::document(&path))
    }

    /// The bytes of swing `number`'s curves.
    pub fn read_curves(&self, number: u32) -> std::io::Result<Vec<u8>> {
        files::read(&self.curves_path(number), CURVES_FILE_LIMIT_BYTES)
    }

    /// Reads all numbered files, ascending.
    pub fn read_all(&self) -> Result<Vec<Numbered>, SessionError> {
        self.swing_numbers()?.into_iter().map(|n| self.read_numbered(n)).collect()
    }

    /// Reads all swings, ascending; repetitions are left out.
    pub fn read_swings(&self) -> Result<Vec<Swing>, SessionError> {
        let swing = |n| if let Numbered::Swing(swing) = n { Some(*swing) } else { None };
        Ok(self.read_all()?.into_iter().filter_map(swing).collect())
    }
}

/// The text of a JSON file.
fn text_of(bytes: &[u8]) -> Result<&str, DocumentError> {
    std::str::from_utf8(bytes).map_err(|_| DocumentError::NotText)
}

/// A file that a replay makes again.
fn replace_computed(path: &Path, bytes: &[u8]) -> Result<(), SessionError> {
    files::replace(path, bytes, Lasting::Recomputable).map_err(SessionError::io(path))
}

fn remove_if_there(file: &Path) -> Result<(), SessionError> {
    match fs::remove_file(file) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(SessionError::io(file)(e)),
        _ => Ok(()),
    }
}

fn number_of(path: &Path, extension: &str) -> Option<u32> {
    (path.extension()? == extension).then_some(())?;
    path.file_stem()?.to_str()?.parse().ok()
}
