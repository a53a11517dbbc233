//! The lesson on paper: one self-contained HTML page that the player takes home.
//!
//! It needs no script, no network and no other file; printed it is two or three pages of
//! A4. Every verdict in it is that of [`compare`](crate::compare), in a sentence.

mod above;
mod drill;
mod html;
mod mobility;
mod sections;
mod sentences;
mod strip;

use crate::compare::{CompareError, Comparison, Row, compare};
use crate::load::{Loaded, NO_BLOCK};
use crate::measure::Measure;
use crate::summary::summarise;
use html::{esc, esc_lines};
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::Swing;
use std::fmt::{self, Write as _};

/// The page's whole style, as it stands between `<style>` and `</style>`. A server whose
/// Content-Security-Policy forbids inline styles may allow this one by its hash.
pub const STYLE: &str = include_str!("style.css");

/// A note of the lesson that begins with this word goes into "What to practise".
pub const PRACTISE: &str = "practise:";

/// Label of the block that is "before" unless another is named.
const BASELINE: &str = "baseline";

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

/// The page. `loaded` is a whole session (a block of one has only that block to tell of).
pub fn html(loaded: &Loaded, choice: &Choice) -> Result<String, ReportError> {
    let sides = Sides::of(loaded, choice)?;
    let session = &loaded.session;
    let name = player_name(session);
    let mut out = String::with_capacity(64 << 10);
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"robots\" content=\"noindex\">\n<title>Lesson of {} – {}</title>\n<style>{STYLE}</style>\n\
         </head>\n<body>\n<main>\n",
        esc(&sections::day(session)),
        esc(name)
    );
    sections::head(&mut out, loaded);
    practise(&mut out, loaded);
    let drills = drill::drills(loaded);
    match &sides {
        None => out.push_str("<h2>What was measured</h2>\n<p>No swings in this session.</p>\n"),
        Some(sides) => measured(&mut out, loaded, sides, &drills),
    }
    mobility::mobility(&mut out, loaded);
    sections::notes(&mut out, loaded);
    sections::reading(&mut out, loaded);
    sections::ending(&mut out, session);
    out.push_str("</main>\n</body>\n</html>\n");
    Ok(out)
}

fn player_name(session: &Session) -> &str {
    if session.player.name.is_empty() { "player not named" } else { &session.player.name }
}

/// A block's label for a reader.
fn block_name(label: &str) -> &str {
    if label.is_empty() { NO_BLOCK } else { label }
}

/// The coach's own note on what to practise; lines to write on where there is none.
fn practise(out: &mut String, loaded: &Loaded) {
    out.push_str("<section class=\"practise\">\n<h2>What to practise</h2>\n");
    let mut any = false;
    for text in loaded.remarks.notes.iter().filter_map(|n| sections::to_practise(&n.text)) {
        any = true;
        let _ = writeln!(out, "<p>{}</p>", esc_lines(&crate::words::capital(text)));
    }
    if !any {
        out.push_str("<div class=\"rule\"></div>\n<div class=\"rule\"></div>\n");
    }
    out.push_str("</section>\n");
}

fn measured(out: &mut String, loaded: &Loaded, sides: &Sides, drills: &[drill::Drill]) {
    sections::blocks(out, loaded);
    let summary = |label: &str| {
        let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| s.block == label).collect();
        summarise(label, &swings, &loaded.remarks)
    };
    let before = summary(&sides.before);
    let after = sides.after.as_deref().map(summary);

    let _ = writeln!(out, "<h2>Your swing at the start: {}</h2>", esc(block_name(&sides.before)));
    if before.used.is_empty() {
        out.push_str("<p>No swing of this block counts.</p>\n");
    } else {
        let _ = writeln!(
            out,
            "<p class=\"small\">Means of {}.</p>",
            crate::words::plural(before.used.len(), "swing")
        );
        out.push_str("<ul class=\"columns\">\n");
        for line in sentences::block(&before) {
            let _ = writeln!(out, "<li>{}</li>", esc(&line));
        }
        out.push_str("</ul>\n");
    }

    if !drills.is_empty() {
        out.push_str("<h2>The drill</h2>\n");
        for (i, drill) in drills.iter().enumerate() {
            out.push_str(&drill.html(i + 1));
        }
    }

    let comparison = sides.after.as_deref().map(|label| -> Result<(Vec<Row>, Comparison), CompareError> {
        let (b, a) = (loaded.only(&sides.before), loaded.only(label));
        // What the drill was about was meant beforehand, so it is judged by itself.
        let mut meant: Vec<Measure> = Vec::new();
        for measure in drills.iter().filter_map(drill::Drill::measure) {
            if !meant.contains(&measure) {
                meant.push(measure);
            }
        }
        let others: Vec<Measure> = Measure::ALL.into_iter().filter(|m| !meant.contains(m)).collect();
        let mut main = Vec::new();
        for &measure in &meant {
            main.extend(compare(&b, &a, &[measure])?.rows);
        }
        Ok((main, compare(&b, &a, &others)?))
    });
    if let Some(after) = &sides.after {
        let (b, a) = (block_name(&sides.before), block_name(after));
        let _ = writeln!(out, "<h2>Before and after: {} and {}</h2>", esc(b), esc(a));
    } else {
        out.push_str("<h2>Order of peaks</h2>\n");
    }
    match &comparison {
        Some(Ok((main, rest))) => sections::in_short(out, main, rest),
        Some(Err(e)) => {
            let _ = writeln!(out, "<p>Not compared: {}.</p>", esc(&e.to_string()));
        }
        None => {}
    }
    pictures(out, loaded, sides, &before, after.as_ref());
    if let Some(Ok((main, rest))) = &comparison {
        sections::table(out, main, rest);
    }
}

fn pictures(
    out: &mut String,
    loaded: &Loaded,
    sides: &Sides,
    before: &crate::summary::BlockSummary,
    after: Option<&crate::summary::BlockSummary>,
) {
    let mut parts = Vec::new();
    let mut bodies = Vec::new();
    for (word, summary, label) in
        [("Before", Some(before), Some(&sides.before)), ("After", after, sides.after.as_ref())]
    {
        let (Some(summary), Some(label)) = (summary, label) else { continue };
        if summary.used.is_empty() {
            continue;
        }
        let title =
            if after.is_some() { format!("{word}: {}", block_name(label)) } else { block_name(label).into() };
        parts.push(strip::Part { title, summary, swings: loaded.counted(label) });
        let name = if after.is_some() { word.to_lowercase() } else { block_name(label).into() };
        bodies.push(above::Body { name, summary });
    }
    if let Some(picture) = strip::strip(&parts) {
        out.push_str("<h3>When each segment was fastest</h3>\n<figure>");
        out.push_str(&picture);
        out.push_str(
            "<figcaption>Mark: mean over the block. Width of the bar: how sure that mean is (95 %). Thin \
             lines: single swings. Bars that overlap widely cannot be told apart.</figcaption></figure>\n",
        );
        for part in &parts {
            let _ = writeln!(
                out,
                "<p><b>{}</b>: {}</p>",
                esc(&part.title),
                esc(&sentences::orders(part.summary))
            );
        }
    }
    if let Some(picture) = above::above(&bodies, loaded.session.player.handedness) {
        out.push_str("<h3>Turns seen from above</h3>\n<div class=\"two\">");
        out.push_str(&picture);
        out.push_str("</div>\n<p class=\"small\">The dotted line is the body's line at address.");
        if bodies.len() > 1 {
            out.push_str(" Thin and longer, with hollow marks: before. Thick, with filled marks: after.");
        }
        out.push_str("</p>\n");
    }
}
