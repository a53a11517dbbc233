//! The order of peaks as a strip of time before impact, blocks below one another.

use super::html::{INK, SOFT, colour, label, mark, open_svg};
use crate::measure::Measure;
use crate::summary::{BlockSummary, MeasureSummary};
use crate::words::list;
use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;
use std::fmt::Write as _;

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
pub(super) fn strip(parts: &[Part<'_>]) -> Option<String> {
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
    let mut out = String::new();
    open_svg(&mut out, "strip", (WIDTH, height), "Order of peaks before impact", &described(parts));
    let foot = height - AXIS;
    let mut tick = 0.0;
    while tick <= from {
        let at = x(tick);
        let line = if tick == 0.0 { format!("{INK}\" stroke-width=\"1.6") } else { "#d4d4d4".into() };
        let _ = writeln!(
            out,
            "<path d=\"M{at:.1} {:.1}V{foot:.1}\" fill=\"none\" stroke=\"{line}\"/>",
            HEAD - 4.0
        );
        let text = if tick == 0.0 { "impact".into() } else { format!("{tick:.0}") };
        label(&mut out, (at, foot + 13.0), "middle", "tick", &text);
        tick += step;
    }
    label(
        &mut out,
        (LEFT, foot + 28.0),
        "start",
        "tick",
        "milliseconds before impact; time runs to the right →",
    );
    let mut y = 0.0;
    for (part, peaks) in parts.iter().zip(&peaks) {
        label(&mut out, (4.0, y + 13.0), "start", "head", &part.title);
        y += HEAD;
        for m in peaks {
            row(&mut out, part, m, y + ROW / 2.0, &x);
            y += ROW;
        }
        y += GAP;
    }
    out.push_str("</svg>\n");
    Some(out)
}

fn row(out: &mut String, part: &Part<'_>, m: &MeasureSummary, y: f64, x: &dyn Fn(f64) -> f64) {
    let Measure::PeakBeforeImpact(role) = m.measure else { return };
    mark(out, role, (12.0, y), 5.0, true);
    label(out, (24.0, y + 4.0), "start", "row", role.label());
    for peak in part.swings.iter().filter_map(|s| s.peak(role)) {
        let at = x(peak.before_impact_ms);
        let _ = writeln!(
            out,
            "<path d=\"M{at:.1} {:.1}v12\" fill=\"none\" stroke=\"{SOFT}\" stroke-opacity=\"0.55\"/>",
            y - 6.0
        );
    }
    if let Some(half) = m.half_width {
        let (a, b) = (x(m.sample.mean + half), x(m.sample.mean - half));
        let _ = writeln!(
            out,
            "<rect x=\"{a:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"9\" fill=\"{}\" fill-opacity=\"0.85\" stroke=\"{INK}\" stroke-width=\"0.8\"/>",
            y - 4.5,
            (b - a).max(1.0),
            colour(role)
        );
    }
    mark(out, role, (x(m.sample.mean), y), 5.5, true);
    let band = m.half_width.map_or(String::new(), |h| format!(" ± {h:.0}"));
    label(out, (WIDTH - 4.0, y + 4.0), "end", "row", &format!("{:.0}{band} ms", m.sample.mean));
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
