//! Between lessons: what a session shares drawn anew for each, and swings that resemble their neighbours.

use crate::Extent;
use crate::numbers::{Count, Dice, on_all_cores};
use peakorder_analysis::stats::lessons::{Scatter, SessionMean, Shared, against, stated_factor};
use peakorder_analysis::stats::{Rule, Series, level};
use std::fmt::Write as _;

/// What is there before the new lesson.
#[derive(Debug, Clone, Copy)]
struct History {
    name: &'static str,
    lessons: usize,
    checks: usize,
}

const HISTORIES: [History; 5] = [
    History { name: "one lesson before", lessons: 1, checks: 0 },
    History { name: "one, and one check with the straps put on anew", lessons: 1, checks: 1 },
    History { name: "two", lessons: 2, checks: 0 },
    History { name: "three", lessons: 3, checks: 0 },
    History { name: "five", lessons: 5, checks: 0 },
];

const TRUE_SHARES: [f64; 4] = [0.7, 1.0, 1.5, 2.0];
const SWINGS: [usize; 3] = [8, 16, 60];
const CHANGES: [f64; 3] = [2.0, 3.0, 4.0];
/// Measures of one set of straps.
const MEASURES: usize = 15;
/// Correlation of neighbouring swings.
const CORRELATION: f64 = 0.2;

pub(crate) fn section(extent: Extent) -> String {
    let mut text = String::from(
        "## Between lessons\n\nNumbers drawn: fifteen measures; what a session shares has a standard deviation as large as that between swings, and the \
         stated one is too small by the factor given. Swings correlate by 0.2. Nothing changed: % called changed if that \
         measure alone is meant, with 8 / 16 / 60 swings a session; then % of true changes found (in stated standard deviations of what a session shares, \
         stated one right, 16 swings).\n\n\
         | history | × 0.7 | × 1 | × 1.5 | × 2 | 2 SD | 3 SD | 4 SD |\n|---|---|---|---|---|---|---|---|\n",
    );
    for history in HISTORIES {
        let _ = write!(text, "| {} |", history.name);
        for share in TRUE_SHARES {
            let cells: Vec<String> = SWINGS
                .iter()
                .map(|&n| format!("{:.1}", cell(extent, history, n, share, &[0.0])[0].percent()))
                .collect();
            let _ = write!(text, " {} |", cells.join(" / "));
        }
        for count in cell(extent, history, 16, 1.0, &CHANGES) {
            let _ = write!(text, " {:.0} |", count.percent());
        }
        text.push('\n');
    }
    text
}

/// Means of a session of `n` swings in every measure.
fn session(dice: &mut Dice, n: usize, share: f64, places: &[f64]) -> Vec<SessionMean> {
    // What a session shares has three tenths of its variance in common too.
    let common = dice.normal();
    let shared: Vec<f64> =
        (0..MEASURES).map(|_| share * (0.3_f64.sqrt() * common + 0.7_f64.sqrt() * dice.normal())).collect();
    let series: Vec<Vec<f64>> = (0..3).flat_map(|_| dice.series(n, CORRELATION, 0.0)).collect();
    series
        .iter()
        .zip(shared)
        .map(|(values, shift)| {
            let level = level(Series { values, places }, &Rule::standard()).expect("numbers that vary");
            let mean = values.iter().sum::<f64>() / n as f64 + shift;
            let sd = peakorder_analysis::stats::sd(values).expect("several swings");
            SessionMean { mean, variance: level.likely_variance, least_variance: sd * sd / n as f64 }
        })
        .collect()
}

fn cell(extent: Extent, history: History, n: usize, share: f64, changes: &[f64]) -> Vec<Count> {
    let places: Vec<f64> = (1..=n).map(|i| i as f64).collect();
    let lessons = on_all_cores(0..(extent.lessons / 2) as u64, |seed| {
        let mut dice = Dice::new(4_000_000 + seed);
        let earlier: Vec<_> = (0..history.lessons).map(|_| session(&mut dice, n, share, &places)).collect();
        let checks: Vec<[_; 2]> = (0..history.checks)
            .map(|_| std::array::from_fn(|_| session(&mut dice, 8, share, &places[..8])))
            .collect();
        let new = session(&mut dice, n, share, &places);
        let of = |m: usize| -> (Vec<SessionMean>, Scatter) {
            let means: Vec<SessionMean> = earlier.iter().map(|s| s[m]).collect();
            let worn: Vec<[SessionMean; 2]> = checks.iter().map(|c| [c[0][m], c[1][m]]).collect();
            let mut groups: Vec<&[SessionMean]> = vec![&means];
            groups.extend(worn.iter().map(<[_; 2]>::as_slice));
            let scatter = Scatter::of(&groups);
            (means, scatter)
        };
        let told: Vec<(Scatter, f64)> = (0..MEASURES).map(|m| (of(m).1, 1.0)).collect();
        let (means, scatter) = of(0);
        let shared = Shared { stated_sd: 1.0, factor: stated_factor(&told), scatter };
        let belief = against(new[0], &means, &shared).expect("an earlier lesson");
        changes.iter().map(|c| belief.two_sided_p(-c) < 0.05).collect::<Vec<bool>>()
    });
    let mut counts = vec![Count::default(); changes.len()];
    for found in lessons {
        counts.iter_mut().zip(found).for_each(|(c, f)| c.add(f));
    }
    counts
}
