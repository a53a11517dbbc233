//! The Prometheus text exposition format, version 0.0.4.

use std::fmt::Write as _;

/// Its media type.
pub(super) const CONTENT_TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";

/// Whether a number may fall.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// It only grows, until the program starts anew.
    Counter,
    /// It goes up and down.
    Gauge,
}

/// A metric that is being written.
#[derive(Debug)]
pub(super) struct Metric<'a> {
    text: &'a mut String,
    name: &'static str,
}

/// Begins a metric behind the others of `text`. Counters end in `_total`.
pub(super) fn metric<'a>(text: &'a mut String, name: &'static str, kind: Kind, help: &str) -> Metric<'a> {
    let kind = match kind {
        Kind::Counter => "counter",
        Kind::Gauge => "gauge",
    };
    // Within a help text a backslash and the end of a line are escaped.
    let help = help.replace('\\', "\\\\").replace('\n', "\\n");
    let _ = write!(text, "# HELP {name} {help}\n# TYPE {name} {kind}\n");
    Metric { text, name }
}

impl Metric<'_> {
    /// Adds the value for these labels.
    #[must_use]
    pub(super) fn value(self, labels: &[(&str, &str)], value: f64) -> Self {
        self.text.push_str(self.name);
        for (i, (label, said)) in labels.iter().enumerate() {
            let said = said.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n");
            let _ = write!(self.text, "{}{label}=\"{said}\"", if i == 0 { "{" } else { "," });
        }
        if !labels.is_empty() {
            self.text.push('}');
        }
        // Rust writes f64 in a form that every parser of the format reads, but for its infinities.
        let _ = match value {
            f64::INFINITY => writeln!(self.text, " +Inf"),
            f64::NEG_INFINITY => writeln!(self.text, " -Inf"),
            value => writeln!(self.text, " {value}"),
        };
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Escapes as in the format's description (<https://prometheus.io/docs/instrumenting/exposition_formats>).
    #[test]
    fn what_would_end_a_label_or_a_help_text_is_escaped() {
        let mut text = String::new();
        let _ = metric(&mut text, "m", Kind::Gauge, "a\\b\nc")
            .value(&[("role", "say \"x\"\\\n"), ("b", "")], f64::INFINITY)
            .value(&[], 0.25);
        assert_eq!(
            text,
            "# HELP m a\\\\b\\nc\n# TYPE m gauge\nm{role=\"say \\\"x\\\"\\\\\\n\",b=\"\"} +Inf\nm 0.25\n"
        );
    }
}
