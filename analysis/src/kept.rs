//! What lasts from lesson to lesson: gained at the end of one, left at the start of the next, kept by practice alone.
//!
//! A session's start is its block `baseline`, or its first one: what the player brought, before any drill. Its end is the last
//! other block that counts. A session with a start only, recorded by the player alone, is practice. What a session gained is
//! judged within one wearing ([`compare`](crate::compare)); between sessions the straps were put on anew, which all
//! intervals here allow for.

use crate::BASELINE;
use crate::chosen::Family;
use crate::compare::compare;
use crate::library::{Found, started_s};
use crate::load::Loaded;
use crate::measure::Measure;
use crate::stats::LEVEL;
use crate::stats::lessons::{Shared, against};
use crate::summary::{BlockSummary, MeasureSummary, summarise};
use crate::wearing::{InSessions, half_width, shared_in};
use peakorder_protocol::swing::Swing;

/// A difference with its 95 % interval, in the measure's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Later less earlier.
    pub difference: f64,
    /// Holds it with 95 %.
    pub interval: (f64, f64),
}

/// A block's mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The mean, in the measure's unit.
    pub mean: f64,
    /// Half-width of its 95 % interval, with what a wearing shares.
    pub half_width: Option<f64>,
    /// Swings it rests on.
    pub swings: usize,
}

/// One session.
#[derive(Debug, Clone, PartialEq)]
pub struct Lesson {
    /// Its id.
    pub id: String,
    /// Wall-clock start, RFC 3339 UTC.
    pub started_utc: String,
    /// Days after the first session.
    pub day: f64,
    /// Label of its start.
    pub start: String,
    /// Label of its end; `None` for practice.
    pub end: Option<String>,
}

/// One session's part in a measure's course.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Place in [`Kept::lessons`].
    pub lesson: usize,
    /// At the start.
    pub start: Point,
    /// At the end; `None` for practice.
    pub end: Option<Point>,
    /// End less start, within one wearing.
    pub gained: Option<Step>,
    /// This start less the start of the last lesson before: what is left of what that one gained, and of practice since.
    pub left: Option<Step>,
    /// This start less the end of the last lesson before.
    pub since_end: Option<Step>,
    /// Sessions of practice since that lesson.
    pub practised: usize,
}

/// A measure over the sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Which.
    pub measure: Measure,
    /// One a session that has it, earliest first.
    pub stages: Vec<Stage>,
}

/// What a player kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// The player's name.
    pub player: String,
    /// The sessions, earliest first.
    pub lessons: Vec<Lesson>,
    /// A course for each measure that was meant.
    pub courses: Vec<Course>,
    /// Sessions that could not be taken, with the reason.
    pub left_out: Vec<String>,
}

/// Why there is nothing to tell. The message says what to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum KeptError {
    /// No measure was meant.
    #[error(
        "it is not said what the lessons are about; name one to five numbers with --about, or choose them on the page before the drill"
    )]
    NothingMeant,
}

/// A session's blocks that matter here.
struct Ends<'a> {
    session: &'a Loaded,
    day: f64,
    start: BlockSummary,
    end: Option<BlockSummary>,
}

/// Follows the measures of `family` through the sessions found.
pub fn kept(found: &Found, family: &Family) -> Result<Kept, KeptError> {
    let measures = match family {
        Family::All => return Err(KeptError::NothingMeant),
        Family::Chosen(chosen) | Family::Only(chosen) => chosen.iter().map(|c| c.measure),
    };
    let first_s = found.sessions.first().map_or(0.0, started_s);
    let mut left_out = found.left_out.clone();
    let mut ends = Vec::new();
    for session in &found.sessions {
        match ends_of(session, (started_s(session) - first_s) / 86400.0) {
            Some(found) => ends.push(found),
            None => left_out.push(format!("{}: no swing counts", session.name())),
        }
    }
    let starts: Vec<InSessions<'_>> = Measure::ALL
        .into_iter()
        .map(|measure| InSessions {
            measure,
            sessions: ends.iter().filter_map(|e| Some((e.day, e.start.measure(measure)?))).collect(),
        })
        .filter(|m| !m.sessions.is_empty())
        .collect();
    let shared = shared_in(&starts);
    let courses = measures
        .filter_map(|measure| {
            let at = starts.iter().position(|s| s.measure == measure)?;
            Some(course(measure, &ends, &shared[at]))
        })
        .collect();
    let lessons = ends
        .iter()
        .map(|e| Lesson {
            id: e.session.session.id.clone(),
            started_utc: e.session.session.started_utc.clone(),
            day: e.day,
            start: e.start.label.clone(),
            end: e.end.as_ref().map(|b| b.label.clone()),
        })
        .collect();
    Ok(Kept { player: found.player.clone(), lessons, courses, left_out })
}

fn ends_of(session: &Loaded, day: f64) -> Option<Ends<'_>> {
    let counted = |label: &&String| !session.counted(label).is_empty();
    let start = session
        .blocks
        .iter()
        .filter(counted)
        .find(|b| *b == BASELINE)
        .or_else(|| session.blocks.iter().find(counted))?;
    let end = session.blocks.iter().rev().filter(|b| *b != start).find(counted);
    let summary = |label: &String| {
        let swings: Vec<&Swing> = session.swings.iter().filter(|s| s.block == *label).collect();
        summarise(label, &swings, &session.remarks)
    };
    Some(Ends { session, day, start: summary(start), end: end.map(summary) })
}

fn course(measure: Measure, ends: &[Ends<'_>], shared: &Shared) -> Course {
    let mut stages: Vec<Stage> = Vec::new();
    // The last lesson with a drill, by its place, and the practice since.
    let mut last: Option<usize> = None;
    let mut practised = 0;
    for (lesson, e) in ends.iter().enumerate() {
        let Some(start) = e.start.measure(measure) else { continue };
        let end =
            e.end.as_ref().and_then(|b| b.measure(measure)).filter(|m| m.definition == start.definition);
        let before = last.map(|l| &ends[l]);
        let from_start = before.and_then(|b| b.start.measure(measure));
        let from_end = before.and_then(|b| b.end.as_ref()?.measure(measure));
        stages.push(Stage {
            lesson,
            start: point(start, shared),
            end: end.map(|m| point(m, shared)),
            gained: end.and(e.end.as_ref()).and_then(|end| gained(measure, e, &end.label)),
            left: from_start.and_then(|from| between(start, from, shared)),
            since_end: from_end.and_then(|from| between(start, from, shared)),
            practised,
        });
        if end.is_some() {
            last = Some(lesson);
            practised = 0;
        } else {
            practised += 1;
        }
    }
    Course { measure, stages }
}

fn point(summary: &MeasureSummary, shared: &Shared) -> Point {
    Point {
        mean: summary.sample.mean,
        half_width: summary.session_mean().and_then(|own| half_width(own, shared)),
        swings: summary.sample.n,
    }
}

fn gained(measure: Measure, ends: &Ends<'_>, end: &str) -> Option<Step> {
    let family = Family::Only(vec![crate::chosen::Chosen::of(measure)]);
    let session = ends.session;
    let compared = compare(&session.only(&ends.start.label), &session.only(end), &family).ok()?;
    let row = compared.rows.first()?;
    Some(Step { difference: row.difference, interval: row.interval? })
}

fn between(later: &MeasureSummary, earlier: &MeasureSummary, shared: &Shared) -> Option<Step> {
    if later.definition != earlier.definition {
        return None;
    }
    let belief = against(later.session_mean()?, &[earlier.session_mean()?], shared)?;
    Some(Step { difference: belief.median()?, interval: belief.interval(LEVEL)? })
}
