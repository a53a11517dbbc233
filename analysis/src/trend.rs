//! One block of a player's sessions over weeks and months.
//!
//! Straps are put on anew each time, and their seat shifts every angle of a session alike:
//! more swings do not average that away. So a session counts as one point, its mean. From
//! [`ENOUGH`] sessions on a straight line is laid through the points, whose scatter about it
//! contains the straps' seat as well as the player's days. With fewer, the last session is
//! set against the mean of those before as `compare` does.

use crate::chosen::Family;
use crate::compare::{ALPHA, FALSE_DISCOVERIES, Question, Row, Verdict, answer};
use crate::library::{Found, started_s};
use crate::load::Loaded;
use crate::measure::Measure;
use crate::stats::{LEVEL, Line, false_discovery_known, holm_known, line};
use crate::summary::{BlockSummary, MeasureSummary, summarise};
use crate::wearing::{InSessions, half_width, shared_in};
use crate::words::{amount, difference, plural, subject, value};
use peakorder_protocol::swing::Swing;
use std::sync::atomic::{AtomicUsize, Ordering};

/// The fewest sessions whose scatter says something about the next. Own judgement: with
/// three points one degree of freedom is left, and Student's factor is 12.7.
pub const ENOUGH: usize = 4;

/// Slopes are told per this many days.
pub const PER_DAYS: f64 = 30.0;

/// One session's part.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Its folder.
    pub name: String,
    /// Its id.
    pub id: String,
    /// Wall-clock start, RFC 3339 UTC.
    pub started_utc: String,
    /// Days after the first session.
    pub day: f64,
    /// Invented scenario.
    pub invented: bool,
    /// The block's summary.
    pub summary: BlockSummary,
}

/// What can be said of one measure over the sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct TrendRow {
    /// Which.
    pub measure: Measure,
    /// One a session; `None` where it was not measured or is defined otherwise than in the
    /// latest session that has it.
    pub points: Vec<Option<MeasureSummary>>,
    /// Half-width of each mean's 95 % interval, with what a wearing shares.
    pub half_widths: Vec<Option<f64>>,
    /// Whether it gets a verdict; otherwise it is only looked through.
    pub judged: bool,
    /// The line through the session means, slope per [`PER_DAYS`]; from [`ENOUGH`] points on.
    pub line: Option<Line>,
    /// p over all measures that get a verdict, after Holm; of the others after Benjamini and Hochberg.
    pub p_adjusted: Option<f64>,
    /// What can be said.
    pub verdict: Verdict,
    /// The same in a sentence.
    pub words: String,
}

/// A player's trend.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    /// The player.
    pub player: String,
    /// The block looked at in every session.
    pub block: String,
    /// Sessions that have swings that count, earliest first.
    pub sessions: Vec<Session>,
    /// Measures that two sessions or more have.
    pub rows: Vec<TrendRow>,
    /// Things to know before reading the rows.
    pub notes: Vec<String>,
}

/// What one session has of the block, taken from it so that it need not stay loaded.
pub struct Part {
    name: String,
    id: String,
    started_utc: String,
    started_s: f64,
    invented: bool,
    summary: BlockSummary,
    /// The block itself, where sessions may be too few for a line.
    block: Option<Loaded>,
}

/// Takes the parts of one block from sessions, in any order and on several threads.
pub struct Taking<'a> {
    block: &'a str,
    /// Sessions so far in which a swing counts.
    taken: AtomicUsize,
}

impl<'a> Taking<'a> {
    /// Of the block `block`.
    pub const fn of(block: &'a str) -> Self {
        Self { block, taken: AtomicUsize::new(0) }
    }

    /// The part of this session.
    pub fn part(&self, session: &Loaded) -> Part {
        let swings: Vec<&Swing> = session.swings.iter().filter(|s| s.block == self.block).collect();
        let summary = summarise(self.block, &swings, &session.remarks);
        // From ENOUGH on the line is all that is asked.
        let needed = !summary.used.is_empty() && self.taken.fetch_add(1, Ordering::Relaxed) < ENOUGH;
        Part {
            name: session.name(),
            id: session.session.id.clone(),
            started_utc: session.session.started_utc.clone(),
            started_s: started_s(session),
            invented: session.session.invented,
            summary,
            block: needed.then(|| session.only(self.block)),
        }
    }

    /// What the parts, earliest first, say together of `player`; verdicts for the measures of `family`.
    pub fn follow(self, player: &str, left_out: &[String], parts: Vec<Part>, family: &Family) -> Trend {
        follow(self.block, player, left_out, parts, family)
    }
}

/// Follows `block` through the sessions found; verdicts for the measures of `family`.
pub fn trend(found: &Found, block: &str, family: &Family) -> Trend {
    let taking = Taking::of(block);
    let parts = found.sessions.iter().map(|s| taking.part(s)).collect();
    taking.follow(&found.player, &found.left_out, parts, family)
}

fn follow(block: &str, player: &str, left_out: &[String], parts: Vec<Part>, family: &Family) -> Trend {
    let mut notes: Vec<String> = left_out.iter().map(|why| format!("Left out: {why}")).collect();
    let (mut sessions, mut blocks): (Vec<Session>, Vec<Loaded>) = (Vec::new(), Vec::new());
    let mut first_s = 0.0;
    for part in parts {
        if part.summary.used.is_empty() {
            notes.push(format!("Left out: {}: no swing of block '{block}' counts.", part.name));
            continue;
        }
        if sessions.is_empty() {
            first_s = part.started_s;
        }
        blocks.extend(part.block);
        sessions.push(Session {
            name: part.name,
            id: part.id,
            started_utc: part.started_utc,
            day: (part.started_s - first_s) / 86400.0,
            invented: part.invented,
            summary: part.summary,
        });
    }
    let by_line = sessions.len() >= ENOUGH;
    if sessions.len() > 1 {
        notes.push(if by_line {
            "Straps were put on anew for every session. Each session counts as one point, so the scatter about \
             the line contains that, and the interval with it."
                .into()
        } else {
            format!(
                "Straps were put on anew for every session, which shifts all numbers of a session alike. With \
                 fewer than {ENOUGH} sessions the last is set against those before, and intervals and verdicts \
                 allow for it."
            )
        });
    }
    for s in &sessions {
        if let Some(advice) = s.summary.advice() {
            notes.push(format!("{}: {}. {advice}", s.id, plural(s.summary.used.len(), "swing")));
        }
    }
    let mut rows: Vec<TrendRow> = if sessions.len() < 2 {
        Vec::new()
    } else {
        family.looked_at().into_iter().filter_map(|m| row(m, &sessions, family)).collect()
    };
    allow_for_wearing(&mut rows, &sessions);
    if by_line {
        judge_lines(&mut rows, &sessions, family);
    } else if let Some((last, earlier)) = blocks.split_last()
        && !earlier.is_empty()
    {
        judge_last(&mut rows, earlier, last, family);
    }
    Trend { player: player.to_owned(), block: block.to_owned(), sessions, rows, notes }
}

fn row(measure: Measure, sessions: &[Session], family: &Family) -> Option<TrendRow> {
    let latest = sessions.iter().rev().find_map(|s| s.summary.measure(measure))?;
    let points: Vec<Option<MeasureSummary>> = sessions
        .iter()
        .map(|s| s.summary.measure(measure).filter(|m| m.definition == latest.definition).cloned())
        .collect();
    (points.iter().flatten().count() > 1).then(|| TrendRow {
        measure,
        half_widths: vec![None; points.len()],
        points,
        judged: family.judges(measure),
        line: None,
        p_adjusted: None,
        verdict: Verdict::TooFew,
        words: String::new(),
    })
}

/// What is printed as 95 % of a session's mean holds what putting the straps on anew shifts.
fn allow_for_wearing(rows: &mut [TrendRow], sessions: &[Session]) {
    let shared = {
        let measures: Vec<InSessions<'_>> = rows
            .iter()
            .map(|r| InSessions {
                measure: r.measure,
                sessions: sessions
                    .iter()
                    .zip(&r.points)
                    .filter_map(|(s, p)| Some((s.day, p.as_ref()?)))
                    .collect(),
            })
            .collect();
        shared_in(&measures)
    };
    for (row, shared) in rows.iter_mut().zip(shared) {
        row.half_widths =
            row.points.iter().map(|p| half_width(p.as_ref()?.session_mean()?, &shared)).collect();
    }
}

fn judge_lines(rows: &mut [TrendRow], sessions: &[Session], family: &Family) {
    for row in rows.iter_mut() {
        let (x, y): (Vec<f64>, Vec<f64>) = row
            .points
            .iter()
            .zip(sessions)
            .filter_map(|(p, s)| Some((s.day / PER_DAYS, p.as_ref()?.sample.mean)))
            .unzip();
        row.line = if x.len() >= ENOUGH { line(&x, &y, LEVEL) } else { None };
    }
    let p_of = |rows: &[TrendRow], wanted: &dyn Fn(&TrendRow) -> bool| -> Vec<Option<f64>> {
        rows.iter().map(|r| r.line.filter(|_| wanted(r)).map(|l| l.p)).collect()
    };
    let holm = holm_known(&p_of(rows, &|r| r.judged));
    let all_judged = matches!(family, Family::All);
    let discovered = false_discovery_known(&p_of(rows, &|r| all_judged || !r.judged));
    for ((row, holm), discovered) in rows.iter_mut().zip(holm).zip(discovered) {
        row.p_adjusted = holm.or(discovered);
        row.verdict = match row.line {
            Some(_) if holm.is_some_and(|p| p < ALPHA) => Verdict::Changed,
            Some(_) if discovered.is_some_and(|p| p < FALSE_DISCOVERIES) => Verdict::Perhaps,
            Some(_) => Verdict::CantTell,
            None => Verdict::TooFew,
        };
        let measured: Vec<&MeasureSummary> = row.points.iter().flatten().collect();
        let (Some(first), Some(last)) = (measured.first(), measured.last()) else { continue };
        let half = row.half_widths.iter().rev().copied().flatten().next();
        let head = ends(row.measure, first, last, half, "the first");
        row.words = match row.line {
            Some(l) => format!(
                "{head} Line: {} in {PER_DAYS:.0} days, give or take {}. {}",
                row.measure.unit().after(&crate::render::number(l.slope, row.measure.decimals(), true)),
                crate::render::number(l.half_width, row.measure.decimals(), false),
                said(row.verdict)
            ),
            None => format!("{head} {}", said(Verdict::TooFew)),
        };
    }
}

fn judge_last(rows: &mut [TrendRow], earlier: &[Loaded], last: &Loaded, family: &Family) {
    let Some((first, others)) = earlier.split_first() else { return };
    let question = Question { before: first, also_before: others, after: last, worn_anew: &[], family };
    let Ok(comparison) = answer(question) else { return };
    let before = if others.is_empty() { "the first" } else { "those before" };
    for row in rows {
        let compared: Option<&Row> = comparison.rows.iter().find(|r| r.measure == row.measure);
        row.verdict = compared.map_or(Verdict::TooFew, |r| r.verdict);
        row.p_adjusted = compared.and_then(|r| r.p_adjusted);
        if let Some(r) = compared {
            let half = row.half_widths.last().copied().flatten();
            row.words =
                format!("{} {}", ends(row.measure, &r.before, &r.after, half, before), said(row.verdict));
        }
    }
}

fn ends(
    measure: Measure,
    first: &MeasureSummary,
    last: &MeasureSummary,
    half: Option<f64>,
    when: &str,
) -> String {
    let (a, b) = (first.sample.mean, last.sample.mean);
    let band = half.map_or(String::new(), |h| format!(" ± {}", amount(measure, h)));
    format!(
        "{}{band} in the last session, {} {when} ({}).",
        subject(measure, b),
        difference(measure, b, a),
        value(measure, a)
    )
}

const fn said(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Changed => "More than ordinary variation between sessions.",
        Verdict::NoneThatMatters => "No change that matters.",
        Verdict::Perhaps => "Perhaps a change: about one in ten that are called so is there by chance.",
        Verdict::CantTell => "Can't tell yet: within ordinary variation between sessions.",
        Verdict::TooFew => "Can't tell: too few swings or sessions.",
    }
}
