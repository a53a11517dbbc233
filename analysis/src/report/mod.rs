//! The lesson on paper: one sheet that the player takes home, and on request an appendix for the coach.
//!
//! It is one self-contained HTML page that needs no script, no network and no other file. Printed, the sheet is one side of A4 or
//! of Letter; the appendix begins on a side of its own. Every verdict in it is that of [`compare`](mod@crate::compare), in a sentence.

mod backswing;
pub(crate) mod curves;
mod drill;
mod html;
mod kept;
mod mobility;
mod sections;
mod sentences;
mod sheet;

use crate::BASELINE;
use crate::chosen::Family;
use crate::compare::{CompareError, Comparison, compare};
use crate::kept::Kept;
use crate::load::{Loaded, NO_BLOCK};
use crate::picture;
use crate::summary::{BlockSummary, summarise};
use crate::words::plural;
use html::printable;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::Swing;
pub(crate) use sections::day;
use std::fmt;

/// The page's whole style, as it stands between `<style>` and `</style>`. A server whose
/// Content-Security-Policy forbids inline styles may allow this one by its hash.
pub const STYLE: &str = concat!(include_str!("style.css"), include_str!("../picture/picture.css"));

/// A note of the lesson that begins with this word goes into "To practise", beside what the coach says there.
pub const PRACTISE: &str = "practise:";

/// Which blocks are set against each other.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Choice {
    /// Before; without it the block `baseline`, or else the first one.
    pub before: Option<String>,
    /// After; without it the last other block that has a swing that counts.
    pub after: Option<String>,
    /// With the appendix: all numbers, curves, notes of swings, what the words mean.
    pub appendix: bool,
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
    let compared = sides.as_ref().and_then(|s| {
        let after = s.after.as_deref()?;
        Some(compared(loaded, &s.before, after).map_err(|e| e.to_string()))
    });
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
                    (sheet::sheet(loaded, sides.as_ref(), compared.as_ref(), choice.appendix))
                    @if choice.appendix {
                        section class="appendix" {
                            (sections::head(loaded))
                            @match &sides {
                                None => { h2 { "What was measured" } p { "No swings in this session." } }
                                Some(sides) => (measured(loaded, sides, compared.as_ref())),
                            }
                            @if let Some(kept) = kept { (kept::section(kept)) }
                            (mobility::mobility(loaded))
                            (sections::notes(loaded))
                            (sections::reading(loaded))
                            (sections::ending(session))
                        }
                    }
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

fn measured(loaded: &Loaded, sides: &Sides, compared: Option<&Result<Comparison, String>>) -> Markup {
    let summary = |label: &str| {
        let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| s.block == label).collect();
        summarise(label, &swings, &loaded.remarks)
    };
    let before = summary(&sides.before);
    let after = sides.after.as_deref().map(summary);
    let drills = drill::drills(loaded);
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
        @match compared {
            Some(Ok(comparison)) => (sections::in_short(comparison)),
            Some(Err(e)) => p { "Not compared: " (e) "." },
            None => {}
        }
        (pictures(loaded, sides, &before, after.as_ref(), compared.and_then(|c| c.as_ref().ok())))
        @if let Some(Ok(comparison)) = compared { (sections::table(comparison)) }
    }
}

/// The two blocks compared. What the coach chose and what the drills were about was meant beforehand and gets the
/// verdicts.
fn compared(loaded: &Loaded, before: &str, after: &str) -> Result<Comparison, CompareError> {
    compare(&loaded.only(before), &loaded.only(after), &Family::of_remarks(&loaded.remarks))
}

/// The drawings that the sheet has no room for; of one block alone, the strip of its peaks.
fn drawn(
    loaded: &Loaded,
    sides: &Sides,
    before: &BlockSummary,
    compared: Option<&Comparison>,
) -> Vec<picture::Figure> {
    let (Some(compared), Some(after)) = (compared, &sides.after) else {
        return picture::alone_strip(before, picture::Layout::Sheet).into_iter().collect();
    };
    let (before, after) = (loaded.only(&sides.before), loaded.only(after));
    let of = picture::Sides { before: &before, also_before: &[], after: &after, whole: loaded };
    let Some(picture) = picture::picture(compared, of, picture::Layout::Sheet) else { return Vec::new() };
    // The first of each stands on the sheet.
    let dots = picture.shown.into_iter().skip(1).map(|s| s.figure);
    dots.chain(picture.figures.into_iter().skip(1)).collect()
}

fn pictures(
    loaded: &Loaded,
    sides: &Sides,
    before: &BlockSummary,
    after: Option<&BlockSummary>,
    compared: Option<&Comparison>,
) -> Markup {
    let mut counted = Vec::new();
    let mut told = Vec::new();
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
        told.push((title, summary));
    }
    let drawn = drawn(loaded, sides, before, compared);
    let backswings: Vec<backswing::Part<'_>> =
        counted.iter().filter_map(|(title, swings)| backswing::Part::of(title.clone(), swings)).collect();
    html! {
        @for figure in &drawn { (sheet::figure(figure)) }
        @for (title, summary) in &told { p { b { (title) } ": " (sentences::orders(summary)) } }
        @if let Some(compared) = compared { (curves::order(&compared.order)) }
        @if let Some(compared) = compared { (curves::section(loaded, compared)) }
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
