//! Before and after as pictures: one geometry for the page's Compare and for the sheet on paper.
//!
//! Everything is drawn once, here, as SVG whose looks come from [`STYLE`], which the page loads and the report holds. What a
//! picture says is said in words beside it ([`crate::words::picture`]), and as numbers in [`Picture::shown`].

mod above;
mod along;
mod body;
mod columns;
mod document;
pub mod documents;
mod dots;
pub(crate) mod draw;
pub mod months;
mod one_swing;
mod strip;
mod views;

pub use body::{Angles, Arm, Body};
pub use columns::{Column, Dot, Movement, Part, Sides};
pub use draw::Size;

use crate::compare::{Comparison, Row, Standing, Verdict};
use crate::load::{Loaded, NO_BLOCK};
use crate::measure::{Group, Measure};
use crate::summary::BlockSummary;
use crate::words::{self, capital};
use peakorder_protocol::Role;
use peakorder_protocol::remark::{Remarks, Target};
use peakorder_protocol::swing::Swing;

/// How the pictures look, on the page and on paper. It names no colour: those are the variables `--ink`, `--quiet`, `--paper`,
/// `--rule`, `--hold`, `--pelvis`, `--thorax` and `--lead-arm` of whoever shows them.
pub const STYLE: &str = include_str!("picture.css");

/// Most measures that get a picture: what a lesson is about are one to three.
pub const MOST: usize = 3;

/// Why a measure is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// The lesson is about it.
    Lesson,
    /// A drill had a target of it.
    Target,
    /// Nothing was named beforehand: it changed most for its spread.
    Largest,
}

impl Reason {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Lesson => "lesson",
            Self::Target => "target",
            Self::Largest => "largest",
        }
    }

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Lesson => "What this lesson is about",
            Self::Target => "What the drill’s target was",
            Self::Largest => {
                "Nobody named a number beforehand. This one changed most in relation to its ordinary variation"
            }
        }
    }
}

/// Room for the pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Layout {
    /// On a screen so many CSS pixels wide.
    Screen(f64),
    /// On the sheet of paper.
    Sheet,
}

struct Sizes {
    dots: Size,
    others: Size,
    body: Size,
    second: Size,
    strip: f64,
}

impl Layout {
    fn sizes(self) -> Sizes {
        match self {
            Self::Sheet => Sizes {
                dots: (350.0, 218.0),
                others: (560.0, 260.0),
                body: (320.0, 218.0),
                second: (560.0, 290.0),
                strip: 690.0,
            },
            Self::Screen(w) if w >= 860.0 => {
                // Three to two beside each other, with a gap of 32.
                let (wide, slim) = ((0.6 * (w - 32.0)).floor(), (0.4 * (w - 32.0)).floor());
                let half = ((w - 32.0) / 2.0).floor();
                Sizes {
                    dots: (wide, 380.0),
                    others: (half, 310.0),
                    body: (slim, 380.0),
                    second: (slim, 340.0),
                    strip: wide,
                }
            }
            Self::Screen(w) if w >= 560.0 => {
                let half = ((w - 32.0) / 2.0).floor();
                Sizes {
                    dots: (w, 340.0),
                    others: (half, 310.0),
                    body: (w, 380.0),
                    second: (w, 340.0),
                    strip: w,
                }
            }
            Self::Screen(w) => Sizes {
                dots: (w, 320.0),
                others: (w, 310.0),
                body: (w, w.min(360.0)),
                second: (w, 300.0),
                strip: w,
            },
        }
    }
}

/// A line beside a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The segment that it is of.
    pub role: Option<Role>,
    /// The words.
    pub words: String,
}

/// One drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Stable name: `dots`, `above`, `views`, `strip`.
    pub key: &'static str,
    /// Heading.
    pub title: String,
    /// The drawing.
    pub svg: String,
    /// Its numbers.
    pub lines: Vec<Line>,
    /// How to read it.
    pub note: String,
}

/// A measure with its dots.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// Which.
    pub measure: Measure,
    /// What is made of its change.
    pub verdict: Verdict,
    /// What it did, in a few words.
    pub headline: String,
    /// The numbers behind that.
    pub detail: String,
    /// Both in one sentence.
    pub sentence: String,
    /// Before, between, after.
    pub columns: Vec<Column>,
    /// Its target, if one was set.
    pub target: Option<Target>,
    /// The drawing.
    pub figure: Figure,
}

/// All of before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Why these measures.
    pub reason: Reason,
    /// One to [`MOST`], the most important first.
    pub shown: Vec<Shown>,
    /// The body and the strip, that which shows the first measure best first.
    pub figures: Vec<Figure>,
    /// At most three, of what the headline does not say.
    pub sentences: Vec<String>,
    /// How sure it is.
    pub sure: String,
}

/// A block's label for a reader.
pub(crate) fn block_title(label: &str) -> String {
    if label.is_empty() { NO_BLOCK.to_owned() } else { label.to_owned() }
}

/// Which rows get a picture, and why those.
fn chosen<'a>(compared: &'a Comparison, remarks: &Remarks) -> Option<(Reason, Vec<&'a Row>)> {
    use crate::chosen::Family;
    if !matches!(compared.family, Family::All) {
        let rows: Vec<&Row> =
            compared.rows.iter().filter(|r| r.standing == Standing::Judged).take(MOST).collect();
        if let Some(first) = rows.first() {
            let key = first.measure.key();
            let by_target = |t: &Target| t.measure == key;
            let named = remarks.chosen.as_ref().is_some_and(|c| c.measures.iter().any(|m| m.measure == key));
            let target = remarks.targets.iter().filter_map(|t| t.target.as_ref()).any(by_target);
            return Some((if target && !named { Reason::Target } else { Reason::Lesson }, rows));
        }
    }
    let largest = compared
        .rows
        .iter()
        .filter(|r| r.interval.is_some())
        .max_by(|a, b| a.effect().total_cmp(&b.effect()));
    let row = largest.or_else(|| compared.rows.first())?;
    Some((Reason::Largest, vec![row]))
}

/// The pictures of a comparison; `None` where both sides share no number.
pub fn picture(compared: &Comparison, sides: Sides<'_>, layout: Layout) -> Option<Picture> {
    let (reason, rows) = chosen(compared, &sides.after.remarks)?;
    let sizes = layout.sizes();
    let shown: Vec<Shown> = rows
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let size = if i == 0 { sizes.dots } else { sizes.others };
            shown(&format!("dots{i}"), size, row, compared, sides)
        })
        .collect();
    let sentences = sentences(compared, reason, &rows);
    let sure = words::picture::sure(rows[0]);
    Some(Picture {
        reason,
        figures: figures(rows[0].measure, compared, sides, &sizes),
        shown,
        sentences,
        sure,
    })
}

/// The body of one block alone, from above.
pub fn alone(loaded: &Loaded, summary: &BlockSummary, layout: Layout) -> Option<Figure> {
    let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| summary.used.contains(&s.number)).collect();
    let body = Body::of(&swings, loaded.session.player.handedness);
    let lines: Vec<Line> = ABOVE
        .into_iter()
        .filter_map(|(role, m)| {
            let words = words::subject(m, summary.measure(m)?.sample.mean);
            Some(Line { role: Some(role), words })
        })
        .collect();
    let all: Vec<&str> = lines.iter().map(|l| l.words.as_str()).collect();
    let described = format!("{}.", all.join("; "));
    (!body.is_empty()).then(|| Figure {
        key: "above",
        title: "At the top, from above".into(),
        svg: above::above("above0", layout.sizes().body, &[body], &described).into_string(),
        lines,
        note: "Directions are measured, means at the top; lengths, head and feet are not.".into(),
    })
}

/// When each segment was fastest in one block alone.
pub fn alone_strip(summary: &BlockSummary, layout: Layout) -> Option<Figure> {
    Some(Figure {
        key: "strip",
        title: "When each segment was fastest".into(),
        svg: strip::strip("strip0", layout.sizes().strip, &[summary])?.into_string(),
        lines: Vec::new(),
        note: "Bars: how sure the mean is (95 %); where they overlap widely they cannot be told apart."
            .into(),
    })
}

fn shown(id: &str, size: Size, row: &Row, compared: &Comparison, sides: Sides<'_>) -> Shown {
    let measure = row.measure;
    let columns = columns::columns(row, compared, sides);
    let key = measure.key();
    let targets = || sides.whole.remarks.targets.iter().filter_map(|t| t.target.as_ref());
    let target = targets().rfind(|t| t.measure == key).cloned();
    let svg = dots::dots(id, size, measure, &columns, target.as_ref()).into_string();
    let mut note =
        "A dot is a swing, in the order made; line and band are the mean and its 95 % interval.".to_owned();
    if let Some(signs) = dots::signs(measure, &columns) {
        note.push(' ');
        note.push_str(&signs);
    }
    for movement in Movement::ALL {
        let drawn = columns.iter().any(|c| c.dots.iter().any(|d| d.movement == movement));
        if let Some(said) = movement.said().filter(|_| drawn) {
            note.push(' ');
            note.push_str(said);
        }
    }
    let lines = target.iter().map(|t| Line { role: None, words: format!("Target: {}.", t.words) }).collect();
    Shown {
        measure,
        verdict: row.verdict,
        headline: words::picture::headline(row),
        detail: words::picture::detail(row),
        sentence: words::picture::sentence(row),
        figure: Figure { key: "dots", title: capital(&measure.label()), svg, lines, note },
        columns,
        target,
    }
}

/// What the first headline does not say: the other measures that were meant, then the order, then what stands out.
fn sentences(compared: &Comparison, reason: Reason, rows: &[&Row]) -> Vec<String> {
    let mut all: Vec<String> = rows.iter().skip(1).map(|r| words::picture::sentence(r)).collect();
    if reason == Reason::Largest {
        let others =
            compared.rows.iter().filter(|r| r.measure != rows[0].measure && r.verdict == Verdict::Changed);
        all.extend(others.map(words::picture::sentence));
    }
    all.extend(words::picture::order(compared).map(str::to_owned));
    let perhaps =
        compared.rows.iter().filter(|r| r.measure != rows[0].measure && r.verdict == Verdict::Perhaps);
    let mut perhaps: Vec<&Row> = perhaps.collect();
    perhaps.sort_by(|a, b| b.effect().total_cmp(&a.effect()));
    all.extend(perhaps.into_iter().map(words::picture::aside));
    all.truncate(3);
    all
}

/// Whether a measure is seen from above rather than from behind or the side.
const fn from_above(measure: Measure) -> bool {
    !matches!(measure.group(), Group::Posture | Group::Arm | Group::Backswing)
}

fn figures(first: Measure, compared: &Comparison, sides: Sides<'_>, sizes: &Sizes) -> Vec<Figure> {
    let hand = sides.after.session.player.handedness;
    let used = |loaded: &Loaded, used: &[u32]| -> Body {
        let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| used.contains(&s.number)).collect();
        Body::of(&swings, hand)
    };
    let bodies =
        [used(sides.before, &compared.before.summary.used), used(sides.after, &compared.after.summary.used)];
    let mut figures = Vec::new();
    if bodies.iter().any(|b| !b.is_empty()) {
        let (above_size, views_size) =
            if from_above(first) { (sizes.body, sizes.second) } else { (sizes.second, sizes.body) };
        let lines = lines_above(compared);
        figures.push(Figure {
            key: "above",
            title: "At the top, from above".into(),
            svg: above::above("above0", above_size, &bodies, &in_words(&lines)).into_string(),
            lines,
            note: "Thin and hollow: before. Thick: after. Directions are measured, means at the top; lengths, head and feet are not.".into(),
        });
        let lines = lines_beside(compared, &bodies);
        figures.push(Figure {
            key: "views",
            title: "At the top, from behind and from the side".into(),
            svg: views::views("views0", views_size, &bodies, &in_words(&lines)).into_string(),
            lines,
            note: "Thin and hollow: before. Thick: after. Directions are measured, means at the top; lengths, legs, spine and head are \
                   not. Dotted: the arm hanging."
                .into(),
        });
        if !from_above(first) {
            figures.swap(0, 1);
        }
    }
    if let Some(svg) =
        strip::strip("strip0", sizes.strip, &[&compared.before.summary, &compared.after.summary])
    {
        figures.push(Figure {
            key: "strip",
            title: "When each segment was fastest".into(),
            svg: svg.into_string(),
            lines: Vec::new(),
            note: "Upper, hollow: before. Lower, filled: after. Bars: how sure the mean is (95 %); where they overlap widely \
                   they cannot be told apart."
                .into(),
        });
    }
    figures
}

fn in_words(lines: &[Line]) -> String {
    let all: Vec<&str> = lines.iter().map(|l| l.words.as_str()).collect();
    format!("Before → after. {}.", all.join("; "))
}

fn line(role: Role, measure: Measure, compared: &Comparison) -> Option<Line> {
    let mean = |side: &crate::compare::Side| side.summary.measure(measure).map(|m| m.sample.mean);
    let (before, after) = (mean(&compared.before), mean(&compared.after));
    before.or(after)?;
    let words = format!("{}: {}", capital(&measure.label()), words::picture::from_to(measure, before, after));
    Some(Line { role: Some(role), words })
}

/// The number of each segment that is drawn from above.
const ABOVE: [(Role, Measure); 3] = [
    (Role::Pelvis, Measure::TurnAtTop(Role::Pelvis)),
    (Role::Thorax, Measure::TurnAtTop(Role::Thorax)),
    (Role::LeadArm, Measure::ArmAcross),
];

fn lines_above(compared: &Comparison) -> Vec<Line> {
    ABOVE.into_iter().filter_map(|(role, m)| line(role, m, compared)).collect()
}

fn lines_beside(compared: &Comparison, bodies: &[Body; 2]) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for role in [Role::Pelvis, Role::Thorax] {
        lines.extend(line(role, Measure::TiltAtTop(role), compared));
        let bend = |b: &Body| b.angles(role).map(|a| a.flexion);
        if let (Some(before), Some(after)) = (bend(&bodies[0]), bend(&bodies[1])) {
            let words = words::picture::bent(role, before, after);
            lines.push(Line { role: Some(role), words });
        }
    }
    lines.extend(line(Role::LeadArm, Measure::ArmElevationGravity, compared));
    lines.extend(line(Role::LeadArm, Measure::ArmElevation, compared));
    lines
}
