//! The body at the top from behind and from the side: tilt, bend, and how high the lead upper arm is.

use super::body::{Body, Vector};
use super::draw::{Size, line, mark, segment, svg, tenth, text};
use maud::{Markup, html};
use peakorder_protocol::Role;

/// Lengths as drawn, alike for everybody.
const HIP_HEIGHT: f64 = 50.0;
const HIPS: f64 = 18.0;
const TRUNK: f64 = 48.0;
const SHOULDERS: f64 = 22.0;
const HEAD: f64 = 22.0;
const ARM: f64 = 38.0;
const STANCE: f64 = 21.0;
/// What is seen, from the ground to above a raised arm, and to both sides.
const TALL: f64 = 142.0;
const WIDE: f64 = 64.0;

/// From where one looks.
#[derive(Clone, Copy)]
enum From {
    /// The target is at the left of a right-handed player.
    Behind,
    /// Along the line to the target.
    Side,
}

impl From {
    const fn title(self) -> &'static str {
        match self {
            Self::Behind => "from behind",
            Self::Side => "from the side",
        }
    }

    /// What is to the right in this view.
    fn right(self, [ahead, _, right]: Vector, lead: f64) -> f64 {
        match self {
            Self::Behind => right,
            // Looking towards the target the ball is at the right of a right-handed player.
            Self::Side => -lead * ahead,
        }
    }
}

/// Both views beside each other, or only from behind where there is no room.
pub(super) fn views(id: &str, (width, height): Size, bodies: &[Body], described: &str) -> Markup {
    let views: &[From] = if width >= 300.0 { &[From::Behind, From::Side] } else { &[From::Behind] };
    let panel = width / views.len() as f64;
    let inside = html! {
        @for (i, &from) in views.iter().enumerate() {
            (view(from, bodies, (panel * i as f64, panel), height))
        }
    };
    svg(id, (width, height), "At the top, from behind and from the side", described, &inside)
}

fn view(from: From, bodies: &[Body], (left, width): (f64, f64), height: f64) -> Markup {
    let (head, foot) = (24.0, height - 26.0);
    let scale = ((foot - head) / TALL).min(width / (2.0 * WIDE));
    let middle = left + width / 2.0;
    let lead = bodies.last().map_or(-1.0, Body::lead);
    let at = |p: Vector| (middle + scale * from.right(p, lead), foot - scale * p[1]);
    let edge = WIDE.min(width / scale / 2.0) - 4.0;
    html! {
        (text((middle, 15.0), "middle", "p-strong", from.title()))
        (line((middle - scale * edge, foot), (middle + scale * edge, foot), "p-rail"))
        @match from {
            From::Behind => {
                @let tip = middle + lead * scale * edge;
                path class="p-arrow" d=(format!("M{tip:.1} {foot:.1}l{:.1} -6v12Z", -10.0 * lead)) {}
                (text((tip, foot + 19.0), if lead < 0.0 { "start" } else { "end" }, "p-soft", "target"))
            }
            From::Side => {
                @let ball = at([WIDE - 18.0, 3.0, 0.0]);
                circle class="p-ball" cx=(tenth(ball.0)) cy=(tenth(ball.1)) r="5" {}
                (text((ball.0, foot + 19.0), "middle", "p-soft", "ball"))
            }
        }
        // The thin lines lie on the thick ones, so that both are seen where they are the same.
        @for (i, body) in bodies.iter().enumerate().rev() { (one(body, i + 1 == bodies.len(), &at, scale)) }
    }
}

fn one(body: &Body, strong: bool, at: &dyn Fn(Vector) -> (f64, f64), scale: f64) -> Markup {
    let hips = [0.0, HIP_HEIGHT, 0.0];
    let pelvis = body.right(Role::Pelvis).unwrap_or([0.0, 0.0, 1.0]);
    let up = body.up(Role::Thorax).or_else(|| body.up(Role::Pelvis)).unwrap_or([0.0, 1.0, 0.0]);
    let chest = along(hips, up, TRUNK);
    let radius = if strong { 7.0 } else { 5.5 };
    let longer = if strong { 1.0 } else { 1.08 };
    html! {
        @if strong {
            @for side in [-1.0, 1.0] {
                (line(at(along(hips, pelvis, side * HIPS)), at([0.0, 0.0, side * STANCE]), "p-limb"))
            }
            (line(at(hips), at(along(chest, up, HEAD - 11.0)), "p-limb"))
            @let head = at(along(chest, up, HEAD));
            circle class="p-head" cx=(tenth(head.0)) cy=(tenth(head.1)) r=(tenth(11.0 * scale)) {}
        }
        @for (role, centre, half) in [(Role::Pelvis, hips, HIPS), (Role::Thorax, chest, SHOULDERS)] {
            @if let Some(right) = body.right(role) {
                @let (from, to) = (at(along(centre, right, -half * longer)), at(along(centre, right, half * longer)));
                (segment(role, from, to, strong))
                (mark(role, from, radius, strong))
                (mark(role, to, radius, strong))
            }
        }
        @if let (Some(right), Some(arm)) = (body.right(Role::Thorax), body.arm()) {
            @let shoulder = along(chest, right, SHOULDERS * longer * body.lead());
            @if strong { (line(at(shoulder), at([shoulder[0], shoulder[1] - ARM, shoulder[2]]), "p-hang")) }
            (segment(Role::LeadArm, at(shoulder), at(along(shoulder, arm, ARM)), strong))
            (mark(Role::LeadArm, at(along(shoulder, arm, ARM)), radius, strong))
        }
    }
}

fn along([x, y, z]: Vector, [a, b, c]: Vector, by: f64) -> Vector {
    [x + by * a, y + by * b, z + by * c]
}
