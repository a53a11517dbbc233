//! What lasts from lesson to lesson: gained at the end of one, left at the start of the next, kept by practice alone.
//!
//! A session's start is its block `baseline`, or its first one: what the player brought, before any drill. Its end is the last
//! other block that counts. A session with a start only, recorded by the player alone, is practice. What a session gained is
//! judged within one wearing ([`compare`](crate::compare)); between sessions the straps were put on anew, which all
//! intervals here allow for.

use crate::BASELINE;
use crate::chosen::Family;
use crate::compare::one_change;
use crate::library::{Found, started_s};
use crate::load::Loaded;
use crate::measure::Measure;
use crate::stats::LEVEL;
use crate::stats::lessons::{Shared, against};
use crate::summary::{BlockSummary, MeasureSummary, summarise_of};
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

/// What one session brought and left, taken from it so that it need not stay loaded.
pub struct Part {
    started_s: f64,
    /// The session's name, where no swing counts.
    ends: Result<Ends, String>,
}

/// A session's blocks that matter here.
struct Ends {
    id: String,
    started_utc: String,
    day: f64,
    start: BlockSummary,
    end: Option<BlockSummary>,
    gained: Vec<(Measure, Step)>,
}

/// Takes parts from sessions, in any order and on several threads.
pub struct Taking {
    measures: Vec<Measure>,
}

impl Taking {
    /// For the measures of `family`.
    pub fn of(family: &Family) -> Result<Self, KeptError> {
        match family {
            Family::All => Err(KeptError::NothingMeant),
            Family::Chosen(chosen) | Family::Only(chosen) => {
                Ok(Self { measures: chosen.iter().map(|c| c.measure).collect() })
            }
        }
    }

    /// The part of this session.
    pub fn part(&self, session: &Loaded) -> Part {
        let ends = ends_of(session, &self.measures).ok_or_else(|| session.name());
        Part { started_s: started_s(session), ends }
    }

    /// What the parts, earliest first, say together of `player`.
    pub fn kept(self, player: &str, left_out: &[String], parts: Vec<Part>) -> Kept {
        let first_s = parts.first().map_or(0.0, |p| p.started_s);
        let mut left_out = left_out.to_vec();
        let mut ends = Vec::new();
        for part in parts {
            match part.ends {
                Ok(found) => ends.push(Ends { day: (part.started_s - first_s) / 86400.0, ..found }),
                Err(name) => left_out.push(format!("{name}: no swing counts")),
            }
        }
        together(player, &self.measures, ends, left_out)
    }
}

/// Follows the measures of `family` through the sessions found.
pub fn kept(found: &Found, family: &Family) -> Result<Kept, KeptError> {
    let taking = Taking::of(family)?;
    let parts = found.sessions.iter().map(|s| taking.part(s)).collect();
    Ok(taking.kept(&found.player, &found.left_out, parts))
}

fn together(player: &str, measures: &[Measure], ends: Vec<Ends>, left_out: Vec<String>) -> Kept {
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
        .iter()
        .filter_map(|&measure| {
            let at = starts.iter().position(|s| s.measure == measure)?;
            Some(course(measure, &ends, &shared[at]))
        })
        .collect();
    let lessons = ends
        .into_iter()
        .map(|e| Lesson {
            id: e.id,
            started_utc: e.started_utc,
            day: e.day,
            start: e.start.label,
            end: e.end.map(|b| b.label),
        })
        .collect();
    Kept { player: player.to_owned(), lessons, courses, left_out }
}

fn ends_of(session: &Loaded, measures: &[Measure]) -> Option<Ends> {
    let counted = |label: &&String| !session.counted(label).is_empty();
    let start = session
        .blocks
        .iter()
        .filter(counted)
        .find(|b| *b == BASELINE)
        .or_else(|| session.blocks.iter().find(counted))?;
    let end = session.blocks.iter().rev().filter(|b| *b != start).find(counted);
    let summary = |measures: &[Measure], label: &String| {
        let swings: Vec<&Swing> = session.swings.iter().filter(|s| s.block == *label).collect();
        summarise_of(measures, label, &swings, &session.remarks)
    };
    let gained = |end: &String| {
        let (start, end) = (session.only(start), session.only(end));
        let step = |m: &Measure| Some((*m, gained(*m, &start, &end)?));
        measures.iter().filter_map(step).collect()
    };
    Some(Ends {
        id: session.session.id.clone(),
        started_utc: session.session.started_utc.clone(),
        day: 0.0,
        // All of them together say how far sessions differ.
        start: summary(&Measure::ALL, start),
        gained: end.map(gained).unwrap_or_default(),
        end: end.map(|label| summary(measures, label)),
    })
}

fn course(measure: Measure, ends: &[Ends], shared: &Shared) -> Course {
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
            gained: end.and_then(|_| e.gained.iter().find(|(m, _)| *m == measure).map(|(_, step)| *step)),
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

fn gained(measure: Measure, start: &Loaded, end: &Loaded) -> Option<Step> {
    let row = one_change(start, end, measure)?;
    Some(Step { difference: row.difference, interval: row.interval? })
}

fn between(later: &MeasureSummary, earlier: &MeasureSummary, shared: &Shared) -> Option<Step> {
    if later.definition != earlier.definition {
        return None;
    }
    let belief = against(later.session_mean()?, &[earlier.session_mean()?], shared)?;
    Some(Step { difference: belief.median()?, interval: belief.interval(LEVEL)? })
}
