//! Text from elsewhere (names, labels, cells of a file) as people may be shown it.

/// Longest part of a foreign text that a message quotes, characters.
const EXCERPT_CHARS: usize = 48;

/// The text with every character that would control a terminal, or turn round the text beside it,
/// replaced by `U+FFFD`.
pub fn clean(text: &str) -> String {
    text.chars().map(|c| if controls(c) { '\u{fffd}' } else { c }).collect()
}

/// As [`clean`], with its lines kept.
pub fn clean_lines(text: &str) -> String {
    text.chars().map(|c| if controls(c) && c != '\n' { '\u{fffd}' } else { c }).collect()
}

fn controls(c: char) -> bool {
    // Embeddings, overrides and isolates of Unicode Standard Annex 9.
    c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A text from elsewhere inside a message: clean, quoted, and cut if it is long.
pub fn excerpt(text: &str) -> String {
    let shown: String = text.chars().take(EXCERPT_CHARS).collect();
    let left_out = text.len() - shown.len();
    let shown = clean(&shown);
    if left_out == 0 { format!("'{shown}'") } else { format!("'{shown}…' and {left_out} more bytes") }
}

/// Whether anything of the text can be seen: not only blanks and characters without a picture.
pub fn is_visible(text: &str) -> bool {
    text.chars().any(|c| !c.is_whitespace() && !c.is_control() && !is_ignorable(c))
}

/// `Default_Ignorable_Code_Point` of the Unicode character database (from memory), and the empty
/// Braille pattern, which is drawn as a blank.
fn is_ignorable(c: char) -> bool {
    matches!(c,
        '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
        | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{2800}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}'
        | '\u{ffa0}' | '\u{fff0}'..='\u{fffb}' | '\u{1bca0}'..='\u{1bca3}' | '\u{1d173}'..='\u{1d17a}'
        | '\u{e0000}'..='\u{e0fff}')
}

/// An error with its causes on one line: `reading the log: a.log: no such file`. A cause that the
/// text before it ends with already is not said again.
pub fn causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        let said = cause.to_string();
        if !text.contains(&said) {
            text.push_str(": ");
            text.push_str(&said);
        }
        next = cause.source();
    }
    clean(&text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_controls_a_terminal_is_replaced_and_names_stay() {
        assert_eq!(clean("a\u{1b}[31mb\u{9b}2Jc\nd\u{202e}e"), "a\u{fffd}[31mb\u{fffd}2Jc\u{fffd}d\u{fffd}e");
        assert_eq!(clean_lines("a\nb\u{7}"), "a\nb\u{fffd}");
        for name in ["Zoë Ångström", "محمد", "李雷", "Ngũgĩ", "👩🏽‍🦰"] {
            assert_eq!(clean(name), name);
            assert!(is_visible(name));
        }
    }

    #[test]
    fn a_long_text_is_cut_between_characters() {
        assert_eq!(excerpt("x"), "'x'");
        let cut = excerpt(&"ä".repeat(1_000_000));
        assert!(cut.len() < 200 && cut.ends_with("…' and 1999904 more bytes"), "{cut}");
    }

    #[test]
    fn a_text_of_invisible_characters_is_not_visible() {
        for text in
            ["", " \t", "\u{200b}\u{200b}", "\u{2063}", "\u{3164}", "\u{2800}", "\u{ad}\u{feff}\u{a0}"]
        {
            assert!(!is_visible(text), "{text:?}");
        }
    }

    #[derive(Debug, thiserror::Error)]
    #[error("file: {source}")]
    struct SaysItsCause {
        source: std::io::Error,
    }

    #[test]
    fn a_cause_is_said_once() {
        let error = SaysItsCause { source: std::io::Error::other("gone") };
        assert_eq!(causes(&error), "file: gone");
        #[derive(Debug, thiserror::Error)]
        #[error("opening")]
        struct Hides(#[source] SaysItsCause);
        assert_eq!(causes(&Hides(error)), "opening: file: gone");
    }
}
