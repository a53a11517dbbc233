//! Turn or lift: a block's backswing as one bar in degrees, blocks beside one another.

use super::html::{INK, SOFT, colour, label, mark, svg, tenth};
use crate::measure::Measure;
use crate::summary::{MeasureSummary, summarise_measure};
use crate::words::{list, plural};
use maud::{Markup, html};
use peakorder_protocol::Role::{self, LeadArm, Pelvis, Thorax};
use peakorder_protocol::swing::Swing;

const PANEL: f64 = 345.0;
const HEIGHT: f64 = 120.0;
const LEFT: f64 = 4.0;
const RIGHT: f64 = PANEL - 4.0;
/// The bars reach to so many degrees, or as far as they need.
const SCALE_DEG: f64 = 180.0;
const TOP: f64 = 46.0;
const BAR: f64 = 24.0;
/// What a label takes.
const ROOM: f64 = 84.0;

/// One block's bar.
pub(super) struct Part<'a> {
    /// Heading, e.g. `Before: baseline`.
    title: String,
    hips: MeasureSummary,
    trunk: MeasureSummary,
    arm: MeasureSummary,
    share: MeasureSummary,
    swings: &'a [&'a Swing],
}

impl<'a> Part<'a> {
    /// The bar of the swings that have every part of it; `None` when none has.
    pub(super) fn of(title: String, swings: &'a [&'a Swing]) -> Option<Self> {
        let parts =
            [Measure::TurnAtTop(Pelvis), Measure::SeparationAtTop, Measure::ArmMoved, Measure::TurnShare];
        let whole: Vec<&Swing> =
            swings.iter().copied().filter(|s| parts.iter().all(|m| m.of(s).is_some())).collect();
        let [hips, trunk, arm, share] = parts.map(|m| summarise_measure(m, &whole));
        Some(Self { title, hips: hips?, trunk: trunk?, arm: arm?, share: share?, swings })
    }

    /// Chest turn, deg.
    fn turn(&self) -> f64 {
        -self.hips.sample.mean - self.trunk.sample.mean
    }

    /// Segment, name, degrees, half the interval, length in the bar.
    fn stretches(&self) -> [(Role, &'static str, f64, Option<f64>, f64); 3] {
        let (hips, trunk, arm) = (&self.hips, &self.trunk, &self.arm);
        // Hips that turn further than the chest, or the other way, take no room from it.
        let length = (-hips.sample.mean).clamp(0.0, self.turn().max(0.0));
        [
            (Pelvis, "hips", -hips.sample.mean, hips.half_width(), length),
            (Thorax, "trunk", -trunk.sample.mean, trunk.half_width(), self.turn() - length),
            (LeadArm, "shoulder", arm.sample.mean, arm.half_width(), arm.sample.mean),
        ]
    }

    fn share(&self) -> String {
        let half = self.share.half_width().map_or(String::new(), |h| format!(" ± {h:.0}"));
        format!("turn {:.0}{half} %", self.share.sample.mean)
    }

    fn described(&self) -> String {
        let parts = self.stretches().map(|(_, name, deg, half, _)| format!("{name} {}", degrees(deg, half)));
        format!("{}: {}; {}.", self.title, list(&parts), self.share())
    }

    /// How many of the block's swings are in the bar, where not all are.
    pub(super) fn some(&self) -> Option<String> {
        let n = self.arm.sample.n;
        (n < self.swings.len())
            .then(|| format!("{}: {n} of {} had every part.", self.title, plural(self.swings.len(), "swing")))
    }
}

fn degrees(deg: f64, half: Option<f64>) -> String {
    let half = half.map_or(String::new(), |h| format!(" ± {h:.0}"));
    let sign = if deg <= -0.5 { "−" } else { "" };
    format!("{sign}{:.0}°{half}", deg.abs())
}

/// Draws the bars, each a figure, on one scale; `None` without a bar.
pub(super) fn bars(parts: &[Part<'_>]) -> Option<Markup> {
    let whole = |p: &Part<'_>| p.turn() + p.arm.sample.mean;
    let scale = parts.iter().map(whole).fold(SCALE_DEG, f64::max);
    let x = |deg: f64| LEFT + (RIGHT - LEFT) * deg / scale;
    (!parts.is_empty()).then(|| {
        html! {
            @for (i, part) in parts.iter().enumerate() {
                figure { (svg(&format!("backswing{i}"), (PANEL, HEIGHT), "Backswing: turn or lift", &part.described(), &bar(part, &x))) }
            }
        }
    })
}

fn bar(part: &Part<'_>, x: &dyn Fn(f64) -> f64) -> Markup {
    let stretches = part.stretches();
    let mut ends = [x(0.0); 4];
    let mut at = 0.0;
    for (i, stretch) in stretches.iter().enumerate() {
        at += stretch.4;
        ends[i + 1] = x(at);
    }
    let foot = TOP + BAR;
    let places = placed([0, 1, 2].map(|i| f64::midpoint(ends[i], ends[i + 1])));
    let over = |from: f64, to: f64| format!("M{:.1} {:.1}v-5H{:.1}v5", from + 1.0, TOP - 3.0, to - 1.0);
    html! {
        (label((LEFT, 14.0), "start", "head", &part.title))
        path d=(over(ends[0], ends[2])) fill="none" stroke=(INK) {}
        (label((ends[0] + 2.0, TOP - 12.0), "start", "row", &part.share()))
        path d=(over(ends[2], ends[3])) fill="none" stroke=(INK) {}
        (label((ends[3], TOP - 12.0), "end", "row", &format!("arm {:.0} %", 100.0 - part.share.sample.mean)))
        @for (i, &(role, name, deg, half, _)) in stretches.iter().enumerate() {
            rect x=(tenth(ends[i])) y=(tenth(TOP)) width=(tenth((ends[i + 1] - ends[i]).max(0.0))) height=(BAR)
                fill=(colour(role)) stroke=(INK) {}
            (pattern(role, (ends[i], ends[i + 1]), TOP))
            path d=(format!("M{:.1} {:.1}L{:.1} {:.1}", f64::midpoint(ends[i], ends[i + 1]), foot + 2.0, places[i], foot + 11.0))
                fill="none" stroke=(SOFT) {}
            @let left = places[i] - 8.0 - 3.2 * name.len() as f64;
            (mark(role, (left, foot + 20.0), 4.5, true))
            (label((left + 10.0, foot + 24.0), "start", "row", name))
            (label((places[i], foot + 41.0), "middle", "row", &degrees(deg, half)))
        }
    }
}

/// Stripes for the trunk and dots for the arm, so that the parts differ without colour.
fn pattern(role: Role, (from, to): (f64, f64), y: f64) -> Markup {
    let foot = y + BAR;
    let every = |from: f64, to: f64, step: f64| {
        (1..).map(move |i| from + f64::from(i) * step).take_while(move |at| *at < to)
    };
    // Each stripe is a stretch of x + y = `sum`.
    let stripe = |sum: f64| {
        let (left, right) = (from.max(sum - foot), to.min(sum - y));
        format!("M{left:.1} {:.1}L{right:.1} {:.1}", sum - left, sum - right)
    };
    html! {
        @match role {
            Role::Pelvis => {}
            Role::Thorax => {
                @let stripes: String = every(from + y, to + foot, 8.0).map(stripe).collect();
                path d=(stripes) fill="none" stroke=(INK) stroke-opacity="0.6" {}
            }
            Role::LeadArm => {
                @if to - from > 10.0 {
                    @for row in every(y, foot, BAR / 4.0) {
                        path d=(format!("M{:.1} {row:.1}H{:.1}", from + 5.0, to - 3.0)) fill="none" stroke=(INK)
                            stroke-opacity="0.6" stroke-width="2.4" stroke-linecap="round" stroke-dasharray="0 7" {}
                    }
                }
            }
        }
    }
}

/// Where each label stands: under the middle of its stretch, or as near as the others leave room.
fn placed(mut at: [f64; 3]) -> [f64; 3] {
    for i in 0..3 {
        let least = if i == 0 { LEFT + ROOM / 2.0 } else { at[i - 1] + ROOM };
        at[i] = at[i].max(least);
    }
    for i in (0..3).rev() {
        let most = if i == 2 { RIGHT - ROOM / 2.0 } else { at[i + 1] - ROOM };
        at[i] = at[i].min(most);
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_apart_and_inside() {
        for at in [[60.0, 150.0, 250.0], [5.0, 8.0, 9.0], [300.0, 335.0, 340.0], [160.0, 170.0, 180.0]] {
            let [a, b, c] = placed(at);
            assert!(a >= LEFT + ROOM / 2.0 && b - a >= ROOM && c - b >= ROOM, "{at:?}: {a} {b} {c}");
            assert!(c <= RIGHT - ROOM / 2.0, "{at:?}: {c}");
        }
        assert_eq!(placed([60.0, 150.0, 250.0]), [60.0, 150.0, 250.0]);
    }
}
