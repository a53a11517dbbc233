//! What the screen says, line by line.

use super::screen::{Lesson, Screen};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::order::{LEGEND, Order, short};
use peakorder_analysis::stats::Z95;
use peakorder_analysis::words;
use peakorder_protocol::swing::{Swing, SwingKind};
use std::fmt::Write as _;

/// A line of the screen.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Line {
    /// What it says.
    pub text: String,
    /// It is a heading.
    pub bold: bool,
}

impl Line {
    /// A heading.
    pub fn heading(text: impl Into<String>) -> Self {
        Self { text: text.into(), bold: true }
    }
}

impl<T: Into<String>> From<T> for Line {
    fn from(text: T) -> Self {
        Self { text: text.into(), bold: false }
    }
}

/// The whole screen, from the top.
pub fn lines(screen: &Screen) -> Vec<Line> {
    let mut lines = Vec::new();
    if let Some(why) = &screen.lost {
        lines.push(Line::heading(format!("NOT LIVE: {why}")));
        lines.push(Line::from("Trying again. What is below is old."));
        lines.push(Line::default());
    }
    match &screen.lesson {
        None => lines.push(Line::from("No lesson is running.")),
        Some(lesson) => of_lesson(lesson, &mut lines),
    }
    if !screen.messages.is_empty() {
        lines.push(Line::default());
        lines.extend(screen.messages.iter().cloned().map(Line::from));
    }
    lines.push(Line::default());
    lines.push(Line::from("q ends watching, not the lesson"));
    lines
}

fn of_lesson(lesson: &Lesson, lines: &mut Vec<Line>) {
    let mut title = lesson.player.clone();
    if lesson.invented {
        title.push_str("  (invented)");
    }
    if !lesson.block.is_empty() {
        let _ = write!(title, "  block {}", lesson.block);
    }
    if lesson.ended {
        title.push_str("  ENDED");
    }
    lines.push(Line::heading(title));
    if let Some(doing) = &lesson.doing {
        lines.push(Line::from(format!("now: {doing}")));
    }
    if !lesson.ended {
        lines.extend(lesson.straps.iter().map(|(role, words)| Line::from(format!("{role:<9} {words}"))));
    }
    lines.push(Line::default());
    let Some(swing) = lesson.swings.last() else {
        lines.push(Line::from("No swing yet."));
        return;
    };
    of_swing(swing, lines);
    lines.extend(lesson.about_last.iter().cloned().map(Line::from));
    let (block, shares) = lesson.tally();
    if !shares.is_empty() {
        lines.push(Line::default());
        let name =
            if block.is_empty() { "before the first block".to_owned() } else { format!("block {block}") };
        lines.push(Line::heading(format!("orders, {name}")));
        lines.extend(
            shares.iter().map(|s| Line::from(format!("{} of {}  {}", s.count, s.of, s.order.text()))),
        );
    }
    lines.push(Line::default());
    lines.push(Line::from(LEGEND));
}

/// Half the 95 % band, whole numbers.
fn half(sd: Option<f64>) -> String {
    sd.map_or_else(|| words::UNKNOWN.to_owned(), |sd| format!("{:.0}", (Z95 * sd).max(1.0)))
}

fn of_swing(swing: &Swing, lines: &mut Vec<Line>) {
    let kind = match swing.kind {
        SwingKind::Strike => "",
        SwingKind::Rehearsal => "  (rehearsal)",
        SwingKind::Unsure => "  (ball not known)",
    };
    let order = Order::of_peaks(&swing.sequence).map_or_else(|| "no peak measured".into(), |o| o.text());
    lines.push(Line::heading(format!("swing {}{kind}  {order}", swing.number)));
    for gap in &swing.sequence.gaps {
        let tie = if gap.resolved { "" } else { "  too close to tell" };
        lines.push(Line::from(format!(
            "{} → {}  {} (± {:.0}){tie}",
            short(gap.from),
            short(gap.to),
            words::value(Measure::Gap(gap.from, gap.to), gap.gap_ms),
            (Z95 * gap.sd_ms).max(1.0)
        )));
    }
    for (role, segment) in &swing.segments {
        let mut line = format!("{:<9}", role.label());
        if let Some(peak) = &segment.peak {
            let _ = write!(line, " {:4.0} ± {} °/s", peak.speed_dps, half(peak.speed_sd_dps));
        }
        if let Some(turn) = &segment.turn_deg {
            let _ = write!(
                line,
                "  top {} (± {}°), impact {} (± {}°)",
                words::value(Measure::TurnAtTop(*role), turn.top),
                half(Some(turn.sd)),
                words::value(Measure::TurnAtImpact(*role), turn.impact),
                half(turn.impact_sd)
            );
        }
        lines.push(Line::from(line));
    }
    lines.extend(swing.quality.withheld.iter().map(|w| Line::from(words::quality::withheld(w))));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::client::{FollowError, Update};
    use serde_json::json;

    fn shown(screen: &Screen) -> String {
        lines(screen).into_iter().map(|l| l.text).collect::<Vec<_>>().join("\n")
    }

    /// A swing of the recordings that come with the project.
    fn swing(number: u32) -> serde_json::Value {
        let file =
            format!("{}/../recordings/baseline-right/swings/{number:04}.json", env!("CARGO_MANIFEST_DIR"));
        serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap()
    }

    fn state() -> serde_json::Value {
        json!({ "seq": 5, "lesson": {
            "player": { "name": "Ann" }, "invented": true, "block": "baseline", "doing": null,
            "straps": [{ "role": "lead_arm", "words": "208 samples a second, none lost", "battery_percent": 83.0 }],
            "swings": [swing(1)],
        }})
    }

    #[test]
    fn straps_last_swing_and_tally_are_there() {
        let mut screen = Screen::default();
        assert!(shown(&screen).starts_with("No lesson is running."));
        screen.apply(Update::State(state()));
        screen.apply(Update::Event("swing".into(), json!({ "swing": swing(2) })));
        let text = shown(&screen);
        assert!(text.starts_with("Ann  (invented)  block baseline"), "{text}");
        assert!(text.contains("lead arm  208 samples a second, none lost, battery 83 %"), "{text}");
        assert!(text.contains("swing 2"), "{text}");
        let file: Swing = serde_json::from_value(swing(2)).unwrap();
        for gap in &file.sequence.gaps {
            let line = format!(
                "{} → {}  {:.0} ms {} (± {:.0})",
                short(gap.from),
                short(gap.to),
                gap.gap_ms.abs(),
                if gap.gap_ms < 0.0 { "before" } else { "after" },
                (Z95 * gap.sd_ms).max(1.0)
            );
            assert!(text.contains(&line), "{line}\n{text}");
        }
        let of: usize = screen.lesson.as_ref().unwrap().tally().1.iter().map(|s| s.count).sum();
        assert_eq!(of, 2);
        assert!(text.contains(" of 2  "), "{text}");
    }

    #[test]
    fn what_is_said_of_the_last_swing_is_there_and_what_was_said_before_is_gone() {
        let mut screen = Screen::default();
        screen.apply(Update::State(state()));
        let verdict = json!({ "step": "arm-raise", "ok": false, "text": "the arm rose 5 deg only" });
        screen.apply(Update::Event("calibration".into(), verdict));
        assert!(shown(&screen).contains("arm raise: again, because the arm rose 5 deg only"));
        screen.apply(Update::Event("swing".into(), json!({ "swing": swing(2) })));
        assert!(!shown(&screen).contains("rose"), "a swing came since");
        let of = |verdict: &str, words: &str| json!({ "verdict": verdict, "words": words });
        let extra = |number: u32, against: serde_json::Value| {
            let answer = json!({ "spoken": "41 degrees back, nearly, 2 short" });
            Update::Event(
                "swing_extra".into(),
                json!({ "number": number, "against": against, "answer": answer }),
            )
        };
        screen.apply(extra(
            2,
            json!([of("within_ordinary", "Tempo as ever."), of("beyond_ordinary", "Pelvis turned more.")]),
        ));
        let text = shown(&screen);
        assert!(text.contains("target: 41 degrees back, nearly, 2 short"), "{text}");
        assert!(text.contains("Pelvis turned more.") && !text.contains("Tempo as ever."), "{text}");
        // Of an older swing nothing is said here.
        screen.apply(extra(1, json!([of("beyond_ordinary", "Old news.")])));
        assert!(!shown(&screen).contains("Old news."));
        screen.apply(extra(2, json!([of("within_ordinary", "Tempo as ever.")])));
        assert!(shown(&screen).contains("nothing beyond ordinary variation"));
        screen.apply(extra(2, json!([of("cannot_tell_yet", "Too few.")])));
        assert!(shown(&screen).contains("against the baseline: can't tell yet"));
        screen.apply(Update::Event("swing".into(), json!({ "swing": swing(3) })));
        assert!(!shown(&screen).contains("target:"), "of the new swing nothing is known yet");
    }

    #[test]
    fn nothing_old_is_shown_as_live() {
        let mut screen = Screen::default();
        screen.apply(Update::State(state()));
        screen.apply(Update::Lost(FollowError::Silent));
        assert!(shown(&screen).starts_with("NOT LIVE: the server is silent\n"));
        screen.apply(Update::Event("straps".into(), json!([])));
        assert!(!shown(&screen).contains("NOT LIVE"));
        screen.apply(Update::Event("session_ended".into(), json!({})));
        assert!(shown(&screen).contains("ENDED"));
        // A server that was started anew knows of no lesson: the one shown has ended.
        screen.apply(Update::State(state()));
        assert!(!shown(&screen).contains("ENDED"));
        screen.apply(Update::State(json!({ "seq": 0, "lesson": null })));
        assert!(shown(&screen).contains("ENDED"));
    }
}
