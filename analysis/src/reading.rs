//! How far the sessions of a large library are read.

use indicatif::{ProgressBar, ProgressStyle};
use std::time::{Duration, Instant};

/// What is done by then needs no bar.
const SOON: Duration = Duration::from_millis(500);

/// A bar on stderr, for a terminal only.
pub(crate) struct Bar {
    bar: ProgressBar,
    begun: Instant,
}

impl Bar {
    /// Not drawn for what is done at once.
    pub(crate) fn hidden_at_first() -> Self {
        let style = ProgressStyle::with_template("reading sessions  {bar:30}  {pos} of {len}, {eta} left");
        // The template is one that indicatif can read.
        let style = style.unwrap_or_else(|_| ProgressStyle::default_bar());
        Self { bar: ProgressBar::no_length().with_style(style), begun: Instant::now() }
    }

    /// `done` of `of` are read.
    pub(crate) fn at(&self, done: usize, of: usize) {
        if self.begun.elapsed() > SOON {
            self.bar.set_length(of as u64);
            self.bar.set_position(done as u64);
        }
    }

    /// All are read.
    pub(crate) fn end(self) {
        self.bar.finish_and_clear();
    }
}
