//! Text for a terminal: plain where it is piped, with colour where it is watched.
//!
//! Meaning never rests on colour: each segment has its own mark (● pelvis, ■ thorax,
//! ◆ lead arm) and its own kind of line.

mod blocks;
mod bone;
mod compare;
mod drill;
mod first_look;
mod integrity;
mod kept;
mod mobility;
mod notes;
mod plan;
mod plot;
pub(crate) mod said;
mod show;
mod swing;
mod table;
mod trend;

pub use compare::{Extent, comparison, comparison_with_curves};
pub use first_look::first_look;
pub use integrity::{health, salvaged};
pub use kept::kept;
pub use mobility::{mobility, mobility_comparison};
pub use plan::plan;
pub use plot::{NoPlot, speeds};
pub use show::session;
pub use swing::one_swing;
pub use table::columns;
pub use trend::trend;

use peakorder_protocol::Role;
use peakorder_protocol::text::clean;
use std::fmt::Write as _;
use unicode_width::UnicodeWidthStr as _;

/// Narrowest width that is laid out for; less is treated as this.
pub const NARROWEST: usize = 60;
/// Widest width that is laid out for: longer lines are hard to read.
pub const WIDEST: usize = 120;

/// How to write.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    width: usize,
    colour: bool,
}

impl Style {
    /// Columns to fill at most (held between [`NARROWEST`] and [`WIDEST`]), and whether
    /// ANSI colours may be written.
    pub fn new(width: usize, colour: bool) -> Self {
        Self { width: width.clamp(NARROWEST, WIDEST), colour }
    }

    /// Columns to fill at most.
    pub const fn width(self) -> usize {
        self.width
    }

    fn wrapped_in(self, code: &str, text: &str) -> String {
        if self.colour { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
    }

    fn bold(self, text: &str) -> String {
        self.wrapped_in("1", text)
    }

    fn dim(self, text: &str) -> String {
        self.wrapped_in("2", text)
    }

    fn rule(self) -> String {
        self.dim(&"─".repeat(self.width))
    }

    /// In the segment's colour of the Okabe–Ito palette (Okabe M, Ito K 2008, Color
    /// Universal Design).
    fn segment(self, role: Role, text: &str) -> String {
        let code = match role {
            Role::Pelvis => "38;2;0;114;178",
            Role::Thorax => "38;2;230;159;0",
            Role::LeadArm => "38;2;204;121;167",
        };
        self.wrapped_in(code, text)
    }

    /// Colours every segment mark of a finished line.
    fn marks(self, line: &str) -> String {
        if !self.colour {
            return line.to_owned();
        }
        Role::ALL.into_iter().fold(line.to_owned(), |line, role| {
            line.replace(mark(role), &self.segment(role, &mark(role).to_string()))
        })
    }
}

/// The segment's mark.
pub const fn mark(role: Role) -> char {
    match role {
        Role::Pelvis => '●',
        Role::Thorax => '■',
        Role::LeadArm => '◆',
    }
}

/// `● pelvis`.
pub(crate) fn marked(role: Role) -> String {
    format!("{} {}", mark(role), role.label())
}

/// A number with a true minus sign, `+` too when `signed`, and never a minus zero.
pub fn number(value: f64, decimals: usize, signed: bool) -> String {
    let text = format!("{:.decimals$}", value.abs());
    if text.bytes().all(|b| matches!(b, b'0' | b'.')) {
        return text;
    }
    match (value < 0.0, signed) {
        (true, _) => format!("−{text}"),
        (false, true) => format!("+{text}"),
        (false, false) => text,
    }
}

/// Appends `text` broken at spaces, `first` before the first line and as many spaces
/// before the others.
pub fn wrap(out: &mut String, style: Style, first: &str, text: &str) {
    let indent = first.width();
    let room = style.width.saturating_sub(indent).max(20);
    let mut lines = vec![String::new()];
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        let line = lines.last_mut().map_or(0, |l| l.width());
        if line > 0 && line + 1 + word.width() > room {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    for (i, line) in lines.iter().enumerate() {
        let lead = if i == 0 { first.to_owned() } else { " ".repeat(indent) };
        let _ = writeln!(out, "{}", style.marks(format!("{lead}{line}").trim_end()));
    }
}

/// Appends a heading with a rule beneath; a remark that does not fit beside it goes below.
fn heading(out: &mut String, style: Style, title: &str, remark: &str) {
    let beside = title.width() + 3 + remark.width() <= style.width;
    let _ = match (remark, beside) {
        ("", _) | (_, false) => writeln!(out, "\n{}", style.bold(title)),
        _ => writeln!(out, "\n{}   {remark}", style.bold(title)),
    };
    let _ = writeln!(out, "{}", style.rule());
    if !beside {
        wrap(out, style, "", remark);
        out.push('\n');
    }
}

/// Appends where every report ends.
fn ending(out: &mut String, style: Style) {
    out.push('\n');
    wrap(out, style, "", crate::SAFETY);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_true_minus_and_no_minus_zero() {
        assert_eq!(number(-45.25, 1, true), "−45.2");
        assert_eq!(number(-0.04, 1, true), "0.0");
        assert_eq!(number(3.0, 0, true), "+3");
        assert_eq!(number(3.0, 0, false), "3");
    }

    #[test]
    fn a_label_cannot_move_the_cursor() {
        assert_eq!(clean("a\x1b[2Jb\n"), "a�[2Jb�");
    }

    #[test]
    fn wrapped_lines_stay_in_the_width() {
        let mut out = String::new();
        wrap(&mut out, Style::new(60, false), "  note  ", &"word ".repeat(60));
        assert!(out.lines().count() > 4);
        assert!(out.lines().all(|l| l.chars().count() <= 60 && l.starts_with("  ")));
    }
}
