//! One swing: when each segment was fastest, with its 95 % width before impact, and how far the trunk was turned at top and impact.
//! The page draws the same from the same numbers (`daemon/page/js/timing.js`, `turns.js`).

use super::draw::{Size, class, line, mark, svg, tenth, text, trace};
use crate::measure::Measure;
use crate::order;
use crate::stats::Z95;
use crate::words::{amount, capital, list, value, way};
use maud::{Markup, html};
use peakorder_protocol::Role;
use peakorder_protocol::swing::{AngleSet, Evidence, Gap, Outcome, Peak, Swing, SwingKind};

const ROW: f64 = 52.0;
const PITCH: f64 = 92.0;
const LEFT: f64 = 150.0;
const RIGHT: f64 = 176.0;
/// Shown after impact, milliseconds.
const AFTER_MS: f64 = 12.0;
const AXIS: f64 = 34.0;

/// Half of a 95 % band in whole units, at least 1: nothing is known to less.
fn half(sd: f64) -> String {
    format!("{:.0}", (Z95 * sd).round().max(1.0))
}

/// Why a segment shows no peak.
pub(super) fn no_peak(swing: &Swing, role: Role) -> &'static str {
    let Some(segment) = swing.segments.get(&role) else { return "no strap" };
    let seen = matches!(swing.events.impact.evidence, Evidence::ArmShock | Evidence::TrunkShock);
    match segment.peak.map(|p| p.outcome) {
        Some(Outcome::Held) if seen => "held to impact",
        Some(Outcome::Held) => "can’t tell",
        Some(Outcome::Rising) => "still rising",
        Some(Outcome::Peak) | None => "withheld",
    }
}

/// The gap of two segments' peaks in the direction asked for.
fn gap_of(swing: &Swing, from: Role, to: Role) -> Option<Gap> {
    swing.sequence.gaps.iter().find_map(|g| match (g.from, g.to) {
        (a, b) if (a, b) == (from, to) => Some(*g),
        (a, b) if (b, a) == (from, to) => Some(Gap { from, to, gap_ms: -g.gap_ms, ..*g }),
        _ => None,
    })
}

/// The segment that is tied with both others where those two are resolved.
fn tied_with_both(swing: &Swing) -> Option<Role> {
    let mut resolved = swing.sequence.gaps.iter().filter(|g| g.resolved);
    let (one, more) = (resolved.next()?, resolved.next());
    if more.is_some() || Role::ALL.iter().any(|&r| swing.peak(r).is_none()) {
        return None;
    }
    Role::ALL.into_iter().find(|&r| r != one.from && r != one.to)
}

/// The gaps that say all about the order.
fn telling(swing: &Swing) -> Vec<Gap> {
    let tied = tied_with_both(swing);
    let peaked: Vec<Role> =
        Role::ALL.into_iter().filter(|&r| Some(r) != tied && swing.peak(r).is_some()).collect();
    peaked.windows(2).filter_map(|pair| gap_of(swing, pair[0], pair[1])).collect()
}

/// Milliseconds before impact across the picture.
struct Axis {
    width: f64,
    from_ms: f64,
}

impl Axis {
    fn of(swing: &Swing, width: f64) -> Self {
        let earliest = |p: &Peak| p.before_impact_ms + p.band_ms.map_or(Z95 * p.sd_ms, |b| b[0]);
        let longest = Role::ALL.iter().filter_map(|&r| swing.peak(r)).map(earliest).fold(0.0, f64::max);
        Self { width, from_ms: -(((longest + 15.0) / 40.0).ceil() * 40.0).max(120.0) }
    }

    fn x(&self, ms: f64) -> f64 {
        let ms = ms.clamp(self.from_ms, AFTER_MS);
        LEFT + (ms - self.from_ms) / (AFTER_MS - self.from_ms) * (self.width - LEFT - RIGHT)
    }
}

/// −1 where words so wide have room at the left of `x`, else 1.
fn side_of(x: f64, room: f64) -> f64 {
    if x - room > LEFT - 50.0 { -1.0 } else { 1.0 }
}

const fn anchor(side: f64) -> &'static str {
    if side < 0.0 { "end" } else { "start" }
}

fn row_of(role: Role) -> f64 {
    let i = match role {
        Role::Pelvis => 0.0,
        Role::Thorax => 1.0,
        Role::LeadArm => 2.0,
    };
    ROW / 2.0 + PITCH * i
}

/// When each segment was fastest.
pub(super) fn strip(id: &str, width: f64, swing: &Swing) -> (Markup, Size) {
    let axis = Axis::of(swing, width);
    let foot = 2.0 * PITCH + ROW + 4.0;
    let height = foot + AXIS;
    let inside = html! {
        (impact(swing, &axis, foot))
        @for role in Role::ALL { (row(swing, role, &axis)) }
        @if let Some(tied) = tied_with_both(swing) { (tied_words(swing, tied, &axis)) }
        @for gap in telling(swing) { (gap_figure(swing, gap, &axis)) }
        (ticks(swing, &axis, foot))
    };
    (
        svg(id, (width, height), "When each segment was fastest", &peaks_in_words(swing), &inside),
        (width, height),
    )
}

fn impact(swing: &Swing, axis: &Axis, foot: f64) -> Markup {
    let sd = Z95 * swing.events.impact.sd_ms;
    let (from, to) = (axis.x(-sd), axis.x(sd));
    let dashes = (swing.kind != SwingKind::Strike).then_some("3 5");
    html! {
        rect class="p-around" x=(tenth(from)) y="0" width=(tenth((to - from).max(1.0))) height=(tenth(foot)) {}
        path class="p-impact" d=(format!("M{:.1} 0V{foot:.1}", axis.x(0.0))) stroke-dasharray=[dashes] {}
    }
}

fn ticks(swing: &Swing, axis: &Axis, foot: f64) -> Markup {
    let step = if axis.from_ms < -400.0 { 80.0 } else { 40.0 };
    let before = (1..).map(|i| -step * f64::from(i)).take_while(|ms| *ms >= axis.from_ms + 6.0);
    let impact = match swing.kind {
        SwingKind::Rehearsal => "no strike: estimated",
        SwingKind::Unsure => "impact: estimated",
        SwingKind::Strike => "impact",
    };
    html! {
        @for ms in before {
            (line((axis.x(ms), foot), (axis.x(ms), foot + 6.0), "p-range"))
            (text((axis.x(ms), foot + 24.0), "middle", "p-tick", &format!("{:.0} ms", -ms)))
        }
        // Longer words begin beside the line, clear of the number before them.
        @if swing.kind == SwingKind::Strike { (text((axis.x(0.0), foot + 24.0), "middle", "p-tick", impact)) }
        @else { (text((axis.x(0.0) - 22.0, foot + 24.0), "start", "p-tick", impact)) }
        (text((0.0, foot + 24.0), "start", "p-tick", "before impact"))
    }
}

fn row(swing: &Swing, role: Role, axis: &Axis) -> Markup {
    let y = row_of(role);
    let edge = axis.width - 2.0;
    html! {
        (line((LEFT, y), (axis.x(0.0), y), "p-rail"))
        (mark(role, (13.0, y), 10.0, true))
        (text((34.0, y + 7.0), "start", "p-row", &capital(role.label())))
        @match swing.peak(role) {
            Some(peak) => (peaked(swing, role, peak, axis)),
            None => {
                (unpeaked(swing, role, axis))
                (text((edge, y + 7.0), "end", "p-row p-rim", no_peak(swing, role)))
            }
        }
    }
}

fn peaked(swing: &Swing, role: Role, peak: &Peak, axis: &Axis) -> Markup {
    let (y, at) = (row_of(role), -peak.before_impact_ms);
    let [before, after] = peak.band_ms.unwrap_or([Z95 * peak.sd_ms; 2]);
    let from = axis.x(at - before).min(axis.x(at) - 1.5);
    let to = axis.x(at + after).max(axis.x(at) + 1.5);
    let sd = peak.sd_ms.hypot(swing.events.impact.sd_ms);
    html! {
        rect class={ "p-beam " (class(role)) } x=(tenth(from)) y=(tenth(y - 0.42 * ROW)) width=(tenth(to - from)) height=(tenth(0.84 * ROW)) {}
        @if let Some([first, last]) = peak.within_2pct_ms {
            @let foot = y + 0.42 * ROW;
            path class="p-within" d=(format!("M{:.1} {:.1}V{foot:.1}H{:.1}V{:.1}", axis.x(at + first), foot - 5.0, axis.x(at + last), foot - 5.0)) {}
        }
        (mark(role, (axis.x(at), y), 11.0, true))
        text class="p-large" text-anchor="end" x=(tenth(axis.width - 2.0)) y=(tenth(y + 10.0)) {
            (format!("{:.0}", peak.before_impact_ms)) tspan class="p-unit" { " ± " (half(sd)) " ms" }
        }
    }
}

/// A top that lasted until impact, or a speed that still grew there.
fn unpeaked(swing: &Swing, role: Role, axis: &Axis) -> Markup {
    let y = row_of(role);
    let zero = axis.x(0.0);
    let peak = swing.segments.get(&role).and_then(|s| s.peak);
    html! {
        @match peak {
            Some(p) if p.outcome == Outcome::Held && no_peak(swing, role) == "held to impact" => {
                @let from = axis.x(-(p.before_impact_ms + Z95 * p.sd_ms)).min(zero - 3.0);
                rect class={ "p-beam " (class(role)) } x=(tenth(from)) y=(tenth(y - 0.42 * ROW)) width=(tenth(zero - from)) height=(tenth(0.84 * ROW)) {}
                (trace(role, &[(from, y), (zero, y)], 4.0))
            }
            Some(p) if p.outcome == Outcome::Rising => {
                (trace(role, &[(axis.x(-60.0), y), (zero - 16.0, y)], 4.0))
                path class={ "p-mark hollow " (class(role)) }
                    d=(format!("M{:.1} {:.1}L{zero:.1} {y:.1}L{:.1} {:.1}Z", zero - 18.0, y - 11.0, zero - 18.0, y + 11.0)) {}
            }
            _ => {}
        }
    }
}

fn tied_words(swing: &Swing, role: Role, axis: &Axis) -> Markup {
    let at = |r: Role| axis.x(-swing.peak(r).map_or(0.0, |p| p.before_impact_ms));
    let x = at(role);
    let wide = swing.peak(role).map_or(0.0, |p| axis.x(Z95 * p.sd_ms) - axis.x(0.0));
    let off = 26.0_f64.max(wide + 10.0);
    let leftmost = Role::ALL.into_iter().map(at).fold(f64::INFINITY, f64::min);
    // The gap that spans this row has its own words on the side with room.
    let side = if role == Role::Thorax {
        -side_of(leftmost, BRACKET)
    } else if x - off - 140.0 > LEFT {
        -1.0
    } else {
        1.0
    };
    text((x + side * off, row_of(role) + 6.0), anchor(side), "p-unit p-rim", "tied with both")
}

/// Room for a bracket's words.
const BRACKET: f64 = 190.0;

fn gap_figure(swing: &Swing, gap: Gap, axis: &Axis) -> Markup {
    let at = |r: Role| axis.x(-swing.peak(r).map_or(0.0, |p| p.before_impact_ms));
    let ((xa, ya), (xb, yb)) = ((at(gap.from), row_of(gap.from)), (at(gap.to), row_of(gap.to)));
    if tied_with_both(swing) == Some(Role::Thorax) {
        let side = side_of(xa.min(xb), BRACKET);
        let x = if side < 0.0 { xa.min(xb) } else { xa.max(xb) } + 40.0 * side;
        let (end, near) = if gap.gap_ms >= 0.0 { (xb, yb) } else { (xa, ya) };
        return html! {
            path class="p-gap" d=(format!("M{:.1} {ya:.1}H{x:.1}V{yb:.1}H{:.1}", xa + 16.0 * side, xb + 16.0 * side)) {}
            path class="p-arrow" d=(format!("M{:.1} {near:.1}l{:.1} -6v12z", end + 14.0 * side, 11.0 * side)) {}
            (gap_label(gap, (x + 12.0 * side, row_of(Role::Thorax) + 9.0), anchor(side)))
        };
    }
    let next = (yb - ya - PITCH).abs() < 1.0;
    let y = f64::midpoint(ya, yb) - if next { 0.0 } else { 22.0 };
    let (low, high) = (xa.min(xb), xa.max(xb));
    let side = side_of(low, 170.0);
    let label = (if side < 0.0 { low - 12.0 } else { high + 12.0 }, y + 9.0);
    html! {
        path class="p-gap" d=(format!("M{xa:.1} {:.1}V{y:.1}M{xb:.1} {:.1}V{y:.1}", ya + 14.0, yb - 14.0)) {}
        @if gap.resolved {
            path class="p-gap" d=(format!("M{xa:.1} {y:.1}H{xb:.1}")) {}
            // The arrow runs from the earlier peak to the later one.
            @if high - low > 16.0 {
                path class="p-arrow" d=(format!("M{xb:.1} {y:.1}l{:.1} -6v12z", if gap.gap_ms >= 0.0 { -11.0 } else { 11.0 })) {}
            }
        } @else {
            @let (a, b) = if high - low > 14.0 { (low, high) } else { (f64::midpoint(low, high) - 8.0, f64::midpoint(low, high) + 8.0) };
            path class="p-gap" d=(format!("M{a:.1} {:.1}H{b:.1}M{a:.1} {:.1}H{b:.1}", y - 4.0, y + 4.0)) {}
        }
        (gap_label(gap, label, anchor(side)))
    }
}

fn gap_label(gap: Gap, (x, y): (f64, f64), anchor: &str) -> Markup {
    let size = format!("{:.0}", gap.gap_ms.abs());
    html! {
        text class="p-row p-rim" text-anchor=(anchor) x=(tenth(x)) y=(tenth(y)) {
            @if gap.resolved { (size) tspan class="p-unit" { " ± " (half(gap.sd_ms)) " ms" } }
            @else { "tie" tspan class="p-unit" { " " (size) " ± " (half(gap.sd_ms)) " ms" } }
        }
    }
}

/// The same as the strip, in a sentence or three.
pub(super) fn peaks_in_words(swing: &Swing) -> String {
    let peaks: Vec<String> = Role::ALL
        .into_iter()
        .map(|role| match swing.peak(role) {
            Some(p) => {
                let sd = p.sd_ms.hypot(swing.events.impact.sd_ms);
                format!("{role} fastest {:.0} ± {} ms before impact", p.before_impact_ms, half(sd))
            }
            None => format!("{role} {}", no_peak(swing, role)),
        })
        .collect();
    let gaps: Vec<String> = telling(swing)
        .into_iter()
        .map(|g| {
            let size = format!("{:.0} ± {} ms", g.gap_ms.abs(), half(g.sd_ms));
            let (first, second) = if g.gap_ms >= 0.0 { (g.from, g.to) } else { (g.to, g.from) };
            if g.resolved {
                format!("{first} {size} before {second}")
            } else {
                format!("{first} and {second} tie, {size}")
            }
        })
        .collect();
    let gaps = if gaps.is_empty() { String::new() } else { format!(" {}.", capital(&list(&gaps))) };
    format!("{}. {}.{gaps}", order::heading(swing), capital(&list(&peaks)))
}

const TURNS_ROW: f64 = 66.0;
const TRUNK: [Role; 2] = [Role::Pelvis, Role::Thorax];

/// How far pelvis and thorax were turned at the top and at impact; `None` where neither has a strap.
pub(super) fn turns(id: &str, width: f64, swing: &Swing) -> Option<(Markup, Size)> {
    let roles: Vec<Role> = TRUNK.into_iter().filter(|r| swing.segments.contains_key(r)).collect();
    if roles.is_empty() {
        return None;
    }
    let all = || roles.iter().filter_map(|r| turn(swing, *r)).flat_map(|t| [t.top, t.impact]);
    let low = (all().fold(-100.0, f64::min) / 50.0).floor() * 50.0;
    let high = (all().fold(45.0, f64::max) / 50.0).ceil() * 50.0;
    let right = width - 14.0;
    let x = |deg: f64| LEFT + (deg - low) / (high - low) * (right - LEFT);
    let foot = TURNS_ROW * roles.len() as f64;
    let height = foot + 30.0;
    let [back, through] = [-1.0, 1.0].map(|v| way(Measure::TurnAtTop(Role::Pelvis), v));
    let inside = html! {
        (line((x(0.0), 0.0), (x(0.0), foot + 4.0), "p-impact"))
        @for (i, &role) in roles.iter().enumerate() {
            @let y = TURNS_ROW * i as f64 + 44.0;
            (line((x(low), y), (x(high), y), "p-rail"))
            (mark(role, (13.0, y), 9.0, true))
            (text((34.0, y + 7.0), "start", "p-row", &capital(role.label())))
            @match turn(swing, role) {
                None => (text((x(low), y - 12.0), "start", "p-row p-rim", "withheld")),
                Some(t) => (turned(role, t, y, &x, (LEFT, right))),
            }
        }
        (text((x(low), foot + 24.0), "start", "p-tick", &format!("← {back}, degrees")))
        (text((x(0.0), foot + 24.0), "middle", "p-tick", "0")) // as at address
        (text((width - 2.0, foot + 24.0), "end", "p-tick", &format!("{through} →")))
    };
    Some((svg(id, (width, height), "Turn from address", &turns_in_words(swing), &inside), (width, height)))
}

fn turn(swing: &Swing, role: Role) -> Option<AngleSet> {
    swing.segments.get(&role)?.turn_deg
}

fn turned(role: Role, t: AngleSet, y: f64, x: &dyn Fn(f64) -> f64, (left, right): (f64, f64)) -> Markup {
    // Each number grows away from the other.
    let top_first = t.top <= t.impact;
    let (low, high) = if top_first { (t.top, t.impact) } else { (t.impact, t.top) };
    let apart = (46.0 - (x(high) - x(low))).max(0.0) / 2.0;
    let (ends, starts) =
        ((x(low) + 20.0 - apart).max(left + WORDS), (x(high) - 20.0 + apart).min(right - WORDS));
    let said = |deg: f64, sd: Option<f64>, when: &str| {
        let band = sd.filter(|sd| sd.is_finite()).map_or_else(|| "?".into(), half);
        html! { (format!("{:.0}°", deg.abs())) tspan class="p-unit" { " ± " (band) "° at " (when) } }
    };
    let (top, impact) = (said(t.top, Some(t.sd), "top"), said(t.impact, t.impact_sd, "impact"));
    let (first, second) = if top_first { (top, impact) } else { (impact, top) };
    html! {
        (trace(role, &[(x(t.top), y), (x(t.impact), y)], 3.5))
        (mark(role, (x(t.top), y), 9.0, true))
        (mark(role, (x(t.impact), y), 9.0, true))
        text class="p-row p-rim" text-anchor="end" x=(tenth(ends)) y=(tenth(y - 15.0)) { (first) }
        text class="p-row p-rim" text-anchor="start" x=(tenth(starts)) y=(tenth(y - 15.0)) { (second) }
    }
}

/// Room for `104° ± 12° at impact`.
const WORDS: f64 = 185.0;

/// The same in a sentence.
pub(super) fn turns_in_words(swing: &Swing) -> String {
    let said: Vec<String> = TRUNK
        .into_iter()
        .filter(|r| swing.segments.contains_key(r))
        .map(|role| match turn(swing, role) {
            None => format!("{role} withheld"),
            Some(t) => {
                let m = Measure::TurnAtTop(role);
                let band = |sd: Option<f64>| {
                    sd.filter(|sd| sd.is_finite()).map_or("not known".into(), |sd| amount(m, Z95 * sd))
                };
                format!(
                    "{role} {} ± {} at the top, {} ± {} at impact",
                    value(m, t.top),
                    band(Some(t.sd)),
                    value(m, t.impact),
                    band(t.impact_sd)
                )
            }
        })
        .collect();
    if said.is_empty() { String::new() } else { format!("Turn from address: {}.", list(&said)) }
}
