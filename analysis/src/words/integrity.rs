//! What is intact, lost and assumed, in words.

use crate::integrity::{Assumption, FileProblem, Hole, HoleKind};

/// A place in a log where something is missing: what, where, and how much of each strap.
pub fn hole(hole: &Hole) -> String {
    let at = format!("at {:.1} s (byte {})", hole.from_s, hole.offset);
    let what = match hole.kind {
        HoleKind::Damage => format!("damaged {at}, {} bytes of no use", hole.bytes),
        HoleKind::Gap => format!("parts missing {at}"),
        HoleKind::KnownGap => format!("parts missing {at}, as the session file says"),
        HoleKind::TornEnd => format!("ends inside a write {at}, {} bytes of no use", hole.bytes),
        HoleKind::Header => return "the file's first 16 bytes are damaged; nothing is lost by it".into(),
    };
    let about = if hole.to_s.is_none() { "about " } else { "" };
    let lost: Vec<String> =
        hole.missing_s.iter().map(|(role, s)| format!("{} {about}{s:.2} s", role.label())).collect();
    if lost.is_empty() { what } else { format!("{what}; lost: {}", lost.join(", ")) }
}

/// A computed file that cannot be read, with the way out.
pub fn file(problem: &FileProblem) -> String {
    problem
        .damage
        .clone()
        .unwrap_or_else(|| format!("{}: missing; peakorderd replay makes it anew", problem.path.display()))
}

/// What a new session file says and the log does not hold.
pub fn assumption(assumption: &Assumption) -> String {
    match assumption {
        Assumption::Like(path) => {
            format!("player, straps, time zone and settings are those of {}", path.display())
        }
        Assumption::IdOfSwings(id) => format!("its id is {id}, as its swing files say"),
        Assumption::NewId(id) => format!("its id is {id}, made of its bytes"),
        Assumption::StartGiven(start) => format!("it began at {start}, as was asked for"),
        Assumption::StartOfId(start) => format!("it began at {start}, as its id says"),
        Assumption::StartOfFile(start) => {
            format!("it began at {start}, by when its log was last changed; --started sets another time")
        }
    }
}
