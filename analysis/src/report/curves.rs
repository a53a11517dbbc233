//! Speed and turn over time of both blocks, and where they differ; what of the orders does.

use super::html::{INK, PAPER, SOFT, colour, label, mark, svg, tenth};
use crate::compare::Comparison;
use crate::curves::align::{IMPACT, POINTS, TOP};
use crate::curves::{self, Band, Curve, CurveChange, CurvePair, CurveVerdict, Kind};
use crate::load::Loaded;
use crate::order_change::{OrderChange, OrderVerdict};
use crate::render::number;
use crate::words::capital;
use maud::{Markup, html};
use peakorder_protocol::Role;
use std::fmt::Write as _;

/// Width and height of one curve's picture.
pub(crate) const PANEL: (f64, f64) = (345.0, 214.0);
const LEFT: f64 = 40.0;
const RIGHT: f64 = PANEL.0 - 9.0;
const HEAD: f64 = 30.0;
const FOOT: f64 = 160.0;
/// Top and height of the bars below the axis.
const BAR: (f64, f64) = (FOOT + 6.0, 8.0);
/// How to read them.
pub(crate) const READING: &str = "Thin line, hollow marks, grey band: before. Thick line, filled marks, coloured band: after. Bands: 95 % of \
     the mean. Below the axis: filled bar = differs; hollow bar = unlike before, but can't tell. Backswing and downswing have a \
     scale of their own.";
/// Every so many points are drawn: finer than the eye sees at this size.
const STEP: usize = 2;

/// Whether the orders differ, in sentences.
pub(super) fn order(change: &OrderChange) -> Markup {
    html! {
        p {
            (change.sentence())
            @for sentence in change.pair_sentences() { " " (sentence) }
        }
        @if change.verdict != OrderVerdict::CannotJudge { p class="small" { (change.presumes()) } }
    }
}

/// The curves of the swings that the comparison rests on; says so where they cannot be compared.
pub(super) fn section(loaded: &Loaded, compared: &Comparison) -> Markup {
    let side = |numbers: &[u32]| curves::load(loaded, numbers, &Curve::ALL);
    let change =
        curves::compare(&side(&compared.before.summary.used), &side(&compared.after.summary.used), true);
    html! {
        h3 { "Along the swing" }
        @match &change {
            Err(e) => p class="small" { "Curves not compared: " (e) "." },
            Ok(change) => (pictures(change)),
        }
    }
}

fn pictures(change: &CurveChange) -> Markup {
    html! {
        div class="two" {
            @for (i, pair) in side_by_side(change).into_iter().enumerate() {
                figure {
                    (svg(
                        &format!("curves{i}"),
                        PANEL,
                        &capital(&pair.curve.label()),
                        &described(pair),
                        &panel(pair, &change.time_s),
                    ))
                    figcaption { @for sentence in pair.plain() { (sentence) " " } }
                }
            }
            p class="small" { (READING) }
        }
        p class="small" {
            (change.method())
            @for note in change.notes() { " " (note) }
        }
    }
}

/// Speed and turn of a segment after each other.
pub(crate) fn side_by_side(change: &CurveChange) -> Vec<&CurvePair> {
    let mut pairs: Vec<&CurvePair> = change.curves.iter().collect();
    pairs.sort_by_key(|p| p.curve.role);
    pairs
}

/// A curve's picture for those who do not see it.
pub(crate) fn described(pair: &CurvePair) -> String {
    format!("Mean before and after along the swing. {}", pair.plain().join(" "))
}

/// What is in a curve's picture.
pub(crate) fn panel(pair: &CurvePair, time_s: &[f64]) -> Markup {
    let role = pair.curve.role;
    let ends = |band: &Band, sign: f64| -> Vec<f64> {
        band.mean.iter().zip(&band.half).map(|(m, h)| m + sign * h).collect()
    };
    let all: Vec<f64> = [&pair.before, &pair.after]
        .into_iter()
        .flat_map(|b| [ends(b, -1.0), ends(b, 1.0)].concat())
        .collect();
    let low = all.iter().copied().fold(0.0, f64::min);
    let high = all.iter().copied().fold(0.0, f64::max);
    let (low, high, step) = scale(low, high);
    let x = |i: usize| LEFT + (RIGHT - LEFT) * i as f64 / (POINTS - 1) as f64;
    let y = |v: f64| FOOT - (FOOT - HEAD) * (v - low) / (high - low);
    let ticks = (0..).map(|i| low + step * f64::from(i)).take_while(|v| *v <= high + 1e-9 * step);
    let unit = match pair.curve.kind {
        Kind::Speed => "°/s",
        Kind::Turn => "°, + towards the target",
    };
    let dashes = dashes(role);
    html! {
        (mark(role, (11.0, 12.0), 4.5, true))
        (label((22.0, 16.0), "start", "head", &format!("{}, {unit}", capital(&pair.curve.label()))))
        @for tick in ticks {
            path d=(format!("M{LEFT} {:.1}H{RIGHT}", y(tick))) fill="none" stroke="#d4d4d4" {}
            (label((LEFT - 5.0, y(tick) + 4.0), "end", "tick", &number(tick, 0, false)))
        }
        @if low < 0.0 { path d=(format!("M{LEFT} {:.1}H{RIGHT}", y(0.0))) fill="none" stroke=(SOFT) {} }
        @for (i, width) in [(TOP, "1"), (IMPACT, "1.6")] {
            path d=(format!("M{:.1} {HEAD}V{FOOT}", x(i))) fill="none" stroke=(INK) stroke-width=(width) {}
        }
        (band(&pair.before, &x, &y, "#8a8a8a", "0.35"))
        (band(&pair.after, &x, &y, colour(role), "0.45"))
        // The thin line lies on the thick one, so that both are seen where they are the same.
        path d=(line(&pair.after.mean, &x, &y)) fill="none" stroke=(colour(role)) stroke-width="4" stroke-dasharray=[dashes] {}
        path d=(line(&pair.before.mean, &x, &y)) fill="none" stroke=(INK) stroke-width="1.2" {}
        @for i in [TOP, IMPACT] {
            (mark(role, (x(i), y(pair.before.mean[i])), 4.0, false))
            (mark(role, (x(i), y(pair.after.mean[i])), 4.5, true))
        }
        path d=(format!("M{LEFT} {FOOT}H{RIGHT}")) fill="none" stroke=(INK) {}
        @for stretch in &pair.stretches {
            @let (from, to) = (x(stretch.points.0), x(stretch.points.1));
            rect x=(tenth(from)) y=(tenth(BAR.0)) width=(tenth((to - from).max(3.0))) height=(tenth(BAR.1))
                fill=(if stretch.verdict == CurveVerdict::Differ { INK } else { PAPER }) stroke=(INK) stroke-width="1.2" {}
        }
        @for (i, name, anchor) in
            [(0, "takeaway", "start"), (TOP, "top", "middle"), (IMPACT, "impact", "middle"), (POINTS - 1, "", "end")]
        {
            @let seconds = if i == IMPACT { "0".into() } else { number(time_s[i], 2, true) };
            (label((x(i), FOOT + 29.0), anchor, "tick", &if i == 0 { format!("{seconds} s") } else { seconds }))
            (label((x(i), FOOT + 44.0), anchor, "tick", name))
        }
    }
}

/// Ends of the axis and its step: round numbers, three to six of them.
fn scale(low: f64, high: f64) -> (f64, f64, f64) {
    let room = (high - low).max(1.0);
    let mut step = 10_f64.powf((room / 4.0).log10().floor());
    for factor in [1.0, 2.0, 5.0, 10.0] {
        let wider = factor * 10_f64.powf((room / 4.0).log10().floor());
        if room / wider <= 5.0 {
            step = wider;
            break;
        }
    }
    ((low / step).floor() * step, (high / step).ceil().max(1.0) * step, step)
}

const fn dashes(role: Role) -> Option<&'static str> {
    match role {
        Role::Pelvis => None,
        Role::Thorax => Some("9 4"),
        Role::LeadArm => Some("3.5 3"),
    }
}

/// The points that are drawn; top, impact and the last are among them.
fn drawn() -> impl DoubleEndedIterator<Item = usize> {
    (0..POINTS).filter(|i| i.is_multiple_of(STEP) || *i == POINTS - 1)
}

fn line(values: &[f64], x: &dyn Fn(usize) -> f64, y: &dyn Fn(f64) -> f64) -> String {
    path(drawn().map(|i| (x(i), y(values[i]))))
}

fn path(points: impl Iterator<Item = (f64, f64)>) -> String {
    points.enumerate().fold(String::new(), |mut path, (i, (x, y))| {
        // Writing to a string cannot fail.
        let _ = write!(path, "{}{x:.1} {y:.1}", if i == 0 { "M" } else { "L" });
        path
    })
}

fn band(band: &Band, x: &dyn Fn(usize) -> f64, y: &dyn Fn(f64) -> f64, fill: &str, opacity: &str) -> Markup {
    let upper = drawn().map(|i| (x(i), y(band.mean[i] + band.half[i])));
    let lower = drawn().rev().map(|i| (x(i), y(band.mean[i] - band.half[i])));
    html! { path d=(format!("{}Z", path(upper.chain(lower)))) fill=(fill) fill-opacity=(opacity) {} }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_are_round_and_hold_everything() {
        for (low, high) in
            [(-84.0, 331.0), (0.0, 780.0), (-93.0, 112.0), (0.0, 0.0), (-3.0, 2.0), (0.0, 100.0)]
        {
            let (from, to, step) = scale(low, high);
            assert!(from <= low && to >= high, "{low} {high}: {from} {to}");
            let n = (to - from) / step;
            assert!(
                (n - n.round()).abs() < 1e-9 && (1.0..=7.0).contains(&n),
                "{low} {high}: {from} {to} {step}"
            );
        }
    }

    #[test]
    fn landmarks_are_drawn() {
        let points: Vec<usize> = drawn().collect();
        for wanted in [0, TOP, IMPACT, POINTS - 1] {
            assert!(points.contains(&wanted), "{wanted}");
        }
    }
}
