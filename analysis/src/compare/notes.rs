//! Things to know before reading a comparison.

use super::{Comparison, Question, Row, Side, Standing};
use crate::chosen::{Family, MOST};
use crate::wearing::Kind;
use crate::words::plural;
use std::fmt::Write as _;

/// Spreads that differ by more than this share the rule's false alarms no longer; from the study by simulation.
const UNEQUAL: f64 = 1.5;

pub(super) fn notes(c: &Comparison, question: Question<'_>) -> Vec<String> {
    let mut notes = Vec::new();
    for other in c.also_before.iter().chain([&c.after]) {
        if !c.before.player.same_as(&other.player) {
            notes.push(format!(
                "Different players ('{}' and '{}'): this is a difference between people, not a change.",
                c.before.player.name, other.player.name
            ));
        }
    }
    let without = (c.before.summary.without_ball, c.after.summary.without_ball);
    notes.extend(crate::words::ball::unlike(without).map(ToOwned::to_owned));
    match &c.design {
        Some(design) => within(c, design, &mut notes),
        None => between(c, &mut notes),
    }
    chosen(c, question, &mut notes);
    for side in [&c.before, &c.after] {
        if let Some(advice) = side.summary.advice() {
            notes.push(format!("{}: {} swings. {advice}", side.title, side.summary.used.len()));
        }
    }
    notes
}

fn within(c: &Comparison, design: &crate::design::Design, notes: &mut Vec<String>) {
    let (before, after) = (&c.before.summary.used, &c.after.summary.used);
    let shared = before.iter().filter(|n| after.contains(n)).count();
    if shared > 0 {
        notes.push(format!(
            "{shared} swings are on both sides, so nothing can be said of a difference; name two blocks that share none."
        ));
        return;
    }
    notes.push(format!("Order of swings: {}. {}", design.text(), design.says()));
    let uneven: Vec<String> =
        c.rows.iter().filter(|r| r.standing == Standing::Judged).filter_map(uneven).collect();
    if !uneven.is_empty() {
        notes.push(format!(
            "Swings vary much more on one side than on the other ({}); there a verdict may be a false alarm somewhat more often than said.",
            uneven.join("; ")
        ));
    }
}

fn uneven(row: &Row) -> Option<String> {
    let (before, after) = (row.before.sample.sd?, row.after.sample.sd?);
    let ratio = before.max(after) / before.min(after);
    (ratio > UNEQUAL).then(|| format!("{}, {ratio:.1} times", row.measure.label()))
}

fn between(c: &Comparison, notes: &mut Vec<String>) {
    let sessions = 2 + c.also_before.len();
    for side in [&c.before, &c.after] {
        if side.wearings.len() > 1 {
            notes.push(format!(
                "{}: the straps were taken off and put on again within these swings; their mean is over {} wearings.",
                side.title,
                side.wearings.len()
            ));
        }
    }
    let mut note = format!(
        "{} wearings: straps were put on anew in between. Their seat and the skin below them shift all numbers of a \
         wearing alike; intervals and verdicts allow for it.",
        if sessions == 2 { "Two".to_owned() } else { sessions.to_string() }
    );
    let known: Vec<String> = Kind::ALL
        .into_iter()
        .filter_map(|kind| {
            let row = c.rows.iter().find(|r| Kind::of(r.measure) == kind)?;
            Some(format!("{} {:.1} times", kind.label(), row.wearing_factor?.sqrt()))
        })
        .collect();
    if known.is_empty() {
        note.push_str(
            " How much it is for this player is not known yet, so the stated figure is taken. More lessons \
             before, or a check with the straps put on anew, make it known.",
        );
    } else {
        let _ = write!(
            note,
            " As far as this player's own sessions tell, they differ by another amount than is stated, which is taken: {}.",
            known.join(", ")
        );
    }
    notes.push(note);
}

fn chosen(c: &Comparison, question: Question<'_>, notes: &mut Vec<String>) {
    let judged = c.rows.iter().filter(|r| r.standing == Standing::Judged && r.p.is_some()).count();
    match &c.family {
        Family::All if judged > MOST => notes.push(format!(
            "Nothing was meant beforehand, so verdicts allow for all {judged} numbers, and only large changes show. Name one \
             to {MOST} before the drill, and more shows."
        )),
        Family::Chosen(chosen) | Family::Only(chosen) if chosen.len() > MOST => notes.push(format!(
            "{} numbers were meant. Each more makes the verdicts weaker; {MOST} at most are advised.",
            chosen.len()
        )),
        _ => {}
    }
    if let (Family::Chosen(_), Some(at)) = (&c.family, late(c, question)) {
        notes.push(format!(
            "What the lesson is about was said only after {} of the later block: verdicts are to be trusted as far as nobody \
             had seen these numbers by then.",
            plural(at, "swing")
        ));
    }
}

/// How many swings of the later side were made before the measures were chosen.
fn late(c: &Comparison, question: Question<'_>) -> Option<usize> {
    let remarks = &question.after.remarks;
    let chosen_s = remarks.chosen.as_ref()?.t_s;
    let made = |side: &Side| {
        let used = &side.summary.used;
        let before = |s: &&peakorder_protocol::swing::Swing| {
            used.contains(&s.number) && s.events.impact.t_s < chosen_s
        };
        question.after.swings.iter().filter(before).count()
    };
    Some(made(&c.after)).filter(|n| *n > 0)
}
