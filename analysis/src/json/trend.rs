//! A player's sessions over months.

use super::shared::{Block, Numbers};
use crate::trend;
use serde::Serialize;

/// Schema of [`Follow`].
pub const TREND: &str = "peakorder.trend/1";

/// A player's sessions.
#[derive(Debug, Serialize)]
pub struct Follow {
    schema: &'static str,
    player: String,
    block: String,
    sessions: Vec<Followed>,
    measures: Vec<Course>,
    notes: Vec<String>,
}

impl From<&trend::Trend> for Follow {
    fn from(t: &trend::Trend) -> Self {
        Self {
            schema: TREND,
            player: t.player.clone(),
            block: t.block.clone(),
            sessions: t.sessions.iter().map(Into::into).collect(),
            measures: t.rows.iter().map(Into::into).collect(),
            notes: t.notes.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Followed {
    name: String,
    id: String,
    started_utc: String,
    day: f64,
    invented: bool,
    summary: Block,
}

impl From<&trend::Session> for Followed {
    fn from(s: &trend::Session) -> Self {
        Self {
            name: s.name.clone(),
            id: s.id.clone(),
            started_utc: s.started_utc.clone(),
            day: s.day,
            invented: s.invented,
            summary: (&s.summary).into(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Course {
    key: String,
    chosen: bool,
    points: Vec<Option<Numbers>>,
    points_ci95_half: Vec<Option<f64>>,
    slope_per_30_days: Option<f64>,
    ci95_half: Option<f64>,
    df: Option<f64>,
    p: Option<f64>,
    p_holm: Option<f64>,
    p_false_discovery: Option<f64>,
    verdict: &'static str,
    words: String,
}

impl From<&trend::TrendRow> for Course {
    fn from(r: &trend::TrendRow) -> Self {
        Self {
            key: r.measure.key(),
            chosen: r.judged,
            points_ci95_half: r.half_widths.clone(),
            points: r.points.iter().map(|p| p.as_ref().map(Into::into)).collect(),
            slope_per_30_days: r.line.map(|l| l.slope),
            ci95_half: r.line.map(|l| l.half_width),
            df: r.line.map(|l| l.df),
            p: r.line.map(|l| l.p),
            p_holm: r.p_adjusted.filter(|_| r.judged),
            p_false_discovery: r.p_adjusted.filter(|_| !r.judged),
            verdict: r.verdict.key(),
            words: r.words.clone(),
        }
    }
}
