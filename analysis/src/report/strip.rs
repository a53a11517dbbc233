//! The order of peaks as a strip of time before impact, blocks below one another.

use super::html::{INK, SOFT, colour, label, mark, svg, tenth};
use crate::measure::Measure;
use crate::summary::{BlockSummary, MeasureSummary};
use crate::words::list;
use maud::{Markup, html};
use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;

const WIDTH: f64 = 700.0;
const LEFT: f64 = 96.0;
const RIGHT: f64 = 592.0;
const ROW: f64 = 21.0;
const HEAD: f64 = 20.0;
const GAP: f64 = 10.0;
const AXIS: f64 = 34.0;

/// One block's part of the picture.
pub(super) struct Part<'a> {
    /// Heading, e.g. `Before: baseline`.
    pub(super) title: String,
    pub(super) summary: &'a BlockSummary,
    /// The swings that count, for the spread.
    pub(super) swings: Vec<&'a Swing>,
}

/// Draws the parts on one scale; `None` when no part has a peak.
pub(super) fn strip(parts: &[Part<'_>]) -> Option<Markup> {
    let peaks: Vec<Vec<&MeasureSummary>> = parts.iter().map(|p| peaks_of(p.summary)).collect();
    let singles = parts.iter().flat_map(|p| {
        p.swings.iter().flat_map(|s| Role::ALL.into_iter().filter_map(|r| Some(s.peak(r)?.before_impact_ms)))
    });
    let longest = peaks
        .iter()
        .flatten()
        .map(|m| m.sample.mean + m.half_width.unwrap_or(0.0))
        .chain(singles)
        .filter(|v| v.is_finite())
        .fold(f64::NEG_INFINITY, f64::max);
    if longest == f64::NEG_INFINITY {
        return None;
    }
    let step = if longest > 150.0 { 50.0 } else { 20.0 };
    let from = ((longest + 3.0) / step).ceil().max(1.0) * step;
    let x = |ms: f64| RIGHT - (RIGHT - LEFT) * ms.clamp(-0.06 * from, from) / from;
    let rows: usize = peaks.iter().map(Vec::len).sum();
    let height = parts.len() as f64 * (HEAD + GAP) + rows as f64 * ROW + AXIS;
    let foot = height - AXIS;
    let ticks = (0..).map(|i| f64::from(i) * step).take_while(|tick| *tick <= from);
    let mut tops = Vec::new();
    let mut y = 0.0;
    for peaks in &peaks {
        tops.push(y);
        y += HEAD + peaks.len() as f64 * ROW + GAP;
    }
    let inside = html! {
        @for tick in ticks {
            @let impact = tick == 0.0;
            path d=(format!("M{:.1} {:.1}V{foot:.1}", x(tick), HEAD - 4.0)) fill="none"
                stroke=(if impact { INK } else { "#d4d4d4" }) stroke-width=[impact.then_some("1.6")] {}
            (label((x(tick), foot + 13.0), "middle", "tick", &if impact { "impact".into() } else { format!("{tick:.0}") }))
        }
        (label((LEFT, foot + 28.0), "start", "tick", "milliseconds before impact; time runs to the right →"))
        @for ((part, peaks), top) in parts.iter().zip(&peaks).zip(tops) {
            (label((4.0, top + 13.0), "start", "head", &part.title))
            @for (i, m) in peaks.iter().enumerate() {
                (row(part, m, top + HEAD + (i as f64 + 0.5) * ROW, &x))
            }
        }
    };
    Some(svg("strip", (WIDTH, height), "Order of peaks before impact", &described(parts), &inside))
}

fn row(part: &Part<'_>, m: &MeasureSummary, y: f64, x: &dyn Fn(f64) -> f64) -> Markup {
    let Measure::PeakBeforeImpact(role) = m.measure else { return Markup::default() };
    let mean = m.sample.mean;
    let band = m.half_width.map_or(String::new(), |h| format!(" ± {h:.0}"));
    html! {
        (mark(role, (12.0, y), 5.0, true))
        (label((24.0, y + 4.0), "start", "row", role.label()))
        @for peak in part.swings.iter().filter_map(|s| s.peak(role)) {
            path d=(format!("M{:.1} {:.1}v12", x(peak.before_impact_ms), y - 6.0)) fill="none" stroke=(SOFT) stroke-opacity="0.55" {}
        }
        @if let Some(half) = m.half_width {
            @let (from, to) = (x(mean + half), x(mean - half));
            rect x=(tenth(from)) y=(tenth(y - 4.5)) width=(tenth((to - from).max(1.0))) height="9" fill=(colour(role))
                fill-opacity="0.85" stroke=(INK) stroke-width="0.8" {}
        }
        (mark(role, (x(mean), y), 5.5, true))
        (label((WIDTH - 4.0, y + 4.0), "end", "row", &format!("{mean:.0}{band} ms")))
    }
}

fn peaks_of(summary: &BlockSummary) -> Vec<&MeasureSummary> {
    Role::ALL.into_iter().filter_map(|r| summary.measure(Measure::PeakBeforeImpact(r))).collect()
}

fn described(parts: &[Part<'_>]) -> String {
    let texts: Vec<String> = parts
        .iter()
        .map(|p| {
            let peaks: Vec<String> = peaks_of(p.summary)
                .iter()
                .filter_map(|m| {
                    let Measure::PeakBeforeImpact(role) = m.measure else { return None };
                    let band = m.half_width.map_or(String::new(), |h| format!(" ± {h:.0}"));
                    Some(format!("{role} {:.0}{band} ms before impact", m.sample.mean))
                })
                .collect();
            format!("{}: {}.", p.title, list(&peaks))
        })
        .collect();
    texts.join(" ")
}
