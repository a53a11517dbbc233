//! What lasted from lesson to lesson: a picture for each number that was meant.

use super::html::{INK, SOFT, label, svg};
use crate::kept::{Course, Kept, Point};
use crate::render::number;
use crate::words::{self, capital};
use maud::{Markup, html};

const WIDTH: f64 = 700.0;
const HEIGHT: f64 = 190.0;
const LEFT: f64 = 78.0;
const RIGHT: f64 = 672.0;
const TOP: f64 = 16.0;
const FOOT: f64 = 150.0;
/// A lesson's start and end stand so far apart.
const LESSON: f64 = 34.0;

/// The section; nothing where there is one session only.
pub(super) fn section(kept: &Kept) -> Markup {
    if kept.lessons.len() < 2 || kept.courses.is_empty() {
        return Markup::default();
    }
    html! {
        h2 { "What lasted from lesson to lesson" }
        @for course in &kept.courses {
            h3 { (capital(&course.measure.label())) }
            figure {
                (picture(kept, course))
                figcaption {
                    "Thick lines: a lesson, from its start (hollow) to its end (filled). Dotted: from one day to the next. Squares: practice. \
                     Thin bars: 95 %, with what putting the straps on anew can shift."
                }
            }
            ul { @for line in words::kept::course(kept, course) { li { (line) } } }
        }
    }
}

fn picture(kept: &Kept, course: &Course) -> Markup {
    let m = course.measure;
    let points: Vec<Point> = course.stages.iter().flat_map(|s| [Some(s.start), s.end]).flatten().collect();
    let ends = |sign: f64| points.iter().map(move |p| p.mean + sign * p.half_width.unwrap_or(0.0));
    let (low, high) = (ends(-1.0).fold(f64::INFINITY, f64::min), ends(1.0).fold(f64::NEG_INFINITY, f64::max));
    let pad = (0.08 * (high - low)).max(1e-9);
    let (low, high) = (low - pad, high + pad);
    // What people call more is up.
    let up = words::sense(m, points.first().map_or(1.0, |p| p.mean));
    let y = |v: f64| {
        let share = (v - low) / (high - low);
        FOOT - (FOOT - TOP) * if up > 0.0 { share } else { 1.0 - share }
    };
    let step = (RIGHT - LEFT - LESSON) / (course.stages.len().saturating_sub(1)).max(1) as f64;
    let x = |i: usize| LEFT + 10.0 + step * i as f64;
    let bar = |at: f64, p: Point| {
        p.half_width.map_or(Markup::default(), |h| {
            html! {
                path d=(format!("M{at:.1} {:.1}V{:.1}", y(p.mean - h), y(p.mean + h))) fill="none" stroke=(SOFT) stroke-width="1.2" {}
            }
        })
    };
    // Where both sides occur, a size alone would not tell which.
    let both = low < 0.0 && high > 0.0;
    let tick = |v: f64| if both { m.unit().after(&number(v, 0, true)) } else { words::amount(m, v) };
    let inside = html! {
        @for v in [low + pad, high - pad] {
            (label((LEFT - 12.0, y(v) + 4.0), "end", "tick", &tick(v)))
        }
        @if both {
            path d=(format!("M{LEFT:.1} {:.1}H{:.1}", y(0.0), WIDTH - 8.0)) fill="none" stroke="#d4d4d4" {}
        }
        path d=(format!("M{LEFT:.1} {TOP:.1}V{FOOT:.1}")) fill="none" stroke="#d4d4d4" {}
        @for (i, pair) in course.stages.windows(2).enumerate() {
            @let from = pair[0].end.map_or((x(i), pair[0].start.mean), |e| (x(i) + LESSON, e.mean));
            path d=(format!("M{:.1} {:.1}L{:.1} {:.1}", from.0, y(from.1), x(i + 1), y(pair[1].start.mean))) fill="none"
                stroke=(SOFT) stroke-width="1.6" stroke-dasharray="2 4" {}
        }
        @for (i, stage) in course.stages.iter().enumerate() {
            @let at = x(i);
            (bar(at, stage.start))
            @if let Some(end) = stage.end {
                (bar(at + LESSON, end))
                path d=(format!("M{at:.1} {:.1}L{:.1} {:.1}", y(stage.start.mean), at + LESSON, y(end.mean))) fill="none"
                    stroke=(INK) stroke-width="3.2" {}
                circle cx=(format!("{:.1}", at + LESSON)) cy=(format!("{:.1}", y(end.mean))) r="5.5" fill=(INK) {}
                circle cx=(format!("{at:.1}")) cy=(format!("{:.1}", y(stage.start.mean))) r="5" fill="#ffffff" stroke=(INK) stroke-width="2" {}
            } @else {
                rect x=(format!("{:.1}", at - 4.5)) y=(format!("{:.1}", y(stage.start.mean) - 4.5)) width="9" height="9" fill="#ffffff"
                    stroke=(INK) stroke-width="2" {}
            }
            @let day = kept.lessons[stage.lesson].started_utc.get(5..10).unwrap_or("");
            (label((at + if stage.end.is_some() { LESSON / 2.0 } else { 0.0 }, FOOT + 20.0), "middle", "tick", day))
        }
    };
    let described = words::kept::course(kept, course).join(" ");
    svg(
        "kept",
        (WIDTH, HEIGHT),
        &format!("{} from lesson to lesson", capital(&m.label())),
        &described,
        &inside,
    )
}
