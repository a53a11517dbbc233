//! A measure swing by swing: before, the drill, after, each with its mean and the 95 % interval of that mean.

use super::columns::{Column, Dot, Movement, Part};
use super::draw::{Size, cut, line, scale, svg, tenth, text};
use crate::measure::Measure;
use crate::render::number;
use crate::words::{self, amount, capital, list, plural, way};
use maud::{Markup, html};
use peakorder_protocol::remark::Target;

/// Room above, and for the words below.
const TOP: f64 = 12.0;
const BELOW: f64 = 94.0;
/// Of a letter, about; only to keep labels inside their columns.
const LETTER: f64 = 8.2;

/// The picture; `target` is the measure's, if one was set.
pub(super) fn dots(
    id: &str,
    size: Size,
    measure: Measure,
    columns: &[Column],
    target: Option<&Target>,
) -> Markup {
    let (width, height) = size;
    let foot = height - BELOW;
    let sense = words::sense(measure, columns.first().map_or(1.0, |c| c.mean));
    let values: Vec<f64> = columns
        .iter()
        .flat_map(|c| {
            let half = c.half_width.unwrap_or(0.0);
            c.dots.iter().map(|d| d.value).chain([c.mean - half, c.mean + half])
        })
        .chain(target.map(|t| t.value))
        .map(|v| sense * v)
        .collect();
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // One swing, or swings all alike, still need an axis of some length.
    let least = 4.0 * words::step(measure);
    let pad = (0.06 * (high - low)).max((least - (high - low)) / 2.0);
    let (low, high) = (low - pad, high + pad);
    let (_, _, step) = scale(low, high);
    let y = |v: f64| foot - (foot - TOP) * (sense * v - low) / (high - low);
    let first = (low / step).ceil();
    let ticks: Vec<f64> = (0..1000)
        .map(|i| (first + f64::from(i)) * step)
        .take_while(|v| *v <= high)
        .map(|v| sense * v)
        .collect();
    // Where both sides occur, a size alone would not tell which.
    let both = both_sides(measure, columns);
    let decimals = if step.fract().abs() > 1e-9 { measure.decimals().max(1) } else { 0 };
    let tick = |v: f64| measure.unit().after(&number(if both { v } else { v.abs() }, decimals, both));
    let longest = ticks.iter().map(|v| tick(*v).chars().count()).max().unwrap_or(0);
    let left = LETTER * longest as f64 + 12.0;
    let apart = (width - left) / columns.len() as f64;
    let inside = html! {
        @for v in &ticks {
            (line((left, y(*v)), (width, y(*v)), "p-rail"))
            (text((left - 6.0, y(*v) + 5.0), "end", "p-tick", &tick(*v)))
        }
        @for (i, c) in columns.iter().enumerate() {
            (column(c, measure, (left + apart * i as f64, apart), foot, &y, both))
        }
        @if let Some(target) = target {
            (line((left, y(target.value)), (width, y(target.value)), "p-target"))
            // Beside the line, on the side where fewer dots are in its way.
            @let above = y(target.value) - TOP > 24.0;
            (text((width - 2.0, y(target.value) + if above { -7.0 } else { 17.0 }), "end", "p-strong p-rim",
                &format!("target {}", amount(measure, target.value))))
        }
    };
    svg(
        id,
        size,
        &format!("{}, swing by swing", capital(&measure.label())),
        &described(measure, columns, target),
        &inside,
    )
}

fn column(
    c: &Column,
    measure: Measure,
    (from, width): (f64, f64),
    foot: f64,
    y: &dyn Fn(f64) -> f64,
    both: bool,
) -> Markup {
    let inner = (from + 0.07 * width, from + 0.93 * width);
    let middle = from + width / 2.0;
    let step = (inner.1 - inner.0) / c.dots.len().max(1) as f64;
    let r = (0.42 * step).clamp(2.4, 7.0);
    let x = |i: usize| inner.0 + step * (i as f64 + 0.5);
    let said = if both { signed(measure, c.mean) } else { amount(measure, c.mean) };
    let half = c.half_width.map_or(String::new(), |h| format!("± {}", amount(measure, h)));
    let room = (width / LETTER) as usize;
    html! {
        @if let Some(half) = c.half_width {
            @let (top, bottom) = (y(c.mean + half).min(y(c.mean - half)), y(c.mean + half).max(y(c.mean - half)));
            rect class="p-band" x=(tenth(inner.0)) y=(tenth(top)) width=(tenth(inner.1 - inner.0)) height=(tenth((bottom - top).max(1.0))) {}
        }
        (line((inner.0, y(c.mean)), (inner.1, y(c.mean)), "p-mean"))
        @for (i, d) in c.dots.iter().enumerate() { (dot(*d, c.part, (x(i), y(d.value)), r)) }
        (text((middle, foot + 29.0), "middle", if said.chars().count() as f64 * 17.0 < width { "p-big" } else { "p-strong" }, &said))
        (text((middle, foot + 48.0), "middle", "p-soft", &half))
        (text((middle, foot + 68.0), "middle", "p-strong", c.part.label()))
        @if c.title != c.part.label() { (text((middle, foot + 87.0), "middle", "p-soft", &cut(&c.title, room))) }
    }
}

/// Whether the swings, or a mean's interval, lie on both sides of a measure whose sides have names.
pub(super) fn both_sides(measure: Measure, columns: &[Column]) -> bool {
    let told = |negative: bool| {
        let mut all = columns.iter().flat_map(|c| {
            let half = c.half_width.unwrap_or(0.0);
            c.dots.iter().map(|d| d.value).chain([c.mean - half, c.mean + half])
        });
        all.any(|v| (v < 0.0) == negative && v.abs() >= words::step(measure) / 2.0)
    };
    measure.signed() && told(true) && told(false)
}

/// With its sign and unit.
fn signed(measure: Measure, v: f64) -> String {
    measure.unit().after(&number(v, measure.unit().spoken_decimals(), true))
}

/// What the signs mean, where there are some: the first column's mean in words.
pub(super) fn signs(measure: Measure, columns: &[Column]) -> Option<String> {
    let mean = columns.first()?.mean;
    both_sides(measure, columns)
        .then(|| format!("{} is: {}.", signed(measure, mean), words::subject(measure, mean)))
}

/// Hollow before, grey in the drill, filled after; a triangle where no ball was hit.
fn dot(d: Dot, part: Part, (x, y): (f64, f64), r: f64) -> Markup {
    let class = format!("p-dot {}", part.key());
    html! {
        @match d.movement {
            Movement::Swing => circle class=(class) data-swing=(d.number) cx=(tenth(x)) cy=(tenth(y)) r=(tenth(r)) {}
            Movement::WithoutBall => {
                @let (w, h) = (1.15 * r, r);
                path class=(class) data-swing=(d.number)
                    d=(format!("M{x:.1} {:.1}L{:.1} {:.1}H{:.1}Z", y - 1.2 * h, x + w, y + 0.85 * h, x - w)) {}
            }
            Movement::Repetition => {
                @let (w, h) = (1.15 * r, r);
                path class=(class) data-swing=(d.number)
                    d=(format!("M{x:.1} {:.1}L{:.1} {:.1}H{:.1}Z", y + 1.2 * h, x + w, y - 0.85 * h, x - w)) {}
            }
        }
    }
}

/// The same in a sentence.
fn described(measure: Measure, columns: &[Column], target: Option<&Target>) -> String {
    let parts: Vec<String> = columns
        .iter()
        .map(|c| {
            let half = c.half_width.map_or(String::new(), |h| format!(" ± {}", amount(measure, h)));
            format!(
                "{} {}{half}{} ({})",
                c.part.label(),
                amount(measure, c.mean),
                match way(measure, c.mean) {
                    "" => String::new(),
                    way => format!(" {way}"),
                },
                plural(c.dots.len(), "swing")
            )
        })
        .collect();
    let target = target.map_or(String::new(), |t| format!(" Target: {}.", t.words));
    format!("{}: mean {}.{target}", capital(&measure.label()), list(&parts))
}
