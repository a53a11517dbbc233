//! When each segment was fastest, on a strip of time that ends at impact: before over after.

use super::draw::{class, line, mark, svg, tenth, text};
use crate::measure::Measure;
use crate::summary::{BlockSummary, MeasureSummary};
use crate::words::{capital, list};
use maud::{Markup, html};
use peakorder_protocol::Role;

const ROW: f64 = 25.0;
const GAP: f64 = 12.0;
const AXIS: f64 = 44.0;
/// Below this the segments' names stand over their rows.
const NARROW: f64 = 480.0;

/// The strip of one block or two; `None` where no peak could be timed.
pub(super) fn strip(id: &str, width: f64, blocks: &[&BlockSummary]) -> Option<Markup> {
    let rows: Vec<(Role, Vec<Option<&MeasureSummary>>)> = Role::ALL
        .into_iter()
        .map(|role| (role, blocks.iter().map(|b| b.measure(Measure::PeakBeforeImpact(role))).collect()))
        .filter(|(_, of): &(Role, Vec<Option<&MeasureSummary>>)| of.iter().any(Option::is_some))
        .collect();
    let all = || rows.iter().flat_map(|(_, of)| of.iter().flatten().copied());
    let longest =
        all().map(|m| m.sample.mean + m.half_width().unwrap_or(0.0)).fold(f64::NEG_INFINITY, f64::max);
    if !longest.is_finite() {
        return None;
    }
    let step = if longest > 150.0 { 50.0 } else { 20.0 };
    let from = ((longest + 3.0) / step).ceil().max(1.0) * step;
    let narrow = width < NARROW;
    let (left, right) = (if narrow { 10.0 } else { 116.0 }, width - 108.0);
    let x = |ms: f64| right - (right - left) * ms.clamp(-0.06 * from, from) / from;
    let head = if narrow { 26.0 } else { 8.0 };
    let tall = head + blocks.len() as f64 * ROW + GAP;
    let foot = 4.0 + tall * rows.len() as f64;
    let height = foot + AXIS;
    let ticks = (0..).map(|i| f64::from(i) * step).take_while(|ms| *ms <= from).enumerate();
    let inside = html! {
        @for (i, ms) in ticks {
            (line((x(ms), 2.0), (x(ms), foot), if i == 0 { "p-impact" } else { "p-rail" }))
            (text((x(ms), foot + 18.0), "middle", "p-tick", &if i == 0 { "impact".into() } else { format!("{ms:.0}") }))
        }
        (text((left, foot + 37.0), "start", "p-tick", if narrow { "ms before impact" } else { "milliseconds before impact; time runs to the right" }))
        @for (i, (role, of)) in rows.iter().enumerate() {
            @let top = 4.0 + tall * i as f64 + head;
            @if narrow {
                (mark(*role, (18.0, top - 13.0), 6.0, true))
                (text((30.0, top - 8.0), "start", "p-strong", &capital(role.label())))
            } @else {
                (mark(*role, (12.0, top + of.len() as f64 * ROW / 2.0), 6.5, true))
                (text((25.0, top + of.len() as f64 * ROW / 2.0 + 5.0), "start", "p-strong", &capital(role.label())))
            }
            @for (j, m) in of.iter().enumerate() {
                @if let Some(m) = m {
                    (row(*role, m, top + (j as f64 + 0.5) * ROW, j + 1 == of.len(), &x, width))
                }
            }
        }
    };
    Some(svg(id, (width, height), "When each segment was fastest", &described(&rows), &inside))
}

fn row(role: Role, m: &MeasureSummary, y: f64, strong: bool, x: &dyn Fn(f64) -> f64, width: f64) -> Markup {
    let mean = m.sample.mean;
    let half = m.half_width().map_or(String::new(), |h| format!(" ± {h:.0}"));
    html! {
        @if let Some(half) = m.half_width() {
            @let (from, to) = (x(mean + half), x(mean - half));
            @let tall = if strong { 13.0 } else { 7.0 };
            rect class={ "p-beam " (class(role)) @if !strong { " thin" } } x=(tenth(from)) y=(tenth(y - tall / 2.0))
                width=(tenth((to - from).max(1.0))) height=(tenth(tall)) {}
        }
        (mark(role, (x(mean), y), if strong { 8.0 } else { 6.0 }, strong))
        (text((width - 2.0, y + 5.0), "end", if strong { "p-strong" } else { "p-soft" }, &format!("{mean:.0}{half} ms")))
    }
}

fn described(rows: &[(Role, Vec<Option<&MeasureSummary>>)]) -> String {
    let one = |(role, of): &(Role, Vec<Option<&MeasureSummary>>)| {
        let said: Vec<String> = of
            .iter()
            .map(|m| {
                m.map_or("not measured".into(), |m| {
                    let half = m.half_width().map_or(String::new(), |h| format!(" ± {h:.0}"));
                    format!("{:.0}{half}", m.sample.mean)
                })
            })
            .collect();
        format!("{role} {}", said.join(", then "))
    };
    let all: Vec<String> = rows.iter().map(one).collect();
    format!("Milliseconds before impact, before then after: {}.", list(&all))
}
