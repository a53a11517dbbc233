//! What the pictures are drawn with. Looks are in `picture.css`, which report and page share, so nothing here names a colour.

use maud::{Markup, html};
use peakorder_protocol::Role;

/// Width and height, CSS pixels.
pub type Size = (f64, f64);

/// A coordinate to a tenth.
pub(super) fn tenth(value: f64) -> String {
    format!("{value:.1}")
}

/// Class of a segment's marks and lines.
pub(super) const fn class(role: Role) -> &'static str {
    role.key()
}

/// Dashes of a segment's line of that width.
fn dashes(role: Role, width: f64) -> Option<String> {
    match role {
        Role::Pelvis => None,
        Role::Thorax => Some(format!("{:.1} {:.1}", 3.2 * width, 1.8 * width)),
        Role::LeadArm => Some(format!("0.1 {:.1}", 2.2 * width)),
    }
}

/// A picture with a name and a description for those who do not see it.
pub(super) fn svg(id: &str, size: Size, title: &str, described: &str, inside: &Markup) -> Markup {
    scaled("picture", id, (size, size), title, described, inside)
}

/// The same of another class, drawn at the first size and shown at the second.
pub(super) fn scaled(
    class: &str,
    id: &str,
    (drawn, shown): (Size, Size),
    title: &str,
    described: &str,
    inside: &Markup,
) -> Markup {
    html! {
        svg class=(class) viewBox=(format!("0 0 {:.0} {:.0}", drawn.0, drawn.1))
            width=(format!("{:.0}", shown.0)) height=(format!("{:.0}", shown.1))
            role="img" aria-labelledby={ (id) "-t " (id) "-d" } {
            title id={ (id) "-t" } { (title) }
            desc id={ (id) "-d" } { (described) }
            (inside)
        }
    }
}

/// Words in a picture.
pub(super) fn text((x, y): (f64, f64), anchor: &str, class: &str, words: &str) -> Markup {
    html! { text x=(tenth(x)) y=(tenth(y)) text-anchor=(anchor) class=(class) { (words) } }
}

/// A straight line.
pub(super) fn line((x1, y1): (f64, f64), (x2, y2): (f64, f64), class: &str) -> Markup {
    html! { path class=(class) d=(format!("M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}")) {} }
}

/// The segment's mark: circle, square or diamond; filled after, hollow before.
pub(super) fn mark(role: Role, (x, y): (f64, f64), r: f64, filled: bool) -> Markup {
    let class = format!("p-mark {}{}", class(role), if filled { "" } else { " hollow" });
    html! {
        @match role {
            Role::Pelvis => { circle class=(class) cx=(tenth(x)) cy=(tenth(y)) r=(tenth(r)) {} }
            Role::Thorax => {
                @let (half, side) = (r * 0.89, tenth(r * 1.78));
                rect class=(class) x=(tenth(x - half)) y=(tenth(y - half)) width=(side) height=(side) {}
            }
            Role::LeadArm => {
                @let d = r * 1.25;
                path class=(class) d=(format!("M{x:.1} {:.1}L{:.1} {y:.1}L{x:.1} {:.1}L{:.1} {y:.1}Z", y - d, x + d, y + d, x - d)) {}
            }
        }
    }
}

/// A segment's line: thick and cased after, thin before.
pub(super) fn segment(role: Role, from: (f64, f64), to: (f64, f64), strong: bool) -> Markup {
    let width = match (role, strong) {
        (Role::LeadArm, true) => 5.5,
        (_, true) => 8.0,
        (Role::LeadArm, false) => 3.0,
        (_, false) => 2.6,
    };
    trace(role, &[from, to], width)
}

/// A segment's line through points, cased in ink so that it holds whatever its colour.
pub(super) fn trace(role: Role, points: &[(f64, f64)], width: f64) -> Markup {
    let points: Vec<String> = points.iter().map(|(x, y)| format!("{x:.1} {y:.1}")).collect();
    let path = format!("M{}", points.join("L"));
    let cap = if role == Role::LeadArm { "round" } else { "butt" };
    html! {
        path class="p-case" d=(path) stroke-width=(tenth(width + 2.4)) stroke-linecap=(cap) stroke-dasharray=[dashes(role, width)] {}
        path class={ "p-core " (class(role)) } d=(path) stroke-width=(tenth(width)) stroke-linecap=(cap)
            stroke-dasharray=[dashes(role, width)] {}
    }
}

/// Ends of an axis and its step: round numbers, three to six of them.
pub(super) fn scale(low: f64, high: f64) -> (f64, f64, f64) {
    let room = (high - low).max(1e-6);
    let unit = 10_f64.powf((room / 4.0).log10().floor());
    let step = unit * [1.0, 2.0, 5.0].into_iter().find(|f| room / (f * unit) <= 5.0).unwrap_or(10.0);
    ((low / step).floor() * step, (high / step).ceil() * step, step)
}

/// A text cut to what has room.
pub(crate) fn cut(words: &str, most: usize) -> String {
    if words.chars().count() <= most {
        return words.to_owned();
    }
    let kept: String = words.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_are_round_and_hold_everything() {
        for (low, high) in [(-84.0, 331.0), (0.0, 780.0), (-3.0, 2.0), (1.71, 1.74), (40.0, 40.0)] {
            let (from, to, step) = scale(low, high);
            assert!(from <= low + 1e-9 && to >= high - 1e-9, "{low} {high}: {from} {to}");
            assert!(((to - from) / step).round() <= 7.0, "{low} {high}: {from} {to} {step}");
        }
    }

    #[test]
    fn a_cut_text_fits() {
        assert_eq!(cut("baseline", 8), "baseline");
        assert_eq!(cut("baseline two", 9), "baseline…");
    }
}
