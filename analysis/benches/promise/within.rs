//! Within a lesson: swings that resemble their neighbours and drift, in the orders that are proposed.

use crate::Extent;
use crate::numbers::{Count, Dice, MEASURES, on_all_cores};
use peakorder_analysis::design::{PROPOSALS, Proposal};
use peakorder_analysis::stats::{Change, Rule, Series, change, holm};
use std::fmt::Write as _;

const CORRELATIONS: [f64; 4] = [0.0, 0.2, 0.4, 0.6];
const DRIFTS: [f64; 3] = [0.0, 0.5, 1.0];
const MEANT: [usize; 3] = [1, 3, 5];
const SHIFTS: [f64; 4] = [1.0, 1.5, 2.0, 3.0];
const LEVEL: f64 = 0.05;
/// Differences from 0 at which power is looked up, to find where it is 80 %.
const STEPS: usize = 60;

fn lesson(design: Proposal, seed: u64, correlation: f64, drift: f64) -> Vec<Change> {
    let sides = design.sides();
    let places: Vec<f64> = (1..=sides.len()).map(|i| i as f64).collect();
    let series = Dice::new(seed).series(sides.len(), correlation, drift);
    let rule = Rule::standard();
    series
        .iter()
        .map(|values| change(Series { values, places: &places }, &sides, &rule).expect("numbers that vary"))
        .collect()
}

/// p of the first `meant` measures; the first is really shifted by `shift`.
fn p_values(changes: &[Change], meant: usize, shift: f64) -> Vec<f64> {
    // A shift of the later side moves the estimate by as much and leaves all else as it is.
    let p = |(i, c): (usize, &Change)| c.difference.two_sided_p(if i == 0 { -shift } else { 0.0 });
    changes.iter().take(meant).enumerate().map(p).collect()
}

pub(crate) fn section(extent: Extent) -> String {
    let mut text = String::from(
        "## Within a lesson\n\nNumbers drawn: an autoregressive series with the correlation given, a linear drift by so many \
         standard deviations (SD) from the first swing to the last, five measures that have three tenths of their variance in common. \
         Nothing changed: % of lessons with one or more \"changed\", for 1, 3 and 5 measures meant; worst over \
         correlations 0, 0.2, 0.4, 0.6 and drifts 0, 0.5, 1 SD, and where.\n\n\
         | order | 1 | 3 | 5 | interval holds the truth, least and most | worst at |\n|---|---|---|---|---|---|\n",
    );
    let mut all = String::from(
        "\nEvery cell, % (1 / 3 / 5 measures meant):\n\n| order | drift | 0 | 0.2 | 0.4 | 0.6 |\n|---|---|---|---|---|---|\n",
    );
    for design in PROPOSALS {
        let mut worst = [Count::default(); 3];
        let mut where_worst = (0.0, 0.0);
        let mut held = (100.0_f64, 0.0_f64);
        for drift in DRIFTS {
            let _ = write!(all, "| {} | {drift} |", design.key);
            for correlation in CORRELATIONS {
                let lessons = on_all_cores(0..extent.lessons as u64, |seed| {
                    let changes = lesson(design, 1_000_000 + seed, correlation, drift);
                    let p = p_values(&changes, MEASURES, 0.0);
                    let alarms = MEANT.map(|m| holm(&p[..m]).iter().any(|p| *p < LEVEL));
                    (alarms, p[0] >= LEVEL)
                });
                let mut counts = [Count::default(); 3];
                let mut holds = Count::default();
                for (alarms, held) in lessons {
                    counts.iter_mut().zip(alarms).for_each(|(c, a)| c.add(a));
                    holds.add(held);
                }
                held = (held.0.min(holds.percent()), held.1.max(holds.percent()));
                for (worst, count) in worst.iter_mut().zip(counts) {
                    if count.percent() >= worst.percent() {
                        *worst = count;
                        where_worst = (correlation, drift);
                    }
                }
                let _ = write!(
                    all,
                    " {:.1} / {:.1} / {:.1} |",
                    counts[0].percent(),
                    counts[1].percent(),
                    counts[2].percent()
                );
            }
            all.push('\n');
        }
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {:.1} – {:.1} | correlation {}, drift {} |",
            design.key,
            worst[0].text(),
            worst[1].text(),
            worst[2].text(),
            held.0,
            held.1,
            where_worst.0,
            where_worst.1
        );
    }
    text.push_str(&all);
    text.push_str(&power(extent));
    text
}

fn power(extent: Extent) -> String {
    let mut text = String::from(
        "\nA change in the first measure by so many SD: % found (no drift), for 1, 3 and 5 measures meant; and the change that is \
         found 8 times in 10.\n\n| order | correlation | meant | 1 | 1.5 | 2 | 3 | 8 in 10 |\n|---|---|---|---|---|---|---|---|\n",
    );
    for design in PROPOSALS {
        for correlation in [0.0, 0.4] {
            let lessons = on_all_cores(0..extent.lessons as u64, |seed| {
                lesson(design, 2_000_000 + seed, correlation, 0.0)
            });
            for meant in MEANT {
                let found = |shift: f64| {
                    let mut count = Count::default();
                    for changes in &lessons {
                        count.add(holm(&p_values(changes, meant, shift))[0] < LEVEL);
                    }
                    count.percent()
                };
                let _ = write!(text, "| {} | {correlation} | {meant} |", design.key);
                for shift in SHIFTS {
                    let _ = write!(text, " {:.0} |", found(shift));
                }
                let (mut low, mut high) = (0, STEPS);
                while high - low > 1 {
                    let middle = usize::midpoint(low, high);
                    if found(middle as f64 / 10.0) >= 80.0 { high = middle } else { low = middle }
                }
                let _ = writeln!(text, " {:.1} |", high as f64 / 10.0);
            }
        }
    }
    text
}
