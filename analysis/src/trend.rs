//! One block of a player's sessions over weeks and months.
//!
//! Straps are put on anew each time, and their seat shifts every angle of a session alike:
//! more swings do not average that away. So a session counts as one point, its mean. From
//! [`ENOUGH`] sessions on a straight line is laid through the points, whose scatter about it
//! contains the straps' seat as well as the player's days. With fewer, the last session is
//! set against the first as `compare` does, with what wearing the straps anew can make.

use crate::compare::{ALPHA, Row, Verdict, compare};
use crate::library::{Found, started_s};
use crate::load::Loaded;
use crate::measure::Measure;
use crate::stats::{LEVEL, Line, holm_known, line};
use crate::summary::{BlockSummary, MeasureSummary, summarise};
use crate::words::{amount, difference, plural, subject, value};
use peakorder_protocol::swing::Swing;

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
    /// The line through the session means, slope per [`PER_DAYS`]; from [`ENOUGH`] points on.
    pub line: Option<Line>,
    /// p over all measures, after Holm.
    pub p_holm: Option<f64>,
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

/// Follows `block` through the sessions found.
pub fn trend(found: &Found, block: &str) -> Trend {
    let mut notes: Vec<String> = found.left_out.iter().map(|why| format!("Left out: {why}")).collect();
    let mut loaded: Vec<(&Loaded, BlockSummary)> = Vec::new();
    for session in &found.sessions {
        let swings: Vec<&Swing> = session.swings.iter().filter(|s| s.block == block).collect();
        let summary = summarise(block, &swings, &session.remarks);
        if summary.used.is_empty() {
            notes.push(format!("Left out: {}: no swing of block '{block}' counts.", session.name()));
        } else {
            loaded.push((session, summary));
        }
    }
    let first_s = loaded.first().map_or(0.0, |(l, _)| started_s(l));
    let sessions: Vec<Session> = loaded
        .iter()
        .map(|(l, summary)| Session {
            name: l.name(),
            id: l.session.id.clone(),
            started_utc: l.session.started_utc.clone(),
            day: (started_s(l) - first_s) / 86400.0,
            invented: l.session.invented,
            summary: summary.clone(),
        })
        .collect();
    let by_line = sessions.len() >= ENOUGH;
    if sessions.len() > 1 {
        notes.push(if by_line {
            "Straps were put on anew for every session. Each session counts as one point, so the scatter about \
             the line contains that, and the interval with it."
                .into()
        } else {
            format!(
                "Straps were put on anew for every session, which shifts all angles of a session alike. With \
                 fewer than {ENOUGH} sessions only the last is set against the first, and a difference that \
                 the straps' seat can make is not called a change."
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
        Measure::ALL.into_iter().filter_map(|m| row(m, &sessions)).collect()
    };
    if by_line {
        judge_lines(&mut rows, &sessions);
    } else if let [(first, _), .., (last, _)] = loaded.as_slice() {
        judge_ends(&mut rows, first, last, block);
    }
    Trend { player: found.player.clone(), block: block.to_owned(), sessions, rows, notes }
}

fn row(measure: Measure, sessions: &[Session]) -> Option<TrendRow> {
    let latest = sessions.iter().rev().find_map(|s| s.summary.measure(measure))?;
    let points: Vec<Option<MeasureSummary>> = sessions
        .iter()
        .map(|s| s.summary.measure(measure).filter(|m| m.definition == latest.definition).cloned())
        .collect();
    (points.iter().flatten().count() > 1).then(|| TrendRow {
        measure,
        points,
        line: None,
        p_holm: None,
        verdict: Verdict::TooFew,
        words: String::new(),
    })
}

fn judge_lines(rows: &mut [TrendRow], sessions: &[Session]) {
    for row in rows.iter_mut() {
        let (x, y): (Vec<f64>, Vec<f64>) = row
            .points
            .iter()
            .zip(sessions)
            .filter_map(|(p, s)| Some((s.day / PER_DAYS, p.as_ref()?.sample.mean)))
            .unzip();
        row.line = if x.len() >= ENOUGH { line(&x, &y, LEVEL) } else { None };
    }
    let adjusted = holm_known(&rows.iter().map(|r| Some(r.line?.p)).collect::<Vec<_>>());
    for (row, p_holm) in rows.iter_mut().zip(adjusted) {
        row.p_holm = p_holm;
        row.verdict = match (row.line, row.p_holm) {
            (Some(_), Some(p)) if p < ALPHA => Verdict::Changed,
            (Some(l), _) if l.slope.abs() > l.half_width => Verdict::Perhaps,
            (Some(_), _) => Verdict::CantTell,
            (None, _) => Verdict::TooFew,
        };
        let measured: Vec<&MeasureSummary> = row.points.iter().flatten().collect();
        let (Some(first), Some(last)) = (measured.first(), measured.last()) else { continue };
        let head = ends(row.measure, first, last);
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

fn judge_ends(rows: &mut [TrendRow], first: &Loaded, last: &Loaded, block: &str) {
    let measures: Vec<Measure> = rows.iter().map(|r| r.measure).collect();
    let Ok(comparison) = compare(&first.only(block), &last.only(block), &measures) else { return };
    for row in rows {
        let compared: Option<&Row> = comparison.rows.iter().find(|r| r.measure == row.measure);
        row.verdict = compared.map_or(Verdict::TooFew, |r| r.verdict);
        row.p_holm = compared.and_then(|r| r.p_holm);
        if let Some(r) = compared {
            row.words = format!("{} {}", ends(row.measure, &r.before, &r.after), said(row.verdict));
        }
    }
}

fn ends(measure: Measure, first: &MeasureSummary, last: &MeasureSummary) -> String {
    let (a, b) = (first.sample.mean, last.sample.mean);
    let band = last.half_width.map_or(String::new(), |h| format!(" ± {}", amount(measure, h)));
    format!(
        "{}{band} in the last session, {} the first ({}).",
        subject(measure, b),
        difference(measure, b, a),
        value(measure, a)
    )
}

const fn said(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Changed => "More than ordinary variation between sessions.",
        Verdict::Perhaps => "Perhaps a change: with so many numbers looked at, one such can come by chance.",
        Verdict::CantTell => "Can't tell: within ordinary variation.",
        Verdict::WornAnew => "Can't tell: putting the straps on anew can make such a difference by itself.",
        Verdict::TooFew => "Can't tell: too few swings or sessions.",
    }
}
