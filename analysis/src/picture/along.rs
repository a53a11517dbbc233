//! Where along the swing speed and turn of two blocks differ, in a picture to keep.

use super::document::{BETWEEN, Document, INNER, Look, MARGIN};
use super::draw::scaled;
use crate::curves::CurveChange;
use crate::report::curves;
use crate::words::capital;

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
            let (id, title) = (format!("curve{i}-{j}"), capital(&pair.curve.label()));
            let inside = curves::panel(pair, &change.time_s);
            let drawing =
                scaled("s-curve", &id, (curves::PANEL, size), &title, &curves::described(pair), &inside);
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
