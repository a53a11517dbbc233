//! Parts of the page that are text and tables.

use super::html::{esc, esc_lines};
use super::{PRACTISE, block_name, player_name, sentences};
use crate::SAFETY;
use crate::compare::{Comparison, Row, Verdict};
use crate::load::Loaded;
use crate::order;
use crate::render::{marked, number};
use crate::summary::{MeasureSummary, by_block, summarise};
use crate::words::{capital, plural};
use peakorder_protocol::Role;
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::{SEPARATION_METHOD, Swing};
use std::fmt::Write as _;

/// The day in the session's own zone, e.g. `25 November 2026`; as the file has it where it
/// cannot be read.
pub(super) fn day(session: &Session) -> String {
    formatted(session, "%-d %B %Y")
}

fn formatted(session: &Session, format: &str) -> String {
    let zoned = session.started_utc.parse::<jiff::Timestamp>().and_then(|t| t.in_tz(&session.zone));
    zoned.map_or_else(|_| session.started_utc.clone(), |z| z.strftime(format).to_string())
}

/// What of a lesson's note is to be practised.
pub(super) fn to_practise(note: &str) -> Option<&str> {
    let start = note.get(..PRACTISE.len())?;
    start.eq_ignore_ascii_case(PRACTISE).then(|| note[PRACTISE.len()..].trim()).filter(|t| !t.is_empty())
}

/// Who, when, what for.
pub(super) fn head(out: &mut String, loaded: &Loaded) {
    let session = &loaded.session;
    let player = &session.player;
    let _ = writeln!(
        out,
        "<header>\n<h1>Your lesson, {}</h1>\n<p class=\"when\">{}, {}</p>",
        esc(player_name(session)),
        esc(&formatted(session, "%A %-d %B %Y, %H:%M")),
        esc(&session.zone)
    );
    if session.invented {
        out.push_str(
            "<p class=\"invented\">Invented scenario: simulated straps, no real player. Nothing here was \
             measured on a person.</p>\n",
        );
    }
    out.push_str("<dl>\n");
    let straps: Vec<String> = session.straps.keys().map(|&r| marked(r)).collect();
    let handed = format!("{}-handed", player.handedness);
    for (term, text) in [
        ("Plays", handed.as_str()),
        ("Goal", &player.goal),
        ("Limits", &player.limits),
        ("Measured on", &straps.join(", ")),
    ] {
        if !text.is_empty() {
            let _ = writeln!(out, "<dt>{term}</dt><dd>{}</dd>", esc_lines(text));
        }
    }
    out.push_str("</dl>\n</header>\n");
}

/// Every block with what counts of it.
pub(super) fn blocks(out: &mut String, loaded: &Loaded) {
    out.push_str(
        "<h2>What was measured</h2>\n<table>\n<thead><tr><th scope=\"col\">Block</th><th scope=\"col\">swings</th>\
         <th scope=\"col\">counted</th><th scope=\"col\" class=\"left\">left out</th></tr></thead>\n<tbody>\n",
    );
    for (label, swings) in by_block(&loaded.swings) {
        let s = summarise(&label, &swings, &loaded.remarks);
        let mut left = Vec::new();
        for (n, one) in [
            (s.rehearsals.len(), "without a ball"),
            (s.unusable.len(), "not measured well enough"),
            (s.excluded.len(), "by the coach"),
        ] {
            if n > 0 {
                left.push(format!("{n} {one}"));
            }
        }
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td class=\"left\">{}</td></tr>",
            esc(block_name(&label)),
            swings.len(),
            s.used.len(),
            left.join(", ")
        );
    }
    out.push_str("</tbody>\n</table>\n");
    if !loaded.problems.is_empty() {
        let _ = writeln!(
            out,
            "<p class=\"small\">{} could not be read and stand nowhere in this report.</p>",
            capital(&plural(loaded.problems.len(), "swing file"))
        );
    }
    for notice in &loaded.notices {
        let _ = writeln!(out, "<p class=\"small\">{}</p>", esc(notice));
    }
}

/// The verdicts in sentences.
pub(super) fn in_short(out: &mut String, main: &[Row], rest: &Comparison) {
    for row in main {
        let _ = writeln!(
            out,
            "<p class=\"main\"><b>What the drill was about.</b> {}</p>",
            esc(&sentences::change(row))
        );
    }
    out.push_str("<ul>\n");
    for verdict in [Verdict::Changed, Verdict::Perhaps] {
        for row in sentences::of(rest, verdict) {
            let _ = writeln!(out, "<li>{}</li>", esc(&sentences::change(row)));
        }
    }
    let nothing = sentences::not_shown(rest);
    if !nothing.is_empty() {
        let _ = writeln!(out, "<li>{}</li>", esc(&nothing));
    }
    out.push_str("</ul>\n");
    for note in &rest.notes {
        let _ = writeln!(out, "<p class=\"small\">{}</p>", esc(note));
    }
}

/// Every number, before and after.
pub(super) fn table(out: &mut String, main: &[Row], rest: &Comparison) {
    out.push_str(
        "<h2 class=\"page\">All numbers</h2>\n<div class=\"wide\" role=\"region\" aria-label=\"All numbers\" tabindex=\"0\"><table>\n<caption>Mean ± SD between swings; difference ± half \
         its 95 % interval.</caption>\n<thead><tr><th scope=\"col\">measure</th><th scope=\"col\">before</th>\
         <th scope=\"col\">after</th><th scope=\"col\">difference</th><th scope=\"col\" class=\"left\">verdict</th>\
         </tr></thead>\n",
    );
    let mut group = None;
    let rows: Vec<&Row> = main.iter().chain(&rest.rows).collect();
    for (i, row) in rows.iter().enumerate() {
        if group != Some(row.measure.group()) {
            out.push_str(if i == 0 { "<tbody>\n" } else { "</tbody>\n<tbody class=\"apart\">\n" });
            group = Some(row.measure.group());
        }
        let m = row.measure;
        let side = |s: &MeasureSummary| {
            let sd = s.sample.sd.map_or("–".into(), |sd| number(sd, m.decimals(), false));
            format!("{} ± {sd}", number(s.sample.mean, m.decimals(), m.signed()))
        };
        let half = row.welch.map_or("–".into(), |w| number(w.half_width, m.decimals(), false));
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{} ± {half}</td><td class=\"left\">{}</td></tr>",
            esc(&m.name()),
            side(&row.before),
            side(&row.after),
            number(row.difference, m.decimals(), true),
            row.verdict.label(),
        );
    }
    if !rows.is_empty() {
        out.push_str("</tbody>\n");
    }
    out.push_str("</table></div>\n");
    for n in &rest.not_compared {
        let _ = writeln!(
            out,
            "<p class=\"small\">{}: not compared, {}.</p>",
            esc(&capital(&n.measure.label())),
            esc(&n.why)
        );
    }
}

/// Coach's notes, ball outcomes, swings left out.
pub(super) fn notes(out: &mut String, loaded: &Loaded) {
    let remarks = &loaded.remarks;
    let lesson: Vec<&str> =
        remarks.notes.iter().map(|n| n.text.as_str()).filter(|t| to_practise(t).is_none()).collect();
    let said: Vec<(&Swing, _)> =
        loaded.swings.iter().filter_map(|s| Some((s, remarks.swing(s.number)?))).collect();
    if lesson.is_empty() && said.is_empty() {
        return;
    }
    out.push_str("<h2>Coach's notes</h2>\n");
    for text in lesson {
        let _ = writeln!(out, "<p>{}</p>", esc_lines(text));
    }
    if said.is_empty() {
        return;
    }
    out.push_str(
        "<table>\n<thead><tr><th scope=\"col\">Swing</th><th scope=\"col\" class=\"left\">block</th>\
         <th scope=\"col\" class=\"left\">ball</th><th scope=\"col\" class=\"left\">note</th>\
         <th scope=\"col\" class=\"left\">order of peaks</th></tr></thead>\n<tbody>\n",
    );
    for (swing, said) in said {
        let mut note = Vec::new();
        if said.excluded {
            let reason =
                if said.reason.is_empty() { String::new() } else { format!(": {}", esc(&said.reason)) };
            note.push(format!("<i>left out{reason}</i>"));
        }
        if !said.note.is_empty() {
            note.push(esc_lines(&said.note));
        }
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td class=\"left\">{}</td><td class=\"left\">{}</td><td class=\"left\">{}</td><td class=\"left\">{}</td></tr>",
            swing.number,
            esc(block_name(&swing.block)),
            esc(&said.labels.join(", ")),
            note.join("<br>"),
            order::Order::of_peaks(&swing.sequence).map_or("–".into(), |o| o.text())
        );
    }
    out.push_str("</tbody>\n</table>\n");
}

/// What the words mean.
pub(super) fn reading(out: &mut String, loaded: &Loaded) {
    out.push_str("<h2>How to read this</h2>\n<dl class=\"small\">\n");
    let marks: Vec<String> = Role::ALL.into_iter().map(marked).collect();
    let rows = [
        ("segments", format!("{}: straps over the base of the spine, on the upper back and on the upper lead arm", marks.join(", "))),
        ("peak", "the moment before impact at which a segment turned fastest. No order of peaks is a fault: 13 golfers showed 5 to 7 different orders, by method of measuring (Marsan et al. 2019)".into()),
        ("together", "two peaks closer than the measurement can tell apart (95 %)".into()),
        ("turn", "angle about the body's long axis from its line at address; away from, or towards, the target".into()),
        ("separation", format!("{SEPARATION_METHOD}; negative = thorax turned further away")),
        ("changed", "larger than your own ordinary variation from swing to swing, also after allowing for the number of measures looked at".into()),
        ("perhaps", Verdict::Perhaps.meaning().into()),
        ("can't tell", "the difference lies within ordinary variation. More swings show smaller changes".into()),
        ("± ", "in a sentence \"from swing to swing\": standard deviation; \"give or take\" and bars: 95 % interval".into()),
    ];
    for (term, text) in rows {
        let _ = writeln!(out, "<dt>{}</dt><dd>{}</dd>", term.trim(), esc(&text));
    }
    out.push_str("</dl>\n");
    if loaded.swings.is_empty() {
        return;
    }
    let angles = loaded.swings.first().map_or("", |s| s.angle_order.as_str());
    let _ = writeln!(
        out,
        "<p class=\"small\">Angles: {}. Straps sit on cloth and skin, which move over bone: compare with \
         yourself on the same day first, and never with another person.</p>",
        esc(angles)
    );
}

/// Cautions and where the numbers come from.
pub(super) fn ending(out: &mut String, session: &Session) {
    let _ = writeln!(
        out,
        "<footer class=\"end\"><p>{}</p>\n<p>Session {}, computed by {}.{}</p></footer>",
        esc(SAFETY),
        esc(&session.id),
        esc(&session.computed_by),
        if session.invented { " Invented scenario." } else { "" }
    );
}
