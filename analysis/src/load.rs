//! Reading a session, or one block of it, from what the user named.

use peakorder_protocol::curves::{Curves, CurvesError};
use peakorder_protocol::mobility::MobilityCheck;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::repetition::{Numbered, Repetition};
use peakorder_protocol::session::{Session, SessionDir, SessionError};
use peakorder_protocol::swing::Swing;
use std::collections::BTreeSet;
use std::fmt;
use std::path::{Path, PathBuf};

/// What the swings before the first block are called on screen.
pub const NO_BLOCK: &str = "(no block)";

/// A session's swings as far as they could be read.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The folder.
    pub dir: SessionDir,
    /// Its `session.toml`.
    pub session: Session,
    /// The block that was asked for; `None` = all of them.
    pub block: Option<String>,
    /// Swings of that choice, by number.
    pub swings: Vec<Swing>,
    /// Repetitions of drills of that choice, by number. They are no swings and are never counted with them.
    pub repetitions: Vec<Repetition>,
    /// Labels of all blocks of the session that have swings, in order of appearance.
    pub blocks: Vec<String>,
    /// Swing files that could not be read.
    pub problems: Vec<Problem>,
    /// What the coach says of the session's swings.
    pub remarks: Remarks,
    /// The session's mobility checks, in the order made.
    pub mobility: Vec<MobilityCheck>,
    /// Remarks and checks that could not be read, in words.
    pub notices: Vec<String>,
    /// What stands for the folder's path where that is not to be told ([`crate::codes`]).
    pub coded_as: Option<String>,
}

/// A swing file that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The swing's number by its file name.
    pub number: u32,
    /// What is the matter, with the path.
    pub text: String,
}

/// Why nothing could be loaded. The message says what to do.
#[derive(Debug)]
pub enum LoadError {
    /// No folder of that name.
    NoFolder {
        /// As the user wrote it.
        given: String,
    },
    /// The folder is not a session, or could not be read.
    Session(SessionError),
    /// The session has no such block.
    NoBlock {
        /// The folder.
        folder: PathBuf,
        /// The block asked for.
        block: String,
        /// Those there are.
        blocks: Vec<String>,
    },
    /// Every swing file is damaged.
    NothingReadable {
        /// The folder.
        folder: PathBuf,
        /// How many there are.
        count: usize,
        /// The first one's trouble.
        first: String,
    },
    /// That number is a repetition of a drill.
    Repetition {
        /// The folder.
        folder: PathBuf,
        /// The number asked for.
        number: u32,
        /// The drill.
        block: String,
    },
    /// The session has no swing of that number.
    NoSwing {
        /// The folder, with the block if one was asked for.
        of: String,
        /// The number asked for.
        number: u32,
        /// Those there are.
        numbers: Vec<u32>,
    },
    /// That one swing file is damaged.
    Damaged(Problem),
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoFolder { given } => write!(
                f,
                "{given}: no such folder; name a session folder that peakorderd wrote, or FOLDER:BLOCK for one block of it"
            ),
            Self::Session(e) => e.fmt(f),
            Self::NoBlock { folder, block, blocks } if blocks.is_empty() => write!(
                f,
                "{}: no block '{block}', for the session has no swings yet; record swings first",
                folder.display()
            ),
            Self::NoBlock { folder, block, blocks } => {
                let list: Vec<String> = blocks.iter().map(|b| quoted(b)).collect();
                write!(
                    f,
                    "{}: no block {}; the session has {}",
                    folder.display(),
                    quoted(block),
                    list.join(", ")
                )
            }
            Self::NothingReadable { folder, count, first } => write!(
                f,
                "{}: none of its {count} swing files can be read ({first}); recompute them from the recording: peakorderd replay {}",
                folder.display(),
                folder.display()
            ),
            Self::Repetition { folder, number, block } => {
                let folder = folder.display();
                write!(
                    f,
                    "{folder}: {number} is a repetition of the drill {}; peakorder show {folder}:{block} shows it",
                    quoted(block)
                )
            }
            Self::NoSwing { of, number, numbers } if numbers.is_empty() => {
                write!(f, "{of}: no swing {number}, for there are no swings")
            }
            Self::NoSwing { of, number, numbers } => {
                write!(f, "{of}: no swing {number}; there are {}", ranges(numbers))
            }
            Self::Damaged(problem) => {
                write!(f, "{}; recompute it from the recording with peakorderd replay", problem.text)
            }
        }
    }
}

impl std::error::Error for LoadError {}

impl From<SessionError> for LoadError {
    fn from(e: SessionError) -> Self {
        Self::Session(e)
    }
}

/// A block's label as the user would type it after the colon, or what stands for none.
fn quoted(label: &str) -> String {
    if label.is_empty() { format!("'' {NO_BLOCK}") } else { format!("'{label}'") }
}

/// `1–4, 7, 9–10`.
fn ranges(numbers: &[u32]) -> String {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for &n in numbers {
        match runs.last_mut() {
            Some((_, end)) if end.checked_add(1) == Some(n) => *end = n,
            _ => runs.push((n, n)),
        }
    }
    let texts: Vec<String> =
        runs.into_iter().map(|(a, b)| if a == b { a.to_string() } else { format!("{a}–{b}") }).collect();
    texts.join(", ")
}

/// Splits `FOLDER` or `FOLDER:BLOCK`. A folder whose own name has a colon wins over a
/// block, and of several readings the longest folder name.
fn resolve(spec: &str) -> Result<(PathBuf, Option<String>), LoadError> {
    if Path::new(spec).is_dir() {
        return Ok((PathBuf::from(spec), None));
    }
    for (at, _) in spec.char_indices().rev().filter(|&(_, c)| c == ':') {
        let folder = Path::new(&spec[..at]);
        if folder.is_dir() {
            return Ok((folder.to_owned(), Some(spec[at + 1..].to_owned())));
        }
    }
    Err(LoadError::NoFolder { given: spec.to_owned() })
}

/// Which swings of a session are loaded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Which {
    /// All of them.
    All,
    /// Those of one block.
    Block(String),
    /// Those of these blocks, known to be the ones with these numbers. The session's labels are given as well, for they are
    /// not known without reading all.
    Known { blocks: Vec<String>, numbers: Vec<u32> },
}

/// Loads `FOLDER` or `FOLDER:BLOCK`. `FOLDER:` is the swings before the first block.
///
/// A session without swings loads as one without swings. A damaged swing file is reported
/// in [`Loaded::problems`]; only when none of several can be read is that an error.
pub fn load(spec: &str) -> Result<Loaded, LoadError> {
    let (folder, block) = resolve(spec)?;
    load_folder(&folder, block.map_or(Which::All, Which::Block))
}

pub(crate) fn load_folder(folder: &Path, which: Which) -> Result<Loaded, LoadError> {
    let (dir, session) = SessionDir::open(folder)?;
    load_opened(dir, session, which)
}

pub(crate) fn load_opened(dir: SessionDir, session: Session, which: Which) -> Result<Loaded, LoadError> {
    let folder = dir.path().to_owned();
    let (block, known) = match which {
        Which::All => (None, None),
        Which::Block(block) => (Some(block), None),
        Which::Known { blocks, numbers } => (None, Some((blocks, numbers))),
    };
    let numbers = match &known {
        Some((_, numbers)) => numbers.clone(),
        None => dir.swing_numbers()?,
    };
    let mut swings = Vec::with_capacity(numbers.len());
    let mut repetitions = Vec::new();
    let mut problems = Vec::new();
    for &number in &numbers {
        match read_numbered(&dir, number) {
            Ok(Numbered::Swing(swing)) => swings.push(*swing),
            Ok(Numbered::Repetition(repetition)) => repetitions.push(*repetition),
            Err(problem) => problems.push(problem),
        }
    }
    if let (true, Some(first)) = (swings.is_empty() && repetitions.is_empty(), problems.first()) {
        return Err(LoadError::NothingReadable { folder, count: problems.len(), first: first.text.clone() });
    }
    // Swings are worth showing even where the rest cannot be read; that it is not is said.
    let (remarks, mut notices) = match dir.remarks().read() {
        Ok(read) => (read.fold(), read.notices),
        Err(e) => (Remarks::default(), vec![format!("remarks not read: {e}")]),
    };
    for swing in &mut swings {
        swing.block = remarks.block(&swing.block).to_owned();
    }
    for repetition in &mut repetitions {
        repetition.block = remarks.block(&repetition.block).to_owned();
    }
    let blocks = known.map_or_else(|| labels(&swings), |(blocks, _)| blocks);
    if let Some(block) = &block {
        if !blocks.contains(block) && repetitions.iter().all(|r| r.block != *block) {
            return Err(LoadError::NoBlock { folder, block: block.clone(), blocks });
        }
        swings.retain(|s| s.block == *block);
        repetitions.retain(|r| r.block == *block);
    }
    let mobility = dir.read_mobility().unwrap_or_else(|e| {
        notices.push(format!("mobility check not read: {e}"));
        None
    });
    let mobility = mobility.map_or_else(Vec::new, |m| m.checks);
    Ok(Loaded {
        dir,
        session,
        block,
        swings,
        repetitions,
        blocks,
        problems,
        remarks,
        mobility,
        notices,
        coded_as: None,
    })
}

/// The blocks of these swings, in order of appearance.
fn labels(swings: &[Swing]) -> Vec<String> {
    let mut blocks: Vec<String> = Vec::new();
    for swing in swings {
        if !blocks.contains(&swing.block) {
            blocks.push(swing.block.clone());
        }
    }
    blocks
}

pub(crate) fn read_numbered(dir: &SessionDir, number: u32) -> Result<Numbered, Problem> {
    let problem = |text: String| Problem { number, text };
    let read = dir.read_numbered(number).map_err(|e| problem(e.to_string()))?;
    if read.number() != number {
        return Err(problem(format!(
            "{}: holds swing {}, not {number}",
            dir.swing_path(number).display(),
            read.number()
        )));
    }
    Ok(read)
}

impl Loaded {
    /// The swing of that number within the choice.
    pub fn swing(&self, number: u32) -> Result<&Swing, LoadError> {
        if let Some(swing) = self.swings.iter().find(|s| s.number == number) {
            return Ok(swing);
        }
        if let Some(problem) = self.problems.iter().find(|p| p.number == number) {
            return Err(LoadError::Damaged(problem.clone()));
        }
        if let Some(repetition) = self.repetitions.iter().find(|r| r.number == number) {
            let folder = self.coded_as.as_ref().map_or_else(|| self.dir.path().to_owned(), PathBuf::from);
            return Err(LoadError::Repetition { folder, number, block: repetition.block.clone() });
        }
        Err(LoadError::NoSwing {
            of: self.name(),
            number,
            numbers: self.swings.iter().map(|s| s.number).collect(),
        })
    }

    /// The swings of block `label` that count: struck, with usable timing, not left out.
    pub fn counted(&self, label: &str) -> Vec<&Swing> {
        self.swings.iter().filter(|s| s.block == label && self.remarks.counts(s)).collect()
    }

    /// The same session, of one block only.
    #[must_use]
    pub fn only(&self, label: &str) -> Self {
        Self {
            dir: self.dir.clone(),
            session: self.session.clone(),
            block: Some(label.to_owned()),
            swings: self.swings.iter().filter(|s| s.block == label).cloned().collect(),
            repetitions: self.repetitions.iter().filter(|r| r.block == label).cloned().collect(),
            blocks: self.blocks.clone(),
            problems: self.problems.clone(),
            remarks: self.remarks.clone(),
            mobility: self.mobility.clone(),
            notices: self.notices.clone(),
            coded_as: self.coded_as.clone(),
        }
    }

    /// Checks of how well the straps are put on again: blocks of one label that were swung in several wearings of the session, the wearings of each
    /// apart.
    pub fn worn_anew(&self) -> Vec<Vec<Self>> {
        let wearings: BTreeSet<u32> = self.swings.iter().map(|s| s.wearing).collect();
        if wearings.len() < 2 {
            return Vec::new();
        }
        let part = |label: &str, wearing: u32| {
            let mut part = self.only(label);
            part.swings.retain(|s| s.wearing == wearing);
            part
        };
        self.blocks
            .iter()
            .map(|label| {
                let parts = wearings.iter().map(|w| part(label, *w));
                parts.filter(|p| p.swings.iter().any(|s| p.remarks.counts(s))).collect::<Vec<_>>()
            })
            .filter(|check| check.len() > 1)
            .collect()
    }

    /// The folder, with `:BLOCK` if one was asked for.
    pub fn name(&self) -> String {
        let folder = self.coded_as.clone().unwrap_or_else(|| self.dir.path().display().to_string());
        match &self.block {
            Some(block) => format!("{folder}:{block}"),
            None => folder,
        }
    }

    /// The curves of swing `number`.
    pub fn curves(&self, number: u32) -> Result<Curves, NoCurves> {
        curves(&self.dir, number).map_err(|e| match &self.coded_as {
            Some(code) => NoCurves { path: PathBuf::from(format!("{code}/{number:04}.curves")), ..e },
            None => e,
        })
    }
}

/// Why a swing has no curves.
#[derive(Debug, thiserror::Error)]
#[error("{}: {reason}", path.display())]
pub struct NoCurves {
    /// The file they should be in.
    pub path: PathBuf,
    /// What is the matter with it.
    pub reason: NoCurvesReason,
}

/// What is the matter with a curves file.
#[derive(Debug, thiserror::Error)]
pub enum NoCurvesReason {
    /// There is none.
    #[error("no such file; peakorderd replay makes it from the recording")]
    NoFile,
    /// It cannot be read.
    #[error(transparent)]
    Unreadable(#[from] std::io::Error),
    /// It holds something else.
    #[error(transparent)]
    Damaged(#[from] CurvesError),
}

/// The curves of swing `number` of the session in `dir`.
pub fn curves(dir: &SessionDir, number: u32) -> Result<Curves, NoCurves> {
    let read = || match dir.read_curves(number) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Err(NoCurvesReason::NoFile),
        bytes => Ok(Curves::from_bytes(&bytes?)?),
    };
    read().map_err(|reason| NoCurves { path: dir.curves_path(number), reason })
}
