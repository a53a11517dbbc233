//! `--svg`: pictures to keep. What cannot be drawn is said with what to do instead.

use anyhow::Context as _;
use peakorder_analysis::compare::Comparison;
use peakorder_analysis::curves::CurveChange;
use peakorder_analysis::load::Loaded;
use peakorder_analysis::picture::{Sides, documents};
use peakorder_analysis::trend::Trend;

/// The blocks of a session.
pub(crate) fn of_blocks(loaded: &Loaded) -> anyhow::Result<String> {
    documents::blocks(loaded)
        .with_context(|| format!("{}: no swings, so there is nothing to draw", loaded.name()))
}

/// Before and after, with curves where they were asked for.
pub(crate) fn of_comparison(
    comparison: &Comparison,
    sides: Sides<'_>,
    along: Option<&CurveChange>,
) -> anyhow::Result<String> {
    documents::comparison(comparison, sides, along).context(
        "the two sides have no number in common, so there is nothing to draw; without --svg it is said why",
    )
}

/// A block over sessions.
pub(crate) fn of_trend(trend: &Trend) -> anyhow::Result<String> {
    documents::trend(trend).with_context(|| match trend.sessions.as_slice() {
        [_] => {
            "one session only: a trend begins with the next; peakorder show FOLDER:BLOCK --svg draws this one"
                .to_owned()
        }
        _ => "no number was measured alike in two sessions, so there is nothing to draw".to_owned(),
    })
}
