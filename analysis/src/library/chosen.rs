//! A player's sessions as they are needed: chosen by what the index knows, loaded one by one.

use super::index::{self, Progress, Rows};
use super::persons::{called, persons};
use super::row::{Head, Holds, Row};
use super::{FORGOTTEN, FindError, Found, Place, place, seconds};
use crate::BASELINE;
use crate::codes::Codes;
use crate::load::{LoadError, Loaded, Which, load, load_folder, load_opened};
use crate::parallel;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::{Player, SESSION_FILE, SessionDir};
use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// So often a choice is made anew because files changed meanwhile.
const ROUNDS: usize = 3;

/// One player's sessions, earliest first, not yet loaded.
pub struct Chosen<'a> {
    /// The player's name.
    pub player: String,
    /// Folders that could not be read, each with the reason.
    pub left_out: Vec<String>,
    /// What is to know of how they were found.
    pub notices: Vec<String>,
    sessions: Vec<Session>,
    /// Codes in place of names, and the player's.
    codes: Option<(&'a Codes, String)>,
}

/// Which swings of a session matter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Swings<'a> {
    /// All of them.
    All,
    /// Those of one block. [`Loaded::blocks`] has all labels nevertheless; repetitions are left out, and of the session's own
    /// file what the index does not know ([`load_known`]).
    Block(&'a str),
    /// Those of the blocks that [`kept`](crate::kept) looks at, and of one more if it is named.
    Ends(Option<&'a str>),
}

/// A session that can be loaded.
#[derive(Clone)]
enum Session {
    /// Read already, for it had to be to know whose it is.
    Loaded(Arc<Loaded>),
    /// In the index.
    Known { folder: PathBuf, row: Arc<Row>, head: Box<Head> },
}

impl Session {
    fn started_utc(&self) -> &str {
        match self {
            Self::Loaded(loaded) => &loaded.session.started_utc,
            Self::Known { head, .. } => &head.started_utc,
        }
    }

    fn id(&self) -> &str {
        match self {
            Self::Loaded(loaded) => &loaded.session.id,
            Self::Known { head, .. } => &head.id,
        }
    }

    fn player(&self) -> &Player {
        match self {
            Self::Loaded(loaded) => &loaded.session.player,
            Self::Known { head, .. } => &head.player,
        }
    }

    fn load(&self, wanted: Swings<'_>) -> Result<Loaded, LoadError> {
        match self {
            Self::Loaded(loaded) => Ok(Loaded::clone(loaded)),
            Self::Known { folder, head, .. } => load_known(folder, head, wanted),
        }
    }
}

/// Loads what is wanted of a session of which it is known which block has which swings. Unless all is wanted, its
/// `session.toml` is not read, and [`Loaded::session`] has no straps, settings, calibration and troubles.
pub fn load_known(folder: &Path, head: &Head, wanted: Swings<'_>) -> Result<Loaded, LoadError> {
    let labels: Vec<&str> = match wanted {
        Swings::All => return load_folder(folder, Which::All),
        Swings::Block(label) => vec![label],
        Swings::Ends(also) => ends(head).into_iter().chain(also).collect(),
    };
    let of = head.blocks.iter().filter(|b| labels.contains(&b.label.as_str()));
    let mut numbers: Vec<u32> = of.flat_map(super::Block::each).collect();
    numbers.sort_unstable();
    let blocks = head.blocks.iter().map(|b| b.label.clone()).collect();
    let loaded = load_opened(SessionDir::at(folder), head.session(), Which::Known { blocks, numbers });
    let undecided = |l: &Loaded| ends(head).iter().any(|label| l.counted(label).is_empty());
    match loaded {
        Ok(loaded) if loaded.problems.is_empty() => match wanted {
            // Where nothing of a block counts, the next one is looked at in its place.
            Swings::Ends(_) if undecided(&loaded) => load_folder(folder, Which::All),
            _ => Ok(loaded),
        },
        // A file changed since it was looked at.
        _ => load_folder(folder, Which::All),
    }
}

/// Where a session began and ended, if what was swung there counts.
fn ends(head: &Head) -> Vec<&str> {
    let labels = || head.blocks.iter().map(|b| b.label.as_str());
    let Some(start) = labels().find(|l| *l == BASELINE).or_else(|| labels().next()) else {
        return Vec::new();
    };
    std::iter::once(start).chain(labels().rev().find(|l| *l != start)).collect()
}

/// The folders that are asked about: sessions named one by one or of a few, and places of many with what is known of them.
#[derive(Default)]
struct Places {
    few: Vec<(PathBuf, Result<Session, String>)>,
    many: Vec<(PathBuf, Rows)>,
    notices: Vec<String>,
}

/// The sessions of one player in `folders`, as [`find`](super::find) finds them. From a folder of many sessions only what
/// changed is read, and its index is kept.
pub fn select<'a>(
    folders: &[PathBuf],
    player: Option<&str>,
    progress: Progress<'_>,
) -> Result<Chosen<'a>, FindError> {
    let mut places = look(folders, progress)?;
    let mut round = 1;
    loop {
        let chosen = choose(&places, folders, player)?;
        if round == ROUNDS || !changed(&mut places, &chosen.sessions) {
            return Ok(Chosen { notices: places.notices, ..chosen });
        }
        round += 1;
    }
}

fn look(folders: &[PathBuf], progress: Progress<'_>) -> Result<Places, FindError> {
    let mut places = Places::default();
    let mut few: Vec<PathBuf> = Vec::new();
    for folder in folders {
        let of = match place(folder)? {
            Place::Session(path) => {
                few.push(path);
                continue;
            }
            Place::Of(of) => of,
        };
        let unreadable = |e| FindError::Unreadable(of.clone(), e);
        let mut plain = Vec::new();
        let mut others = Vec::new();
        for entry in std::fs::read_dir(&of).map_err(unreadable)? {
            let entry = entry.map_err(unreadable)?;
            if entry.file_name().to_string_lossy().starts_with(FORGOTTEN) {
                continue;
            }
            // The index follows no links and has no names that are not UTF-8.
            let indexed = entry.file_type().is_ok_and(|t| t.is_dir()) && entry.file_name().to_str().is_some();
            if indexed { plain.push(entry.path()) } else { others.push(entry.path()) }
        }
        let is_session = |path: &PathBuf| path.join(SESSION_FILE).exists();
        few.extend(others.into_iter().filter(is_session));
        if plain.len() < index::MANY && !index::is_kept(&of) {
            few.extend(plain.into_iter().filter(is_session));
        } else if !places.many.iter().any(|(known, _)| *known == of) {
            let (mut rows, trouble) = index::open(&of);
            let mut notices: Vec<String> = trouble.iter().map(ToString::to_string).collect();
            let changes = index::look(&of, &rows, progress, &|_| {}).map_err(unreadable)?;
            keep(&of, changes, &mut rows, &mut notices);
            places.notices.append(&mut notices);
            places.many.push((of, rows));
        }
    }
    few.sort();
    few.dedup();
    let read = parallel::each(&few, |path| {
        load(&path.display().to_string()).map(|l| Session::Loaded(Arc::new(l))).map_err(|e| e.to_string())
    });
    places.few = few.into_iter().zip(read).collect();
    Ok(places)
}

fn keep(place: &Path, changes: index::Changes, rows: &mut Rows, notices: &mut Vec<String>) {
    if changes.is_empty() {
        return;
    }
    changes.apply(rows);
    if let Err(trouble) = index::keep(place, rows) {
        notices.push(trouble.to_string());
    }
}

/// Whether files of the sessions that were chosen are no longer as they were when they were read; they are read again.
fn changed(places: &mut Places, sessions: &[Session]) -> bool {
    let mut changed = false;
    for (place, rows) in &mut places.many {
        let of = sessions.iter().filter_map(|s| match s {
            Session::Known { folder, row, .. } if folder.parent() == Some(place) => Some(Arc::clone(row)),
            _ => None,
        });
        let changes = index::look_closely(place, &of.collect::<Vec<_>>());
        let news = |row: &Arc<Row>| rows.get(&row.name).is_none_or(|known| known.holds != row.holds);
        changed |= !changes.gone.is_empty() || changes.read.iter().any(news);
        keep(place, changes, rows, &mut places.notices);
    }
    changed
}

fn choose<'a>(places: &Places, folders: &[PathBuf], player: Option<&str>) -> Result<Chosen<'a>, FindError> {
    let mut found: BTreeMap<PathBuf, Result<Session, String>> = BTreeMap::new();
    for (place, rows) in &places.many {
        for row in rows.values() {
            let folder = place.join(&row.name);
            let session = match &row.holds {
                Holds::Nothing => continue,
                Holds::Session(head) if head.loads => {
                    Ok(Session::Known { row: Arc::clone(row), head: head.clone(), folder: folder.clone() })
                }
                // Only the folder itself says why.
                Holds::Session(_) | Holds::Unreadable(_) => load(&folder.display().to_string())
                    .map(|l| Session::Loaded(Arc::new(l)))
                    .map_err(|e| e.to_string()),
            };
            found.insert(folder, session);
        }
    }
    found.extend(places.few.iter().cloned());
    if found.is_empty() {
        return Err(FindError::NoSession(folders.to_vec()));
    }
    let mut sessions = Vec::new();
    let mut left_out = Vec::new();
    let mut first_bad = None;
    for (path, session) in found {
        match session {
            Ok(session) => sessions.push((seconds(session.started_utc()), session)),
            Err(why) => {
                left_out.push(why);
                first_bad.get_or_insert(path);
            }
        }
    }
    sessions.sort_by(|(a, x), (b, y)| (a, x.id()).partial_cmp(&(b, y.id())).unwrap_or(Ordering::Equal));
    let sessions: Vec<Session> = sessions.into_iter().map(|(_, s)| s).collect();
    let mut persons = persons(sessions, Session::player);
    let chosen = match (player, persons.len()) {
        (_, 0) => {
            let why = first_bad.and_then(|path| load(&path.display().to_string()).err());
            return Err(why.map_or(FindError::NoSession(folders.to_vec()), FindError::Nothing));
        }
        (None, 1) => Some(0),
        (None, _) => None,
        (Some(asked), _) => called(&persons, asked, Session::player),
    };
    let name = |person: &[Session]| person.last().map_or("", |s| s.player().name.trim()).to_owned();
    let Some(chosen) = chosen else {
        let players = persons.iter().map(|p| name(p)).collect();
        return Err(FindError::Player { asked: player.map(ToOwned::to_owned), players });
    };
    let sessions = persons.swap_remove(chosen);
    Ok(Chosen { player: name(&sessions), left_out, notices: Vec::new(), sessions, codes: None })
}

impl<'a> Chosen<'a> {
    /// Only the sessions that began at that time or earlier (RFC 3339 UTC).
    pub fn up_to(&mut self, started_utc: &str) {
        self.sessions.retain(|s| s.started_utc() <= started_utc);
    }

    /// What the coach says of the latest session's swings.
    pub fn last_remarks(&self) -> Remarks {
        match self.sessions.last() {
            None => Remarks::default(),
            Some(Session::Loaded(loaded)) => loaded.remarks.clone(),
            Some(Session::Known { folder, .. }) => {
                SessionDir::at(folder).remarks().read().map_or_else(|_| Remarks::default(), |r| r.fold())
            }
        }
    }

    /// With codes in place of names.
    #[must_use]
    pub fn coded(mut self, codes: &'a Codes) -> Self {
        let players = || self.sessions.iter().map(Session::player);
        let Some(player) = players().find(|p| p.id.is_some()).or_else(|| players().next()) else {
            return self;
        };
        let code = codes.player(player);
        self.player.clone_from(&code);
        for why in &mut self.left_out {
            *why = Codes::LEFT_OUT.into();
        }
        self.codes = Some((codes, code));
        self
    }

    /// Loads the sessions one by one on every core and keeps what `work` makes of each, earliest first. One that cannot be
    /// read any more joins [`Chosen::left_out`].
    pub fn each<R: Send>(&mut self, wanted: Swings<'_>, work: impl Fn(&Loaded) -> R + Sync) -> Vec<R> {
        let done = parallel::each(&self.sessions, |session| {
            let mut loaded = session.load(wanted)?;
            if let Some((codes, code)) = &self.codes {
                codes.hide_of(&mut loaded, code);
            }
            Ok::<R, LoadError>(work(&loaded))
        });
        let mut results = Vec::with_capacity(done.len());
        for result in done {
            match result {
                Ok(result) => results.push(result),
                Err(_) if self.codes.is_some() => self.left_out.push(Codes::LEFT_OUT.into()),
                Err(why) => self.left_out.push(why.to_string()),
            }
        }
        results
    }

    /// All sessions at once.
    pub fn load_all(mut self) -> Found {
        let sessions = self.each(Swings::All, Loaded::clone);
        Found { player: self.player, sessions, left_out: self.left_out }
    }
}
