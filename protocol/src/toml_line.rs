//! A TOML error on one line.

/// `line 82, column 1: unknown field …` or `line 3, column 10, key listen: …`: the parser's own text shows the source over
/// several lines, which is no message for a terminal.
pub fn explain(text: &str, error: &toml::de::Error) -> String {
    let message = error.message().lines().next().unwrap_or_default();
    match error.span() {
        Some(span) => {
            let before = &text[..text.floor_char_boundary(span.start)];
            let line = before.matches('\n').count() + 1;
            let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
            let key = key(before).map(|key| format!(", key {key}")).unwrap_or_default();
            format!("line {line}, column {column}{key}: {message}")
        }
        None => message.to_owned(),
    }
}

/// The key of a value that begins behind `before`.
fn key(before: &str) -> Option<&str> {
    let line = &before[before.rfind('\n').map_or(0, |at| at + 1)..];
    let key = line.split_once('=')?.0.trim();
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.');
    (!key.is_empty() && key.chars().all(plain)).then_some(key)
}
