//! Virtual players through the whole chain: the same player, other days, nothing changed.
//!
//! Each pair is of sessions of one player who does not change: straps put on anew, clocks, gyroscopes and swings by the day.

use crate::Extent;
use crate::numbers::{Count, on_all_cores};
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::compare::{Comparison, Question, Verdict, answer};
use peakorder_analysis::load::Loaded;
use peakorder_analysis::measure::Measure;
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::Role::{LeadArm, Pelvis, Thorax};
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_protocol::swing::Swing;
use peakorder_virtual_straps::{
    LinkModel, PlayerParams, Population, PracticeOptions, Script, Sliding, StrapOptions, virtual_session,
};
use std::fmt::Write as _;

/// What a lesson about the turn and the order may be about.
const MEANT: [Measure; 5] = [
    Measure::TurnAtTop(Pelvis),
    Measure::TurnAtTop(Thorax),
    Measure::Gap(Pelvis, Thorax),
    Measure::Gap(Thorax, LeadArm),
    Measure::PeakSpeed(Thorax),
];

/// Sessions that are compared with one another by pairs, of so many players.
const PLAYERS: u64 = 25;

/// How a day of a player is drawn.
#[derive(Debug, Clone, Copy, Default)]
struct Day {
    swings: u32,
    correlation: f64,
    drift: f64,
    skin_deg: f64,
}

/// One day of a player, as a session that was loaded.
fn session(player: u64, number: u64, day: Day) -> Loaded {
    let options = PracticeOptions {
        correlation: day.correlation,
        drift: day.drift,
        pause_s: (0.5, 1.0),
        still_s: (0.7, 1.0),
        waggles: false,
        ..PracticeOptions::default()
    };
    let straps = StrapOptions {
        link: LinkModel { fail: 0.0, bursts_per_min: 0.0, drop: 0.0, ..LinkModel::normal() },
        sliding: (day.skin_deg > 0.0).then(|| Sliding::of_size(day.skin_deg)),
        ..StrapOptions::default()
    };
    let params = PlayerParams::drawn_from(Population::Amateur, player);
    let script = Script::practice(number, params, day.swings, &options).with_straps(straps);
    let who = Player { handedness: script.player().handedness, ..Player::default() };
    let meta = virtual_session(&script, &format!("{player}-{number}"), who, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&meta).expect("the virtual session is valid");
    let mut outputs = Vec::new();
    for record in script.session().records() {
        pipeline.push(&record, &mut outputs);
    }
    pipeline.finish(&mut outputs);
    let swings: Vec<Swing> = outputs
        .into_iter()
        .filter_map(|o| if let Output::Swing(swing, _) = o { Some(*swing) } else { None })
        .collect();
    Loaded {
        dir: SessionDir::at(std::path::Path::new("")),
        session: meta,
        block: None,
        blocks: vec![String::new()],
        swings,
        repetitions: Vec::new(),
        problems: Vec::new(),
        remarks: Remarks::default(),
        mobility: Vec::new(),
        notices: Vec::new(),
        coded_as: None,
    }
}

/// The swings from number `from` to `to`, as a block.
fn part(loaded: &Loaded, from: u32, to: u32) -> Loaded {
    let mut part = loaded.clone();
    part.swings.retain(|s| (from..=to).contains(&s.number));
    part
}

fn families() -> [Family; 4] {
    let chosen = |n: usize| Family::Only(MEANT[..n].iter().map(|m| Chosen::of(*m)).collect());
    [chosen(1), chosen(3), chosen(5), Family::All]
}

/// What comparisons of unchanged players came to.
#[derive(Debug, Clone, Default)]
struct Outcome {
    /// "Changed" in anything, by family.
    changed: [Count; 4],
    /// "Perhaps" in anything, where nothing was meant beforehand.
    perhaps: Count,
    /// Intervals that hold no difference, by measure of [`MEANT`], and of all measures.
    holds: [Count; 6],
    /// The least of any single measure, for its coverage: counts by place in [`Measure::ALL`].
    each: Vec<Count>,
}

impl Outcome {
    fn of(question: &dyn Fn(&Family) -> Comparison) -> Self {
        let mut outcome = Self { each: vec![Count::default(); Measure::ALL.len()], ..Self::default() };
        for (i, family) in families().iter().enumerate() {
            let comparison = question(family);
            let any = |v: Verdict| comparison.rows.iter().any(|r| r.verdict == v);
            outcome.changed[i].add(any(Verdict::Changed));
            if matches!(family, Family::All) {
                outcome.perhaps.add(any(Verdict::Perhaps));
                for row in &comparison.rows {
                    let Some((low, high)) = row.interval else { continue };
                    let holds = low <= 0.0 && high >= 0.0;
                    outcome.holds[MEANT.len()].add(holds);
                    if let Some(at) = MEANT.iter().position(|m| *m == row.measure) {
                        outcome.holds[at].add(holds);
                    }
                    if let Some(at) = Measure::ALL.iter().position(|m| *m == row.measure) {
                        outcome.each[at].add(holds);
                    }
                }
            }
        }
        outcome
    }

    fn add(&mut self, other: &Self) {
        let join = |a: &mut Count, b: &Count| {
            a.yes += b.yes;
            a.of += b.of;
        };
        self.changed.iter_mut().zip(&other.changed).for_each(|(a, b)| join(a, b));
        self.holds.iter_mut().zip(&other.holds).for_each(|(a, b)| join(a, b));
        self.each.resize(Measure::ALL.len(), Count::default());
        self.each.iter_mut().zip(&other.each).for_each(|(a, b)| join(a, b));
        join(&mut self.perhaps, &other.perhaps);
    }

    fn row(&self, name: &str) -> String {
        let mut text = format!("| {name} |");
        for count in self.changed.iter().chain([&self.perhaps]) {
            let _ = write!(text, " {} |", count.text());
        }
        let measured: Vec<f64> = self.each.iter().filter(|c| c.of > 0).map(|c| c.percent()).collect();
        let lowest = Measure::ALL
            .into_iter()
            .zip(&self.each)
            .filter(|(_, c)| c.of > 0)
            .min_by(|a, b| a.1.percent().total_cmp(&b.1.percent()));
        let least = lowest.map_or("–".into(), |(m, c)| format!("{:.1} ({})", c.percent(), m.label()));
        let within = measured.iter().filter(|p| (93.0..=98.0).contains(*p)).count();
        let above = measured.iter().filter(|p| **p > 98.0).count();
        let _ = write!(
            text,
            " {:.1} | {least} | {within} of {}, {above} above |",
            self.holds[MEANT.len()].percent(),
            measured.len()
        );
        text
    }
}

fn sum(outcomes: Vec<Outcome>) -> Outcome {
    let mut sum = Outcome::default();
    for outcome in outcomes {
        sum.add(&outcome);
    }
    sum
}

fn asked(
    before: &Loaded,
    also: &[Loaded],
    after: &Loaded,
    checks: &[Vec<Loaded>],
    family: &Family,
) -> Comparison {
    answer(Question { before, also_before: also, after, worn_anew: checks, family })
        .expect("swings on both sides")
}

pub(crate) fn section(extent: Extent) -> String {
    const HEAD: &str = "| situation | 1 meant | 3 meant | 5 meant | nothing meant | \"perhaps\" in anything, nothing meant | intervals \
        that hold no difference, all measures | least of a measure | measures with 93 to 98 % |\n|---|---|---|---|---|---|---|---|---|\n";
    let mut text = format!(
        "## Virtual players, the whole chain\n\n{} pairs a row, of {PLAYERS} players who do not change: % of pairs with \"changed\" in anything. \
         Meant, in this order: {}.\n\n### Within one session\n\n{HEAD}",
        extent.pairs,
        MEANT.map(Measure::label).join(", ")
    );
    for (correlation, drift) in [(0.0, 0.0), (0.2, 0.0), (0.4, 0.0), (0.0, 1.0), (0.4, 1.0)] {
        let day = Day { swings: 16, correlation, drift, ..Day::default() };
        let outcome = sum(on_all_cores(0..extent.pairs as u64, |i| {
            let session = session(i % PLAYERS, 10_000 + i, day);
            let (before, after) = (part(&session, 1, 8), part(&session, 9, 16));
            Outcome::of(&|family| asked(&before, &[], &after, &[], family))
        }));
        let _ =
            writeln!(text, "{}", outcome.row(&format!("8 + 8, correlation {correlation}, drift {drift} SD")));
    }
    let _ = write!(text, "\n### Between sessions\n\n{HEAD}");
    for (skin_deg, sizes) in [(0.0, &[8_u32, 16, 60][..]), (4.5, &[8, 16])] {
        let most = sizes.iter().copied().max().unwrap_or(0);
        // Of every five days of a player: pairs, three before one, and a check with the straps put on anew.
        let rows = on_all_cores(0..extent.pairs as u64, |i| {
            let day = |n: u64, swings: u32| {
                session(i % PLAYERS, 100_000 + 10 * i + n, Day { swings, skin_deg, ..Day::default() })
            };
            let (before, after) = (day(0, most), day(1, most));
            let others = [day(2, 16), day(3, 16)];
            let check = vec![vec![day(4, 8), day(5, 8)]];
            let mut outcomes: Vec<(String, Outcome)> = Vec::new();
            for &n in sizes {
                let (b, a) = (part(&before, 1, n), part(&after, 1, n));
                outcomes.push((format!("{n} + {n}"), Outcome::of(&|f| asked(&b, &[], &a, &[], f))));
                if n == 16 {
                    outcomes.push((
                        "16 + 16, one check with the straps put on anew".into(),
                        Outcome::of(&|f| asked(&b, &[], &a, &check, f)),
                    ));
                    outcomes.push((
                        "16 against three sessions of 16".into(),
                        Outcome::of(&|f| asked(&b, &others, &a, &[], f)),
                    ));
                }
            }
            outcomes
        });
        let names: Vec<String> = rows.first().map_or(Vec::new(), |r| r.iter().map(|o| o.0.clone()).collect());
        for (at, name) in names.iter().enumerate() {
            let outcome = sum(rows.iter().map(|r| r[at].1.clone()).collect());
            let skin = if skin_deg > 0.0 {
                format!("{name}, skin that slides {skin_deg}°, another amount each day (SD 2°)")
            } else {
                name.clone()
            };
            let _ = writeln!(text, "{}", outcome.row(&skin));
        }
    }
    text
}
