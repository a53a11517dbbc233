//! Pictures of before and after, with the numbers that are drawn.

use crate::picture::{self, Column, Dot, Figure, Shown};
use peakorder_protocol::remark::Target;
use serde::Serialize;

/// All of before and after.
#[derive(Debug, Serialize)]
pub(super) struct Picture {
    reason: &'static str,
    reason_words: &'static str,
    shown: Vec<Measure>,
    figures: Vec<Drawing>,
    sentences: Vec<String>,
    sure: String,
}

impl From<&picture::Picture> for Picture {
    fn from(p: &picture::Picture) -> Self {
        Self {
            reason: p.reason.key(),
            reason_words: p.reason.words(),
            shown: p.shown.iter().map(Into::into).collect(),
            figures: p.figures.iter().map(Into::into).collect(),
            sentences: p.sentences.clone(),
            sure: p.sure.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Measure {
    key: String,
    verdict: &'static str,
    headline: String,
    detail: String,
    columns: Vec<Drawn>,
    target: Option<Target>,
    figure: Drawing,
}

impl From<&Shown> for Measure {
    fn from(s: &Shown) -> Self {
        Self {
            key: s.measure.key(),
            verdict: s.verdict.key(),
            headline: s.headline.clone(),
            detail: s.detail.clone(),
            columns: s.columns.iter().map(Into::into).collect(),
            target: s.target.clone(),
            figure: (&s.figure).into(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Drawn {
    part: &'static str,
    title: String,
    mean: f64,
    ci95_half: Option<f64>,
    dots: Vec<OneDot>,
}

impl From<&Column> for Drawn {
    fn from(c: &Column) -> Self {
        Self {
            part: c.part.key(),
            title: c.title.clone(),
            mean: c.mean,
            ci95_half: c.half_width,
            dots: c.dots.iter().map(Into::into).collect(),
        }
    }
}

#[derive(Debug, Serialize)]
struct OneDot {
    number: u32,
    value: f64,
    movement: &'static str,
}

impl From<&Dot> for OneDot {
    fn from(d: &Dot) -> Self {
        Self { number: d.number, value: d.value, movement: d.movement.key() }
    }
}

#[derive(Debug, Serialize)]
struct Drawing {
    key: &'static str,
    title: String,
    svg: String,
    lines: Vec<Line>,
    note: String,
}

#[derive(Debug, Serialize)]
struct Line {
    segment: Option<&'static str>,
    words: String,
}

impl From<&Figure> for Drawing {
    fn from(f: &Figure) -> Self {
        let line = |l: &picture::Line| Line {
            segment: l.role.map(peakorder_protocol::Role::key),
            words: l.words.clone(),
        };
        Self {
            key: f.key,
            title: f.title.clone(),
            svg: f.svg.clone(),
            lines: f.lines.iter().map(line).collect(),
            note: f.note.clone(),
        }
    }
}
