//! The one sheet that the player takes home.
//!
//! It holds on one side of A4 and of Letter whatever a coach writes: long notes are cut there, and stand in full in the appendix.

use super::html::lines;
use super::{Sides, player_name, sections, sentences};
use crate::compare::Comparison;
use crate::load::Loaded;
use crate::order_change::OrderVerdict;
use crate::picture::{self, Figure, Layout, Picture, Reason};
use crate::summary::summarise;
use crate::words::{self, capital, plural};
use crate::{INVENTED, SAFETY};
use maud::{Markup, PreEscaped, html};
use peakorder_protocol::swing::Swing;

/// Characters and lines of a text that the sheet has room for.
const ROOM: (usize, usize) = (500, 5);
/// With so few bytes of text the sheet has room to spare, and everything is larger.
const LITTLE: usize = 120;
/// Lines that tell of one block, where there is nothing to set it against.
const LINES: usize = 6;
/// A player's name is cut to this.
const NAME: usize = 44;

/// The sheet; `compared` as far as there are two blocks.
pub(super) fn sheet(
    loaded: &Loaded,
    sides: Option<&Sides>,
    compared: Option<&Result<Comparison, String>>,
    appendix: bool,
) -> Markup {
    let session = &loaded.session;
    let written: usize = [sections::practise(loaded).join("\n"), sections::lesson_notes(loaded).join("\n")]
        .iter()
        .map(String::len)
        .sum();
    let roomy = written <= LITTLE;
    html! {
        section class=(if roomy { "sheet roomy" } else { "sheet" }) {
            header {
                h1 { "Your lesson" }
                p class="when" {
                    (picture::draw::cut(player_name(session), NAME)) " · " (sections::day(session))
                    @if session.invented { " · " b { (INVENTED.trim_end_matches('.')) } }
                }
            }
            (practise(loaded, appendix, roomy))
            @match (sides, compared) {
                (None, _) => { h2 { "What was measured" } p { "No swings in this session." } }
                (Some(sides), Some(Ok(compared))) => (changed(loaded, sides, compared)),
                (Some(sides), other) => {
                    @if let Some(Err(why)) = other { p { "Not compared: " (why) "." } }
                    (one_block(loaded, &sides.before))
                }
            }
            (note(loaded, appendix))
            footer class="end" {
                p { (SAFETY) " Straps show their own motion; skin and cloth move over bone. Compare with yourself on the same day first." }
            }
        }
    }
}

/// What the coach wants practised; lines to write on where nothing is said.
fn practise(loaded: &Loaded, appendix: bool, roomy: bool) -> Markup {
    let text = sections::practise(loaded).iter().map(|t| capital(t)).collect::<Vec<_>>().join("\n");
    html! {
        section class="practise" {
            h2 { "To practise" }
            @if text.is_empty() {
                @for _ in 0..if roomy { 3 } else { 2 } { div class="rule" {} }
            } @else { (shortened(&text, appendix)) }
            p class="small" { "Warm up first. Stop on pain." }
        }
    }
}

fn note(loaded: &Loaded, appendix: bool) -> Markup {
    let text = sections::lesson_notes(loaded).join("\n");
    html! {
        @if !text.is_empty() {
            section {
                h2 { "From your coach" }
                (shortened(&text, appendix))
            }
        }
    }
}

fn shortened(text: &str, appendix: bool) -> Markup {
    let kept = fitting(text);
    html! {
        p { (lines(kept.trim_end())) @if kept.len() < text.len() { "…" } }
        @if kept.len() < text.len() {
            p class="small" { @if appendix { "The whole text is in the appendix." } @else { "The whole text is in the appendix, which the coach can print." } }
        }
    }
}

/// The first part of a text that the sheet has room for, cut between words where there are some.
fn fitting(text: &str) -> &str {
    let (most, rows) = ROOM;
    let row = most / rows;
    let (mut used, mut end, mut space) = (0, text.len(), None);
    for (at, c) in text.char_indices() {
        if c == '\n' {
            // A short line takes a whole row.
            used = (used / row + 1) * row;
        } else {
            // Capitals are wide.
            used += if c.is_uppercase() { 2 } else { 1 };
        }
        if used > most {
            end = space.unwrap_or(at);
            break;
        }
        if c.is_whitespace() {
            space = Some(at);
        }
    }
    &text[..end]
}

fn changed(loaded: &Loaded, sides: &Sides, compared: &Comparison) -> Markup {
    let (Some(after), before) = (&sides.after, &sides.before) else { return Markup::default() };
    let (before, after) = (loaded.only(before), loaded.only(after));
    let of = picture::Sides { before: &before, also_before: &[], after: &after, whole: loaded };
    let Some(picture) = picture::picture(compared, of, Layout::Sheet) else {
        return html! { p { "The two blocks have no number in common." } };
    };
    let Some(first) = picture.shown.first() else { return Markup::default() };
    let others = further(&picture, compared);
    html! {
        section class="changed" {
            h2 class="headline" { (first.headline) }
            p class="detail" { (first.detail) }
            @if picture.reason == Reason::Largest { p class="small" { (Reason::Largest.words()) "." } }
            div class="pair" {
                (figure(&first.figure))
                @if let Some(body) = picture.figures.first() { (figure(body)) }
            }
            @if !others.is_empty() { ul class="also" { @for sentence in &others { li { (sentence) } } } }
            p class="small" { (picture.sure) }
        }
    }
}

/// The other measures that were meant, and the order where it differs; nothing of what was only looked through.
fn further(picture: &Picture, compared: &Comparison) -> Vec<String> {
    let mut all: Vec<String> = picture.shown.iter().skip(1).map(|s| s.sentence.clone()).collect();
    if compared.order.verdict == OrderVerdict::Differ {
        all.extend(words::picture::order(compared).map(str::to_owned));
    }
    all
}

/// A drawing with its numbers.
pub(super) fn figure(figure: &Figure) -> Markup {
    html! {
        figure {
            p class="title" { (figure.title) }
            (PreEscaped(&figure.svg))
            figcaption {
                @for line in &figure.lines {
                    p class="line" {
                        @if let Some(role) = line.role { (crate::render::mark(role)) " " }
                        (line.words)
                    }
                }
                p { (figure.note) }
            }
        }
    }
}

/// What one block had in common, where there is nothing to set it against.
fn one_block(loaded: &Loaded, label: &str) -> Markup {
    let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| s.block == label).collect();
    let summary = summarise(label, &swings, &loaded.remarks);
    html! {
        h2 class="headline" { "Your swing: " (super::block_name(label)) }
        @if summary.used.is_empty() {
            p { "No swing of this block counts." }
        } @else {
            p class="small" { "Means of " (plural(summary.used.len(), "swing")) "." }
            div class="pair" {
                ul { @for line in sentences::block(&summary).into_iter().take(LINES) { li { (line) } } }
                @if let Some(body) = picture::alone(loaded, &summary, Layout::Sheet) { (figure(&body)) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_cut_between_words_and_by_lines() {
        assert_eq!(fitting("Ten slow swings"), "Ten slow swings");
        let long = "word ".repeat(200);
        let kept = fitting(&long);
        assert!(kept.len() <= 500 && kept.ends_with("word"), "{kept}");
        let many = "line\n".repeat(40);
        assert_eq!(fitting(&many).lines().count(), 5);
        assert_eq!(fitting(&"W".repeat(900)).len(), 250);
        let one = "x".repeat(900);
        assert_eq!(fitting(&one).chars().count(), 500);
        let wide = "é".repeat(900);
        assert_eq!(fitting(&wide).chars().count(), 500);
    }
}
