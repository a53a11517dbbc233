//! A measure over a player's lessons: where each began and ended, and what was left the next time.

use super::draw::{Size, line, svg, tenth, text};
use crate::kept::{Course, Kept, Point};
use crate::measure::Measure;
use crate::render::number;
use crate::words::{self, capital};
use maud::{Markup, html};

/// Room for the axis at least, and for a letter of its words, about.
const LEFT: f64 = 56.0;
const LETTER: f64 = 9.4;
const TOP: f64 = 14.0;
const BELOW: f64 = 46.0;
/// A lesson's start and end stand so far apart, where there is room.
const LESSON: f64 = 34.0;
/// A day takes so much room.
const DAY: f64 = 58.0;

/// `16 Jun` of a time in UTC; as it stands there where it is no time.
fn day_of(started_utc: &str) -> String {
    let day = started_utc.get(..10).and_then(|d| d.parse::<jiff::civil::Date>().ok());
    day.map_or_else(|| started_utc.to_owned(), |d| d.strftime("%-d %b").to_string())
}

/// A session's place in the picture.
pub(super) struct Stop<'a> {
    /// Wall-clock start, RFC 3339 UTC.
    pub(super) started_utc: &'a str,
    /// At the start, or all that is looked at.
    pub(super) start: Point,
    /// At the end.
    pub(super) end: Option<Point>,
    /// Where a straight line through the sessions passes that day.
    pub(super) on_line: Option<f64>,
}

/// The picture of one measure; nothing where no session has it.
pub fn months(id: &str, size: Size, kept: &Kept, course: &Course) -> Markup {
    let stops: Vec<Stop<'_>> = course
        .stages
        .iter()
        .map(|s| Stop {
            started_utc: &kept.lessons[s.lesson].started_utc,
            start: s.start,
            end: s.end,
            on_line: None,
        })
        .collect();
    let title = format!("{} from lesson to lesson", capital(&course.measure.label()));
    svg(id, size, &title, &words::kept::course(kept, course).join(" "), &drawn(size, course.measure, &stops))
}

/// The same of any sessions, earliest first.
pub(super) fn drawn((width, height): Size, m: Measure, stops: &[Stop<'_>]) -> Markup {
    let foot = height - BELOW;
    let points: Vec<Point> = stops.iter().flat_map(|s| [Some(s.start), s.end]).flatten().collect();
    let ends = |sign: f64| points.iter().map(move |p| p.mean + sign * p.half_width.unwrap_or(0.0));
    // What people call more is up.
    let up = words::sense(m, points.first().map_or(1.0, |p| p.mean));
    let (low, high) = (ends(-1.0).fold(f64::INFINITY, f64::min), ends(1.0).fold(f64::NEG_INFINITY, f64::max));
    let on_line = || stops.iter().filter_map(|s| s.on_line);
    let (low, high) = (on_line().fold(low, f64::min), on_line().fold(high, f64::max));
    let pad = (0.08 * (high - low)).max(words::step(m));
    let (low, high) = (low - pad, high + pad);
    let y = |v: f64| {
        let share = (v - low) / (high - low);
        foot - (foot - TOP) * if up > 0.0 { share } else { 1.0 - share }
    };
    let (from, to, apart) = super::draw::scale(low, high);
    let ticks: Vec<f64> = (0..1000)
        .map(|i| from + apart * f64::from(i))
        .take_while(|v| *v <= to + 1e-9)
        .filter(|v| *v >= low && *v <= high)
        .collect();
    // Where both sides occur, a size alone would not tell which.
    let both = low < 0.0 && high > 0.0;
    let decimals = if apart.fract().abs() > 1e-9 { m.decimals().max(1) } else { 0 };
    let tick = |v: f64| m.unit().after(&number(if both { v } else { v.abs() }, decimals, both));
    let longest = ticks.iter().map(|v| tick(*v).chars().count()).max().unwrap_or(0) as f64;
    let left = LEFT.max(LETTER * longest + 8.0);
    let n = stops.len().max(1) as f64;
    let step = (width - left - 8.0) / n;
    let lesson = LESSON.min(0.5 * step);
    let x = |i: usize| left + step * (i as f64 + 0.5) - lesson / 2.0;
    // Days stand so far apart that they can be read.
    let every = ((DAY / step).ceil() as usize).max(1);
    let bar = |at: f64, p: Point| {
        html! { @if let Some(half) = p.half_width { (line((at, y(p.mean - half)), (at, y(p.mean + half)), "p-range")) } }
    };
    let line_of: Vec<(f64, f64)> =
        stops.iter().enumerate().filter_map(|(i, s)| Some((x(i) + lesson / 2.0, y(s.on_line?)))).collect();
    html! {
        @for v in ticks {
            (line((left, y(v)), (width, y(v)), "p-rail"))
            (text((left - 7.0, y(v) + 5.0), "end", "p-tick", &tick(v)))
        }
        @for pair in line_of.windows(2) { (line(pair[0], pair[1], "p-lesson")) }
        @for (i, pair) in stops.windows(2).enumerate() {
            @let from = pair[0].end.map_or((x(i) + lesson / 2.0, pair[0].start.mean), |e| (x(i) + lesson, e.mean));
            @let to = x(i + 1) + if pair[1].end.is_some() { 0.0 } else { lesson / 2.0 };
            (line((from.0, y(from.1)), (to, y(pair[1].start.mean)), "p-since"))
        }
        @for (i, stage) in stops.iter().enumerate() {
            @let at = x(i);
            @let middle = at + lesson / 2.0;
            @if let Some(end) = stage.end {
                (bar(at, stage.start))
                (bar(at + lesson, end))
                (line((at, y(stage.start.mean)), (at + lesson, y(end.mean)), "p-lesson"))
                circle class="p-dot after" cx=(tenth(at + lesson)) cy=(tenth(y(end.mean))) r="6" {}
                circle class="p-dot before" cx=(tenth(at)) cy=(tenth(y(stage.start.mean))) r="6" {}
            } @else {
                (bar(middle, stage.start))
                rect class="p-dot before" x=(tenth(middle - 5.0)) y=(tenth(y(stage.start.mean) - 5.0)) width="10" height="10" {}
            }
            // The last day always stands there, the others where they have room.
            @if (stops.len() - 1 - i).is_multiple_of(every) {
                @let started = stage.started_utc;
                (text((middle, foot + 20.0), "middle", "p-tick", &day_of(started)))
                (text((middle, foot + 39.0), "middle", "p-tick", started.get(..4).unwrap_or("")))
            }
        }
    }
}
