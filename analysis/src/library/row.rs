//! What the index knows of one session folder.

use super::stamp::{FileStamp, now_ns, of_files};
use crate::load::{Which, load_opened};
use peakorder_protocol::remark::REMARKS_FILE;
use peakorder_protocol::session::{
    FORMAT, Player, SESSION_FILE, SWINGS_DIR, Session, SessionDir, SessionError, SourceKind,
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;

/// Stands for the folder's path in stored texts. Messages are cleaned of control characters.
const FOLDER: &str = "\u{1}";

/// A session folder as it was when it was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// The folder's name.
    pub name: String,
    /// What is in it.
    pub holds: Holds,
    quick: Quick,
    /// Of the swing files.
    deep: String,
    /// A file was written just before it was read.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    young: bool,
}

/// Stamps of `session.toml`, of the folder of swings and of the remarks, which may rename a block.
type Quick = [Option<FileStamp>; 3];

/// What a folder holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holds {
    /// No `session.toml`.
    Nothing,
    /// A `session.toml` that cannot be read; [`Row::text`] makes the reason whole.
    Unreadable(String),
    /// A session.
    Session(Box<Head>),
}

/// A session without its swings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Its id.
    pub id: String,
    /// Start, RFC 3339 UTC, as the file has it.
    pub started_utc: String,
    /// Zone that it was recorded in.
    pub zone: String,
    /// Where its samples came from.
    pub source: SourceKind,
    /// Day of the start where it was recorded, e.g. `2026-11-25`; empty where the time cannot be read.
    pub day: String,
    /// Who swung, as recorded: id, name, side and goal only.
    pub player: Player,
    /// The scenario is invented.
    pub invented: bool,
    /// The blocks that have swings, in order of appearance, with the labels in force.
    pub blocks: Vec<Block>,
    /// Readable swings.
    pub swings: u32,
    /// What could not be read; [`Row::text`] makes each whole.
    pub problems: Vec<String>,
    /// At least one swing can be read, or there is none.
    pub loads: bool,
}

/// A block's swings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Block {
    /// The label in force.
    pub label: String,
    /// Numbers of its swings: first and last of each stretch.
    pub numbers: Vec<(u32, u32)>,
}

impl Block {
    /// The numbers one by one.
    pub fn each(&self) -> impl Iterator<Item = u32> {
        self.numbers.iter().flat_map(|(first, last)| *first..=*last)
    }
}

impl Head {
    /// The session's file as far as the index knows it: without straps, settings, calibration and troubles.
    #[expect(clippy::default_trait_access, reason = "the table's crate is not one of this package's")]
    pub(super) fn session(&self) -> Session {
        Session {
            format: FORMAT.into(),
            id: self.id.clone(),
            started_utc: self.started_utc.clone(),
            zone: self.zone.clone(),
            recorded_by: String::new(),
            computed_by: String::new(),
            source: self.source,
            invented: self.invented,
            player: self.player.clone(),
            straps: BTreeMap::new(),
            settings: Default::default(),
            calibration: Vec::new(),
            troubles: Vec::new(),
        }
    }
}

impl Row {
    /// Reads the folder `name` inside `place`.
    pub fn read(place: &Path, name: &str) -> Self {
        let folder = place.join(name);
        let read_ns = now_ns();
        // Before the content: what changes while it is read differs afterwards.
        let quick = quick(&folder);
        let (deep, young) = of_files(&folder.join(SWINGS_DIR), read_ns);
        let young = young || quick.iter().flatten().any(|s| s.is_young(read_ns));
        Self { name: name.to_owned(), holds: holds(&folder), quick, deep, young }
    }

    /// Whether the folder's own files are as they were, as far as a look at three of them tells.
    pub fn fits(&self, place: &Path) -> bool {
        !self.young && quick(&place.join(&self.name)) == self.quick
    }

    /// Whether every swing file is as it was, too.
    pub fn fits_in_depth(&self, place: &Path) -> bool {
        self.fits(place) && of_files(&place.join(&self.name).join(SWINGS_DIR), now_ns()).0 == self.deep
    }

    /// The session, if it is one.
    pub fn head(&self) -> Option<&Head> {
        match &self.holds {
            Holds::Session(head) => Some(head),
            Holds::Nothing | Holds::Unreadable(_) => None,
        }
    }

    /// A stored text, with the folder called `folder`.
    pub fn text(stored: &str, folder: &str) -> String {
        stored.replace(FOLDER, folder)
    }
}

fn quick(folder: &Path) -> Quick {
    [SESSION_FILE, SWINGS_DIR, REMARKS_FILE].map(|name| FileStamp::of(&folder.join(name)))
}

fn holds(folder: &Path) -> Holds {
    let stored = |text: String| text.replace(&folder.display().to_string(), FOLDER);
    let (dir, session) = match SessionDir::open(folder) {
        Err(SessionError::NotASession(_)) => return Holds::Nothing,
        Err(e) => return Holds::Unreadable(stored(e.to_string())),
        Ok(opened) => opened,
    };
    let mut head = Head {
        day: day(&session.started_utc, &session.zone),
        zone: session.zone.clone(),
        source: session.source,
        id: session.id.clone(),
        started_utc: session.started_utc.clone(),
        player: Player {
            id: session.player.id.clone(),
            name: session.player.name.clone(),
            handedness: session.player.handedness,
            goal: session.player.goal.clone(),
            ..Player::default()
        },
        invented: session.invented,
        blocks: Vec::new(),
        swings: 0,
        problems: Vec::new(),
        loads: true,
    };
    match load_opened(dir, session, Which::All) {
        Ok(loaded) => {
            head.swings = loaded.swings.len() as u32;
            head.problems = loaded.problems.into_iter().map(|p| stored(p.text)).collect();
            head.blocks = loaded
                .blocks
                .into_iter()
                .map(|label| {
                    let numbers = loaded.swings.iter().filter(|s| s.block == label).map(|s| s.number);
                    Block { numbers: stretches(numbers), label }
                })
                .collect();
        }
        Err(e) => {
            head.problems.push(stored(e.to_string()));
            head.loads = false;
        }
    }
    Holds::Session(Box::new(head))
}

fn stretches(numbers: impl Iterator<Item = u32>) -> Vec<(u32, u32)> {
    let mut stretches: Vec<(u32, u32)> = Vec::new();
    for number in numbers {
        match stretches.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(number) => *last = number,
            _ => stretches.push((number, number)),
        }
    }
    stretches
}

fn day(started_utc: &str, zone: &str) -> String {
    let Ok(started) = started_utc.parse::<jiff::Timestamp>() else { return String::new() };
    let zone = jiff::fmt::temporal::DateTimeParser::new().parse_time_zone(zone);
    let zone = zone.unwrap_or(jiff::tz::TimeZone::UTC);
    started.to_zoned_datetime(zone).date().to_string()
}
