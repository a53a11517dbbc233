//! The terminal: taken over, painted with lines, and given back.

use super::draw::Line;
use crossterm::cursor::{Hide, MoveTo, Show};
use crossterm::style::{Attribute, Print, SetAttribute};
use crossterm::terminal::{
    BeginSynchronizedUpdate, Clear, ClearType, EndSynchronizedUpdate, EnterAlternateScreen,
    LeaveAlternateScreen, disable_raw_mode, enable_raw_mode, size,
};
use crossterm::{execute, queue};
use std::io::{self, BufWriter, Write, stdout};
use unicode_width::{UnicodeWidthChar as _, UnicodeWidthStr as _};

/// The terminal while this program has it. Dropping it gives it back.
#[derive(Debug)]
pub struct Terminal(());

impl Terminal {
    /// Takes the terminal over. A panic gives it back before it prints its message.
    pub fn take_over() -> io::Result<Self> {
        enable_raw_mode()?;
        let terminal = Self(());
        let print_message = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            give_back();
            print_message(info);
        }));
        execute!(stdout(), EnterAlternateScreen, Hide)?;
        Ok(terminal)
    }

    /// Paints the lines from the top. Long lines continue on the next row; what does not fit
    /// below is left out.
    pub fn paint(&mut self, lines: &[Line]) -> io::Result<()> {
        let (width, height) = size()?;
        paint(&mut BufWriter::new(stdout().lock()), lines, width, height)
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        give_back();
    }
}

fn give_back() {
    let _ = execute!(stdout(), Show, LeaveAlternateScreen);
    let _ = disable_raw_mode();
}

fn paint(to: &mut impl Write, lines: &[Line], width: u16, height: u16) -> io::Result<()> {
    queue!(to, BeginSynchronizedUpdate)?;
    let rows =
        lines.iter().flat_map(|l| rows(&l.text, usize::from(width)).into_iter().map(|row| (row, l.bold)));
    let mut y = 0;
    for (row, bold) in rows.take(usize::from(height)) {
        let attribute = if bold { Attribute::Bold } else { Attribute::Reset };
        queue!(to, MoveTo(0, y), Clear(ClearType::CurrentLine), SetAttribute(attribute), Print(row))?;
        y += 1;
    }
    queue!(to, SetAttribute(Attribute::Reset))?;
    if y < height {
        queue!(to, MoveTo(0, y), Clear(ClearType::FromCursorDown))?;
    }
    queue!(to, EndSynchronizedUpdate)?;
    to.flush()
}

/// The text in rows of at most `width` columns, broken at spaces where there are any. Control
/// characters, which a player's name could hold, are left out.
fn rows(text: &str, width: usize) -> Vec<String> {
    let text: String = text.chars().filter(|c| !c.is_control()).collect();
    let mut rows = vec![String::new()];
    let mut used = 0;
    for word in text.split_inclusive(' ') {
        if used > 0 && used + word.trim_end().width() > width {
            rows.push(String::new());
            used = 0;
        }
        for c in word.chars() {
            let columns = c.width().unwrap_or(0);
            if used + columns > width {
                // A space at the end of a full row is not seen.
                if c == ' ' {
                    continue;
                }
                rows.push(String::new());
                used = 0;
            }
            if let Some(row) = rows.last_mut() {
                row.push(c);
            }
            used += columns;
        }
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_at_spaces_or_anywhere() {
        assert_eq!(rows("pelvis → thorax", 9), ["pelvis → ", "thorax"]);
        assert_eq!(rows("pelvis thorax", 6), ["pelvis", "thorax"]);
        assert_eq!(rows("abcdefgh", 3), ["abc", "def", "gh"]);
        assert_eq!(rows("", 3), [""]);
        // East Asian wide characters take two columns (Unicode Standard Annex 11).
        assert_eq!(rows("骨盤胸", 4), ["骨盤", "胸"]);
        assert_eq!(rows("Ann \u{1b}[2J", 20), ["Ann [2J"]);
    }

    #[test]
    fn paints_no_more_rows_than_there_are_and_clears_the_rest() {
        let lines = [Line::heading("one"), Line::from("two"), Line::from("three")];
        let painted = |height| {
            let mut bytes = Vec::new();
            paint(&mut bytes, &lines, 20, height).unwrap();
            String::from_utf8(bytes).unwrap()
        };
        let all = painted(5);
        // ECMA-48: CSI 4;1H puts the cursor on the fourth row, CSI J clears from there.
        assert!(all.contains("\u{1b}[1mone") && all.contains("\u{1b}[4;1H\u{1b}[J"), "{all:?}");
        let cut = painted(2);
        assert!(cut.contains("two") && !cut.contains("three") && !cut.contains("\u{1b}[J"), "{cut:?}");
    }
}
