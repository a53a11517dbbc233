//! Text into HTML and SVG, safely.

use peakorder_protocol::Role;
use std::fmt::Write as _;

/// Text of a file as HTML text or attribute: nothing in it can become markup. Line breaks
/// become spaces, other control characters are shown as such.
pub(super) fn esc(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(' '),
            c if c.is_control() => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// The same with line breaks kept, for notes of several lines.
pub(super) fn esc_lines(text: &str) -> String {
    text.lines().map(esc).collect::<Vec<_>>().join("<br>")
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

/// The segment's mark at (x, y): circle, square or diamond of radius `r`, outlined in ink so
/// that it stands out whatever its colour; hollow where `filled` is false.
pub(super) fn mark(out: &mut String, role: Role, (x, y): (f64, f64), r: f64, filled: bool) {
    let fill = if filled { colour(role) } else { "#ffffff" };
    let paint = format!("fill=\"{fill}\" stroke=\"{INK}\" stroke-width=\"1\"");
    let _ = match role {
        Role::Pelvis => writeln!(out, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\" {paint}/>"),
        Role::Thorax => {
            let (a, side) = (r * 0.89, r * 1.78);
            let (left, top) = (x - a, y - a);
            writeln!(
                out,
                "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{side:.1}\" height=\"{side:.1}\" {paint}/>"
            )
        }
        Role::LeadArm => {
            let d = r * 1.25;
            writeln!(
                out,
                "<path d=\"M{x:.1} {:.1}L{:.1} {y:.1}L{x:.1} {:.1}L{:.1} {y:.1}Z\" {paint}/>",
                y - d,
                x + d,
                y + d,
                x - d
            )
        }
    };
}

/// Text in an SVG.
pub(super) fn label(out: &mut String, (x, y): (f64, f64), anchor: &str, class: &str, text: &str) {
    let _ = writeln!(
        out,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" class=\"{class}\">{}</text>",
        esc(text)
    );
}

/// Opens an SVG that reads as one picture with a name and a description.
pub(super) fn open_svg(
    out: &mut String,
    id: &str,
    (width, height): (f64, f64),
    title: &str,
    description: &str,
) {
    let _ = writeln!(
        out,
        "<svg viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\
         <title id=\"{id}-t\">{}</title><desc id=\"{id}-d\">{}</desc>",
        esc(title),
        esc(description)
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_becomes_markup() {
        assert_eq!(esc("<b a='x'>&\"\u{1b}[2J"), "&lt;b a=&#39;x&#39;&gt;&amp;&quot;\u{fffd}[2J");
        assert_eq!(esc_lines("a<\nb"), "a&lt;<br>b");
    }
}
