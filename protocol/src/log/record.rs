//! The records of a recording log.

use super::strap::StrapEvent;
use crate::role::Role;
use crate::unknown_word::UnknownWord;
use std::fmt;
use std::str::FromStr;

/// One entry of the recording log.
#[derive(Debug, Clone, PartialEq)]
pub enum Record {
    /// Bytes that came in from a strap.
    Arrival(Arrival),
    /// Something the coach did or said.
    Mark(Mark),
    /// Something that happened to a strap's link or health.
    Strap(StrapEvent),
}

impl Record {
    /// Session clock, nanoseconds.
    pub const fn t_ns(&self) -> u64 {
        match self {
            Self::Arrival(a) => a.t_ns,
            Self::Mark(m) => m.t_ns,
            Self::Strap(s) => s.t_ns,
        }
    }
}

/// One notification of a strap, exactly as it came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrival {
    /// Session clock (host monotonic, 0 at session start), nanoseconds; taken as early
    /// as the platform allows.
    pub t_ns: u64,
    /// The strap.
    pub role: Role,
    /// Index into [`Profile::channels`](crate::profile::Profile::channels).
    pub channel: u8,
    /// The bytes as sent.
    pub bytes: Vec<u8>,
}

/// A mark on the session clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// Session clock, nanoseconds.
    pub t_ns: u64,
    /// What is marked.
    pub kind: MarkKind,
    /// Block label, note text, or `seated`/`standing` for a mobility turn; otherwise empty.
    pub detail: String,
}

/// What a mark stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MarkKind {
    /// Standing upright and still, begins.
    StillStart,
    /// Standing upright and still, ends.
    StillEnd,
    /// Hip hinge forward and back, begins.
    BowStart,
    /// Hip hinge forward and back, ends.
    BowEnd,
    /// Straight lead arm from hanging to forward horizontal and back, begins.
    ArmRaiseStart,
    /// Straight lead arm from hanging to forward horizontal and back, ends.
    ArmRaiseEnd,
    /// A block of swings begins; the detail is its label.
    Block,
    /// Free text.
    Note,
    /// Mobility turn (detail `seated` or `standing`), begins.
    TurnStart,
    /// Mobility turn, ends.
    TurnEnd,
    /// Shake test, begins.
    ShakeStart,
    /// Shake test, ends.
    ShakeEnd,
    /// The straps were taken off and put on again: another wearing begins, which is to be calibrated anew.
    ReWear,
    /// A block of repetitions without a ball begins (pivots, turns); the detail is its label.
    Drill,
}

impl MarkKind {
    /// Every kind.
    pub const ALL: [Self; 14] = [
        Self::StillStart,
        Self::StillEnd,
        Self::BowStart,
        Self::BowEnd,
        Self::ArmRaiseStart,
        Self::ArmRaiseEnd,
        Self::Block,
        Self::Note,
        Self::TurnStart,
        Self::TurnEnd,
        Self::ShakeStart,
        Self::ShakeEnd,
        Self::ReWear,
        Self::Drill,
    ];

    /// The word used in files and on the command line.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::StillStart => "still-start",
            Self::StillEnd => "still-end",
            Self::BowStart => "bow-start",
            Self::BowEnd => "bow-end",
            Self::ArmRaiseStart => "arm-raise-start",
            Self::ArmRaiseEnd => "arm-raise-end",
            Self::Block => "block",
            Self::Note => "note",
            Self::TurnStart => "turn-start",
            Self::TurnEnd => "turn-end",
            Self::ShakeStart => "shake-start",
            Self::ShakeEnd => "shake-end",
            Self::ReWear => "re-wear",
            Self::Drill => "drill",
        }
    }
}

impl fmt::Display for MarkKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for MarkKind {
    type Err = UnknownWord;

    fn from_str(s: &str) -> Result<Self, Self::Err> {
        Self::ALL.into_iter().find(|k| k.as_str() == s).ok_or_else(|| {
            UnknownWord::new(s, "a mark", format!("one of {}", Self::ALL.map(Self::as_str).join(", ")))
        })
    }
}
