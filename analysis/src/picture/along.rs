//! Where along the swing speed and turn of two blocks differ, in a picture to keep.

use super::document::{BETWEEN, Document, INNER, Look, MARGIN};
use super::draw::Size;
use crate::curves::{CurveChange, CurvePair};
use crate::report::curves;
use crate::words::capital;
use maud::{Markup, html};

/// The curves as the report draws them, two beside each other.
pub(super) fn curves(page: &mut Document, change: &CurveChange) {
    let half = ((INNER - BETWEEN) / 2.0).floor();
    let (wide, high) = curves::PANEL;
    let size = (half, (high * half / wide).ceil());
    page.space(6.0);
    page.say(Look::Headline, "Along the swing");
    page.say(Look::Small, curves::READING);
    for (i, pairs) in curves::side_by_side(change).chunks(2).enumerate() {
        page.space(10.0);
        let (top, mut down) = (page.down(), page.down());
        for (j, pair) in pairs.iter().enumerate() {
            page.back_to(top);
            let x = if j == 0 { MARGIN } else { MARGIN + half + BETWEEN };
            let inside = curves::panel(pair, &change.time_s);
            let drawing = scaled(&format!("curve{i}-{j}"), curves::PANEL, size, pair, &inside);
            page.draw(&drawing.into_string(), x, size);
            page.say_in(Look::Text, &pair.plain().join(" "), x, half);
            down = down.max(page.down());
        }
        page.back_to(down);
    }
    page.space(6.0);
    page.say(Look::Small, &change.method());
    for note in change.notes() {
        page.say(Look::Small, &note);
    }
}

/// A curve's picture at a size of its own.
fn scaled(id: &str, (wide, high): Size, size: Size, pair: &CurvePair, inside: &Markup) -> Markup {
    html! {
        svg class="s-curve" viewBox=(format!("0 0 {wide:.0} {high:.0}"))
            width=(format!("{:.0}", size.0)) height=(format!("{:.0}", size.1))
            role="img" aria-labelledby={ (id) "-t " (id) "-d" } {
            title id={ (id) "-t" } { (capital(&pair.curve.label())) }
            desc id={ (id) "-d" } { (curves::described(pair)) }
            (inside)
        }
    }
}
