//! One swing in full.

use super::show::head;
use super::table::{Align, Table};
use super::{Style, bone, clean, ending, heading, marked, notes, number, plot, said, wrap};
use crate::load::NoCurves;
use crate::measure::Measure;
use crate::order::{self, Order};
use crate::stats::Z95;
use crate::words;
use peakorder_protocol::Role;
use peakorder_protocol::curves::Curves;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::{AngleSet, Evidence, Gap, Outcome, Segment, Swing, SwingKind};
use std::fmt::Write as _;

/// One swing as text, with what the coach's `remarks` say of it; `curves` is `Err` with the reason
/// where there are none.
pub fn one_swing(
    session: &Session,
    swing: &Swing,
    remarks: &Remarks,
    curves: Result<&Curves, &NoCurves>,
    style: Style,
) -> String {
    let mut out = String::new();
    head(&mut out, style, session);
    heading(&mut out, style, &format!("Swing {}", swing.number), &title(swing, remarks));
    sequence(&mut out, style, swing);
    if let Some(said) = remarks.swing(swing.number) {
        wrap(&mut out, style, "  coach      ", &said::one(said));
    }
    out.push('\n');
    let plot = curves
        .map_err(ToString::to_string)
        .and_then(|c| plot::speeds(c, swing, style).map_err(|e| e.to_string()));
    match plot {
        Ok(plot) => out.push_str(&plot),
        Err(why) => wrap(&mut out, style, "", &format!("No plot: {}", clean(&why))),
    }
    heading(&mut out, style, "Speed and time", "± = half the width of the 95 % band");
    segment_table(swing).write(&mut out, style);
    heading(&mut out, style, "Gaps", "positive = the first named came first");
    gap_table(swing).write(&mut out, style);
    angles(&mut out, style, swing);
    backswing(&mut out, style, swing);
    heading(&mut out, style, "Tempo", "");
    tempo(&mut out, style, swing);
    bone::bands(&mut out, style, swing);
    heading(&mut out, style, "Quality", "");
    quality(&mut out, style, swing);
    heading(&mut out, style, "How to read this", "");
    wrap(&mut out, style, "  ", order::LEGEND);
    notes::definitions(&mut out, style, &[swing]);
    ending(&mut out, style);
    out
}

fn title(swing: &Swing, remarks: &Remarks) -> String {
    let block = if swing.block.is_empty() {
        crate::load::NO_BLOCK.to_owned()
    } else {
        format!("block {}", clean(&swing.block))
    };
    let kind = words::ball::of_swing(swing, remarks);
    let evidence = match swing.events.impact.evidence {
        Evidence::ArmShock => "impact seen by the arm strap",
        Evidence::TrunkShock => "impact seen by a trunk strap",
        Evidence::Estimated => "impact estimated from the motion",
        Evidence::None => "no impact seen",
    };
    format!("{block}   {kind}, {evidence}")
}

fn sequence(out: &mut String, style: Style, swing: &Swing) {
    let text = |o: Option<Order>| o.map_or_else(|| "withheld".to_owned(), |o| o.text());
    let peaks = text(Order::of_peaks(&swing.sequence));
    let _ = writeln!(out, "  peaks      {}", style.bold(&peaks));
    let _ = writeln!(out, "  reversals  {}", text(Order::of_reversals(&swing.sequence)));
}

/// `44.1 ± 3.2`, signed where a sign tells a direction.
fn banded(value: f64, sd: Option<f64>, decimals: usize, signed: bool) -> String {
    let half = sd.map_or_else(|| words::UNKNOWN.to_owned(), |sd| number(Z95 * sd, decimals, false));
    format!("{} ± {half}", number(value, decimals, signed))
}

/// Rows of numbers, a column a segment.
fn segment_table(swing: &Swing) -> Table {
    type Cell<'a> = &'a dyn Fn(&Segment) -> Option<String>;
    let impact = swing.events.impact;
    let rows: [(&str, Cell<'_>); 7] = [
        ("speed is", &|s| Some(s.speed_kind.key().into())),
        ("reversal before impact, ms", &|s| {
            let r = s.reversal?;
            Some(banded((impact.t_s - r.t_s) * 1e3, Some(r.sd_ms.hypot(impact.sd_ms)), 0, false))
        }),
        ("peak before impact, ms", &|s| {
            let p = s.peak?;
            Some(match p.outcome {
                Outcome::Peak => banded(p.before_impact_ms, Some(p.sd_ms.hypot(impact.sd_ms)), 0, false),
                Outcome::Held if swing.kind == SwingKind::Strike => "held".into(),
                Outcome::Held => "can't tell".into(),
                Outcome::Rising => "↗ rising".into(),
            })
        }),
        ("peak speed, °/s", &|s| {
            let p = s.peak.filter(|p| p.outcome != Outcome::Rising)?;
            Some(banded(p.speed_dps, p.speed_sd_dps, 0, false))
        }),
        ("speed at impact, °/s", &|s| {
            Some(banded(s.speed_at_impact_dps?, s.speed_at_impact_sd_dps, 0, false))
        }),
        ("speed kept, %", &|s| {
            let kept = s.speed_kept_at_impact? * 100.0;
            Some(banded(kept, s.speed_kept_sd.map(|sd| sd * 100.0), 0, false))
        }),
        ("resultant peak, °/s", &|s| {
            let p = s.resultant_peak.filter(|p| p.outcome != Outcome::Rising)?;
            Some(banded(p.speed_dps, p.speed_sd_dps, 0, false))
        }),
    ];
    let mut table = Table::default();
    table.group("", vec![("", Align::Left, rows.iter().map(|r| format!("  {}", r.0)).collect())]);
    for role in Role::ALL {
        let segment = swing.segments.get(&role);
        let cells = rows
            .iter()
            .map(|(_, cell)| match segment {
                None => "no strap".to_owned(),
                Some(s) => cell(s).unwrap_or_else(|| "–".into()),
            })
            .collect();
        table.group("", vec![(&format!("  {}", marked(role)), Align::Right, cells)]);
    }
    table
}

fn gap_table(swing: &Swing) -> Table {
    let pairs = [(&swing.sequence.gaps, "peak"), (&swing.sequence.reversal_gaps, "reversal")];
    let rows: Vec<(&Gap, &str)> =
        pairs.iter().flat_map(|(gaps, what)| gaps.iter().map(move |g| (g, *what))).collect();
    let column = |cell: &dyn Fn(&(&Gap, &str)) -> String| rows.iter().map(cell).collect::<Vec<_>>();
    let mut table = Table::default();
    table.group(
        "",
        vec![(
            "",
            Align::Left,
            column(&|(g, what)| format!("  {what}, {} to {}, ms", order::short(g.from), order::short(g.to))),
        )],
    );
    let size = |(g, _): &(&Gap, &str)| {
        if g.held { "held".to_owned() } else { banded(g.gap_ms, Some(g.sd_ms), 1, false) }
    };
    table.group("", vec![("", Align::Right, column(&size))]);
    table.group(
        "",
        vec![(
            "",
            Align::Left,
            column(&|(g, _)| if g.resolved { "told apart" } else { "too close to tell apart" }.into()),
        )],
    );
    table
}

fn angles(out: &mut String, style: Style, swing: &Swing) {
    heading(
        out,
        style,
        "Angles, °",
        "turn from address, + towards the target; tilt and flexion from upright",
    );
    let mut rows: Vec<(String, AngleSet)> = Vec::new();
    for (role, s) in &swing.segments {
        for (what, set) in
            [("turn", s.turn_deg), ("lateral tilt", s.lateral_tilt_deg), ("flexion", s.flexion_deg)]
        {
            rows.extend(set.map(|set| (format!("  {role} {what}"), set)));
        }
    }
    if rows.is_empty() {
        wrap(out, style, "  ", "No angles were measured; Quality says why.");
    } else {
        let column =
            |cell: &dyn Fn(&AngleSet) -> String| rows.iter().map(|(_, set)| cell(set)).collect::<Vec<_>>();
        type Pick = fn(&AngleSet) -> (f64, Option<f64>);
        let mut table = Table::default();
        table.group("", vec![("", Align::Left, rows.iter().map(|r| r.0.clone()).collect())]);
        for (header, pick) in [
            // Turn is zero at address by definition.
            ("    address", (|s| (s.address, s.address_sd.or((s.address == 0.0).then_some(0.0)))) as Pick),
            ("        top", |s| (s.top, Some(s.sd))),
            ("     impact", |s| (s.impact, s.impact_sd)),
            ("   max away", |s| (s.max_away, s.max_away_sd)),
        ] {
            let cell = |s: &AngleSet| {
                let (value, sd) = pick(s);
                if sd == Some(0.0) { number(value, 1, true) } else { banded(value, sd, 1, true) }
            };
            table.group("", vec![(header, Align::Right, column(&cell))]);
        }
        table.write(out, style);
    }
    if let Some(s) = &swing.separation {
        wrap(
            out,
            style,
            "  ",
            &format!(
                "separation: {} at the top, {} at its largest, stretch {}",
                banded(s.top_deg, Some(s.sd_deg), 1, true),
                banded(s.max_deg, s.max_sd_deg, 1, true),
                banded(s.stretch_deg, s.stretch_sd_deg, 1, true)
            ),
        );
    }
    let change = |role: Role| Some(format!("{role} {}", with_band(swing, Measure::FlexionChange(role))?));
    let changes: Vec<String> = [Role::Pelvis, Role::Thorax].into_iter().filter_map(change).collect();
    if !changes.is_empty() {
        wrap(
            out,
            style,
            "  ",
            &format!("flexion from address to impact: {} (− = straightened up)", changes.join(", ")),
        );
    }
    arm(out, style, swing);
    hip_shift(out, style, swing);
}

/// A measure's value with its band; `None` where there is no value.
fn with_band(swing: &Swing, measure: Measure) -> Option<String> {
    let v = measure.of(swing)?;
    Some(banded(v.value, v.sd, measure.decimals(), measure.signed()))
}

fn arm(out: &mut String, style: Style, swing: &Swing) {
    if swing.arm.is_none() {
        return;
    }
    let of = |m: Measure| with_band(swing, m);
    let parts = [
        of(Measure::ArmElevationGravity).map(|text| format!("raised {text} from hanging straight down")),
        of(Measure::ArmElevation).map(|text| format!("{text} from hanging along the thorax")),
        of(Measure::ArmAcross).map(|text| format!("across the chest {text}")),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    wrap(out, style, "  ", &format!("lead arm at the top: {}", parts.join(", ")));
}

/// Turn and lift.
fn backswing(out: &mut String, style: Style, swing: &Swing) {
    if swing.backswing.is_none() {
        return;
    }
    heading(
        out,
        style,
        "Backswing: turn or lift",
        "address to top; an index, for it adds angles about different axes",
    );
    let of = |m: Measure| with_band(swing, m);
    let mut say = |text: String| wrap(out, style, "  ", &text);
    if let (Some(share), Some(moved)) = (of(Measure::TurnShare), of(Measure::ArmMoved)) {
        let hips = of(Measure::HipsShare).map_or(String::new(), |hips| format!(" (hips {hips} %)"));
        say(format!("by turn {share} %{hips}, the rest by the arm, which moved {moved}° in the shoulder"));
    }
    let parts = [
        of(Measure::ArmRaised).map(|text| format!("raised {text}° in the shoulder")),
        of(Measure::ArmWentAcross).map(|text| format!("drawn across the chest {text}°")),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if !parts.is_empty() {
        say(format!("lead arm: {}", parts.join(", ")));
    }
    if let Some(text) = of(Measure::ChestPerArm) {
        say(format!("chest per arm: {text}"));
    }
}

fn hip_shift(out: &mut String, style: Style, swing: &Swing) {
    let Some(shift) = &swing.hip_shift else { return };
    let said = |measure: Measure| {
        let v = measure.of(swing)?;
        let half = v.sd.map_or_else(|| words::UNKNOWN.to_owned(), |sd| number(Z95 * sd, 1, false));
        Some(format!("{} ± {half} cm {}", number(v.value.abs(), 1, false), words::way(measure, v.value)))
    };
    let parts = [
        said(Measure::MidHipsShiftAtTop).map(|text| format!("middle {text}")),
        said(Measure::TrailHipShiftAtTop).map(|text| format!("trail hip {text}")),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().map(|part| part.trim_end().to_owned()).collect();
    let breadth = if shift.hip_breadth_measured { "measured" } else { "a usual one, none was measured" };
    wrap(
        out,
        style,
        "  ",
        &format!(
            "hips from address to top: {} (hip breadth {} cm, {breadth}). At impact one swing tells too little: see \
             the block's mean",
            parts.join(", "),
            number(shift.hip_breadth_cm, 0, false)
        ),
    );
}

fn tempo(out: &mut String, style: Style, swing: &Swing) {
    let text = |m: Measure| with_band(swing, m).unwrap_or_else(|| "–".to_owned());
    wrap(
        out,
        style,
        "  ",
        &format!(
            "backswing {} ms, downswing {} ms, ratio {}; the downswing starts at the top: {}",
            text(Measure::Backswing),
            text(Measure::Downswing),
            text(Measure::TempoRatio),
            words::top(swing.tempo.downswing_from)
        ),
    );
}

fn quality(out: &mut String, style: Style, swing: &Swing) {
    let q = &swing.quality;
    wrap(
        out,
        style,
        "  ",
        &format!(
            "timing {}; lost samples {}, samples at the sensor's limit {}, clocks aligned to ± {} ms (95 %)",
            if q.usable { "usable" } else { "not usable: the swing is left out of the statistics" },
            q.lost_samples,
            q.clipped_samples,
            number(Z95 * q.clock_sd_ms, 1, false)
        ),
    );
    for w in &q.withheld {
        wrap(out, style, "  * ", &clean(&words::quality::withheld(w)));
    }
    for note in &q.notes {
        wrap(out, style, "  · ", &words::quality::note(note));
    }
}
