//! What all commands print alike.

use super::log::priority;
use crate::engine::Summary;
use crate::output::{Told, text_of};
use crate::service::is_journal;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use peakorder_analysis::words::{self, mobility::MobilityWords};
use peakorder_protocol::calibration::JudgedStep;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::mobility::{MobilityCheck, Side};
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::swing::{Swing, SwingKind};
use peakorder_protocol::text::{clean, clean_lines};
use std::fmt::Write as _;
use std::future::Future;
use std::io::{self, IsTerminal as _, Write as _};
use std::path::Path;
use tokio::sync::broadcast;
use tracing::Level;

/// One line on stderr.
pub(super) fn print_error(text: &str) {
    if is_journal() {
        // Every line is one entry, and knows the program.
        for line in clean_lines(text).lines() {
            let _ = writeln!(io::stderr(), "{}{line}", priority(Level::ERROR));
        }
        return;
    }
    let _ = writeln!(io::stderr(), "peakorderd: {}", clean_lines(text));
}

/// One line (or block) on stdout; a closed pipe is silent.
pub(super) fn print_line(text: &str) {
    let _ = writeln!(io::stdout(), "{text}");
}

/// A live event. What a program reads goes to stdout; a trouble of the recording goes to stderr, for
/// whoever watches.
pub(super) fn print_event(event: &LiveEvent, json: bool) {
    let Some(line) = line(event, json) else { return };
    if matches!(event, LiveEvent::Trouble { .. }) && !json { print_error(&line) } else { print_line(&line) }
}

/// A trouble of the recording, on stderr; other events say nothing.
pub(super) fn print_trouble(event: &LiveEvent) {
    if matches!(event, LiveEvent::Trouble { .. }) {
        print_event(event, false);
    }
}

/// A progress bar on stderr if it is a terminal.
pub(super) fn progress(length: u64, template: &str) -> ProgressBar {
    let bar = ProgressBar::new(length);
    if io::stderr().is_terminal() {
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.progress_chars("━╸─"));
        }
    } else {
        bar.set_draw_target(ProgressDrawTarget::hidden());
    }
    bar
}

/// Done when the user or the system asks to stop. Listening starts with the call, not with
/// the first poll: a user may stop the program as soon as it prints its first line.
#[cfg(unix)]
pub(super) fn stop_signal() -> impl Future<Output = ()> {
    use tokio::signal::unix::{SignalKind, signal};
    let listen = |kind| {
        let heard = signal(kind);
        async move {
            match heard {
                Ok(mut heard) => drop(heard.recv().await),
                Err(_) => never().await,
            }
        }
    };
    let (interrupt, terminate) = (listen(SignalKind::interrupt()), listen(SignalKind::terminate()));
    // The terminal was closed.
    let hang_up = listen(SignalKind::hangup());
    async {
        tokio::select! {
            () = interrupt => {}
            () = terminate => {}
            () = hang_up => {}
        }
    }
}

/// Done when the user asks to stop.
#[cfg(not(unix))]
pub(super) async fn stop_signal() {
    let _ = tokio::signal::ctrl_c().await;
}

/// Never: for work that is not to be interrupted half-way.
pub(super) fn never() -> impl Future<Output = ()> {
    std::future::pending()
}

/// One line about a swing.
pub(super) fn swing_line(swing: &Swing) -> String {
    let mut line = format!("swing {:>3}", swing.number);
    if !swing.block.is_empty() {
        let _ = write!(line, "  {}", swing.block);
    }
    match swing.kind {
        SwingKind::Strike => {}
        SwingKind::Rehearsal => line.push_str("  (rehearsal)"),
        SwingKind::Unsure => line.push_str("  (ball not known)"),
    }
    for (role, segment) in &swing.segments {
        if let Some(peak) = &segment.peak {
            let _ = write!(
                line,
                "  {role} {:.0} °/s at {:.0} ± {:.0} ms",
                peak.speed_dps,
                peak.before_impact_ms,
                Z95 * peak.sd_ms
            );
        }
    }
    line
}

/// One line about a repetition of a drill.
pub(super) fn repetition_line(repetition: &Repetition) -> String {
    let mut line = format!("repetition {:>3}  {}", repetition.number, repetition.block);
    for (role, segment) in &repetition.segments {
        if let Some(turn) = &segment.turn_deg {
            let _ = write!(line, "  {role} {:.0} ± {:.0}° back", turn.top.abs(), Z95 * turn.sd);
            if let Some((through, sd)) = turn.through.zip(turn.through_sd) {
                let _ = write!(line, ", {through:.0} ± {:.0}° through", Z95 * sd);
            }
        }
    }
    line
}

/// One line about a mobility check: the largest turn to each side, and what to repeat.
fn mobility_line(check: &MobilityCheck) -> String {
    let mut line = format!("mobility {}", check.number);
    if let Some(posture) = check.posture {
        let _ = write!(line, ", {posture}");
    }
    let sides: Vec<String> = Side::ALL
        .into_iter()
        .filter_map(|side| Some((side, check.side(side)?)))
        .map(|(side, turns)| {
            let (best, n) = (turns.thorax, turns.repetitions.len());
            format!(
                "thorax to the {side} ({}) {:.0} ± {:.0}° at most in {n} turn{}",
                turns.swing_side.key(),
                best.largest_deg,
                Z95 * best.largest_sd_deg,
                if n == 1 { "" } else { "s" }
            )
        })
        .collect();
    if !sides.is_empty() {
        let _ = write!(line, ": {}", sides.join(", "));
    }
    if !check.ok {
        let _ = write!(line, "; again, because {}", MobilityWords::from(check).repeat.join("; "));
    }
    line
}

/// One line about a step of the calibration: what was found, or what to do again and why.
pub(super) fn judged_line(judged: &JudgedStep) -> String {
    let again = if judged.passed() { "" } else { "again, because " };
    format!("{}: {again}{}", words::calibration::step(judged.step), words::calibration::outcome(judged))
}

/// One line about a live event, for the terminal.
fn event_line(event: &LiveEvent) -> Option<String> {
    match event {
        LiveEvent::Swing { swing } => Some(swing_line(swing)),
        LiveEvent::Calibration { judged } => Some(judged_line(judged)),
        LiveEvent::Repetition { repetition } => Some(repetition_line(repetition)),
        LiveEvent::Block { label, drill: true, .. } => Some(format!("drill: {label}")),
        LiveEvent::Block { label, .. } => Some(format!("block: {label}")),
        LiveEvent::Wearing { .. } => Some("straps put on again: calibrate them anew".into()),
        LiveEvent::Mobility { check } => Some(mobility_line(check)),
        LiveEvent::Strap { role, .. } => Some(format!("{role} strap: {}", text_of(event)?)),
        LiveEvent::Trouble { .. } => text_of(event),
        _ => None,
    }
}

/// Hands every live event to `take` until the session ends. One who falls behind misses the
/// oldest events and goes on with the newer ones.
pub(super) async fn follow(mut watch: broadcast::Receiver<LiveEvent>, mut take: impl FnMut(&LiveEvent)) {
    loop {
        match watch.recv().await {
            Ok(event) => take(&event),
            Err(broadcast::error::RecvError::Lagged(_)) => {}
            Err(broadcast::error::RecvError::Closed) => return,
        }
    }
}

/// An event as a line: of JSON, or for people where it has one.
pub(super) fn line(event: &LiveEvent, json: bool) -> Option<String> {
    if json { serde_json::to_string(&Told::from(event)).ok() } else { event_line(event).map(|l| clean(&l)) }
}

/// The one line a session comes to.
pub(super) fn summary_line(path: &Path, summary: &Summary) -> String {
    let mut line = format!(
        "{}: {}{} in {}, {} samples",
        path.display(),
        words::plural(summary.swings as usize, "swing"),
        if summary.repetitions > 0 {
            format!(" and {}", words::plural(summary.repetitions as usize, "repetition"))
        } else {
            String::new()
        },
        duration(summary.seconds),
        summary.samples
    );
    if summary.lost > 0 {
        let _ = write!(
            line,
            ", {} lost ({:.2} %)",
            summary.lost,
            100.0 * summary.lost as f64 / (summary.samples + summary.lost) as f64
        );
    }
    if summary.missing_files > 0 {
        let _ = write!(
            line,
            ", {} computed file{} missing: peakorderd replay {} makes {}",
            summary.missing_files,
            if summary.missing_files == 1 { "" } else { "s" },
            path.display(),
            if summary.missing_files == 1 { "it" } else { "them" }
        );
    }
    if summary.bad_packets > 0 {
        let _ = write!(line, ", {} packets could not be decoded", summary.bad_packets);
    }
    // The folder's name may hold anything.
    clean(&line)
}

/// `8 min 12 s`.
pub(super) fn duration(seconds: f64) -> String {
    let s = seconds.round() as u64;
    if s < 60 { format!("{s} s") } else { format!("{} min {:02} s", s / 60, s % 60) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_motion::pipeline::{Output, Pipeline};
    use peakorder_protocol::mobility::NotAsAsked;
    use peakorder_protocol::session::Player;
    use peakorder_virtual_straps::Script;
    use peakorder_virtual_straps::virtual_session;

    /// The invented lesson's first check, as somebody at the keyboard reads it.
    #[test]
    fn a_mobility_check_is_one_line_with_both_sides_and_what_to_repeat() {
        let script = Script::lesson(3);
        let session = script.clone().session();
        let meta = virtual_session(&script, "mobility", Player::default(), "2026-01-01T00:00:00Z");
        let mut pipeline = Pipeline::new(&meta).expect("a valid session");
        let mut out = Vec::new();
        let found = session.records().find_map(|record| {
            pipeline.push(&record, &mut out);
            out.drain(..).find_map(|o| if let Output::Mobility(c) = o { Some(c) } else { None })
        });
        let mut check = found.expect("the lesson has a check");
        let text = line(&LiveEvent::Mobility { check: check.clone() }, false).expect("a line");
        assert!(text.starts_with("mobility 1, seated: thorax to the left (lead) "), "{text}");
        assert!(text.contains(", thorax to the right (trail) ") && text.contains("in 3 turns"), "{text}");
        assert!(check.ok && !text.contains("again") && !text.contains('\n'), "{text}");
        check.ok = false;
        check.repeat = vec![NotAsAsked::EndNotMarked];
        let text = line(&LiveEvent::Mobility { check }, false).expect("a line");
        let why = words::mobility::not_as_asked(&NotAsAsked::EndNotMarked);
        assert!(text.ends_with(&format!("; again, because {why}")), "{text}");
    }
}
