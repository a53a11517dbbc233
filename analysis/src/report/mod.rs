//! The lesson on paper: one self-contained HTML page that the player takes home.
//!
//! It needs no script, no network and no other file; printed it is two or three pages of
//! A4. Every verdict in it is that of [`compare`](crate::compare), in a sentence.

mod above;
mod backswing;
mod curves;
mod drill;
mod html;
mod kept;
mod mobility;
mod sections;
mod sentences;
mod strip;

use crate::BASELINE;
use crate::chosen::Family;
use crate::compare::{CompareError, Comparison, compare};
use crate::kept::Kept;
use crate::load::{Loaded, NO_BLOCK};
use crate::summary::{BlockSummary, summarise};
use crate::words::{capital, plural};
use html::{lines, printable};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::Swing;
use std::fmt;

/// The page's whole style, as it stands between `<style>` and `</style>`. A server whose
/// Content-Security-Policy forbids inline styles may allow this one by its hash.
pub const STYLE: &str = include_str!("style.css");

/// A note of the lesson that begins with this word goes into "What to practise".
pub const PRACTISE: &str = "practise:";

/// Which blocks are set against each other.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Choice {
    /// Before; without it the block `baseline`, or else the first one.
    pub before: Option<String>,
    /// After; without it the last other block that has a swing that counts.
    pub after: Option<String>,
}

/// Why there is no report. The message says what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ReportError {
    /// The session has no such block.
    NoBlock {
        /// As asked for.
        asked: String,
        /// Those there are.
        blocks: Vec<String>,
    },
    /// Both sides are one block.
    SameBlock(String),
}

impl fmt::Display for ReportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoBlock { asked, blocks } if blocks.is_empty() => {
                write!(f, "no block '{asked}', for the session has no swings yet")
            }
            Self::NoBlock { asked, blocks } => {
                let list: Vec<String> = blocks.iter().map(|b| format!("'{b}'")).collect();
                write!(f, "no block '{asked}'; the session has {}", list.join(", "))
            }
            Self::SameBlock(block) => {
                write!(f, "'{block}' is both before and after; name two blocks")
            }
        }
    }
}

impl std::error::Error for ReportError {}

/// The blocks that the report sets against each other.
struct Sides {
    before: String,
    after: Option<String>,
}

impl Sides {
    fn of(loaded: &Loaded, choice: &Choice) -> Result<Option<Self>, ReportError> {
        let known = |label: &String| {
            if loaded.blocks.contains(label) {
                Ok(label.clone())
            } else {
                Err(ReportError::NoBlock { asked: label.clone(), blocks: loaded.blocks.clone() })
            }
        };
        let asked_before = choice.before.as_ref().map(known).transpose()?;
        let asked_after = choice.after.as_ref().map(known).transpose()?;
        let counted = |label: &&String| !loaded.counted(label).is_empty();
        let not_after = |label: &&String| Some(*label) != asked_after.as_ref();
        let Some(before) = asked_before.or_else(|| {
            let mut blocks = loaded.blocks.iter().filter(not_after);
            let first = blocks.clone().find(counted).or_else(|| blocks.clone().next()).cloned();
            blocks.find(|b| *b == BASELINE).cloned().or(first)
        }) else {
            return Ok(asked_after.map(|only| Self { before: only, after: None }));
        };
        let after = asked_after
            .or_else(|| loaded.blocks.iter().rev().filter(|b| **b != before).find(counted).cloned());
        if after.as_ref() == Some(&before) {
            return Err(ReportError::SameBlock(before));
        }
        Ok(Some(Self { before, after }))
    }
}

/// The page. `loaded` is a whole session (a block of one has only that block to tell of); `kept`: what lasted of earlier lessons.
pub fn html(loaded: &Loaded, choice: &Choice, kept: Option<&Kept>) -> Result<String, ReportError> {
    let sides = Sides::of(loaded, choice)?;
    let session = &loaded.session;
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="robots" content="noindex";
                title { "Lesson of " (sections::day(session)) " – " (player_name(session)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (sections::head(loaded))
                    (practise(loaded))
                    @match &sides {
                        None => { h2 { "What was measured" } p { "No swings in this session." } }
                        Some(sides) => (measured(loaded, sides)),
                    }
                    @if let Some(kept) = kept { (kept::section(kept)) }
                    (mobility::mobility(loaded))
                    (sections::notes(loaded))
                    (sections::reading(loaded))
                    (sections::ending(session))
                }
            }
        }
    };
    Ok(printable(&page.into_string()))
}

fn player_name(session: &Session) -> &str {
    match session.player.shown_name() {
        "" => "player not named",
        name => name,
    }
}

/// A block's label for a reader.
fn block_name(label: &str) -> &str {
    if label.is_empty() { NO_BLOCK } else { label }
}

/// The coach's own note on what to practise; lines to write on where there is none.
fn practise(loaded: &Loaded) -> Markup {
    let texts: Vec<&str> =
        loaded.remarks.notes.iter().filter_map(|n| sections::to_practise(&n.text)).collect();
    html! {
        section class="practise" {
            h2 { "What to practise" }
            @for text in &texts { p { (lines(&capital(text))) } }
            @if texts.is_empty() {
                div class="rule" {}
                div class="rule" {}
            }
        }
    }
}

fn measured(loaded: &Loaded, sides: &Sides) -> Markup {
    let summary = |label: &str| {
        let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| s.block == label).collect();
        summarise(label, &swings, &loaded.remarks)
    };
    let before = summary(&sides.before);
    let after = sides.after.as_deref().map(summary);
    let drills = drill::drills(loaded);
    let compared = sides.after.as_deref().map(|after| compared(loaded, &sides.before, after));
    html! {
        (sections::blocks(loaded))
        h2 { "Your swing at the start: " (block_name(&sides.before)) }
        @if before.used.is_empty() {
            p { "No swing of this block counts." }
        } @else {
            p class="small" { "Means of " (plural(before.used.len(), "swing")) "." }
            ul class="columns" {
                @for line in sentences::block(&before) { li { (line) } }
            }
        }
        @if !drills.is_empty() { h2 { "The drill" } }
        @for (i, drill) in drills.iter().enumerate() { (drill.html(i + 1)) }
        h2 {
            @if let Some(after) = &sides.after {
                "Before and after: " (block_name(&sides.before)) " and " (block_name(after))
            } @else {
                "Order of peaks"
            }
        }
        @match &compared {
            Some(Ok(comparison)) => (sections::in_short(comparison)),
            Some(Err(e)) => p { "Not compared: " (e) "." },
            None => {}
        }
        (pictures(loaded, sides, &before, after.as_ref(), compared.as_ref().and_then(|c| c.as_ref().ok())))
        @if let Some(Ok(comparison)) = &compared { (sections::table(comparison)) }
    }
}

/// The two blocks compared. What the coach chose and what the drills were about was meant beforehand and gets the
/// verdicts.
fn compared(loaded: &Loaded, before: &str, after: &str) -> Result<Comparison, CompareError> {
    compare(&loaded.only(before), &loaded.only(after), &Family::of_remarks(&loaded.remarks))
}

fn pictures(
    loaded: &Loaded,
    sides: &Sides,
    before: &BlockSummary,
    after: Option<&BlockSummary>,
    compared: Option<&Comparison>,
) -> Markup {
    let mut parts = Vec::new();
    let mut bodies = Vec::new();
    let mut counted = Vec::new();
    for (word, summary, label) in
        [("Before", Some(before), Some(&sides.before)), ("After", after, sides.after.as_ref())]
    {
        let (Some(summary), Some(label)) = (summary, label) else { continue };
        if summary.used.is_empty() {
            continue;
        }
        let title =
            if after.is_some() { format!("{word}: {}", block_name(label)) } else { block_name(label).into() };
        counted.push((title.clone(), loaded.counted(label)));
        parts.push(strip::Part { title, summary, swings: loaded.counted(label) });
        let name = if after.is_some() { word.to_lowercase() } else { block_name(label).into() };
        bodies.push(above::Body { name, summary });
    }
    let backswings: Vec<backswing::Part<'_>> =
        counted.iter().filter_map(|(title, swings)| backswing::Part::of(title.clone(), swings)).collect();
    html! {
        @if let Some(picture) = strip::strip(&parts) {
            h3 { "When each segment was fastest" }
            figure {
                (picture)
                figcaption {
                    "Mark: mean over the block. Width of the bar: how sure that mean is (95 %). Thin lines: single \
                     swings. Bars that overlap widely cannot be told apart."
                }
            }
            @for part in &parts { p { b { (part.title) } ": " (sentences::orders(part.summary)) } }
            @if let Some(compared) = compared { (curves::order(&compared.order)) }
        }
        @if let Some(compared) = compared { (curves::section(loaded, compared)) }
        @if let Some(picture) = above::above(&bodies, loaded.session.player.handedness) {
            h3 { "Turns seen from above" }
            div class="two" { (picture) }
            p class="small" {
                "The dotted line is the body's line at address."
                @if bodies.len() > 1 {
                    " Thin and longer, with hollow marks: before. Thick, with filled marks: after."
                }
            }
        }
        @if let Some(picture) = backswing::bars(&backswings) {
            h3 { "Backswing: turn or lift" }
            div class="two" { (picture) }
            p class="small" {
                "From address to the top, means of the block: how far the hips turned, the trunk on top of them, and how far \
                 the lead arm moved in the shoulder, each with the 95 % interval of the mean. The shares are an index, for \
                 they add angles about different axes."
                @for some in backswings.iter().filter_map(backswing::Part::some) { " " (some) }
            }
        }
    }
}
