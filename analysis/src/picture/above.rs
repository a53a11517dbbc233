//! The body from above at the top, before and after in one figure: the player faces up, the ball is ahead.

use super::body::Body;
use super::draw::{Size, line, mark, segment, svg, tenth, text};
use maud::{Markup, html};
use peakorder_protocol::Role;

/// The figure of one body, or of two: the first is before. `described` says what is seen.
pub(super) fn above(id: &str, (width, height): Size, bodies: &[Body], described: &str) -> Markup {
    // Ball and its word above, feet below: the ring takes what is left.
    let r = ((height - 44.0) / 2.0).min((width - 20.0) / 2.3);
    let centre = (width / 2.0, 36.0 + r);
    let at = |[ahead, _, right]: [f64; 3], half: f64| (centre.0 + half * right, centre.1 - half * ahead);
    let target = bodies.last().map_or(-1.0, Body::lead);
    let tip = centre.0 + target * (r * 1.12).min(width / 2.0 - 4.0);
    let inside = html! {
        circle class="p-ring" cx=(tenth(centre.0)) cy=(tenth(centre.1)) r=(tenth(r)) {}
        (line((centre.0 - 1.1 * r, centre.1), (centre.0 + 1.1 * r, centre.1), "p-rail"))
        path class="p-arrow" d=(format!("M{tip:.1} {:.1}l{:.1} -7v14Z", centre.1, -12.0 * target)) {}
        (text((tip, centre.1 - 14.0), if target < 0.0 { "start" } else { "end" }, "p-soft p-rim", "target"))
        circle class="p-ball" cx=(tenth(centre.0)) cy="17" r="7" {}
        (text((centre.0 + 14.0, 23.0), "start", "p-soft", "ball"))
        (feet(centre, r))
        // The thin lines lie on the thick ones, so that both are seen where they are the same.
        @for (i, body) in bodies.iter().enumerate().rev() { (one(body, i + 1 == bodies.len(), centre, r, &at)) }
    };
    svg(id, (width, height), "At the top, from above", described, &inside)
}

/// Where the player stands: two soles and the line through them.
fn feet((x, y): (f64, f64), r: f64) -> Markup {
    html! {
        (line((x - 0.62 * r, y + 0.12 * r), (x + 0.62 * r, y + 0.12 * r), "p-feet"))
        @for side in [-0.42, 0.42] {
            ellipse class="p-sole" cx=(tenth(x + side * r)) cy=(tenth(y)) rx=(tenth(0.08 * r)) ry=(tenth(0.19 * r)) {}
        }
        (text((x + 0.66 * r, y + 0.12 * r + 16.0), "start", "p-soft p-rim", "feet"))
    }
}

fn one(
    body: &Body,
    strong: bool,
    centre: (f64, f64),
    r: f64,
    at: &dyn Fn([f64; 3], f64) -> (f64, f64),
) -> Markup {
    let radius = if strong { 8.0 } else { 6.5 };
    // The earlier lines are longer, so that they show where both lie on each other.
    let longer = if strong { 1.0 } else { 1.07 };
    html! {
        @for (role, half) in [(Role::Thorax, 0.86 * r), (Role::Pelvis, 0.58 * r)] {
            @if let Some(right) = body.right(role) {
                @let (from, to) = (at(right, -half * longer), at(right, half * longer));
                (segment(role, from, to, strong))
                (mark(role, from, radius, strong))
                (mark(role, to, radius, strong))
            }
        }
        @if let (Some(right), Some(arm)) = (body.right(Role::Thorax), body.arm()) {
            @let shoulder = at(right, 0.86 * r * longer * body.lead());
            @let hand = (shoulder.0 + 0.62 * r * arm[2], shoulder.1 - 0.62 * r * arm[0]);
            (segment(Role::LeadArm, shoulder, hand, strong))
            (mark(Role::LeadArm, hand, radius, strong))
        }
        @if strong {
            @let up = body.up(Role::Thorax).unwrap_or([0.0, 1.0, 0.0]);
            circle class="p-head" cx=(tenth(centre.0 + 0.2 * r * up[2])) cy=(tenth(centre.1 - 0.2 * r * up[0])) r=(tenth(0.13 * r)) {}
        }
    }
}
