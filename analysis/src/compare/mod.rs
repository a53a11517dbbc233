//! Before against after: is a change larger than the player's ordinary variation?
//!
//! Within one wearing swings are a series whose neighbours resemble each other and which may drift
//! ([`stats::change`](crate::stats::change)). Between sessions the straps are put on anew, which shifts all numbers of a session alike
//! ([`stats::lessons`](crate::stats::lessons)). Verdicts are given for the measures that were meant beforehand; of all others the few
//! that chance alone does not explain are called "perhaps".

mod judge;
mod more;
mod notes;
mod verdict;

pub use more::{How, More, POWER};
pub use verdict::Verdict;

use crate::chosen::Family;
use crate::design::Design;
use crate::load::{Loaded, NO_BLOCK};
use crate::measure::Measure;
use crate::order_change::OrderChange;
use crate::outliers::{Flag, outliers};
use crate::stats::lessons::SessionMean;
use crate::stats::{Dependence, LEVEL, false_discovery_known, holm_known, t_quantile};
use crate::summary::{BlockSummary, MeasureSummary, summarise, summarise_of};
use crate::wearing::Kind;
use judge::Pair;
use peakorder_protocol::session::Player;
use peakorder_protocol::swing::Swing;
use std::collections::BTreeSet;
use std::fmt;

/// The level at which an adjusted p is judged.
pub(crate) const ALPHA: f64 = 1.0 - LEVEL;

/// Of the numbers that were only looked through, such a share of those called "perhaps" may be there by chance.
pub const FALSE_DISCOVERIES: f64 = 0.1;

/// One side of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// As the user named it.
    pub name: String,
    /// The block's label, `all blocks`, or what stands for no block.
    pub title: String,
    /// Session id.
    pub session: String,
    /// Who swung.
    pub player: Player,
    /// Which wearings of the session its swings that count are of, ascending.
    pub wearings: Vec<u32>,
    /// The swings' summary.
    pub summary: BlockSummary,
    /// Swings that count and are unlike the others of their block.
    pub unlike: Vec<Flag>,
}

/// Whether a measure gets a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It was meant beforehand, or nothing was and all are judged.
    Judged,
    /// It is only looked through.
    LookedThrough,
}

/// One measure, before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Which.
    pub measure: Measure,
    /// Whether it gets a verdict.
    pub standing: Standing,
    /// Before; of several sessions the mean of their means.
    pub before: MeasureSummary,
    /// After.
    pub after: MeasureSummary,
    /// After less before: what is believed of it after allowing for drift and dependence, its median.
    pub difference: f64,
    /// Mean after less mean before.
    pub means_apart: f64,
    /// Holds the difference with 95 %, all that varies within and between wearings included; for this measure alone.
    pub interval: Option<(f64, f64)>,
    /// Two-sided p of no difference, for this measure alone.
    pub p: Option<f64>,
    /// p after Holm over the measures that get a verdict; of the others after Benjamini and Hochberg over those.
    pub p_adjusted: Option<f64>,
    /// Degrees of freedom.
    pub df: Option<f64>,
    /// How swings depended on one another, both sides together; `None` between wearings.
    pub dependence: Option<Dependence>,
    /// Typical standard uncertainty of one swing's value, both sides (root mean square).
    pub measuring_sd: Option<f64>,
    /// Stated standard deviation of what a wearing shares in a mean, both sides (root mean square); `None` in one
    /// wearing.
    pub worn_anew_sd: Option<f64>,
    /// By what its variance was multiplied, as far as the player's sessions say.
    pub wearing_factor: Option<f64>,
    /// The player's ordinary spread between swings, both sides (root mean square).
    pub spread: Option<f64>,
    /// Smallest change that matters: the coach's, or a fifth of the spread or the measuring uncertainty, whichever is larger.
    pub matters: Option<f64>,
    /// Whether that is the coach's.
    pub matters_named: bool,
    /// What it would take to tell.
    pub more: Option<More>,
    /// What can be said.
    pub verdict: Verdict,
}

impl Row {
    /// Half the width of the interval.
    pub fn half_width(&self) -> Option<f64> {
        self.interval.map(|(low, high)| (high - low) / 2.0)
    }

    /// The difference over the standard error that the interval stands for.
    pub fn t(&self) -> Option<f64> {
        let factor = t_quantile(f64::midpoint(1.0, LEVEL), self.df?)?;
        Some(self.difference / (self.half_width()? / factor))
    }

    /// Size of the difference in ordinary spreads; 0 where none is known.
    pub fn effect(&self) -> f64 {
        self.spread.filter(|s| *s > 0.0).map_or(0.0, |s| self.difference.abs() / s)
    }
}

/// A measure that was not compared, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotCompared {
    /// Which.
    pub measure: Measure,
    /// Why.
    pub why: String,
}

/// A comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Before.
    pub before: Side,
    /// More sessions that belong to before.
    pub also_before: Vec<Side>,
    /// After.
    pub after: Side,
    /// Which measures were meant.
    pub family: Family,
    /// Both sides' swings in the order made, where they are of one wearing.
    pub design: Option<Design>,
    /// The measures both sides have: first those that were meant, then the others.
    pub rows: Vec<Row>,
    /// How the orders of the peaks differ.
    pub order: OrderChange,
    /// Measures only one side has, or that are defined differently.
    pub not_compared: Vec<NotCompared>,
    /// Things to know before reading the rows.
    pub notes: Vec<String>,
}

/// Why two sides cannot be compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CompareError {
    /// The side, as the user named it.
    pub name: String,
    /// How many swings it has that cannot be used.
    pub left_out: usize,
}

impl fmt::Display for CompareError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.left_out == 0 {
            write!(f, "{}: no swings to compare; record swings first, or name another block", self.name)
        } else {
            write!(
                f,
                "{}: none of its {} swings can be compared (all rehearsals, unusable, left out by the coach or with no word on the ball; peakorder show {} says which); name another block",
                self.name, self.left_out, self.name
            )
        }
    }
}

impl std::error::Error for CompareError {}

fn side(loaded: &Loaded) -> Result<Side, CompareError> {
    let swings: Vec<&Swing> = loaded.swings.iter().collect();
    let title = match &loaded.block {
        Some(label) if label.is_empty() => NO_BLOCK.to_owned(),
        Some(label) => label.clone(),
        None => "all blocks".to_owned(),
    };
    let summary = summarise(label(loaded), &swings, &loaded.remarks);
    if summary.used.is_empty() {
        return Err(CompareError { name: loaded.name(), left_out: swings.len() });
    }
    let wearings: BTreeSet<u32> = used(loaded, &summary).iter().map(|s| s.wearing).collect();
    Ok(Side {
        wearings: wearings.into_iter().collect(),
        name: loaded.name(),
        title,
        session: loaded.session.id.clone(),
        player: loaded.session.player.clone(),
        unlike: unlike(&used(loaded, &summary)),
        summary,
    })
}

fn label(loaded: &Loaded) -> &str {
    loaded.block.as_deref().unwrap_or("")
}

/// The one row of a comparison of `measure` between two blocks of a session: nothing else of it is asked.
pub(crate) fn one_change(before: &Loaded, after: &Loaded, measure: Measure) -> Option<Row> {
    let family = Family::Only(vec![crate::chosen::Chosen::of(measure)]);
    let wearings: BTreeSet<u32> = [before, after]
        .into_iter()
        .flat_map(|l| l.swings.iter().filter(|s| l.remarks.counts(s)).map(|s| s.wearing))
        .collect();
    if before.session.id != after.session.id || wearings.len() != 1 {
        // Then what the other measures show of the wearings counts.
        return compare(before, after, &family).ok()?.rows.into_iter().next();
    }
    let summary = |loaded: &Loaded| {
        let swings: Vec<&Swing> = loaded.swings.iter().collect();
        summarise_of(&[measure], label(loaded), &swings, &loaded.remarks)
    };
    let side = |loaded: &Loaded| Side {
        wearings: wearings.iter().copied().collect(),
        name: String::new(),
        title: String::new(),
        session: loaded.session.id.clone(),
        player: loaded.session.player.clone(),
        unlike: Vec::new(),
        summary: summary(loaded),
    };
    let (before, after) = (side(before), side(after));
    let pair = pair(measure, &[&before], &after, &[]).ok()??;
    Some(judge::row(&pair, true, None, &family, 1))
}

/// The swings that the statistics rest on.
fn used<'a>(loaded: &'a Loaded, summary: &BlockSummary) -> Vec<&'a Swing> {
    loaded.swings.iter().filter(|s| summary.used.contains(&s.number)).collect()
}

/// Each block's swings are held against that block's.
fn unlike(swings: &[&Swing]) -> Vec<Flag> {
    let mut blocks: Vec<&str> = swings.iter().map(|s| s.block.as_str()).collect();
    blocks.sort_unstable();
    blocks.dedup();
    let of = |block| swings.iter().copied().filter(|s| s.block == block).collect::<Vec<&Swing>>();
    blocks.into_iter().flat_map(|block| outliers(&of(block))).collect()
}

/// All that is set against each other.
#[derive(Debug, Clone, Copy)]
pub struct Question<'a> {
    /// Before.
    pub before: &'a Loaded,
    /// More sessions that belong to before: their means are averaged, and say how far sessions differ.
    pub also_before: &'a [Loaded],
    /// After.
    pub after: &'a Loaded,
    /// Checks in which the straps were put on anew: of each the wearings.
    pub worn_anew: &'a [Vec<Loaded>],
    /// Which measures get verdicts.
    pub family: &'a Family,
}

/// Compares `after` with `before`, verdicts for the measures of `family`.
pub fn compare(before: &Loaded, after: &Loaded, family: &Family) -> Result<Comparison, CompareError> {
    answer(Question { before, also_before: &[], after, worn_anew: &[], family })
}

/// Answers a question.
pub fn answer(question: Question<'_>) -> Result<Comparison, CompareError> {
    let family = question.family;
    let (before, after) = (side(question.before)?, side(question.after)?);
    let also: Vec<Side> = question.also_before.iter().map(side).collect::<Result<_, _>>()?;
    let checks: Vec<Vec<BlockSummary>> = question
        .worn_anew
        .iter()
        .map(|c| c.iter().filter_map(|w| side(w).ok()).map(|s| s.summary).collect())
        .collect();
    let one_wearing = before.session == after.session
        && also.is_empty()
        && before.wearings.iter().chain(&after.wearings).all(|w| *w == after.wearings[0]);
    let earlier: Vec<&Side> = std::iter::once(&before).chain(&also).collect();
    let mut not_compared = Vec::new();
    // How well wearings repeat is asked of all measures, whichever get a verdict.
    let mut pairs: Vec<Pair<'_>> = Vec::new();
    for measure in Measure::ALL {
        match pair(measure, &earlier, &after, &checks) {
            Ok(Some(pair)) => pairs.push(pair),
            Ok(None) => {}
            Err(why) => not_compared.push(NotCompared { measure, why }),
        }
    }
    let factors = Kind::ALL.map(|kind| (kind, judge::factor(&pairs, kind).filter(|_| !one_wearing)));
    let factor = |measure: Measure| factors.iter().find(|f| f.0 == Kind::of(measure)).and_then(|f| f.1);
    let looked_at = family.looked_at();
    not_compared.retain(|n| looked_at.contains(&n.measure));
    let chosen: Vec<&Pair<'_>> =
        looked_at.iter().filter_map(|m| pairs.iter().find(|p| p.measure == *m)).collect();
    let judged = chosen.iter().filter(|p| family.judges(p.measure)).count();
    let mut rows: Vec<Row> =
        chosen.into_iter().map(|p| judge::row(p, one_wearing, factor(p.measure), family, judged)).collect();
    let discovered = adjust(&mut rows, family);
    for (row, discovered) in rows.iter_mut().zip(discovered) {
        row.verdict = verdict(row, discovered);
        if row.verdict != Verdict::CantTell || row.standing == Standing::LookedThrough {
            row.more = None;
        }
    }
    let design = one_wearing.then(|| Design::of(&sides(&before, &after)));
    let swings = (used(question.before, &before.summary), used(question.after, &after.summary));
    let order = OrderChange::of(&swings.0, &swings.1, one_wearing, meant(family));
    let mut comparison = Comparison {
        before,
        also_before: also,
        after,
        family: family.clone(),
        design,
        rows,
        order,
        not_compared,
        notes: Vec::new(),
    };
    comparison.notes = notes::notes(&comparison, question);
    Ok(comparison)
}

/// Whether the order of peaks is what these measures were chosen for: a gap is among them.
fn meant(family: &Family) -> bool {
    !matches!(family, Family::All) && family.judged().iter().any(|m| matches!(m, Measure::Gap(..)))
}

/// The sides of the swings in the order made.
fn sides(before: &Side, after: &Side) -> Vec<bool> {
    let mut all: Vec<(u32, bool)> = Vec::new();
    for (side, is_after) in [(before, false), (after, true)] {
        all.extend(side.summary.used.iter().map(|&n| (n, is_after)));
    }
    all.sort_unstable();
    all.dedup_by_key(|s| s.0);
    all.into_iter().map(|s| s.1).collect()
}

/// Both sides of a measure; `None` where neither has it, why not where only one does.
fn pair<'a>(
    measure: Measure,
    earlier: &[&'a Side],
    after: &'a Side,
    checks: &[Vec<BlockSummary>],
) -> Result<Option<Pair<'a>>, String> {
    let first = earlier[0].summary.measure(measure);
    let (first, after) = match (first, after.summary.measure(measure)) {
        (Some(b), Some(a)) => (b, a),
        (Some(_), None) => return Err("not measured after".into()),
        (None, Some(_)) => return Err("not measured before".into()),
        (None, None) => return Ok(None),
    };
    if first.definition != after.definition {
        return Err(format!(
            "before it is '{}', after it is '{}'",
            first.definition.text(),
            after.definition.text()
        ));
    }
    let before = std::iter::once(first)
        .chain(earlier[1..].iter().filter_map(|s| s.summary.measure(measure)))
        .filter(|m| m.definition == after.definition)
        .collect();
    let worn_anew: Vec<Vec<SessionMean>> = checks
        .iter()
        .map(|check| {
            check
                .iter()
                .filter_map(|s| s.measure(measure))
                .filter(|m| m.definition == after.definition)
                .filter_map(MeasureSummary::session_mean)
                .collect()
        })
        .collect();
    Ok(Some(Pair { measure, before, after, worn_anew }))
}

/// Fills in the adjusted p values, and says of each row whether it is worth a "perhaps".
fn adjust(rows: &mut [Row], family: &Family) -> Vec<bool> {
    let of = |rows: &[Row], wanted: &dyn Fn(&Row) -> bool| -> Vec<Option<f64>> {
        rows.iter().map(|r| r.p.filter(|_| wanted(r))).collect()
    };
    let holm = holm_known(&of(rows, &|r| r.standing == Standing::Judged));
    let all_judged = matches!(family, Family::All);
    let discovered =
        false_discovery_known(&of(rows, &|r| all_judged || r.standing == Standing::LookedThrough));
    for ((row, holm), discovered) in rows.iter_mut().zip(holm).zip(&discovered) {
        row.p_adjusted = holm.or(*discovered);
    }
    discovered.into_iter().map(|p| p.is_some_and(|p| p < FALSE_DISCOVERIES)).collect()
}

fn verdict(row: &Row, discovered: bool) -> Verdict {
    let (Some((low, high)), Some(p)) = (row.interval, row.p_adjusted) else { return Verdict::TooFew };
    let otherwise = if discovered { Verdict::Perhaps } else { Verdict::CantTell };
    if row.standing == Standing::LookedThrough {
        return otherwise;
    }
    let too_small = row.matters.is_some_and(|m| low > -m && high < m);
    // A convention does not make little of a change that shows; the coach's word does.
    if p < ALPHA && !(too_small && row.matters_named) {
        Verdict::Changed
    } else if too_small {
        Verdict::NoneThatMatters
    } else {
        otherwise
    }
}
