//! What lasted, in sentences.

use super::{amount, between, difference, plural, subject, value};
use crate::kept::{Course, Kept, Stage, Step};
use crate::measure::Measure;
use std::fmt::Write as _;

/// A course, a sentence or two for each session.
pub fn course(kept: &Kept, course: &Course) -> Vec<String> {
    course.stages.iter().enumerate().map(|(i, s)| stage(kept, course, i, s)).collect()
}

fn stage(kept: &Kept, course: &Course, at: usize, stage: &Stage) -> String {
    let m = course.measure;
    let lesson = &kept.lessons[stage.lesson];
    let day = lesson.started_utc.get(..10).unwrap_or(&lesson.started_utc);
    let half = stage.start.half_width.map_or(String::new(), |h| format!(" ± {}", amount(m, h)));
    let mut text = format!("{day}: {}{half} at the start", subject(m, stage.start.mean));
    if let Some(left) = stage.left {
        let before = course.stages[..at].iter().rev().find(|s| s.end.is_some());
        let then = before.map_or(stage.start.mean, |s| s.start.mean);
        let _ = write!(
            text,
            ", {} at the start of the lesson before ({}{})",
            difference(m, stage.start.mean, then),
            value(m, then),
            band(m, then, left)
        );
    }
    if let (Some(since), Some(then)) = (stage.since_end, course.stages[..at].iter().rev().find_map(|s| s.end))
    {
        let _ = write!(
            text,
            ", {} at its end ({}{})",
            difference(m, stage.start.mean, then.mean),
            value(m, then.mean),
            band(m, then.mean, since)
        );
    }
    if stage.practised > 0 && stage.left.is_some() {
        let _ = write!(text, ", after {} of practice", plural(stage.practised, "session"));
    }
    text.push('.');
    match (stage.end, stage.gained) {
        (Some(end), Some(gained)) => {
            let _ = write!(
                text,
                " At the end {}, {} at the start ({}). {}",
                value(m, end.mean),
                difference(m, end.mean, stage.start.mean),
                band(m, stage.start.mean, gained).trim_start_matches("; "),
                verdict(gained)
            );
        }
        (Some(end), None) => {
            let _ = write!(text, " At the end {}.", value(m, end.mean));
        }
        (None, _) => text.push_str(" Practice: no drill, nothing to set it against on that day."),
    }
    text
}

fn band(m: Measure, from: f64, step: Step) -> String {
    format!("; {}, 95 %", between(m, from, step.interval))
}

/// Of one lesson's gain, for itself.
const fn verdict(step: Step) -> &'static str {
    if step.interval.0 > 0.0 || step.interval.1 < 0.0 {
        "Changed in that lesson."
    } else {
        "Whether it changed in that lesson cannot be told yet."
    }
}
