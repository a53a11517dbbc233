//! What lasted from lesson to lesson: a picture for each number that was meant.

use crate::kept::Kept;
use crate::picture::months::months;
use crate::words::{self, capital};
use maud::{Markup, html};

/// As wide as the sheet.
const SIZE: (f64, f64) = (690.0, 210.0);

/// The section; nothing where there is one session only.
pub(super) fn section(kept: &Kept) -> Markup {
    if kept.lessons.len() < 2 || kept.courses.is_empty() {
        return Markup::default();
    }
    html! {
        h2 { "What lasted from lesson to lesson" }
        @for (i, course) in kept.courses.iter().enumerate() {
            h3 { (capital(&course.measure.label())) }
            figure {
                (months(&format!("kept{i}"), SIZE, kept, course))
                figcaption {
                    "Thick lines: a lesson, from its start (hollow) to its end (filled). Dotted: from one day to the next. Squares: practice. \
                     Thin bars: 95 %, with what putting the straps on anew can shift."
                }
            }
            ul { @for line in words::kept::course(kept, course) { li { (line) } } }
        }
    }
}
