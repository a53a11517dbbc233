//! Pictures to keep: one swing, the blocks of a session, before and after, and a player's sessions, each as one SVG document.
//!
//! Every document is whole: its own paper and looks, nothing from outside, a title and a description in words, who, when, what is
//! invented, what was withheld, and the caution. What is drawn is what page and report draw.

use super::document::{BETWEEN, Document, INNER, Look, MARGIN};
use super::draw::{Size, cut, svg};
use super::months::{Stop, drawn};
use super::{
    Body, Figure, Layout, MOST, Picture, Reason, Sides, above, along, block_title, one_swing, strip,
};
use crate::compare::{Comparison, Verdict};
use crate::curves::{CurveChange, CurvePair};
use crate::kept::Point;
use crate::load::Loaded;
use crate::measure::Measure;
use crate::order;
use crate::render::said;
use crate::report::{curves, day};
use crate::summary::{BlockSummary, by_block};
use crate::trend::{PER_DAYS, Trend, TrendRow};
use crate::words::{self, capital, list, plural, subject};
use crate::{INVENTED, SAFETY};
use peakorder_protocol::Role;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::{Evidence, Swing};
use peakorder_protocol::text::is_visible;

/// Longest name of a player or block, characters.
const NAME: usize = 48;
const STRAPS: &str = "Straps show their own motion; skin and cloth move over bone.";

fn player(name: &str) -> String {
    if is_visible(name) { cut(name, NAME) } else { "player not named".to_owned() }
}

fn block(label: &str) -> String {
    cut(&block_title(label), NAME)
}

/// Who and when; and that it is invented, if it is.
fn head(page: &mut Document, title: &str, session: &Session) {
    page.say(Look::Title, title);
    page.say(Look::Text, &format!("{} · {}", player(session.player.shown_name()), day(session)));
    if session.invented {
        page.invented(INVENTED);
    }
}

fn foot(page: &mut Document) {
    page.rule();
    page.say(Look::Small, &format!("{SAFETY} {STRAPS}"));
}

/// `invented` in words before everything else.
fn described(invented: bool, parts: &[String]) -> String {
    let first = if invented { format!("{INVENTED} ") } else { String::new() };
    let parts: Vec<&str> = parts.iter().map(String::as_str).filter(|p| !p.is_empty()).collect();
    format!("{first}{} {SAFETY}", parts.join(" "))
}

/// One swing: when each segment was fastest and how sure that is, how far the trunk was turned, and what was withheld.
pub fn swing(session: &Session, swing: &Swing, remarks: &Remarks) -> String {
    let title = match swing.block.as_str() {
        "" => format!("Swing {}", swing.number),
        label => format!("Swing {}, block {}", swing.number, block(label)),
    };
    let mut page = Document::new();
    head(&mut page, &title, session);
    page.say(Look::Text, &format!("{}, {}.", capital(&words::ball::of_swing(swing, remarks)), seen(swing)));
    if let Some(coach) = remarks.swing(swing.number).map(said::one).filter(|t| !t.is_empty()) {
        page.say(Look::Text, &format!("Coach: {coach}."));
    }
    page.space(8.0);
    page.say(Look::Headline, &order::heading(swing));
    page.space(10.0);
    page.say(Look::Heading, "When each segment was fastest, before impact");
    page.space(10.0);
    let (drawing, size) = one_swing::strip("strip", INNER, swing);
    page.draw(&drawing.into_string(), MARGIN, size);
    page.say(
        Look::Small,
        "Mark: when the segment was fastest. Bar: its 95 % width; bracket below: while it was within 2 % of its largest speed. Grey: \
         how sure impact is. A tie is too close to tell apart.",
    );
    let speeds = speeds(swing);
    page.space(6.0);
    page.say(Look::Text, &speeds);
    let turns = one_swing::turns("turns", INNER, swing);
    if let Some((drawing, size)) = turns {
        page.space(14.0);
        page.say(Look::Heading, "Turn from address, at the top and at impact");
        page.draw(&drawing.into_string(), MARGIN, size);
    }
    let quality = quality(swing);
    if !quality.is_empty() {
        page.space(12.0);
        page.say(Look::Heading, "What was withheld, and what to know");
        for line in &quality {
            page.say(Look::Text, line);
        }
    }
    foot(&mut page);
    let mut parts = vec![one_swing::peaks_in_words(swing), one_swing::turns_in_words(swing), speeds];
    parts.extend(quality);
    page.finish(&title, &described(session.invented, &parts))
}

const fn seen(swing: &Swing) -> &'static str {
    match swing.events.impact.evidence {
        Evidence::ArmShock => "impact seen by the arm strap",
        Evidence::TrunkShock => "impact seen by a trunk strap",
        Evidence::Estimated => "impact estimated from the motion",
        Evidence::None => "no impact seen",
    }
}

/// Speeds and tempo in a line.
fn speeds(swing: &Swing) -> String {
    let measures = Role::ALL.map(Measure::PeakSpeed).into_iter().chain([Measure::TempoRatio]);
    let said: Vec<String> = measures.filter_map(|m| Some(subject(m, m.of(swing)?.value))).collect();
    if said.is_empty() { String::new() } else { format!("{}.", said.join(" · ")) }
}

fn quality(swing: &Swing) -> Vec<String> {
    let q = &swing.quality;
    let unusable = "Its timing is not usable: the swing is left out of the statistics";
    let mut lines: Vec<String> = (!q.usable).then(|| unusable.to_owned()).into_iter().collect();
    lines.extend(q.withheld.iter().map(words::quality::withheld));
    lines.extend(q.notes.iter().map(words::quality::note));
    lines.into_iter().map(|l| format!("{}.", capital(l.trim_end_matches('.')))).collect()
}

/// Every block of a session: when each segment was fastest, and the body at the top, means of the swings that count.
/// `None` where the session has no swing.
pub fn blocks(loaded: &Loaded) -> Option<String> {
    let all = by_block(&loaded.swings);
    if all.is_empty() {
        return None;
    }
    let title = match all.as_slice() {
        [(only, _)] if only.is_empty() => "The swings".to_owned(),
        [(only, _)] => format!("Block {}", block(only)),
        _ => "The lesson, block by block".to_owned(),
    };
    let mut page = Document::new();
    head(&mut page, &title, &loaded.session);
    let mut parts = Vec::new();
    for (i, (label, swings)) in all.iter().enumerate() {
        let summary = crate::summary::summarise(label, swings, &loaded.remarks);
        if i > 0 {
            page.rule();
        }
        parts.push(one_block(&mut page, i, loaded, &summary));
    }
    page.space(6.0);
    page.say(
        Look::Small,
        "Means over the swings that count. Bars: how sure the mean is (95 %); where they overlap widely they cannot be told apart. \
         The body: directions are measured, lengths, head and feet are not.",
    );
    foot(&mut page);
    Some(page.finish(&title, &described(loaded.session.invented, &parts)))
}

/// A block's part of the page, and the same in words.
fn one_block(page: &mut Document, i: usize, loaded: &Loaded, summary: &BlockSummary) -> String {
    let counted = match summary.label.as_str() {
        "" => capital(&counted(summary)),
        label => format!("{}: {}", capital(&block(label)), counted(summary)),
    };
    page.space(8.0);
    page.say(Look::Headline, &counted);
    if summary.used.is_empty() {
        return format!("{counted}.");
    }
    let orders = orders(summary);
    page.say(Look::Text, &orders);
    page.space(8.0);
    let swings: Vec<&Swing> = loaded.swings.iter().filter(|s| summary.used.contains(&s.number)).collect();
    let body = Body::of(&swings, loaded.session.player.handedness);
    let lines: Vec<String> = super::ABOVE
        .into_iter()
        .filter_map(|(_, m)| Some(words::subject(m, summary.measure(m)?.sample.mean)))
        .collect();
    let top = page.down();
    let (wide, slim) = columns();
    let mut down = top;
    page.say_in(Look::Heading, "When each segment was fastest", MARGIN, wide);
    page.space(6.0);
    match strip::strip(&format!("strip{i}"), wide, &[summary]) {
        Some(drawing) => {
            let drawing = drawing.into_string();
            page.draw(&drawing, MARGIN, size_of(&drawing));
        }
        None => page.say_in(Look::Text, "No peak could be timed.", MARGIN, wide),
    }
    for line in &lines {
        page.say_in(Look::Text, line, MARGIN, wide);
    }
    down = down.max(page.down());
    page.back_to(top);
    let x = MARGIN + wide + BETWEEN;
    if body.is_empty() {
        page.say_in(Look::Text, "No turn was measured; a swing’s picture says why.", x, slim);
    } else {
        page.say_in(Look::Heading, "At the top, from above", x, slim);
        page.space(6.0);
        let size = (slim, 260.0);
        let words = format!("{}.", lines.join("; "));
        page.draw(&above::above(&format!("above{i}"), size, &[body], &words).into_string(), x, size);
    }
    page.back_to(down.max(page.down()));
    let peaks: Vec<String> = Role::ALL
        .into_iter()
        .filter_map(|r| {
            let m = summary.measure(Measure::PeakBeforeImpact(r))?;
            Some(subject(Measure::PeakBeforeImpact(r), m.sample.mean))
        })
        .collect();
    format!("{counted}. {orders} {}.", list(&peaks.into_iter().chain(lines).collect::<Vec<_>>()))
}

fn counted(summary: &BlockSummary) -> String {
    let used = match summary.used.len() {
        0 => "no swing counts".to_owned(),
        n => format!("{} counted", plural(n, "swing")),
    };
    let left_out = [
        (summary.rehearsals.len(), "without a ball"),
        (summary.unsure.len(), "with or without a ball, not known"),
        (summary.struck.len(), "with a ball"),
        (summary.unusable.len(), "not measured well enough"),
        (summary.excluded.len(), "left out by the coach"),
    ];
    let left_out = left_out.into_iter().filter(|(n, _)| *n > 0).map(|(n, why)| format!("{n} {why}"));
    std::iter::once(used).chain(left_out).collect::<Vec<_>>().join(", ")
}

fn orders(summary: &BlockSummary) -> String {
    summary.orders.first().map_or_else(
        || "No order of peaks could be measured.".to_owned(),
        |first| {
            format!("In {} of {} {}.", first.count, plural(first.of, "swing"), words::order(&first.order))
        },
    )
}

/// Widths of a wide column and of a slim one beside it.
fn columns() -> (f64, f64) {
    let wide = (0.6 * (INNER - BETWEEN)).floor();
    (wide, INNER - BETWEEN - wide)
}

/// Before and after, and where along the swing curves differ. `None` where both sides share no number.
pub fn comparison(compared: &Comparison, sides: Sides<'_>, change: Option<&CurveChange>) -> Option<String> {
    let picture = super::picture(compared, sides, Layout::Screen(INNER))?;
    let first = picture.shown.first()?;
    let (before, after) = (&sides.before.session, &sides.after.session);
    let invented = before.invented || after.invented || sides.also_before.iter().any(|s| s.session.invented);
    let mut page = Document::new();
    page.say(Look::Title, "Before and after");
    page.say(Look::Text, &format!("{} · {}", player(after.player.shown_name()), day(after)));
    if invented {
        page.invented(INVENTED);
    }
    let lines = [side("Before", compared, true), side("After", compared, false)];
    for line in &lines {
        page.say(Look::Text, line);
    }
    page.space(10.0);
    page.say(Look::Headline, &first.headline);
    page.say(Look::Text, &first.detail);
    if picture.reason == Reason::Largest {
        page.say(Look::Small, &format!("{}.", Reason::Largest.words()));
    }
    page.space(10.0);
    pictures(&mut page, &picture);
    if let Some(change) = change {
        along::curves(&mut page, change);
    }
    page.space(4.0);
    for note in &compared.notes {
        page.say(Look::Small, note);
    }
    foot(&mut page);
    let mut parts = lines.to_vec();
    parts.extend(picture.shown.iter().map(|s| s.sentence.clone()));
    parts.extend(picture.figures.iter().flat_map(|f| &f.lines).map(|l| format!("{}.", l.words)));
    parts.extend(picture.sentences.iter().skip(picture.shown.len() - 1).cloned());
    parts.push(picture.sure.clone());
    parts.extend(change.into_iter().flat_map(curves::side_by_side).flat_map(CurvePair::plain));
    Some(page.finish("Before and after", &described(invented, &parts)))
}

fn side(word: &str, compared: &Comparison, before: bool) -> String {
    let of = if before { &compared.before } else { &compared.after };
    let also = if before { compared.also_before.len() } else { 0 };
    let also = if also == 0 { String::new() } else { format!(", and {} before", plural(also, "lesson")) };
    format!("{word}: {}, {}{also}.", block(&of.title), counted(&of.summary))
}

/// As the page has them: the first number's dots with the body beside them, then what else was meant, then the rest.
fn pictures(page: &mut Document, picture: &Picture) {
    let (wide, slim) = columns();
    let mut figures = picture.figures.iter();
    let mut dots = picture.shown.iter().map(|s| &s.figure);
    let strip_of = |f: &&Figure| f.key == "strip";
    let body = picture.figures.first().filter(|f| !strip_of(f));
    if body.is_some() {
        figures.next();
    }
    row(page, &[(dots.next(), wide), (body, slim)], &[]);
    let others: Vec<&Figure> = dots.collect();
    let half = ((INNER - BETWEEN) / 2.0).floor();
    for pair in others.chunks(2) {
        row(page, &[(pair.first().copied(), half), (pair.get(1).copied(), half)], &[]);
    }
    let rest: Vec<&Figure> = figures.collect();
    let strip = rest.iter().copied().find(strip_of);
    let second = rest.iter().copied().find(|f| !strip_of(f));
    // The sentences stand where the strip leaves room.
    let said: Vec<&String> = picture.sentences.iter().chain([&picture.sure]).collect();
    row(page, &[(strip, if second.is_some() { wide } else { INNER }), (second, slim)], &said);
}

/// Drawings beside each other, each with its title, numbers and how to read it; `said` goes below the first.
fn row(page: &mut Document, figures: &[(Option<&Figure>, f64)], said: &[&String]) {
    let top = page.down();
    let (mut x, mut down) = (MARGIN, top);
    for (i, (figure, room)) in figures.iter().enumerate() {
        page.back_to(top);
        if let Some(f) = figure {
            page.say_in(Look::Heading, &f.title, x, *room);
            page.space(6.0);
            page.draw(&f.svg, x, size_of(&f.svg));
            page.space(2.0);
            for line in &f.lines {
                page.say_in(Look::Text, &line.words, x, *room);
            }
            page.say_in(Look::Small, &f.note, x, *room);
        }
        if i == 0 && !said.is_empty() {
            page.space(14.0);
            for sentence in said {
                page.say_in(Look::Text, sentence, x, *room);
                page.space(3.0);
            }
        }
        down = down.max(page.down());
        x += room + BETWEEN;
    }
    page.back_to(down + 16.0);
}

/// The size that a drawing of this module says that it has.
fn size_of(svg: &str) -> Size {
    let number = |name: &str| {
        let (_, rest) = svg.split_once(name)?;
        rest.split('"').next()?.parse().ok()
    };
    (number(" width=\"").unwrap_or(0.0), number(" height=\"").unwrap_or(0.0))
}

/// A block over a player's sessions, one to three measures. `None` with fewer than two sessions or no measure in common.
pub fn trend(trend: &Trend) -> Option<String> {
    let shown = rows(trend);
    let first = trend.sessions.first()?;
    if shown.is_empty() || trend.sessions.len() < 2 {
        return None;
    }
    let title = format!("Block {} over {}", block(&trend.block), plural(trend.sessions.len(), "session"));
    let invented = trend.sessions.iter().any(|s| s.invented);
    let date = |utc: &str| utc.get(..10).unwrap_or(utc).to_owned();
    let last = trend.sessions.last().unwrap_or(first);
    let mut page = Document::new();
    page.say(Look::Title, &title);
    let between = format!("{} to {}", date(&first.started_utc), date(&last.started_utc));
    page.say(Look::Text, &format!("{} · {between}", player(&trend.player)));
    if invented {
        page.invented(INVENTED);
    }
    if named(trend).is_empty() {
        page.space(6.0);
        page.say(
            Look::Small,
            "Nobody named a number beforehand. These changed most in relation to their scatter; of so many looked through some do by chance.",
        );
    }
    let mut parts = Vec::new();
    for (i, row) in shown.iter().enumerate() {
        let name = capital(&row.measure.label());
        page.space(16.0);
        page.say(Look::Headline, &name);
        page.say(Look::Text, &row.words);
        page.space(8.0);
        let stops = stops(trend, row);
        let size = (INNER, 250.0);
        let inside = drawn(size, row.measure, &stops);
        page.draw(&svg(&format!("trend{i}"), size, &name, &row.words, &inside).into_string(), MARGIN, size);
        parts.push(row.words.clone());
    }
    page.space(8.0);
    let line = if shown.iter().any(|r| r.line.is_some()) {
        format!(
            " Thick line: the straight line through them by date; its slope is told per {PER_DAYS:.0} days."
        )
    } else {
        String::new()
    };
    page.say(
        Look::Small,
        &format!(
            "Squares: the session’s mean, joined from session to session (dotted), one column a session whatever the time between. Thin \
             bars: 95 %, with what putting the straps on anew can shift.{line}"
        ),
    );
    for note in &trend.notes {
        page.say(Look::Small, note);
    }
    foot(&mut page);
    Some(page.finish(&title, &described(invented, &parts)))
}

/// What was meant beforehand; nothing where all measures are looked at alike.
fn named(trend: &Trend) -> Vec<&TrendRow> {
    let judged: Vec<&TrendRow> = trend.rows.iter().filter(|r| r.judged).collect();
    if judged.len() <= crate::chosen::MOST { judged } else { Vec::new() }
}

/// What was meant, else what changed most for its scatter.
fn rows(trend: &Trend) -> Vec<&TrendRow> {
    let named = named(trend);
    if !named.is_empty() {
        return named;
    }
    let mut all: Vec<&TrendRow> = trend.rows.iter().collect();
    let weight = |r: &TrendRow| {
        let told = matches!(r.verdict, Verdict::Changed | Verdict::Perhaps);
        let p = r.p_adjusted.unwrap_or(1.0);
        let size = r.line.map_or(0.0, |l| l.slope.abs() / l.half_width.max(f64::MIN_POSITIVE));
        (told, -p, size)
    };
    all.sort_by(|a, b| weight(b).partial_cmp(&weight(a)).unwrap_or(std::cmp::Ordering::Equal));
    all.truncate(MOST);
    all
}

fn stops<'a>(trend: &'a Trend, row: &TrendRow) -> Vec<Stop<'a>> {
    trend
        .sessions
        .iter()
        .zip(&row.points)
        .zip(&row.half_widths)
        .filter_map(|((session, point), half_width)| {
            let sample = &point.as_ref()?.sample;
            let start = Point { mean: sample.mean, half_width: *half_width, swings: sample.n };
            let on_line = row.line.map(|l| l.intercept + l.slope * session.day / PER_DAYS);
            Some(Stop { started_utc: &session.started_utc, start, end: None, on_line })
        })
        .collect()
}
