//! The user's terminal: how wide it is, whether colour is wanted, and what is printed to it.

use std::env;
use std::io::{self, Write as _};
use terminal_size::{Width, terminal_size};

/// Columns of the terminal; `COLUMNS`, where it is set, wins. `None` where nobody watches.
pub fn width() -> Option<usize> {
    let said =
        env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok()).filter(|columns| *columns > 0);
    said.or_else(|| terminal_size().map(|(Width(columns), _)| usize::from(columns)))
}

/// Whether escape sequences may be written to a stream that is a `watched` terminal: not where the user asks for none
/// (the `NO_COLOR` convention, <https://no-color.org>: set and not empty).
pub fn colours(watched: bool) -> bool {
    watched && env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// Prints a text on standard output; a reader that has seen enough (`| head`) is no failure.
pub fn print(text: &str) -> io::Result<()> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        result => result,
    }
}

/// A word of a command that is printed, as a shell takes it.
pub fn word(text: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "/._-+:,=@%".contains(c);
    if !text.is_empty() && text.chars().all(plain) && !text.starts_with('-') {
        text.to_owned()
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shell_takes_a_word_as_it_is() {
        for text in ["demo-session", "a b", "it's", "$HOME", "", "-x", "ä/ö", "*"] {
            let out =
                std::process::Command::new("sh").args(["-c", &format!("printf %s {}", word(text))]).output();
            let out = out.expect("a shell");
            let expected = if text == "-x" { "-x" } else { text };
            assert_eq!(String::from_utf8_lossy(&out.stdout), expected, "{text}");
        }
    }
}
