//! How often the comparison of curves, the test of orders and the flag on swings raise a false alarm, and what they find.
//!
//! `cargo bench -p peakorder-analysis --bench blocks` writes `benches/BLOCKS.md`; `-- --quick` looks at a tenth, and
//! `-- --only curves`, `orders` or `flags` at one part; they write nothing. Swings here are drawn by this file alone: smooth random curves, normal gaps, normal measures, with
//! AR(1) correlation from swing to swing and a linear drift over the lesson, in SDs of a swing.

use chacha20::ChaCha8Rng;
use peakorder_analysis::curves::align::{IMPACT, Landmarks, POINTS, TOP};
use peakorder_analysis::curves::{Curve, CurveVerdict, Kind, SwingCurves, compare};
use peakorder_analysis::outliers::far_out;
use peakorder_analysis::stats::{independence, rotated_max_t, wilson};
use peakorder_protocol::Role;
use peakorder_protocol::swing::SpeedKind;
use rand::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};
use std::fmt::Write as _;

const CORRELATIONS: [f64; 4] = [0.0, 0.2, 0.4, 0.6];
const DRIFTS: [f64; 3] = [0.0, 0.5, 1.0];
const DESIGNS: [(&str, &str); 5] = [
    ("8 + 8", "AAAAAAAABBBBBBBB"),
    ("20 + 20", "AAAAAAAAAAAAAAAAAAAABBBBBBBBBBBBBBBBBBBB"),
    ("6–8–6", "AAAAAABBBBBBBBAAAAAA"),
    ("4 × 5", "AAAABBBBAAAABBBBAAAA"),
    ("4 × 8", "AAAABBBBAAAABBBBAAAABBBBAAAABBBB"),
];

struct Draw(ChaCha8Rng);

impl Draw {
    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// `n` values with correlation `rho` from one to the next, mean 0, SD 1, plus a drift of `drift` in all.
    fn series(&mut self, n: usize, rho: f64, drift: f64) -> Vec<f64> {
        let mut last = self.normal();
        let mut values = Vec::with_capacity(n);
        for i in 0..n {
            if i > 0 {
                last = rho * last + (1.0 - rho * rho).sqrt() * self.normal();
            }
            values.push(last + drift * (i as f64 / (n - 1) as f64 - 0.5));
        }
        values
    }
}

/// Smooth functions along the swing whose squares add up to 1 at every point: eight humps.
fn basis() -> Vec<Vec<f64>> {
    const HUMPS: usize = 8;
    let raw: Vec<Vec<f64>> = (0..HUMPS)
        .map(|k| {
            let middle = k as f64 * (POINTS - 1) as f64 / (HUMPS - 1) as f64;
            (0..POINTS).map(|i| (-((i as f64 - middle) / 14.0).powi(2)).exp()).collect()
        })
        .collect();
    let size: Vec<f64> = (0..POINTS).map(|i| raw.iter().map(|r| r[i] * r[i]).sum::<f64>().sqrt()).collect();
    raw.iter().map(|r| r.iter().zip(&size).map(|(v, s)| v / s).collect()).collect()
}

/// A lesson's swings: one curve each, SD 1 at every point; the second side is `shift` higher in most of the downswing.
fn lesson(
    draw: &mut Draw,
    basis: &[Vec<f64>],
    design: &str,
    rho: f64,
    drift: f64,
    shift: f64,
) -> Vec<SwingCurves> {
    let n = design.len();
    let mut curves = vec![vec![vec![0.0; POINTS]; n]; 1];
    for curve in &mut curves {
        for hump in basis {
            for (row, weight) in curve.iter_mut().zip(draw.series(n, rho, 0.0)) {
                row.iter_mut().zip(hump).for_each(|(v, h)| *v += weight * h);
            }
        }
        for (i, row) in curve.iter_mut().enumerate() {
            let by = drift * (i as f64 / (n - 1) as f64 - 0.5);
            for v in row.iter_mut() {
                *v += by;
            }
        }
    }
    let marks = Landmarks { takeaway_s: 0.0, top_s: 0.8, impact_s: 1.1 };
    let of = |role| Curve { role, kind: Kind::Speed };
    design
        .chars()
        .enumerate()
        .map(|(i, side)| {
            if side == 'B' {
                curves[0][i][TOP + 20..IMPACT].iter_mut().for_each(|v| *v += shift);
            }
            let found = [Role::Pelvis].into_iter().zip(&curves);
            SwingCurves {
                number: i as u32 + 1,
                marks: Some(marks),
                found: found.map(|(r, c)| (of(r), Some(SpeedKind::Axial), c[i].clone())).collect(),
                missing: Vec::new(),
            }
        })
        .collect()
}

/// Shares of lessons in which anything differs: by deals alone, and as it is printed.
fn alarms(runs: usize, design: &str, rho: f64, drift: f64, shift: f64) -> [usize; 2] {
    let mut draw = Draw(ChaCha8Rng::seed_from_u64(
        (rho * 100.0) as u64 + 1000 * (drift * 10.0) as u64 + 100_000 * design.len() as u64,
    ));
    let basis = basis();
    let mut hits = [0; 2];
    for _ in 0..runs {
        let swings = lesson(&mut draw, &basis, design, rho, drift, shift);
        let side = |which: char| -> Vec<SwingCurves> {
            swings.iter().zip(design.chars()).filter(|(_, c)| *c == which).map(|(s, _)| s.clone()).collect()
        };
        let change = compare(&side('A'), &side('B'), true).expect("enough swings");
        let mut stretches = change.curves.iter().flat_map(|c| &c.stretches);
        hits[0] += usize::from(stretches.clone().next().is_some());
        hits[1] += usize::from(stretches.any(|s| s.verdict == CurveVerdict::Differ));
    }
    hits
}

fn percent(count: usize, of: usize) -> String {
    let (low, high) = wilson(count, of).expect("runs");
    format!("{:.1} ({:.1}–{:.1})", 100.0 * count as f64 / of as f64, 100.0 * low, 100.0 * high)
}

fn curves(out: &mut String, runs: usize) {
    let _ = writeln!(
        out,
        "## Curves\n\nShare of {runs} lessons, per cent with its 95 % interval, in which a difference is called anywhere along a \
         curve although there is none: by dealing out alone, and as printed (*differs*: drift and dependence allowed for, or \
         whole runs dealt out). Last column: as printed, where the second side is 2 SD higher in the last 60 % of the \
         downswing.\n\n| design | correlation | drift | dealt | printed | found, 2 SD |\n|---|---|---|---|---|---|"
    );
    for (name, design) in DESIGNS {
        for rho in CORRELATIONS {
            for drift in DRIFTS {
                let [dealt, printed] = alarms(runs, design, rho, drift, 0.0);
                let found = if drift == 0.5 {
                    percent(alarms(runs, design, rho, drift, 2.0)[1], runs)
                } else {
                    String::new()
                };
                let _ = writeln!(
                    out,
                    "| {name} | {rho} | {drift} | {} | {} | {found} |",
                    percent(dealt, runs),
                    percent(printed, runs)
                );
            }
        }
        eprintln!("curves, {name}");
    }
}

fn orders(out: &mut String, runs: usize) {
    let _ = writeln!(
        out,
        "\n## Orders\n\nShare of {runs} lessons, per cent, in which a difference in orders is called (p < 0.05) although there is \
         none: by the exact test, then as printed (*differ*: drift and dependence allowed for). The order follows from two gaps, each \
         with its own correlation from swing to swing and drift; a gap within ± 0.3 SD is a tie. Last column: as printed, where the gaps \
         of the second side are 2 SD longer.\n\n| design | correlation | drift | exact | printed | found, 2 SD |\n|---|---|---|---|---|---|"
    );
    let mut draw = Draw(ChaCha8Rng::seed_from_u64(7));
    for (name, design) in [DESIGNS[0], DESIGNS[1], DESIGNS[2], DESIGNS[3]] {
        let sides: Vec<bool> = design.chars().map(|c| c == 'B').collect();
        let places: Vec<f64> = (0..sides.len()).map(|i| i as f64).collect();
        for rho in CORRELATIONS {
            for drift in DRIFTS {
                let mut called = |shift: f64| {
                    let mut hits = [0; 2];
                    for _ in 0..runs {
                        let gaps = [0, 1].map(|_| draw.series(sides.len(), rho, drift));
                        let score = |g: f64| {
                            if g > 0.3 {
                                1.0
                            } else if g < -0.3 {
                                -1.0
                            } else {
                                0.0
                            }
                        };
                        let mut table = [[0; 9]; 2];
                        let mut scores = Vec::new();
                        for (i, side) in sides.iter().enumerate() {
                            let of = |g: &Vec<f64>| score(g[i] + if *side { shift } else { 0.0 });
                            let (a, b) = (of(&gaps[0]), of(&gaps[1]));
                            table[usize::from(*side)][(3.0 * (a + 1.0) + b + 1.0) as usize] += 1;
                            scores.push(vec![a, b]);
                        }
                        let exact = independence(&table[0], &table[1]).is_some_and(|t| t.p < 0.05);
                        hits[0] += usize::from(exact);
                        hits[1] += usize::from(
                            exact
                                && rotated_max_t(&scores, &sides, &places)
                                    .is_some_and(|r| r.largest_p() < 0.05),
                        );
                    }
                    hits
                };
                let [exact, printed] = called(0.0);
                let found = if drift == 0.5 { percent(called(2.0)[1], runs) } else { String::new() };
                let _ = writeln!(
                    out,
                    "| {name} | {rho} | {drift} | {} | {} | {found} |",
                    percent(exact, runs),
                    percent(printed, runs)
                );
            }
        }
    }
}

fn outliers(out: &mut String, blocks: usize) {
    const MEASURES: usize = 36;
    let _ = writeln!(
        out,
        "\n## Swings unlike the others\n\nShare of {blocks} clean blocks, per cent, in which any swing is flagged in any of {MEASURES} \
         measures that have nothing to do with each other; real measures have, so that it is less. Last columns: share of blocks in \
         which a swing that is 12 SD off in one measure is flagged, and the same where two swings are.\n\n| swings | independent | \
         correlation 0.4 | drift 1 SD | found, one at 12 SD | of two at 12 SD |\n|---|---|---|---|---|---|"
    );
    let mut draw = Draw(ChaCha8Rng::seed_from_u64(11));
    let alpha = 0.05 / MEASURES as f64;
    for n in [5, 6, 8, 10, 12, 16, 20, 30, 40, 60] {
        let mut clean = |rho: f64, drift: f64| {
            let any =
                |_: &usize| (0..MEASURES).any(|_| !far_out(&draw.series(n, rho, drift), alpha).is_empty());
            percent((0..blocks).filter(any).count(), blocks)
        };
        let mut cells = vec![clean(0.0, 0.0), clean(0.4, 0.0), clean(0.0, 1.0)];
        for off in [1, 2] {
            let found = |_: &usize| {
                let mut values = draw.series(n, 0.0, 0.0);
                values[..off].iter_mut().for_each(|v| *v += 12.0);
                far_out(&values, alpha).contains(&0)
            };
            cells.push(percent((0..blocks).filter(found).count(), blocks));
        }
        let _ = writeln!(out, "| {n} | {} |", cells.join(" | "));
    }
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let quick = arguments.iter().any(|a| a == "--quick");
    let only = arguments.iter().position(|a| a == "--only").and_then(|at| arguments.get(at + 1));
    let runs = if quick { 50 } else { 500 };
    let mut out = String::from(
        "# False alarms of curves, orders and flags\n\nWritten by `cargo bench -p peakorder-analysis --bench blocks`. All drawn, no \
         real swings. Correlation is from one swing to the next, drift over the lesson, shifts in SDs of a swing.\n\n",
    );
    type Section = (&'static str, fn(&mut String, usize), usize);
    let sections: [Section; 3] =
        [("curves", curves, runs * 3 / 5), ("orders", orders, 4 * runs), ("flags", outliers, 10 * runs)];
    for (name, section, runs) in sections {
        if only.is_none_or(|only| only == name) {
            section(&mut out, runs);
        }
    }
    if quick || only.is_some() {
        print!("{out}");
    } else {
        std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/BLOCKS.md"), out)
            .expect("a writable folder");
    }
}
