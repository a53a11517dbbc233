//! The curves of two blocks: their means with bands, and where along the swing they differ.
//!
//! Speed and turn of every swing are put on one axis ([`align`]), so that takeaway, top and impact coincide. At every
//! point the blocks are compared by Student's t, and the largest t over all points of all curves is held against what
//! it becomes when swings are dealt out to the two sides anew ([`max_t`]): one family, in which
//! a difference is called by chance in no more than one comparison in twenty.

pub mod align;
mod load;
mod words;

pub use load::load;

use crate::arranged::{Arranged, Layout};
use crate::compare::ALPHA;
use crate::stats::{
    LEVEL, MaxT, RotatedMaxT, field_threshold, full_width_half_maximum, max_t, mean, rotated_max_t, sd,
    t_quantile,
};
use align::{Landmarks, POINTS};
use peakorder_protocol::Role;
use peakorder_protocol::swing::SpeedKind;
use std::fmt;

/// Fewest swings of a side.
pub const FEWEST: usize = 3;
/// A curve is compared if at least this share of either side's swings has it; the others are then left out. Own judgement.
const SHARE: f64 = 0.75;

/// What a curve shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The speed that the peak is of, degrees per second.
    Speed,
    /// Turn since address, degrees, positive towards the target.
    Turn,
}

impl Kind {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Speed => "speed",
            Self::Turn => "turn",
        }
    }

    /// Unit on screen.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Speed => "°/s",
            Self::Turn => "°",
        }
    }

    /// Smallest difference that is reported, in the curve's unit. Below it the lines cover each other in every drawing; and
    /// since turn is zero at address in every swing, a tiny difference is beyond chance near there. Own judgement.
    pub const fn least(self) -> f64 {
        match self {
            Self::Speed => 5.0,
            Self::Turn => 0.5,
        }
    }
}

/// One curve of a swing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Curve {
    /// Of which segment.
    pub role: Role,
    /// Of what.
    pub kind: Kind,
}

impl Curve {
    /// Every curve that is looked at. The lead arm has none of turn: raised to level, its rotation about its own axis is not
    /// told from its heading.
    pub const ALL: [Self; 5] = [
        Self { role: Role::Pelvis, kind: Kind::Speed },
        Self { role: Role::Thorax, kind: Kind::Speed },
        Self { role: Role::LeadArm, kind: Kind::Speed },
        Self { role: Role::Pelvis, kind: Kind::Turn },
        Self { role: Role::Thorax, kind: Kind::Turn },
    ];

    /// The key it is chosen by: `lead_arm_speed`.
    pub fn key(self) -> String {
        format!("{}_{}", self.role.key(), self.kind.key())
    }

    /// The curve of that key.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|curve| curve.key() == key)
    }

    /// `pelvis speed`.
    pub fn label(self) -> String {
        format!("{} {}", self.role.label(), self.kind.key())
    }
}

/// The aligned curves of one swing.
#[derive(Debug, Clone, PartialEq)]
pub struct SwingCurves {
    /// Its number in the session.
    pub number: u32,
    /// What it is aligned at; `None` where that cannot be told.
    pub marks: Option<Landmarks>,
    /// Curves at the points of the axis, with the definition of a speed.
    pub found: Vec<(Curve, Option<SpeedKind>, Vec<f64>)>,
    /// Curves that it lacks, and why.
    pub missing: Vec<(Curve, String)>,
}

impl SwingCurves {
    fn get(&self, curve: Curve) -> Option<&(Curve, Option<SpeedKind>, Vec<f64>)> {
        self.found.iter().find(|f| f.0 == curve)
    }
}

/// Mean of a block with the 95 % band of the mean, point by point.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Mean.
    pub mean: Vec<f64>,
    /// Half the width of the mean's 95 % interval (Student's t), each point by itself.
    pub half: Vec<f64>,
}

/// One curve of both sides.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvePair {
    /// Which.
    pub curve: Curve,
    /// Before.
    pub before: Band,
    /// After.
    pub after: Band,
    /// Student's t of after minus before, pooled variance.
    pub t: Vec<f64>,
    /// Smallest p anywhere along this curve, over the whole family.
    pub p: f64,
    /// Smoothness, as full width at half maximum in points.
    pub fwhm_points: Option<f64>,
    /// Two-sided 5 % threshold of this curve alone by random-field theory, for comparison only.
    pub field_threshold: Option<f64>,
    /// Where |t| exceeds the family's threshold and the difference is large enough to be reported.
    pub stretches: Vec<Stretch>,
}

/// A part of the swing where the blocks differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// First and last point.
    pub points: (usize, usize),
    /// The same in seconds relative to impact of the mean swing of both blocks.
    pub from_to_s: (f64, f64),
    /// Point where the difference is largest.
    pub largest_at: usize,
    /// After minus before there, in the curve's unit.
    pub difference: f64,
    /// Half the width of its 95 % interval, for that point by itself.
    pub half: f64,
    /// p of the stretch's largest |t| over the whole family, if swings do not depend on each other.
    pub p: f64,
    /// The same with drift and dependence allowed for; `None` where whole runs were dealt out, or of two sessions.
    pub p_dependent: Option<f64>,
    /// What can be said.
    pub verdict: CurveVerdict,
}

/// What can be said of a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveVerdict {
    /// The blocks differ there.
    Differ,
    /// Only if swings neither depend on each other nor drift.
    UnlessDependent,
    /// Straps put on anew can make such a difference.
    WornAnew,
}

impl CurveVerdict {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Differ => "differ",
            Self::UnlessDependent => "cannot-tell-dependence",
            Self::WornAnew => "cannot-tell-straps-worn-anew",
        }
    }
}

/// A swing or curve that was not compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// `swing 7, before` or `thorax turn`.
    pub what: String,
    /// Why.
    pub why: String,
}

/// How the curves of two blocks differ.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveChange {
    /// Time of every point relative to impact, seconds, on the mean swing of both sides.
    pub time_s: Vec<f64>,
    /// Numbers of the swings before.
    pub before: Vec<u32>,
    /// Numbers of the swings after.
    pub after: Vec<u32>,
    /// The curves compared, one family.
    pub curves: Vec<CurvePair>,
    /// Swings and curves left out.
    pub left_out: Vec<LeftOut>,
    /// What |t| must exceed anywhere for p < 0.05 over the family.
    pub threshold: f64,
    /// How many deals p counts over.
    pub deals: usize,
    /// Whether these are all there are.
    pub all_deals: bool,
    /// Whether whole runs were dealt out.
    pub by_runs: bool,
    /// The smallest p that so many swings can come to.
    pub least_p: f64,
    /// How the blocks lie in the lesson.
    pub layout: Layout,
}

/// Why curves cannot be compared. The message says what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoComparison {
    /// Some swings are on both sides.
    Overlapping,
    /// No curve is there on both sides.
    NoCurve(Vec<LeftOut>),
    /// A side has too few swings with curves.
    TooFew {
        /// Swings with curves, before and after.
        swings: (usize, usize),
        /// Why others were left out.
        left_out: Vec<LeftOut>,
    },
}

impl fmt::Display for NoComparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let reasons = |f: &mut fmt::Formatter<'_>, left_out: &[LeftOut]| {
            left_out.iter().take(3).try_for_each(|l| write!(f, "; {}: {}", l.what, l.why))
        };
        match self {
            Self::Overlapping => {
                f.write_str("some swings are on both sides; name two blocks that share none")
            }
            Self::NoCurve(left_out) => {
                f.write_str(
                    "no curve that both sides have; peakorderd replay makes curves from the recording",
                )?;
                reasons(f, left_out)
            }
            Self::TooFew { swings: (before, after), left_out } => {
                write!(
                    f,
                    "curves of {before} swings before and {after} after; {FEWEST} of each are needed, and 4 to show anything"
                )?;
                reasons(f, left_out)
            }
        }
    }
}

impl std::error::Error for NoComparison {}

/// Compares the curves of two sides.
pub fn compare(
    before: &[SwingCurves],
    after: &[SwingCurves],
    same_session: bool,
) -> Result<CurveChange, NoComparison> {
    let mut left_out = Vec::new();
    let chosen = choose_curves(before, after, &mut left_out);
    if chosen.is_empty() {
        let first = before.iter().chain(after).find_map(|s| Some((s.number, s.missing.first()?)));
        left_out.extend(first.map(|(n, m)| LeftOut { what: format!("swing {n}"), why: m.1.clone() }));
        return Err(NoComparison::NoCurve(left_out));
    }
    let mut whole = |swings: &[SwingCurves], side: &str| -> Vec<usize> {
        let mut kept = Vec::new();
        for (i, swing) in swings.iter().enumerate() {
            let lacks = chosen.iter().find(|c| swing.get(c.0).is_none_or(|f| f.1 != c.1));
            match (lacks, swing.marks) {
                (None, Some(_)) => kept.push(i),
                (lacks, _) => {
                    let why = lacks.and_then(|c| swing.missing.iter().find(|m| m.0 == c.0));
                    left_out.push(LeftOut {
                        what: format!("swing {}, {side}", swing.number),
                        why: why.map_or("its speed is another".into(), |m| m.1.clone()),
                    });
                }
            }
        }
        kept
    };
    let kept = (whole(before, "before"), whole(after, "after"));
    if kept.0.len() < FEWEST || kept.1.len() < FEWEST {
        return Err(NoComparison::TooFew { swings: (kept.0.len(), kept.1.len()), left_out });
    }
    let before: Vec<&SwingCurves> = kept.0.iter().map(|i| &before[*i]).collect();
    let after: Vec<&SwingCurves> = kept.1.iter().map(|i| &after[*i]).collect();
    let chosen: Vec<Curve> = chosen.iter().map(|c| c.0).collect();
    tested(&before, &after, &chosen, same_session, left_out).ok_or(NoComparison::Overlapping)
}

/// Curves that enough swings of both sides have, alike defined.
fn choose_curves(
    before: &[SwingCurves],
    after: &[SwingCurves],
    left_out: &mut Vec<LeftOut>,
) -> Vec<(Curve, Option<SpeedKind>)> {
    let mut chosen = Vec::new();
    for curve in Curve::ALL {
        // A strap that nobody wore, or a curve that was not asked for, is not worth a word.
        let found = |s: &SwingCurves| s.found.iter().any(|f| f.0.role == curve.role);
        let asked = |s: &SwingCurves| s.get(curve).is_some() || s.missing.iter().any(|m| m.0 == curve);
        if !before.iter().chain(after).any(found) || !before.iter().chain(after).any(asked) {
            continue;
        }
        let kinds: Vec<Option<SpeedKind>> =
            before.iter().chain(after).filter_map(|s| Some(s.get(curve)?.1)).collect();
        let most = kinds.iter().max_by_key(|kind| kinds.iter().filter(|k| k == kind).count()).copied();
        let has = |swings: &[SwingCurves]| {
            let n = swings.iter().filter(|s| s.get(curve).is_some_and(|f| Some(f.1) == most)).count();
            n as f64 >= SHARE * swings.len() as f64 && n >= FEWEST
        };
        match (has(before), has(after), most) {
            (true, true, Some(kind)) => chosen.push((curve, kind)),
            (has_before, ..) => {
                let side = if has_before { after } else { before };
                let why = side.iter().flat_map(|s| &s.missing).find(|m| m.0 == curve);
                left_out.push(LeftOut {
                    what: curve.label(),
                    why: why.map_or("not measured alike on both sides".into(), |m| m.1.clone()),
                });
            }
        }
    }
    chosen
}

/// The tests themselves; `None` where sides overlap.
fn tested(
    before: &[&SwingCurves],
    after: &[&SwingCurves],
    chosen: &[Curve],
    same_session: bool,
    left_out: Vec<LeftOut>,
) -> Option<CurveChange> {
    let numbers = |swings: &[&SwingCurves]| swings.iter().map(|s| s.number).collect::<Vec<u32>>();
    let arranged = Arranged::of(&numbers(before), &numbers(after), same_session);
    if arranged.layout == Layout::Overlapping {
        return None;
    }
    let in_order: Vec<&SwingCurves> = arranged
        .swings
        .iter()
        .filter_map(|(number, second)| {
            let side = if *second { after } else { before };
            side.iter().find(|s| s.number == *number).copied()
        })
        .collect();
    let sides = arranged.sides();
    // One row a swing: its curves one after the other are one family.
    let rows: Vec<Vec<f64>> = in_order
        .iter()
        .map(|s| chosen.iter().filter_map(|c| s.get(*c)).flat_map(|f| f.2.iter().copied()).collect())
        .collect();
    let deals = arranged.deals();
    let test = max_t(&rows, &deals)?;
    let places: Vec<f64> = arranged.swings.iter().map(|s| f64::from(s.0)).collect();
    let dependent = if arranged.by_runs() || arranged.layout == Layout::TwoSessions {
        None
    } else {
        rotated_max_t(&rows, &sides, &places)
    };
    let marks: Vec<Landmarks> = in_order.iter().filter_map(|s| s.marks).collect();
    let mean_marks = Landmarks::mean(&marks)?;
    let time_s: Vec<f64> = (0..POINTS).map(|i| mean_marks.at(i)).collect();
    let family =
        Family { rows: &rows, sides: &sides, test: &test, dependent: dependent.as_ref(), time_s: &time_s };
    let two_sessions = arranged.layout == Layout::TwoSessions;
    let curves = chosen.iter().enumerate().map(|(i, c)| family.pair(i, *c, two_sessions)).collect();
    Some(CurveChange {
        before: numbers(before),
        after: numbers(after),
        curves,
        left_out,
        threshold: test.threshold(ALPHA),
        deals: deals.sides.len(),
        all_deals: deals.all,
        by_runs: arranged.by_runs(),
        least_p: deals.least_p(),
        layout: arranged.layout,
        time_s,
    })
}

/// All curves of all swings, tested together.
struct Family<'a> {
    rows: &'a [Vec<f64>],
    sides: &'a [bool],
    test: &'a MaxT,
    dependent: Option<&'a RotatedMaxT>,
    time_s: &'a [f64],
}

impl Family<'_> {
    /// The curve at place `i` of the rows.
    fn pair(&self, i: usize, curve: Curve, two_sessions: bool) -> CurvePair {
        let at = i * POINTS..(i + 1) * POINTS;
        let side = |second: bool| -> Vec<&[f64]> {
            self.rows
                .iter()
                .zip(self.sides)
                .filter(|(_, s)| **s == second)
                .map(|(r, _)| &r[at.clone()])
                .collect()
        };
        let (first, second) = (side(false), side(true));
        let (before, after) = (Band::of(&first), Band::of(&second));
        let t = self.test.t[at.clone()].to_vec();
        let residuals: Vec<Vec<f64>> = [(&first, &before), (&second, &after)]
            .into_iter()
            .flat_map(|(rows, band)| {
                rows.iter().map(|r| r.iter().zip(&band.mean).map(|(v, m)| v - m).collect())
            })
            .collect();
        let fwhm_points = full_width_half_maximum(&residuals);
        let df = self.rows.len() as f64 - 2.0;
        let threshold = self.test.threshold(ALPHA);
        let mut stretches = Vec::new();
        let mut from = 0;
        for run in t.chunk_by(|a, b| (a.abs() > threshold) == (b.abs() > threshold) && (a * b > 0.0)) {
            if run[0].abs() > threshold {
                let points = (from, from + run.len() - 1);
                let stretch = self.stretch(at.start, points, &before, &after, &t, two_sessions);
                if stretch.difference.abs() >= curve.kind.least() {
                    stretches.push(stretch);
                }
            }
            from += run.len();
        }
        let most = t.iter().fold(0.0_f64, |m, t| m.max(t.abs()));
        CurvePair {
            curve,
            p: self.test.p(most),
            field_threshold: fwhm_points.and_then(|w| field_threshold(POINTS, w, df, ALPHA / 2.0)),
            fwhm_points,
            before,
            after,
            t,
            stretches,
        }
    }

    fn stretch(
        &self,
        start: usize,
        points: (usize, usize),
        before: &Band,
        after: &Band,
        t: &[f64],
        two_sessions: bool,
    ) -> Stretch {
        let within = points.0..=points.1;
        let difference = |i: usize| after.mean[i] - before.mean[i];
        let largest_at = within
            .clone()
            .max_by(|a, b| difference(*a).abs().total_cmp(&difference(*b).abs()))
            .unwrap_or(points.0);
        let most = |t: &[f64]| t.iter().fold(0.0_f64, |m, t| m.max(t.abs()));
        let p = self.test.p(most(&t[within]));
        let p_dependent = self.dependent.map(|d| d.p(most(&d.t[start + points.0..=start + points.1])));
        // Student's t is the difference over its standard error.
        let half = t_quantile(f64::midpoint(1.0, LEVEL), self.rows.len() as f64 - 2.0)
            .map_or(f64::INFINITY, |q| q * (difference(largest_at) / t[largest_at]).abs());
        let verdict = match p_dependent {
            _ if two_sessions => CurveVerdict::WornAnew,
            Some(p) if p >= ALPHA => CurveVerdict::UnlessDependent,
            _ => CurveVerdict::Differ,
        };
        let from_to_s = (self.time_s[points.0], self.time_s[points.1]);
        Stretch {
            points,
            from_to_s,
            largest_at,
            difference: difference(largest_at),
            half,
            p,
            p_dependent,
            verdict,
        }
    }
}

impl Band {
    fn of(rows: &[&[f64]]) -> Self {
        let column = |i: usize| rows.iter().map(|r| r[i]).collect::<Vec<f64>>();
        let n = rows.len() as f64;
        let factor = t_quantile(f64::midpoint(1.0, LEVEL), n - 1.0).unwrap_or(f64::INFINITY) / n.sqrt();
        let points = rows.first().map_or(0, |r| r.len());
        Self {
            mean: (0..points).map(|i| mean(&column(i)).unwrap_or(0.0)).collect(),
            half: (0..points).map(|i| factor * sd(&column(i)).unwrap_or(0.0)).collect(),
        }
    }
}
