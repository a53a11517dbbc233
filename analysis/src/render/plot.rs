//! The three speeds over time, drawn with braille dots.
//!
//! Solid, dashed and dotted lines, a mark at each peak and a named mark at each line's end
//! tell the segments apart without colour.

use super::table::{Align, pad};
use super::{Style, mark, number};
use crate::order::short;
use peakorder_protocol::Role;
use peakorder_protocol::curves::{Curves, SegmentCurves};
use peakorder_protocol::swing::Swing;
use std::fmt::Write as _;

/// Text rows of the drawing by itself, and beside other things.
const ROWS: usize = 18;
const FEW_ROWS: usize = 6;
/// Labels of the speed axis.
const MOST_LABELS: usize = 8;
/// Room for the speed axis on the left and the lines' names on the right.
const LEFT: usize = 7;
const RIGHT: usize = 10;
/// Shown before the top and after impact, milliseconds: enough to see the reversals and
/// that a segment may go on rising after impact.
const BEFORE_TOP_MS: f64 = 60.0;
const AFTER_IMPACT_MS: f64 = 60.0;
/// Longest time shown before impact, milliseconds.
const LONGEST_MS: f64 = 1000.0;
/// Braille cells are 2 × 4 dots; bit of each dot by column and row (Unicode block 2800).
const DOTS: [[u8; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];

/// Dots drawn and left out along a line.
const fn dash(role: Role) -> (usize, usize) {
    match role {
        Role::Pelvis => (1, 0),
        Role::Thorax => (6, 4),
        Role::LeadArm => (1, 2),
    }
}

/// What stands in one character of the drawing.
#[derive(Debug, Clone, Copy, Default)]
struct Cell {
    dots: u8,
    role: Option<Role>,
    mark: bool,
}

/// The mapping from speed and time to dots.
struct Scale {
    columns: usize,
    rows: usize,
    first_ms: f64,
    last_ms: f64,
    low: f64,
    high: f64,
}

impl Scale {
    /// Horizontal dot of a time relative to impact.
    fn x(&self, ms: f64) -> f64 {
        (ms - self.first_ms) / (self.last_ms - self.first_ms) * (2 * self.columns - 1) as f64
    }

    /// Vertical dot of a speed, 0 at the top.
    fn y(&self, dps: f64) -> f64 {
        (self.high - dps) / (self.high - self.low) * (4 * self.rows - 1) as f64
    }

    fn column(&self, ms: f64) -> usize {
        ((self.x(ms) / 2.0).max(0.0) as usize).min(self.columns - 1)
    }

    fn row(&self, dps: f64) -> usize {
        ((self.y(dps) / 4.0).max(0.0) as usize).min(self.rows - 1)
    }
}

/// Why there is nothing to draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoPlot {
    /// The time step is zero, negative or no number.
    #[error("the curves file has no usable time step; recompute it with peakorderd replay")]
    NoStep,
    /// The curves are flat or elsewhere in time.
    #[error("the curves file holds no motion around this swing's impact")]
    NoMotion,
}

/// Draws the speeds of `swing`, with words on how to read them.
pub fn speeds(curves: &Curves, swing: &Swing, style: Style) -> Result<String, NoPlot> {
    let (scale, rows) = drawn(curves, swing, style, ROWS)?;
    let mut out = String::new();
    let caption = format!("{} speed, °/s", pad("", LEFT - 2, Align::Left));
    let gap = (LEFT + scale.column(0.0)).saturating_sub(caption.chars().count() + 3);
    let _ = writeln!(out, "{caption}{}impact", " ".repeat(gap));
    out += &rows;
    time_axis(&mut out, &scale, style, "0");
    let caption = "ms before impact";
    let middle = LEFT + (scale.columns.saturating_sub(caption.len())) / 2;
    let _ = writeln!(out, "{}{caption}", " ".repeat(middle));
    out.push('\n');
    let lines = [(Role::Pelvis, "solid"), (Role::Thorax, "dashed"), (Role::LeadArm, "dotted")];
    let words: Vec<String> = lines.iter().map(|(r, l)| format!("{} {r}: {l} line", mark(*r))).collect();
    let text = format!("{}; a mark on a line is its peak", words.join(", "));
    super::wrap(&mut out, style, "  ", &text);
    Ok(out)
}

/// The same in few rows, without the words.
pub(super) fn speeds_in_few_rows(curves: &Curves, swing: &Swing, style: Style) -> Result<String, NoPlot> {
    let (scale, mut out) = drawn(curves, swing, style, FEW_ROWS)?;
    time_axis(&mut out, &scale, style, "impact");
    Ok(out)
}

/// The lines of the drawing above its axis.
fn drawn(curves: &Curves, swing: &Swing, style: Style, rows: usize) -> Result<(Scale, String), NoPlot> {
    let scale = scale_of(curves, swing, style.width() - LEFT - RIGHT, rows)?;
    let mut cells = vec![vec![Cell::default(); scale.columns]; rows];
    for segment in &curves.segments {
        line(&mut cells, &scale, curves, swing, segment);
    }
    for role in Role::ALL {
        if let Some(peak) = swing.peak(role) {
            let cell = &mut cells[scale.row(peak.speed_dps)][scale.column(-peak.before_impact_ms)];
            *cell = Cell { role: Some(role), mark: true, ..*cell };
        }
    }
    let text = drawing(&cells, &scale, &ends(curves, swing, &scale), style);
    Ok((scale, text))
}

/// The speed of `segment` at `ms` relative to impact, between samples on a straight line.
fn speed_at(curves: &Curves, swing: &Swing, segment: &SegmentCurves, ms: f64) -> Option<f64> {
    let at = (swing.events.impact.t_s + ms / 1e3 - curves.start_s) / curves.step_s;
    if !(at >= 0.0 && at <= (segment.speed_dps.len().checked_sub(1)?) as f64) {
        return None;
    }
    let a = f64::from(*segment.speed_dps.get(at as usize)?);
    let b = segment.speed_dps.get(at as usize + 1).map_or(a, |&b| f64::from(b));
    Some(a + (b - a) * at.fract()).filter(|v| v.is_finite())
}

fn scale_of(curves: &Curves, swing: &Swing, columns: usize, rows: usize) -> Result<Scale, NoPlot> {
    let step = curves.step_s;
    if !(step > 0.0 && step.is_finite() && curves.start_s.is_finite()) {
        return Err(NoPlot::NoStep);
    }
    let top_ms = (swing.events.top.t_s - swing.events.impact.t_s) * 1e3;
    let first_ms = (top_ms - BEFORE_TOP_MS).clamp(-LONGEST_MS, -100.0);
    // Whole steps of 50 ms, so that the first label stands at the edge.
    let first_ms = (first_ms / 50.0).floor() * 50.0;
    let mut scale = Scale { columns, rows, first_ms, last_ms: AFTER_IMPACT_MS, low: 0.0, high: 0.0 };
    for segment in &curves.segments {
        for i in 0..2 * columns {
            let ms = first_ms + (AFTER_IMPACT_MS - first_ms) * i as f64 / (2 * columns - 1) as f64;
            if let Some(v) = speed_at(curves, swing, segment, ms) {
                scale.low = scale.low.min(v);
                scale.high = scale.high.max(v);
            }
        }
    }
    if scale.high - scale.low < 1.0 {
        return Err(NoPlot::NoMotion);
    }
    let step = tick(scale.high - scale.low, MOST_LABELS);
    scale.low = (scale.low / step).floor() * step;
    scale.high = (scale.high / step).ceil() * step;
    Ok(scale)
}

/// The finest round step that gives at most so many labels over `range`.
fn tick(range: f64, most: usize) -> f64 {
    let decade = 10_f64.powf((range / 5.0).log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0].map(|m| m * decade);
    steps.into_iter().find(|step| range / step <= most as f64).unwrap_or(range)
}

fn line(cells: &mut [Vec<Cell>], scale: &Scale, curves: &Curves, swing: &Swing, segment: &SegmentCurves) {
    let (on, off) = dash(segment.role);
    let mut travelled = 0;
    let mut last: Option<usize> = None;
    for x in 0..2 * scale.columns {
        let share = x as f64 / (2 * scale.columns - 1) as f64;
        let ms = scale.first_ms + (scale.last_ms - scale.first_ms) * share;
        let Some(v) = speed_at(curves, swing, segment, ms) else {
            last = None;
            continue;
        };
        let y = (scale.y(v).round().max(0.0) as usize).min(4 * scale.rows - 1);
        // Steep stretches are filled, and dashes counted along the line, not along time.
        let (from, to) = match last {
            Some(l) if l < y => (l + 1, y),
            Some(l) if l > y => (y, l - 1),
            _ => (y, y),
        };
        let steps: Vec<usize> =
            if last.is_some_and(|l| l > y) { (from..=to).rev().collect() } else { (from..=to).collect() };
        for dot in steps {
            if travelled % (on + off) < on {
                let cell = &mut cells[dot / 4][x / 2];
                cell.dots |= DOTS[x % 2][dot % 4];
                cell.role = Some(segment.role);
            }
            travelled += 1;
        }
        last = Some(y);
    }
}

/// Which name stands in which row at the right edge; names that would fall together move
/// to the nearest free row.
fn ends(curves: &Curves, swing: &Swing, scale: &Scale) -> Vec<Option<Role>> {
    let mut rows: Vec<Option<Role>> = vec![None; scale.rows];
    for segment in &curves.segments {
        let Some(v) = speed_at(curves, swing, segment, scale.last_ms) else {
            continue;
        };
        let wanted = scale.row(v);
        let free = (0..scale.rows).filter(|&r| rows[r].is_none()).min_by_key(|&r| r.abs_diff(wanted));
        if let Some(row) = free {
            rows[row] = Some(segment.role);
        }
    }
    rows
}

fn drawing(cells: &[Vec<Cell>], scale: &Scale, ends: &[Option<Role>], style: Style) -> String {
    let mut out = String::new();
    let impact = scale.column(0.0);
    let labels = speed_labels(scale);
    for (r, row) in cells.iter().enumerate() {
        let label = labels[r].as_deref().unwrap_or("");
        let axis = if label.is_empty() { '│' } else { '┤' };
        let _ = write!(out, "{}{}", pad(label, LEFT - 1, Align::Right), style.dim(&axis.to_string()));
        let mut text = String::new();
        for (c, cell) in row.iter().enumerate() {
            text.push_str(&match (cell, c == impact) {
                (Cell { mark: true, role: Some(role), .. }, _) => {
                    style.segment(*role, &mark(*role).to_string())
                }
                (Cell { dots: 1.., role: Some(role), .. }, _) => {
                    style.segment(*role, &braille(cell.dots).to_string())
                }
                (_, true) => "│".to_owned(),
                _ => " ".to_owned(),
            });
        }
        if let Some(role) = ends[r] {
            text.push(' ');
            text.push_str(&style.segment(role, &mark(role).to_string()));
            text.push(' ');
            text.push_str(short(role));
        }
        let _ = writeln!(out, "{}", text.trim_end());
    }
    out
}

fn braille(dots: u8) -> char {
    char::from_u32(0x2800 + u32::from(dots)).unwrap_or(' ')
}

/// A label for each row that a round speed falls in, zero among them.
fn speed_labels(scale: &Scale) -> Vec<Option<String>> {
    let step = tick(scale.high - scale.low, MOST_LABELS.min(scale.rows / 2));
    let mut labels = vec![None; scale.rows];
    for i in (scale.low / step).ceil() as i64..=(scale.high / step).floor() as i64 {
        let v = step * i as f64;
        labels[scale.row(v)] = Some(number(v, 0, false));
    }
    labels
}

/// Milliseconds before impact, and what stands at impact.
fn time_axis(out: &mut String, scale: &Scale, style: Style, impact: &str) {
    let span = scale.last_ms - scale.first_ms;
    let step = [50.0, 100.0, 200.0, 500.0]
        .into_iter()
        .find(|s| scale.columns as f64 * s / span >= 7.0)
        .unwrap_or(1000.0);
    let mut axis: Vec<char> = vec!['─'; scale.columns];
    let mut labels: Vec<char> = vec![' '; LEFT + scale.columns + RIGHT];
    let first = (scale.first_ms / step).ceil() as i64;
    let last = (scale.last_ms / step).floor() as i64;
    for i in first..=last {
        let ms = i as f64 * step;
        let column = scale.column(ms);
        axis[column] = '┴';
        let text = if ms == 0.0 { impact.to_owned() } else { number(-ms, 0, false) };
        let start = (LEFT + column).saturating_sub(text.chars().count() / 2);
        for (k, c) in text.chars().enumerate() {
            if let Some(slot) = labels.get_mut(start + k) {
                *slot = c;
            }
        }
    }
    let axis: String = axis.into_iter().collect();
    let labels: String = labels.into_iter().collect();
    let _ = writeln!(out, "{}{}", " ".repeat(LEFT - 1), style.dim(&format!("└{axis}")));
    let _ = writeln!(out, "{}", labels.trim_end());
}
