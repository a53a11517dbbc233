//! Mobility checks as text.

use super::table::{Align, Table};
use super::{Style, clean, ending, heading, marked, number, wrap};
use crate::mobility::{Checks, Comparison, PostureComparison, Quantity, Row, SOFT_TISSUE, Verdict};
use crate::stats::Z95;
use crate::words::mobility::MobilityWords;
use peakorder_protocol::mobility::{Balance, MobilityCheck, Posture, Share, Side, SideTurns, TurnStatistics};
use peakorder_protocol::{Handedness, Role};
use std::fmt::Write as _;

const ON_PELVIS: &str = "thorax on pelvis";

/// All checks of a session.
pub fn mobility(checks: &Checks, style: Style) -> String {
    let mut out = String::new();
    let session = &checks.session;
    let _ = writeln!(out, "{}", style.bold("Mobility check"));
    let invented = if session.invented { " · invented scenario" } else { "" };
    let hand = session.player.handedness;
    let about = format!(
        "{} · {hand}-handed (lead side {}) · {} · {}{invented}",
        clean(&session.player.name),
        Side::ALL.into_iter().find(|s| s.swing_side(hand).key() == "lead").map_or("", Side::key),
        clean(&session.id),
        clean(&session.started_utc),
    );
    wrap(&mut out, style, "", &about);
    out.push('\n');
    wrap(&mut out, style, "", &clean(&checks.mobility.caution));
    for check in &checks.mobility.checks {
        one_check(&mut out, style, check, hand);
    }
    heading(&mut out, style, "How to read this", "");
    wrap(
        &mut out,
        style,
        "  turn     ",
        &format!("degrees, + to the side named; {}", clean(&checks.mobility.method)),
    );
    wrap(
        &mut out,
        style,
        "  ±        ",
        "half the width of the 95 % band: measuring and, for mean and largest, the spread of the repetitions",
    );
    wrap(&mut out, style, "  spread   ", "SD between the repetitions");
    wrap(
        &mut out,
        style,
        "  share    ",
        "pelvis turn over thorax turn at the same instant, mean of the repetitions",
    );
    wrap(
        &mut out,
        style,
        "  l − r    ",
        "left minus right of the means, and as a share of their mean. It counts from the start \
         position: one that is itself turned by 1° makes 2° of it. The range, left plus right, does not \
         depend on it.",
    );
    wrap(&mut out, style, "  not in   ", SOFT_TISSUE);
    ending(&mut out, style);
    out
}

fn name_of(posture: Option<Posture>) -> &'static str {
    posture.map_or("posture not said", Posture::key)
}

fn one_check(out: &mut String, style: Style, check: &MobilityCheck, hand: Handedness) {
    let title = format!("Check {}, {}", check.number, name_of(check.posture));
    let remark = format!("{:.0}–{:.0} s of the session", check.start_s, check.end_s);
    heading(out, style, &title, &remark);
    let words = MobilityWords::from(check);
    for repeat in &words.repeat {
        wrap(out, style, "  to repeat: ", &clean(repeat));
    }
    if !words.repeat.is_empty() {
        out.push('\n');
    }
    if check.left.is_some() || check.right.is_some() {
        turns_table(check, hand).write(out, style);
        out.push('\n');
    }
    for (name, balance) in [
        (marked(Role::Thorax), &check.thorax_balance),
        (ON_PELVIS.to_owned(), &check.thorax_on_pelvis_balance),
    ] {
        if let Some(b) = balance {
            wrap(out, style, "  · ", &format!("{name}: {}", balance_text(b)));
        }
    }
    if let Some(d) = &check.drift {
        let mut text = format!(
            "drift taken out: {} {} °/s, at most {}° between two still positions",
            marked(Role::Thorax),
            number(d.thorax_dps, 2, true),
            number(d.thorax_largest_deg, 1, false)
        );
        if let (Some(dps), Some(deg)) = (d.pelvis_dps, d.pelvis_largest_deg) {
            let _ = write!(
                text,
                "; {} {} °/s, {}°",
                marked(Role::Pelvis),
                number(dps, 2, true),
                number(deg, 1, false)
            );
        }
        let _ = write!(text, "; {} still positions", d.still_positions);
        wrap(out, style, "  · ", &text);
    }
    for note in &MobilityWords::from(check).notes {
        wrap(out, style, "  · ", &clean(note));
    }
}

fn balance_text(b: &Balance) -> String {
    let share = b.share.map_or(String::new(), |s| format!(" ({} of their mean)", percent(&s, true)));
    format!(
        "left − right {}°{share}, range {}°",
        with_band(b.left_minus_right_deg, b.left_minus_right_sd_deg, true),
        with_band(b.range_deg, b.range_sd_deg, false)
    )
}

fn percent(share: &Share, signed: bool) -> String {
    format!("{} ± {} %", number(share.share * 100.0, 0, signed), number(Z95 * share.sd * 100.0, 0, false))
}

fn with_band(value: f64, sd: f64, signed: bool) -> String {
    format!("{} ± {}", number(value, 1, signed), number(Z95 * sd, 1, false))
}

/// A line of the table: one segment, one side.
struct Line<'a> {
    side: String,
    what: String,
    turns: Vec<f64>,
    statistics: &'a TurnStatistics,
    share: Option<Share>,
}

fn lines_of(side: Side, hand: Handedness, turns: &SideTurns) -> Vec<Line<'_>> {
    let each = |pick: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
        turns.repetitions.iter().map(|r| pick(r.thorax_deg, r.pelvis_deg.unwrap_or(f64::NAN))).collect()
    };
    let mut lines = vec![Line {
        side: format!("{side} ({})", side.swing_side(hand).key()),
        what: marked(Role::Thorax),
        turns: each(&|t, _| t),
        statistics: &turns.thorax,
        share: None,
    }];
    if let Some(statistics) = &turns.pelvis {
        lines.push(Line {
            side: String::new(),
            what: marked(Role::Pelvis),
            turns: each(&|_, p| p),
            statistics,
            share: turns.pelvis_share,
        });
    }
    if let Some(statistics) = &turns.thorax_on_pelvis {
        lines.push(Line {
            side: String::new(),
            what: ON_PELVIS.into(),
            turns: each(&|t, p| t - p),
            statistics,
            share: None,
        });
    }
    lines
}

fn turns_table(check: &MobilityCheck, hand: Handedness) -> Table {
    let lines: Vec<Line<'_>> = Side::ALL
        .into_iter()
        .filter_map(|side| Some(lines_of(side, hand, check.side(side)?)))
        .flatten()
        .collect();
    let column = |cell: &dyn Fn(&Line<'_>) -> String| lines.iter().map(cell).collect::<Vec<_>>();
    let most = lines.iter().map(|l| l.turns.len()).max().unwrap_or(0);
    let mut table = Table::default();
    table.group(
        "",
        vec![("", Align::Left, column(&|l| l.side.clone())), ("", Align::Left, column(&|l| l.what.clone()))],
    );
    let numbers: Vec<String> = (1..=most).map(|i| i.to_string()).collect();
    let each = (0..most)
        .map(|i| {
            let cell = |l: &Line<'_>| {
                l.turns.get(i).filter(|v| v.is_finite()).map_or("–".into(), |v| number(*v, 1, false))
            };
            (numbers[i].as_str(), Align::Right, column(&cell))
        })
        .collect();
    table.group("turn, °", each);
    table.group(
        "",
        vec![(
            "largest, °",
            Align::Right,
            column(&|l| with_band(l.statistics.largest_deg, l.statistics.largest_sd_deg, false)),
        )],
    );
    table.group(
        "",
        vec![(
            "mean, °",
            Align::Right,
            column(&|l| with_band(l.statistics.mean_deg, l.statistics.mean_sd_deg, false)),
        )],
    );
    let spread = column(&|l| l.statistics.spread_deg.map_or("–".into(), |s| number(s, 1, false)));
    table.group("", vec![("spread, °", Align::Right, spread)]);
    if lines.iter().any(|l| l.share.is_some()) {
        let share = column(&|l| l.share.as_ref().map_or(String::new(), |s| percent(s, false)));
        table.group("", vec![("share", Align::Right, share)]);
    }
    table
}

/// Last time against now.
pub fn mobility_comparison(comparison: &Comparison, style: Style) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", style.bold("Mobility, last time and now"));
    for (word, checks) in [("last time  ", &comparison.before), ("now        ", &comparison.after)] {
        let text = format!(
            "{}: {}, {}",
            clean(&checks.name),
            clean(&checks.session.player.name),
            clean(&checks.session.started_utc)
        );
        wrap(&mut out, style, word, &text);
    }
    out.push('\n');
    wrap(&mut out, style, "", &clean(&comparison.after.mobility.caution));
    for note in &comparison.notes {
        wrap(&mut out, style, "  · ", &clean(note));
    }
    for posture in &comparison.postures {
        let remark = format!("check {} against check {}", posture.before, posture.after);
        heading(&mut out, style, capital(posture.posture), &remark);
        rows_table(posture).write(&mut out, style);
        out.push('\n');
        in_words(&mut out, style, posture);
        wrap(&mut out, style, "  yardstick  ", &posture.yardstick());
    }
    for (posture, why) in &comparison.not_compared {
        heading(&mut out, style, capital(*posture), "");
        wrap(&mut out, style, "  ", &format!("Not compared. {}", clean(why)));
    }
    if comparison.postures.is_empty() && comparison.not_compared.is_empty() {
        out.push('\n');
        wrap(&mut out, style, "", "No posture was measured in both sessions.");
    }
    heading(&mut out, style, "How to read this", "");
    for (first, text) in [
        ("  ±          ", "half the width of the 95 % band of the mean of the repetitions"),
        (
            "  MDC95      ",
            "minimal detectable change, 1.96 · √2 · SEM (Weir JP 2005, J Strength Cond Res 19:231–240): a \
             difference below it can be ordinary variation",
        ),
        (
            "  l − r      ",
            "left − right counts from the start position of each day; range, left plus right, does not depend on it",
        ),
        ("  not in     ", SOFT_TISSUE),
    ] {
        wrap(&mut out, style, first, text);
    }
    ending(&mut out, style);
    out
}

const fn capital(posture: Posture) -> &'static str {
    match posture {
        Posture::Seated => "Seated turn",
        Posture::Standing => "Standing turn",
    }
}

fn label(quantity: Quantity) -> String {
    match quantity {
        Quantity::Thorax(side) => format!("{} {side}", marked(Role::Thorax)),
        Quantity::ThoraxOnPelvis(side) => format!("{ON_PELVIS} {side}"),
        Quantity::Pelvis(side) => format!("{} {side}", marked(Role::Pelvis)),
        Quantity::Range => format!("{} range", marked(Role::Thorax)),
        Quantity::Asymmetry => format!("{} left − right", marked(Role::Thorax)),
    }
}

fn signed(quantity: Quantity) -> bool {
    quantity == Quantity::Asymmetry
}

fn rows_table(posture: &PostureComparison) -> Table {
    let column = |cell: &dyn Fn(&Row) -> String| posture.rows.iter().map(cell).collect::<Vec<_>>();
    let mut table = Table::default();
    table.group("", vec![("°", Align::Left, column(&|r| label(r.quantity)))]);
    for (header, pick) in [("last time", (|r| r.before) as fn(&Row) -> (f64, f64)), ("now", |r| r.after)] {
        let cells = column(&|r| with_band(pick(r).0, pick(r).1, signed(r.quantity)));
        table.group("", vec![(header, Align::Right, cells)]);
    }
    table.group(
        "",
        vec![
            ("difference", Align::Right, column(&|r| number(r.difference, 1, true))),
            ("MDC95", Align::Right, column(&|r| number(r.mdc95, 1, false))),
        ],
    );
    table.group("", vec![("", Align::Left, column(&|r| r.verdict.label().into()))]);
    table
}

fn in_words(out: &mut String, style: Style, posture: &PostureComparison) {
    let (changed, rest): (Vec<&Row>, Vec<&Row>) =
        posture.rows.iter().partition(|r| r.verdict == Verdict::Changed);
    for row in changed {
        let decimals = |v| number(v, 1, signed(row.quantity));
        let text = format!(
            "{} {}: from {} to {}, a difference of {}° where {}° is detectable.",
            label(row.quantity),
            posture.changed_means(),
            decimals(row.before.0),
            decimals(row.after.0),
            number(row.difference, 1, true),
            number(row.mdc95, 1, false)
        );
        wrap(out, style, "  · ", &text);
    }
    if !rest.is_empty() {
        let names: Vec<String> = rest.iter().map(|r| label(r.quantity)).collect();
        wrap(
            out,
            style,
            "  · ",
            &format!("Can't tell, the difference can be ordinary variation: {}.", names.join("; ")),
        );
    }
}
