//! One further swing of a player who did not change: how often is it called beyond ordinary?

use crate::Extent;
use crate::numbers::{Count, Dice, on_all_cores};
use peakorder_analysis::stats::{Rule, Series, next};
use std::fmt::Write as _;

pub(crate) fn section(extent: Extent) -> String {
    let mut text = String::from(
        "## One swing against the baseline\n\nNothing changed: % of swings beyond ordinary in one or more of the three measures meant, by \
         swings of the baseline; the swing comes 1 to 16 swings after it.\n\n\
         | correlation | drift over all | 5 | 8 | 16 | 30 |\n|---|---|---|---|---|---|\n",
    );
    for correlation in [0.0, 0.2, 0.4, 0.6] {
        for drift in [0.0, 1.0] {
            let _ = write!(text, "| {correlation} | {drift} |");
            for baseline in [5, 8, 16, 30] {
                let _ = write!(text, " {} |", cell(extent, baseline, correlation, drift).text());
            }
            text.push('\n');
        }
    }
    text
}

fn cell(extent: Extent, baseline: usize, correlation: f64, drift: f64) -> Count {
    const AFTER: usize = 16;
    const MEANT: usize = 3;
    let lessons = on_all_cores(0..(extent.lessons / 4) as u64, |seed| {
        let series = Dice::new(3_000_000 + seed).series(baseline + AFTER, correlation, drift);
        let places: Vec<f64> = (1..=baseline).map(|i| i as f64).collect();
        let mut count = Count::default();
        for later in 0..AFTER {
            let beyond = series.iter().take(MEANT).any(|values| {
                let before = Series { values: &values[..baseline], places: &places };
                next(before, (baseline + 1 + later) as f64, &Rule::standard())
                    .is_some_and(|n| n.two_sided_p(values[baseline + later]) < 0.05 / MEANT as f64)
            });
            count.add(beyond);
        }
        count
    });
    let mut sum = Count::default();
    for count in lessons {
        sum.yes += count.yes;
        sum.of += count.of;
    }
    sum
}
