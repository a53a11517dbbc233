//! The drill: its target, every swing's answer, and the tally.

use super::html::{INK, PAPER, SOFT, label, svg, tenth};
use crate::load::Loaded;
use crate::measure::Measure;
use crate::target::{Answer, AnswerKind, Tally, answer};
use crate::words::{self, plural};
use maud::{Markup, html};
use peakorder_protocol::remark::Target;

const WIDTH: f64 = 700.0;
const HEIGHT: f64 = 128.0;
const LEFT: f64 = 60.0;
const RIGHT: f64 = 690.0;
const TOP: f64 = 14.0;
const FOOT: f64 = 104.0;

/// A target with what the swings answered to it.
pub(super) struct Drill {
    pub(super) target: Target,
    /// Number of the swing and its answer, by number.
    answers: Vec<(u32, Answer)>,
}

/// Targets in the order set, each with the swings made while it held. One set and replaced
/// before any swing is left out.
pub(super) fn drills(loaded: &Loaded) -> Vec<Drill> {
    let mut drills: Vec<Drill> = Vec::new();
    for swing in &loaded.swings {
        if loaded.remarks.excluded(swing.number).is_some() {
            continue;
        }
        let Some(target) = loaded.remarks.target_for(swing.events.impact.t_s, &swing.block) else { continue };
        let entry = (swing.number, answer(target, swing));
        match drills.iter_mut().find(|d| d.target == *target) {
            Some(drill) => drill.answers.push(entry),
            None => drills.push(Drill { target: target.clone(), answers: vec![entry] }),
        }
    }
    drills
}

impl Drill {
    /// The section's content.
    pub(super) fn html(&self, number: usize) -> Markup {
        let tally = Tally::of(self.answers.iter().map(|(_, a)| a.answer));
        html! {
            p {
                "Target"
                @if !self.target.block.is_empty() { " in block " b { (self.target.block) } }
                ": " b { (self.target.words) } "."
            }
            p { (tally_words(&tally, self.target.margin, self.measure())) }
            @if let Some(picture) = self.picture(number) {
                figure {
                    (picture)
                    figcaption {
                        "Each swing of the drill: filled = met, half filled = nearly, hollow = not yet. The line is the target"
                        @if self.target.baseline_mean.is_some() { ", the dotted line the baseline's mean" }
                        "."
                    }
                }
            }
        }
    }

    /// The measure the target is of.
    pub(super) fn measure(&self) -> Option<Measure> {
        Measure::from_key(&self.target.measure)
    }

    /// Values over swings with the target's line; `None` when nothing was measured. The side
    /// that people call "more" is up.
    fn picture(&self, number: usize) -> Option<Markup> {
        let measure = self.measure()?;
        let points: Vec<(u32, f64, AnswerKind)> =
            self.answers.iter().filter_map(|(n, a)| Some((*n, a.value?, a.answer))).collect();
        if points.is_empty() {
            return None;
        }
        let up = words::sense(measure, self.target.baseline_mean.unwrap_or(self.target.value));
        let lines = [Some(self.target.value), self.target.baseline_mean];
        let heights = || points.iter().map(|p| p.1).chain(lines.into_iter().flatten()).map(|v| up * v);
        let (low, high) =
            (heights().fold(f64::INFINITY, f64::min), heights().fold(f64::NEG_INFINITY, f64::max));
        let room = ((high - low) * 0.12).max(1e-6);
        let (low, high) = (low - room, high + room);
        let y = |v: f64| FOOT - (FOOT - TOP) * (up * v - low) / (high - low);
        let step = (RIGHT - LEFT - 24.0) / points.len() as f64;
        let description = format!(
            "{}, {}. {}",
            measure.label(),
            plural(points.len(), "swing"),
            tally_words(&Tally::of(points.iter().map(|p| p.2)), self.target.margin, Some(measure))
        );
        let inside = html! {
            @for (value, dashes) in [(Some(self.target.value), None), (self.target.baseline_mean, Some("2 4"))] {
                @if let Some(value) = value {
                    path d=(format!("M{LEFT} {:.1}H{RIGHT}", y(value)))
                        fill="none" stroke=(INK) stroke-width="1.4" stroke-dasharray=[dashes] {}
                    (label((LEFT - 6.0, y(value) + 4.0), "end", "tick", &words::amount(measure, value)))
                }
            }
            @for (i, &(swing, value, kind)) in points.iter().enumerate() {
                @let (cx, cy) = (LEFT + 14.0 + step * (i as f64 + 0.5), y(value));
                circle cx=(tenth(cx)) cy=(tenth(cy)) r="5" fill=(if kind == AnswerKind::Met { INK } else { PAPER })
                    stroke=(INK) stroke-width="1.4" {}
                @if kind == AnswerKind::Nearly {
                    path d=(format!("M{:.1} {cy:.1}a5 5 0 0 0 10 0Z", cx - 5.0)) fill=(INK) {}
                }
                // Numbers only where they have room.
                @if step >= 16.0 || i.is_multiple_of(5) {
                    text x=(tenth(cx)) y=(tenth(FOOT + 19.0)) text-anchor="middle" class="tick" fill=(SOFT) { (swing) }
                }
            }
            (label((4.0, FOOT + 19.0), "start", "tick", "swing"))
        };
        let id = format!("drill{number}");
        Some(svg(&id, (WIDTH, HEIGHT), "Answers of the drill's swings", &description, &inside))
    }
}

fn tally_words(tally: &Tally, margin: f64, measure: Option<Measure>) -> String {
    let nearly = measure.map_or(format!("{margin}"), |m| words::amount(m, margin));
    let missing = if tally.not_measured == 0 {
        String::new()
    } else {
        format!(" {} without this number.", plural(tally.not_measured, "swing"))
    };
    format!(
        "Of {}: {} met it, {} nearly (missed by no more than {nearly}), {} not yet.{missing}",
        plural(tally.measured(), "swing"),
        tally.met,
        tally.nearly,
        tally.not
    )
}
