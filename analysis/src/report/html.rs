//! What every part of the page needs of HTML and SVG. The macro escapes every text.

use maud::{Markup, html};
use peakorder_protocol::Role;

/// Text with its line breaks kept, for notes of several lines.
pub(super) fn lines(text: &str) -> Markup {
    html! {
        @for (i, line) in text.lines().enumerate() {
            @if i > 0 { br; }
            (line)
        }
    }
}

/// The page with control characters shown as such, and every band kept with its sign at the end of a line.
pub(super) fn printable(page: &str) -> String {
    let shown = |c: char| if c.is_control() && !matches!(c, '\n' | '\t') { '\u{fffd}' } else { c };
    page.replace("± ", "±\u{a0}").chars().map(shown).collect()
}

/// The segment's colour of the Okabe–Ito palette (Okabe M, Ito K 2008, Color Universal Design).
pub(super) const fn colour(role: Role) -> &'static str {
    match role {
        Role::Pelvis => "#0072B2",
        Role::Thorax => "#E69F00",
        Role::LeadArm => "#CC79A7",
    }
}

/// The text's colour; impact and outlines are drawn in it. 16.6 : 1 on white.
pub(super) const INK: &str = "#1c1c1c";
/// For what stands back: 7.0 : 1 on white.
pub(super) const SOFT: &str = "#595959";
/// The paper.
pub(super) const PAPER: &str = "#ffffff";

/// A coordinate to a tenth.
pub(super) fn tenth(value: f64) -> String {
    format!("{value:.1}")
}

/// The segment's mark at (x, y): circle, square or diamond of radius `r`, outlined in ink so
/// that it stands out whatever its colour; hollow where `filled` is false.
pub(super) fn mark(role: Role, (x, y): (f64, f64), r: f64, filled: bool) -> Markup {
    let fill = if filled { colour(role) } else { PAPER };
    html! {
        @match role {
            Role::Pelvis => {
                circle cx=(tenth(x)) cy=(tenth(y)) r=(tenth(r)) fill=(fill) stroke=(INK) stroke-width="1" {}
            }
            Role::Thorax => {
                @let (half, side) = (r * 0.89, tenth(r * 1.78));
                rect x=(tenth(x - half)) y=(tenth(y - half)) width=(side) height=(side)
                    fill=(fill) stroke=(INK) stroke-width="1" {}
            }
            Role::LeadArm => {
                @let d = r * 1.25;
                @let (left, right, top, foot) = (x - d, x + d, y - d, y + d);
                path d=(format!("M{x:.1} {top:.1}L{right:.1} {y:.1}L{x:.1} {foot:.1}L{left:.1} {y:.1}Z"))
                    fill=(fill) stroke=(INK) stroke-width="1" {}
            }
        }
    }
}

/// Text in an SVG.
pub(super) fn label((x, y): (f64, f64), anchor: &str, class: &str, text: &str) -> Markup {
    html! { text x=(tenth(x)) y=(tenth(y)) text-anchor=(anchor) class=(class) { (text) } }
}

/// An SVG that reads as one picture with a name and a description.
pub(super) fn svg(
    id: &str,
    (width, height): (f64, f64),
    title: &str,
    description: &str,
    inside: &Markup,
) -> Markup {
    html! {
        svg viewBox=(format!("0 0 {width:.0} {height:.0}")) role="img" aria-labelledby={ (id) "-t " (id) "-d" } {
            title id={ (id) "-t" } { (title) }
            desc id={ (id) "-d" } { (description) }
            (inside)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_becomes_markup() {
        let note = "<b a=\"x\">&\u{1b}[2J<\nb";
        let page = html! { p title=(note) { (lines(note)) } }.into_string();
        let text = "&lt;b a=&quot;x&quot;&gt;&amp;\u{fffd}[2J&lt;";
        assert_eq!(printable(&page), format!("<p title=\"{text}\nb\">{text}<br>b</p>"));
    }
}
