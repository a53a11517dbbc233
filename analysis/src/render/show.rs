//! A session: one line a swing, then what each block has in common.

use super::table::{Align, Table};
use super::{Style, clean, ending, heading, mark, number, wrap};
use super::{marked, notes, said};
use crate::INVENTED;
use crate::load::{Loaded, NO_BLOCK};
use crate::measure::{Group, Measure};
use crate::order::{self, Order, Share};
use crate::outliers::outliers;
use crate::stats::Z95;
use crate::summary::{BlockSummary, MeasureSummary, by_block, summarise};
use crate::words;
use crate::words::plural;
use peakorder_protocol::Role;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::{Gap, Outcome, Swing};
use std::fmt::Write as _;

/// `–` stands for a number that was not measured or is withheld.
const NOTHING: &str = "–";
/// What stands where the segment has no strap.
const NO_STRAP: &str = "no strap";

/// The session (or the block chosen) as text.
pub fn session(loaded: &Loaded, style: Style) -> String {
    let mut out = String::new();
    head(&mut out, style, &loaded.session);
    said::lesson(&mut out, style, &loaded.remarks);
    for notice in &loaded.notices {
        wrap(&mut out, style, "", &clean(notice));
    }
    for problem in &loaded.problems {
        wrap(&mut out, style, "", &format!("Left out, cannot be read: {}", clean(&problem.text)));
    }
    if loaded.swings.is_empty() && loaded.repetitions.is_empty() {
        out.push('\n');
        wrap(
            &mut out,
            style,
            "",
            "No swings in this session yet. Record some with peakorderd, or, if the recording \
             holds swings, recompute them with peakorderd replay.",
        );
        return out;
    }
    if loaded.swings.is_empty() {
        super::drill::drills(&mut out, style, &loaded.repetitions);
        ending(&mut out, style);
        return out;
    }
    out.push('\n');
    legend(&mut out, style);
    for (label, swings) in by_block(&loaded.swings) {
        block(&mut out, style, &label, &swings, &loaded.remarks);
    }
    super::drill::drills(&mut out, style, &loaded.repetitions);
    heading(&mut out, style, "How to read this", "");
    how_to_read(&mut out, style);
    if loaded.swings.iter().any(|s| !s.bone_prior.is_empty()) {
        wrap(
            &mut out,
            style,
            "  bone        ",
            "the same of the bone below the strap: it counts for what is said of the body and against another day; \
             of swing against swing in one wearing meas. does",
        );
    }
    notes::definitions(&mut out, style, &loaded.swings.iter().collect::<Vec<_>>());
    ending(&mut out, style);
    out
}

/// Session, player, and whether the scenario is invented.
pub(super) fn head(out: &mut String, style: Style, session: &Session) {
    let title = format!("Session {}", clean(&session.id));
    let _ = writeln!(out, "{}   started {}", style.bold(&title), clean(&session.started_utc));
    let name = match session.player.shown_name() {
        "" => "not named",
        name => name,
    };
    let mut player = format!("Player {}, {}-handed", clean(name), session.player.handedness);
    for (what, text) in [("goal", &session.player.goal), ("limits", &session.player.limits)] {
        if !text.is_empty() {
            let _ = write!(player, "; {what}: {}", clean(text));
        }
    }
    wrap(out, style, "", &player);
    if session.invented {
        wrap(out, style, "", INVENTED);
    }
}

fn legend(out: &mut String, style: Style) {
    let names: Vec<String> = Role::ALL.iter().map(|&r| marked(r)).collect();
    let _ = writeln!(out, "{}", style.marks(&names.join("   ")));
    wrap(out, style, "", order::LEGEND);
}

fn how_to_read(out: &mut String, style: Style) {
    let lines = [
        (
            "  gap         ",
            "time from one peak to the next, ± half the width of its 95 % band; \
                            a negative gap means the second peaked first",
        ),
        ("  turn        ", "+ through (towards the target), − back, for right- and left-handed alike"),
        (
            "  mean ± CI   ",
            "mean of the swings used with the half-width of its 95 % confidence \
                            interval (Student's t); SD is between swings; meas. = typical \
                            standard uncertainty of one swing's number",
        ),
        (
            "  share       ",
            "of the swings used, with its 95 % interval (Wilson); a tie is an \
                            order of its own",
        ),
        (
            "  any order   ",
            "is a finding, not a mark: 13 golfers showed 5 to 7 different orders, \
                            by method of measuring (Marsan et al. 2019)",
        ),
    ];
    for (first, text) in lines {
        wrap(out, style, first, text);
    }
}

fn block(out: &mut String, style: Style, label: &str, swings: &[&Swing], said: &Remarks) {
    let summary = summarise(label, swings, said);
    let title = if label.is_empty() { NO_BLOCK.to_owned() } else { format!("Block {}", clean(label)) };
    heading(out, style, &title, &counts(&summary));
    if let Some(said) = words::ball::of_block(said, label) {
        wrap(out, style, "  ", &words::capital(said));
    }
    swing_table(swings, said).write(out, style);
    // A segment that no swing of the block has gets no columns and is named once.
    let missing: Vec<String> = Role::ALL
        .into_iter()
        .filter(|r| !swings.iter().any(|s| s.segments.contains_key(r)))
        .map(|r| format!("{r}: {NO_STRAP}"))
        .collect();
    if !missing.is_empty() {
        out.push('\n');
        wrap(out, style, "  ", &missing.join(", "));
    }
    remarks(out, style, swings);
    said::swings(out, style, swings, said);
    let counted: Vec<&Swing> = swings.iter().copied().filter(|s| said.counts(s)).collect();
    super::blocks::unlike_in_block(out, style, &outliers(&counted));
    if summary.used.is_empty() {
        out.push('\n');
        wrap(out, style, "", "No swing of this block can be used for statistics.");
        return;
    }
    out.push('\n');
    order_table("order of peaks", &summary.orders).write(out, style);
    if !summary.reversal_orders.is_empty() {
        out.push('\n');
        order_table("order of reversals", &summary.reversal_orders).write(out, style);
    }
    out.push('\n');
    measures(out, style, &summary);
    if let Some(advice) = summary.advice() {
        out.push('\n');
        wrap(out, style, "", advice);
    }
}

/// `12 swings used; left out: 2 rehearsals (3, 9), 1 unusable (5)`.
fn counts(summary: &BlockSummary) -> String {
    let list = |numbers: &[u32]| numbers.iter().map(u32::to_string).collect::<Vec<_>>().join(", ");
    let mut left_out = Vec::new();
    if !summary.rehearsals.is_empty() {
        let n = plural(summary.rehearsals.len(), "rehearsal");
        left_out.push(format!("{n} ({})", list(&summary.rehearsals)));
    }
    if !summary.unsure.is_empty() {
        left_out.push(format!("{} unsure ({})", summary.unsure.len(), list(&summary.unsure)));
    }
    if !summary.struck.is_empty() {
        left_out.push(format!("{} that hit a ball ({})", summary.struck.len(), list(&summary.struck)));
    }
    if !summary.unusable.is_empty() {
        let numbers: Vec<u32> = summary.unusable.iter().map(|u| u.0).collect();
        left_out.push(format!("{} unusable ({})", numbers.len(), list(&numbers)));
    }
    if !summary.excluded.is_empty() {
        let numbers: Vec<u32> = summary.excluded.iter().map(|e| e.0).collect();
        left_out.push(format!("{} by the coach ({})", numbers.len(), list(&numbers)));
    }
    let used = format!("{} used", plural(summary.used.len(), "swing"));
    if left_out.is_empty() { used } else { format!("{used}; left out: {}", left_out.join(", ")) }
}

fn swing_table(swings: &[&Swing], said: &Remarks) -> Table {
    let column = |cell: &dyn Fn(&Swing) -> String| swings.iter().map(|s| cell(s)).collect::<Vec<_>>();
    let any = |role: Role| swings.iter().any(|s| s.segments.contains_key(&role));
    let mut table = Table::default();
    table.group("", vec![("no", Align::Right, column(&|s| numbered(s)))]);
    table.group("", vec![("kind", Align::Left, column(&|s| words::ball::in_column(s, said).to_owned()))]);
    table.group("", vec![("order of peaks", Align::Left, column(&order_of))]);
    let pairs = [(Role::Pelvis, Role::Thorax), (Role::Thorax, Role::LeadArm)];
    // Two spaces more keep the second gap apart from the first one's band.
    let pairs: Vec<(Role, Role)> = pairs.into_iter().filter(|&(a, b)| any(a) && any(b)).collect();
    let headers: Vec<String> = pairs
        .iter()
        .map(|&(a, b)| {
            let apart = if a == Role::Pelvis { "" } else { "  " };
            format!("{apart}{} → {}", mark(a), mark(b))
        })
        .collect();
    let gaps = pairs
        .iter()
        .zip(&headers)
        .map(|(&(a, b), h)| (h.as_str(), Align::Right, column(&|s| gap(s, a, b))))
        .collect();
    if !pairs.is_empty() {
        table.group("gap ± 95 %, ms", gaps);
    }
    let tempo = column(&|s| measure_text(s, Measure::TempoRatio, 1));
    table.group("", vec![("tempo", Align::Right, tempo)]);
    for role in [Role::Pelvis, Role::Thorax].into_iter().filter(|&r| any(r)) {
        let angle = |m: Measure| column(&|s| measured(s, role, m, 0));
        table.group(
            &format!("{} turn, °", mark(role)),
            vec![
                ("top", Align::Right, angle(Measure::TurnAtTop(role))),
                ("imp.", Align::Right, angle(Measure::TurnAtImpact(role))),
            ],
        );
        if role == Role::Thorax {
            table.glue();
        }
    }
    let marks = Role::ALL.map(|r| mark(r).to_string());
    let peaks = Role::ALL
        .into_iter()
        .zip(&marks)
        .filter(|&(role, _)| any(role))
        .map(|(role, m)| (m.as_str(), Align::Right, column(&|s| peak_speed(s, role))))
        .collect();
    table.group("peak, °/s", peaks);
    table
}

/// The number, with `*` when something is withheld.
fn numbered(swing: &Swing) -> String {
    let star = if swing.quality.withheld.is_empty() { " " } else { "*" };
    format!("{}{star}", swing.number)
}

fn order_of(swing: &Swing) -> String {
    Order::of_peaks(&swing.sequence).map_or_else(|| NOTHING.to_owned(), |o| o.text())
}

fn gap(swing: &Swing, from: Role, to: Role) -> String {
    if [from, to].iter().any(|r| !swing.segments.contains_key(r)) {
        return NO_STRAP.to_owned();
    }
    let pair = |g: &&Gap| [(from, to), (to, from)].contains(&(g.from, g.to));
    if swing.sequence.gaps.iter().find(pair).is_some_and(|g| g.held) {
        return "held".to_owned();
    }
    Measure::Gap(from, to).of(swing).map_or_else(
        || NOTHING.to_owned(),
        |v| {
            let band = v.sd.map_or(String::new(), |sd| format!(" ± {}", number(Z95 * sd, 0, false)));
            format!("{}{band}", number(v.value, 0, false))
        },
    )
}

fn peak_speed(swing: &Swing, role: Role) -> String {
    let rising = swing.segments.get(&role).and_then(|s| s.peak).is_some_and(|p| p.outcome == Outcome::Rising);
    if rising { "↗".to_owned() } else { measured(swing, role, Measure::PeakSpeed(role), 0) }
}

fn measured(swing: &Swing, role: Role, measure: Measure, decimals: usize) -> String {
    if swing.segments.contains_key(&role) {
        measure_text(swing, measure, decimals)
    } else {
        NO_STRAP.to_owned()
    }
}

fn measure_text(swing: &Swing, measure: Measure, decimals: usize) -> String {
    measure.of(swing).map_or_else(|| NOTHING.to_owned(), |v| number(v.value, decimals, measure.signed()))
}

/// What is withheld and why; swings with the same reason share a line.
fn remarks(out: &mut String, style: Style, swings: &[&Swing]) {
    let mut by_text: Vec<(String, Vec<String>)> = Vec::new();
    for swing in swings {
        for w in &swing.quality.withheld {
            let text = clean(&words::quality::withheld(w));
            let number = swing.number.to_string();
            match by_text.iter_mut().find(|(t, _)| *t == text) {
                Some((_, numbers)) => numbers.push(number),
                None => by_text.push((text, vec![number])),
            }
        }
    }
    if !by_text.is_empty() {
        out.push('\n');
    }
    for (text, numbers) in by_text {
        wrap(out, style, "  * ", &format!("{}: {text}", numbers.join(", ")));
    }
}

fn order_table(title: &str, shares: &[Share]) -> Table {
    let column = |cell: &dyn Fn(&Share) -> String| shares.iter().map(cell).collect::<Vec<_>>();
    let mut table = Table::default();
    table.group("", vec![(title, Align::Left, column(&|s| format!("  {}", s.order.text())))]);
    table.group(
        "",
        vec![
            ("swings", Align::Right, column(&|s| format!("{} of {}", s.count, s.of))),
            ("share", Align::Right, column(&|s| format!("{:.0} %", 100.0 * s.share()))),
        ],
    );
    table.group(
        "",
        vec![(
            " 95 % interval",
            Align::Right,
            column(&|s| format!("{:.0}–{:.0} %", 100.0 * s.interval.0, 100.0 * s.interval.1)),
        )],
    );
    let tied = |s: &Share| if s.order.has_tie() { "tie" } else { "" }.to_owned();
    if shares.iter().any(|s| s.order.has_tie()) {
        table.group("", vec![("", Align::Left, column(&tied))]);
    }
    table
}

/// The measures in two halves side by side where they fit, else one below the other.
fn measures(out: &mut String, style: Style, summary: &BlockSummary) {
    let left = |m: &&MeasureSummary| matches!(m.measure.group(), Group::Timing | Group::Speed);
    let (l, r): (Vec<_>, Vec<_>) = summary.measures.iter().partition(|m| left(m));
    // Where every swing has every number, the count in the heading says it all.
    let ragged = summary.measures.iter().any(|m| m.sample.n != summary.used.len());
    let tables = [measure_table(&l, ragged, false), measure_table(&r, ragged, false)];
    let space = 3;
    if tables[0].natural_width() + space + tables[1].natural_width() <= style.width() {
        let (a, b) = (tables[0].lines(style.width()), tables[1].lines(style.width()));
        for i in 0..a.len().max(b.len()) {
            let line = |lines: &[String]| lines.get(i).cloned().unwrap_or_default();
            let a = super::table::pad(&line(&a), tables[0].natural_width() + space, Align::Left);
            let _ = writeln!(out, "{}", format!("{a}{}", line(&b)).trim_end());
        }
    } else {
        let all: Vec<&MeasureSummary> = l.into_iter().chain(r).collect();
        measure_table(&all, ragged, true).write(out, style);
    }
    for m in summary.measures.iter().filter(|m| m.other_definition > 0) {
        wrap(
            out,
            style,
            "  ",
            &format!(
                "{}: {} swings left out, measured by another definition",
                m.measure.label(),
                m.other_definition
            ),
        );
    }
}

/// `parted`: a free line between kinds of measures lets the eye rest.
fn measure_table(measures: &[&MeasureSummary], ragged: bool, parted: bool) -> Table {
    let column = |cell: &dyn Fn(&MeasureSummary) -> String| {
        let mut cells = Vec::new();
        for (i, m) in measures.iter().enumerate() {
            if parted && i > 0 && measures[i - 1].measure.group() != m.measure.group() {
                cells.push(String::new());
            }
            cells.push(cell(m));
        }
        cells
    };
    let optional = |v: Option<f64>, m: &MeasureSummary| {
        v.map_or_else(|| NOTHING.to_owned(), |v| number(v, m.measure.decimals(), false))
    };
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, column(&|m| m.measure.name()))]);
    table.group(
        "",
        vec![
            (
                "mean",
                Align::Right,
                column(&|m| number(m.sample.mean, m.measure.decimals(), m.measure.signed())),
            ),
            ("±", Align::Left, column(&|_| "±".into())),
            ("CI", Align::Right, column(&|m| optional(m.half_width(), m))),
        ],
    );
    table.group("", vec![("SD", Align::Right, column(&|m| optional(m.sample.sd, m)))]);
    let measuring = |m: &MeasureSummary| {
        m.measuring_sd.map_or_else(|| NOTHING.to_owned(), |sd| number(sd, m.measure.decimals().max(1), false))
    };
    table.group("", vec![("meas.", Align::Right, column(&measuring))]);
    // Of the shift of the hips both are the same.
    if measures.iter().any(|m| m.bone_sd.is_some() && m.bone_sd != m.measuring_sd) {
        let bone = |m: &MeasureSummary| {
            m.bone_sd.map_or_else(|| NOTHING.to_owned(), |sd| number(sd, m.measure.decimals().max(1), false))
        };
        table.group("", vec![("bone", Align::Right, column(&bone))]);
    }
    if ragged {
        table.group("", vec![("n", Align::Right, column(&|m| m.sample.n.to_string()))]);
    }
    table
}
