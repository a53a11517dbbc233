//! Pelvis line and shoulder line seen from above, at the top and at impact.

use super::html::{INK, PAPER, SOFT, colour, label, mark, svg, tenth};
use crate::measure::Measure;
use crate::summary::BlockSummary;
use crate::words::value;
use maud::{Markup, html};
use peakorder_protocol::{Handedness, Role};

const PANEL: f64 = 345.0;
const HEIGHT: f64 = 226.0;
const CENTRE: (f64, f64) = (172.0, 124.0);

/// One set of lines.
pub(super) struct Body<'a> {
    /// E.g. `before` or `baseline`.
    pub(super) name: String,
    pub(super) summary: &'a BlockSummary,
}

/// Draws one or two bodies over each other: the first thin and hollow when there is a
/// second. `None` when none has a turn.
pub(super) fn above(bodies: &[Body<'_>], handedness: Handedness) -> Option<Markup> {
    type Instant = (&'static str, fn(Role) -> Measure);
    let instants: [Instant; 2] = [("At the top", Measure::TurnAtTop), ("At impact", Measure::TurnAtImpact)];
    let turns = |measure: fn(Role) -> Measure| -> Vec<(usize, Role, f64)> {
        let mut found = Vec::new();
        for (i, body) in bodies.iter().enumerate() {
            for role in [Role::Pelvis, Role::Thorax] {
                found.extend(body.summary.measure(measure(role)).map(|m| (i, role, m.sample.mean)));
            }
        }
        found
    };
    if instants.iter().all(|(_, m)| turns(*m).is_empty()) {
        return None;
    }
    Some(html! {
        @for (i, (title, measure)) in instants.into_iter().enumerate() {
            @let lines = turns(measure);
            @let says = |role: Option<Role>| -> Vec<String> {
                let of = lines.iter().filter(|l| role.is_none_or(|role| l.1 == role));
                of.map(|&(body, of, turn)| {
                    let segment = if role.is_none() { format!("{of} ") } else { String::new() };
                    format!("{} {segment}{}", bodies[body].name, value(measure(of), turn))
                }).collect()
            };
            @let description = format!("Mean turns seen from above: {}.", says(None).join("; "));
            figure {
                (svg(
                    &format!("above{i}"),
                    (PANEL, HEIGHT),
                    title,
                    &description,
                    &panel(title, &lines, bodies.len() > 1, handedness),
                ))
                figcaption {
                    @for role in [Role::Pelvis, Role::Thorax] {
                        @let of = says(Some(role));
                        @if !of.is_empty() { (crate::render::marked(role)) ": " (of.join(", ")) "." br; }
                    }
                }
            }
        }
    })
}

fn panel(title: &str, lines: &[(usize, Role, f64)], two: bool, handedness: Handedness) -> Markup {
    let (cx, cy) = CENTRE;
    // Seen from above with the ball ahead, the target of a right-handed player is at the left.
    let side = -handedness.sign();
    let (shaft, tip, barb) = (cx + side * 122.0, cx + side * 160.0, side * 6.0);
    html! {
        (label((8.0, 16.0), "start", "head", title))
        circle cx=(cx) cy="20" r="4" fill=(PAPER) stroke=(INK) {}
        path d=(format!("M{:.1} {cy}H{:.1}", cx - 112.0, cx + 112.0)) fill="none" stroke=(SOFT) stroke-dasharray="1 4" {}
        (label((cx + 9.0, 24.0), "start", "tick", "ball"))
        path d=(format!("M{shaft:.1} {cy}H{tip:.1}m{:.1} -4l{barb:.1} 4l{:.1} 4", -barb, -barb)) fill="none" stroke=(INK) {}
        (label((cx + side * 141.0, cy - 9.0), "middle", "tick", "target"))
        @for &(body, role, turn) in lines {
            (line(role, turn.to_radians() * handedness.sign(), !two || body > 0))
        }
    }
}

/// A segment's line; `angle` counts counter-clockwise as seen from above, which is towards the
/// target for a right-handed player.
fn line(role: Role, angle: f64, strong: bool) -> Markup {
    let (cx, cy) = CENTRE;
    // The earlier line is drawn longer, so that it shows where both lie on each other.
    let half = if role == Role::Pelvis { 56.0 } else { 84.0 } * if strong { 1.0 } else { 1.16 };
    let (dx, dy) = (half * angle.cos(), -half * angle.sin());
    let dashes = (role == Role::Thorax).then_some("9 5");
    let width = if strong { 5.0 } else { 2.2 };
    let path = format!("M{:.1} {:.1}L{:.1} {:.1}", cx - dx, cy - dy, cx + dx, cy + dy);
    html! {
        path d=(path) fill="none" stroke=(INK) stroke-width=(tenth(width + 1.4)) stroke-dasharray=[dashes] {}
        path d=(path) fill="none" stroke=(colour(role)) stroke-width=(width) stroke-dasharray=[dashes] {}
        @for end in [-1.0, 1.0] {
            (mark(role, (cx + end * dx, cy + end * dy), if strong { 6.0 } else { 5.0 }, strong))
        }
    }
}
