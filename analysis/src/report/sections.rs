//! Parts of the page that are text and tables.

use super::html::lines;
use super::{PRACTISE, block_name, player_name, sentences};
use crate::chosen::Family;
use crate::compare::{Comparison, Row, Standing, Verdict};
use crate::load::Loaded;
use crate::order;
use crate::render::{marked, number};
use crate::summary::{BlockSummary, MeasureSummary, by_block, summarise};
use crate::words::{self, capital, plural};
use crate::{INVENTED, SAFETY};
use jiff::fmt::temporal::DateTimeParser;
use maud::{Markup, html};
use peakorder_protocol::Role;
use peakorder_protocol::remark::SwingRemarks;
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::{SEPARATION_METHOD, Swing};

/// The day in the session's own zone, e.g. `25 November 2026`; as the file has it where it
/// cannot be read.
pub(crate) fn day(session: &Session) -> String {
    formatted(session, "%-d %B %Y")
}

fn formatted(session: &Session, format: &str) -> String {
    // A zone may be a name or an offset.
    let zone = DateTimeParser::new().parse_time_zone(&session.zone);
    let zoned =
        zone.and_then(|zone| Ok(session.started_utc.parse::<jiff::Timestamp>()?.to_zoned_datetime(zone)));
    zoned.map_or_else(|_| session.started_utc.clone(), |z| z.strftime(format).to_string())
}

/// What of a lesson's note is to be practised.
fn to_practise(note: &str) -> Option<&str> {
    let start = note.get(..PRACTISE.len())?;
    start.eq_ignore_ascii_case(PRACTISE).then(|| note[PRACTISE.len()..].trim()).filter(|t| !t.is_empty())
}

/// What is to be practised: the coach's text for it, and notes that begin with the word.
pub(super) fn practise(loaded: &Loaded) -> Vec<&str> {
    let remarks = &loaded.remarks;
    let said = remarks.practise.as_deref().filter(|t| !t.is_empty());
    said.into_iter().chain(remarks.notes.iter().filter_map(|n| to_practise(&n.text))).collect()
}

/// The coach's notes of the lesson, without what is to be practised.
pub(super) fn lesson_notes(loaded: &Loaded) -> Vec<&str> {
    loaded.remarks.notes.iter().map(|n| n.text.as_str()).filter(|t| to_practise(t).is_none()).collect()
}

/// Who, when, what for.
pub(super) fn head(loaded: &Loaded) -> Markup {
    let session = &loaded.session;
    let player = &session.player;
    let straps: Vec<String> = session.straps.keys().map(|&r| marked(r)).collect();
    let handed = format!("{}-handed", player.handedness);
    let rows = [
        ("Plays", handed.as_str()),
        ("Goal", &player.goal),
        ("Limits", &player.limits),
        ("Measured on", &straps.join(", ")),
    ];
    html! {
        header {
            h1 { "Appendix: " (player_name(session)) }
            p class="when" { (formatted(session, "%A %-d %B %Y, %H:%M")) ", " (session.zone) }
            @if session.invented {
                p class="invented" { (INVENTED) }
            }
            dl {
                @for (term, text) in rows.into_iter().filter(|(_, text)| !text.is_empty()) {
                    dt { (term) }
                    dd { (lines(text)) }
                }
            }
        }
    }
}

/// Every block with what counts of it.
pub(super) fn blocks(loaded: &Loaded) -> Markup {
    let left_out = |s: &BlockSummary| -> Vec<String> {
        let counts = [
            (s.rehearsals.len(), "without a ball"),
            (s.unsure.len(), "with or without a ball, not known"),
            (s.struck.len(), "with a ball"),
            (s.unusable.len(), "not measured well enough"),
            (s.excluded.len(), "by the coach"),
        ];
        counts.into_iter().filter(|(n, _)| *n > 0).map(|(n, why)| format!("{n} {why}")).collect()
    };
    html! {
        h2 { "What was measured" }
        table {
            thead {
                tr {
                    th scope="col" { "Block" }
                    th scope="col" { "swings" }
                    th scope="col" { "counted" }
                    th scope="col" class="left" { "left out" }
                }
            }
            tbody {
                @for (label, swings) in by_block(&loaded.swings) {
                    @let summary = summarise(&label, &swings, &loaded.remarks);
                    tr {
                        th scope="row" {
                            (block_name(&label))
                            @if let Some(said) = words::ball::of_block(&loaded.remarks, &label) { ", " (said) }
                        }
                        td { (swings.len()) }
                        td { (summary.used.len()) }
                        td class="left" { (left_out(&summary).join(", ")) }
                    }
                }
            }
        }
        @if !loaded.problems.is_empty() {
            p class="small" {
                (capital(&plural(loaded.problems.len(), "swing file")))
                " could not be read and stand nowhere in this report."
            }
        }
        @for notice in &loaded.notices { p class="small" { (notice) } }
    }
}

/// The verdicts in sentences.
pub(super) fn in_short(comparison: &Comparison) -> Markup {
    let chosen = !matches!(comparison.family, Family::All);
    let of = |standing: Standing| comparison.rows.iter().filter(move |r| r.standing == standing);
    let nothing = sentences::not_shown(comparison);
    html! {
        @if chosen {
            p class="main" { b { "What this lesson was about" } }
            ul { @for row in of(Standing::Judged) { li { (sentences::change(row)) } } }
            @let perhaps: Vec<&Row> = of(Standing::LookedThrough).filter(|r| r.verdict == Verdict::Perhaps).collect();
            @if !perhaps.is_empty() {
                p { "Of the other numbers, perhaps (about one in ten that are called so is there by chance):" }
                ul { @for row in &perhaps { li { (sentences::aside(row)) "." } } }
            }
            @let rest = of(Standing::LookedThrough).count() - perhaps.len();
            @if rest > 0 {
                p class="small" {
                    "In " (rest) @if !perhaps.is_empty() { " more" }
                    " numbers, which the lesson was not about, nothing shows that chance alone would not make."
                }
            }
        } @else {
            ul {
                @for verdict in [Verdict::Changed, Verdict::NoneThatMatters, Verdict::Perhaps] {
                    @for row in sentences::of(comparison, verdict) { li { (sentences::change(row)) } }
                }
                @if !nothing.is_empty() { li { (nothing) } }
            }
        }
        @for note in &comparison.notes { p class="small" { (note) } }
    }
}

/// Every number, before and after: those that the lesson was about first.
pub(super) fn table(comparison: &Comparison) -> Markup {
    let groups =
        comparison.rows.chunk_by(|a, b| (a.standing, a.measure.group()) == (b.standing, b.measure.group()));
    html! {
        h2 { "All numbers" }
        div class="wide" role="region" aria-label="All numbers" tabindex="0" {
            table {
                caption { "Mean, in brackets the SD between swings; difference with its 95 % interval." }
                thead {
                    tr {
                        @for heading in ["measure", "before", "after", "difference"] { th scope="col" { (heading) } }
                        th scope="col" class="left" { "verdict" }
                    }
                }
                @for (i, group) in groups.enumerate() {
                    tbody class=[(i > 0).then_some("apart")] {
                        @for row in group { (numbers(row)) }
                    }
                }
            }
        }
        @for n in &comparison.not_compared {
            p class="small" { (capital(&n.measure.label())) ": not compared, " (n.why) "." }
        }
    }
}

fn numbers(row: &Row) -> Markup {
    let m = row.measure;
    let side = |s: &MeasureSummary| {
        let sd = s.sample.sd.map_or("–".into(), |sd| number(sd, m.decimals(), false));
        format!("{} ({sd})", number(s.sample.mean, m.decimals(), m.signed()))
    };
    let interval = row.interval.map_or(String::new(), |(low, high)| {
        format!(" ({} to {})", number(low, m.decimals(), true), number(high, m.decimals(), true))
    });
    let verdict = match (row.standing, row.verdict) {
        // Of what was only looked through nothing is expected, so nothing is said.
        (Standing::LookedThrough, Verdict::CantTell) => "–",
        (_, verdict) => verdict.label(),
    };
    html! {
        tr {
            th scope="row" { (m.name()) }
            td { (side(&row.before)) }
            td { (side(&row.after)) }
            td { (number(row.difference, m.decimals(), true)) (interval) }
            td class="left" { (verdict) }
        }
    }
}

/// Coach's notes, ball outcomes, swings left out.
pub(super) fn notes(loaded: &Loaded) -> Markup {
    let remarks = &loaded.remarks;
    let practise = practise(loaded);
    let lesson = lesson_notes(loaded);
    let said: Vec<(&Swing, &SwingRemarks)> =
        loaded.swings.iter().filter_map(|s| Some((s, remarks.swing(s.number)?))).collect();
    html! {
        @if !practise.is_empty() { h2 { "To practise" } }
        @for text in practise { p { (lines(&capital(text))) } }
        @if !lesson.is_empty() || !said.is_empty() { h2 { "Coach's notes" } }
        @for text in lesson { p { (lines(text)) } }
        @if !said.is_empty() {
            table {
                thead {
                    tr {
                        th scope="col" { "Swing" }
                        @for heading in ["block", "ball", "note", "order of peaks"] {
                            th scope="col" class="left" { (heading) }
                        }
                    }
                }
                tbody {
                    @for (swing, said) in said {
                        tr {
                            th scope="row" { (swing.number) }
                            td class="left" { (block_name(&swing.block)) }
                            td class="left" { (said.labels.join(", ")) }
                            td class="left" { (note(said)) }
                            td class="left" { (order::Order::of_peaks(&swing.sequence).map_or("–".into(), |o| o.text())) }
                        }
                    }
                }
            }
        }
    }
}

/// What the coach says of one swing.
fn note(said: &SwingRemarks) -> Markup {
    html! {
        @if said.excluded {
            i { "left out" @if !said.reason.is_empty() { ": " (said.reason) } }
            @if !said.note.is_empty() || said.struck.is_some() { br; }
        }
        @if let Some(struck) = said.struck {
            i { (words::ball::said(struck)) }
            @if !said.note.is_empty() { br; }
        }
        (lines(&said.note))
    }
}

/// What the words mean.
pub(super) fn reading(loaded: &Loaded) -> Markup {
    let marks: Vec<String> = Role::ALL.into_iter().map(marked).collect();
    let rows = [
        ("segments", format!("{}: straps over the base of the spine, on the upper back and on the upper lead arm", marks.join(", "))),
        ("peak", "the moment before impact at which a segment turned fastest. No order of peaks is a fault: 13 golfers showed 5 to 7 different orders, by method of measuring (Marsan et al. 2019)".into()),
        ("together", "two peaks closer than the measurement can tell apart (95 %)".into()),
        ("turn", "angle about the body's long axis from its line at address; back (away from the target) or through (towards it)".into()),
        ("separation", format!("{SEPARATION_METHOD}; negative = thorax turned further back")),
        ("turn and lift", "turn: how far the chest turned away up to the top, with the hips' part of it. Lift: how far the lead arm was raised in the shoulder. The less the body turns, the more the arm has to make up".into()),
        ("changed", "larger than your own ordinary variation from swing to swing makes by chance, also after allowing for the number of measures that get a verdict".into()),
        ("no change that matters", Verdict::NoneThatMatters.meaning().into()),
        ("can't tell yet", Verdict::CantTell.meaning().into()),
        ("perhaps", Verdict::Perhaps.meaning().into()),
        ("±", "half the width of the 95 % band, like \"give or take\" and the bars; what varies from swing to swing is told as a standard deviation (SD)".into()),
    ];
    html! {
        h2 { "How to read this" }
        dl class="small" {
            @for (term, text) in &rows {
                dt { (term) }
                dd { (text) }
            }
        }
        @if let Some(swing) = loaded.swings.first() {
            p class="small" {
                "Angles: " (swing.angle_order)
                ". Straps sit on cloth and skin, which move over bone: compare with yourself on the same day first, \
                 and never with another person."
            }
        }
    }
}

/// Cautions and where the numbers come from.
pub(super) fn ending(session: &Session) -> Markup {
    html! {
        footer class="end" {
            p { (SAFETY) }
            p {
                "Session " (session.id) ", computed by " (session.computed_by) "."
                @if session.invented { " Invented scenario." }
            }
        }
    }
}
