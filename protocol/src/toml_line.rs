//! A TOML error on one line.

/// `line 82, column 1: unknown field …`: the parser's own text shows the source over several lines,
/// which is no message for a terminal.
pub fn explain(text: &str, error: &toml::de::Error) -> String {
    let message = error.message().lines().next().unwrap_or_default();
    match error.span() {
        Some(span) => {
            let before = &text[..text.floor_char_boundary(span.start)];
            let line = before.matches('\n').count() + 1;
            let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
            format!("line {line}, column {column}: {message}")
        }
        None => message.to_owned(),
    }
}
