//! A picture to keep: one SVG document that stands by itself.
//!
//! It has its own paper, its looks are plain values (not every program that shows SVG knows CSS variables), and it refers to nothing
//! outside and runs nothing. SVG 1.1 does not break lines, so words are broken here by widths that are guessed on the wide side.

use super::STYLE;
use super::draw::{Size, tenth};
use maud::{Markup, PreEscaped, html};

/// Width of every document, CSS pixels.
pub(super) const WIDTH: f64 = 900.0;
/// Around everything.
pub(super) const MARGIN: f64 = 20.0;
/// What is between the margins.
pub(super) const INNER: f64 = WIDTH - 2.0 * MARGIN;
/// Between two columns.
pub(super) const BETWEEN: f64 = 32.0;

/// The report's colours, as its style has them.
const LOOKS: [(&str, &str); 8] = [
    ("--ink", "#1c1c1c"),
    ("--quiet", "#595959"),
    ("--paper", "#ffffff"),
    ("--rule", "#c9c9c9"),
    ("--hold", "#ececea"),
    ("--pelvis", "#0072B2"),
    ("--thorax", "#E69F00"),
    ("--lead-arm", "#CC79A7"),
];

/// What only documents have.
const WORDS: &str = include_str!("document.css");

/// Words of one look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    Title,
    Headline,
    Heading,
    Text,
    Small,
    Invented,
}

impl Look {
    const fn class(self) -> &'static str {
        match self {
            Self::Title => "s-title",
            Self::Headline => "s-headline",
            Self::Heading => "s-heading",
            Self::Text => "s-text",
            Self::Small => "s-small",
            Self::Invented => "s-invented",
        }
    }

    const fn size(self) -> f64 {
        match self {
            Self::Title => 27.0,
            Self::Headline => 22.0,
            Self::Heading => 17.0,
            Self::Text => 16.0,
            Self::Small => 14.0,
            Self::Invented => 15.0,
        }
    }

    const fn bold(self) -> bool {
        !matches!(self, Self::Text | Self::Small)
    }
}

/// The style of a document, without variables.
pub(super) fn style() -> String {
    let rules = STYLE.lines().filter(|line| {
        // Boxes on a page; a drawing within a drawing has the size that it says.
        !line.starts_with(".picture {") && !line.starts_with("/*")
    });
    let mut style: String = rules.flat_map(|line| [line, "\n"]).collect();
    style.push_str(WORDS);
    for (name, value) in LOOKS {
        style = style.replace(&format!("var({name})"), value);
    }
    style
}

/// How wide a text is at most, CSS pixels. By the widths of `DejaVu Sans`, the widest of the fonts named.
fn width_px(text: &str, size: f64, bold: bool) -> f64 {
    let em = |c: char| match c {
        ' ' | '\u{a0}' | 'i' | 'j' | 'l' | '.' | ',' | ':' | ';' | '\'' | '’' | '|' | '!' | 'I' => 0.33,
        'f' | 'r' | 't' | '(' | ')' | '-' | '/' | '°' | '·' => 0.42,
        'c' | 's' | 'z' => 0.55,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '…' => 1.0,
        '±' | '→' | '−' | '≈' | '+' | '=' => 0.84,
        c if c.is_ascii_lowercase() || c.is_ascii_digit() => 0.635,
        c if c.is_ascii() => 0.75,
        // Letters of other scripts may be square.
        _ => 1.0,
    };
    text.chars().map(em).sum::<f64>() * size * if bold { 1.1 } else { 1.0 }
}

/// With numbers kept to their signs and units.
fn together(words: &str) -> String {
    [("± ", "±\u{a0}"), (" ms", "\u{a0}ms"), (" %", "\u{a0}%"), (" °/s", "\u{a0}°/s"), (" cm", "\u{a0}cm")]
        .into_iter()
        .fold(words.to_owned(), |words, (apart, together)| words.replace(apart, together))
}

/// Words in lines no wider than `room`. A word that is too wide is broken.
fn broken(words: &str, room: f64, size: f64, bold: bool) -> Vec<String> {
    let mut lines = vec![String::new()];
    let words = together(words);
    for word in words.split([' ', '\n', '\t']).filter(|w| !w.is_empty()) {
        let last = lines.last_mut().expect("there is one");
        let longer = if last.is_empty() { word.to_owned() } else { format!("{last} {word}") };
        if width_px(&longer, size, bold) <= room {
            *last = longer;
            continue;
        }
        if last.is_empty() {
            lines.pop();
        }
        let mut line = String::new();
        for c in word.chars() {
            line.push(c);
            if width_px(&line, size, bold) > room && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::replace(&mut line, c.to_string()));
            }
        }
        lines.push(line);
    }
    lines
}

/// A document as it is filled from top to bottom.
pub(super) struct Document {
    y: f64,
    inside: Vec<Markup>,
}

impl Document {
    pub(super) fn new() -> Self {
        Self { y: MARGIN, inside: Vec::new() }
    }

    /// Room left free.
    pub(super) fn space(&mut self, px: f64) {
        self.y += px;
    }

    /// How far down it is filled.
    pub(super) const fn down(&self) -> f64 {
        self.y
    }

    /// Goes on at that height, beside what is there already.
    pub(super) fn back_to(&mut self, y: f64) {
        self.y = y;
    }

    /// Words over the whole width.
    pub(super) fn say(&mut self, look: Look, words: &str) {
        self.say_in(look, words, MARGIN, INNER);
    }

    /// Words in a column.
    pub(super) fn say_in(&mut self, look: Look, words: &str, x: f64, room: f64) {
        if words.trim().is_empty() {
            return;
        }
        let size = look.size();
        for line in broken(words, room, size, look.bold()) {
            self.y += 1.32 * size;
            let baseline = tenth(self.y - 0.3 * size);
            self.inside.push(html! { text class=(look.class()) x=(tenth(x)) y=(baseline) { (line) } });
        }
    }

    /// That nobody was measured, in a frame.
    pub(super) fn invented(&mut self, words: &str) {
        self.space(8.0);
        let top = self.y;
        self.space(5.0);
        self.say_in(Look::Invented, words, MARGIN + 12.0, INNER - 24.0);
        self.space(5.0);
        self.inside.push(html! {
            rect class="s-frame" x=(tenth(MARGIN)) y=(tenth(top)) width=(tenth(INNER)) height=(tenth(self.y - top)) {}
        });
        self.space(4.0);
    }

    /// A line across.
    pub(super) fn rule(&mut self) {
        self.space(12.0);
        let (y, right) = (self.y, WIDTH - MARGIN);
        self.inside.push(html! { path class="s-rule" d=(format!("M{MARGIN:.1} {y:.1}H{right:.1}")) {} });
        self.space(4.0);
    }

    /// A drawing of that size.
    pub(super) fn draw(&mut self, svg: &str, x: f64, (_, height): Size) {
        let place = format!("translate({x:.1} {:.1})", self.y);
        self.inside.push(html! { g transform=(place) { (PreEscaped(svg)) } });
        self.y += height;
    }

    /// The document. `title` and `described` say in words what is seen.
    pub(super) fn finish(self, title: &str, described: &str) -> String {
        let (width, height) = (WIDTH, (self.y + MARGIN).ceil());
        let document = html! {
            svg xmlns="http://www.w3.org/2000/svg" version="1.1" width=(format!("{width:.0}")) height=(format!("{height:.0}"))
                viewBox=(format!("0 0 {width:.0} {height:.0}")) role="img" aria-labelledby="title desc" {
                title id="title" { (title) }
                desc id="desc" { (described) }
                style type="text/css" { (PreEscaped(style())) }
                rect class="s-paper" width="100%" height="100%" {}
                @for part in &self.inside { (part) "\n" }
            }
        };
        let text: String = document.into_string().chars().map(xml_char).collect();
        format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{text}\n")
    }
}

/// XML 1.0, section 2.2, has no control characters but tab and line ends; what would turn the reading direction is shown as
/// such too.
fn xml_char(c: char) -> char {
    match c {
        '\n' | '\t' => c,
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
        c if c.is_control() => '\u{fffd}',
        c => c,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_looks_are_the_reports() {
        let (root, _) = crate::report::STYLE.split_once('}').expect("a first rule");
        for (name, value) in LOOKS {
            assert!(root.contains(&format!("{name}: {value};")), "{name} is not {value} in the report");
        }
        let style = style();
        assert!(!style.contains("var("), "{style}");
        // Nothing that would end the element or need an escape.
        assert!(!style.contains(['<', '&']), "{style}");
    }

    #[test]
    fn lines_hold_all_words_and_fit() {
        let words = "one two three WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW four";
        let lines = broken(words, 120.0, 16.0, false);
        assert!(lines.iter().all(|l| width_px(l, 16.0, false) <= 120.0), "{lines:?}");
        let kept: String = lines.concat().split_whitespace().collect();
        assert_eq!(kept, words.split_whitespace().collect::<String>());
        assert_eq!(broken("to 40 ± 7 ms", 60.0, 16.0, false), ["to 40", "±\u{a0}7\u{a0}ms"]);
        assert_eq!(broken("", 120.0, 16.0, false), [""]);
    }

    #[test]
    fn nothing_that_xml_forbids_is_left() {
        let mut page = Document::new();
        page.say(Look::Text, "a\u{1}b\u{ffff}c <&> \u{202e}d");
        let document = page.finish("t\u{0}", "d");
        assert!(document.contains("a\u{fffd}b\u{fffd}c &lt;&amp;&gt; \u{fffd}d"), "{document}");
        assert!(document.contains("t\u{fffd}"), "{document}");
    }
}
