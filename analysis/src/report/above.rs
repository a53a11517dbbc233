//! Pelvis line and shoulder line seen from above, at the top and at impact.

use super::html::{INK, SOFT, colour, esc, label, mark, open_svg};
use crate::measure::Measure;
use crate::summary::BlockSummary;
use crate::words::value;
use peakorder_protocol::{Handedness, Role};
use std::fmt::Write as _;

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
pub(super) fn above(bodies: &[Body<'_>], handedness: Handedness) -> Option<String> {
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
    let mut out = String::new();
    for (i, (title, measure)) in instants.into_iter().enumerate() {
        let lines = turns(measure);
        let says: Vec<String> = lines
            .iter()
            .map(|&(b, role, turn)| format!("{} {role} {}", bodies[b].name, value(measure(role), turn)))
            .collect();
        let description = format!("Mean turns seen from above: {}.", says.join("; "));
        out.push_str("<figure>");
        open_svg(&mut out, &format!("above{i}"), (PANEL, HEIGHT), title, &description);
        panel(&mut out, title, &lines, bodies.len() > 1, handedness);
        out.push_str("</svg><figcaption>");
        for role in [Role::Pelvis, Role::Thorax] {
            let of: Vec<String> = lines
                .iter()
                .filter(|l| l.1 == role)
                .map(|&(b, _, turn)| format!("{} {}", esc(&bodies[b].name), value(measure(role), turn)))
                .collect();
            if !of.is_empty() {
                let _ = write!(out, "{}: {}.<br>", crate::render::marked(role), of.join(", "));
            }
        }
        out.push_str("</figcaption></figure>\n");
    }
    Some(out)
}

fn panel(out: &mut String, title: &str, lines: &[(usize, Role, f64)], two: bool, handedness: Handedness) {
    let (cx, cy) = CENTRE;
    // Seen from above with the ball ahead, the target of a right-handed player is at the left.
    let side = -handedness.sign();
    label(out, (8.0, 16.0), "start", "head", title);
    let _ = writeln!(
        out,
        "<circle cx=\"{cx}\" cy=\"20\" r=\"4\" fill=\"#ffffff\" stroke=\"{INK}\"/>\
         <path d=\"M{:.1} {cy}H{:.1}\" fill=\"none\" stroke=\"{SOFT}\" stroke-dasharray=\"1 4\"/>",
        cx - 112.0,
        cx + 112.0
    );
    label(out, (cx + 9.0, 24.0), "start", "tick", "ball");
    let tip = cx + side * 160.0;
    let _ = writeln!(
        out,
        "<path d=\"M{:.1} {cy}H{tip:.1}m{:.1} -4l{:.1} 4l{:.1} 4\" fill=\"none\" stroke=\"{INK}\"/>",
        cx + side * 122.0,
        -side * 6.0,
        side * 6.0,
        -side * 6.0
    );
    label(out, (cx + side * 141.0, cy - 9.0), "middle", "tick", "target");
    for &(body, role, turn) in lines {
        let strong = !two || body > 0;
        // The earlier line is drawn longer, so that it shows where both lie on each other.
        let half = if role == Role::Pelvis { 56.0 } else { 84.0 } * if strong { 1.0 } else { 1.16 };
        // Towards the target is counter-clockwise from above for a right-handed player.
        let angle = turn.to_radians() * handedness.sign();
        let (dx, dy) = (half * angle.cos(), -half * angle.sin());
        let dashes = if role == Role::Thorax { " stroke-dasharray=\"9 5\"" } else { "" };
        let width = if strong { 5.0 } else { 2.2 };
        let path = format!("M{:.1} {:.1}L{:.1} {:.1}", cx - dx, cy - dy, cx + dx, cy + dy);
        let _ = writeln!(
            out,
            "<path d=\"{path}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"{:.1}\"{dashes}/>\
             <path d=\"{path}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"{dashes}/>",
            width + 1.4,
            colour(role)
        );
        for end in [-1.0, 1.0] {
            mark(out, role, (cx + end * dx, cy + end * dy), if strong { 6.0 } else { 5.0 }, strong);
        }
    }
}
