//! The mobility check: how far the trunk turned without a club.

use super::html::esc;
use crate::load::Loaded;
use crate::mobility::last_of;
use crate::render::number;
use crate::stats::Z95;
use crate::words::capital;
use peakorder_protocol::mobility::{
    CAUTION, MobilityCheck, Posture, Side, SideTurns, SwingSide, TurnStatistics,
};
use std::fmt::Write as _;

/// All postures that were checked; nothing where none was.
pub(super) fn mobility(out: &mut String, loaded: &Loaded) {
    let checks: Vec<(Posture, &MobilityCheck)> =
        Posture::ALL.into_iter().filter_map(|p| Some((p, last_of(&loaded.mobility, p)?))).collect();
    if checks.is_empty() {
        return;
    }
    out.push_str("<h2>How far you turned, arms crossed</h2>\n");
    let hand = loaded.session.player.handedness;
    let side = |side: Side| {
        let way = match side.swing_side(hand) {
            SwingSide::Lead => "towards the target",
            SwingSide::Trail => "away from the target",
        };
        format!("to the {side} ({way})")
    };
    let _ = writeln!(
        out,
        "<table>\n<caption>Mean turn ± half its 95 % interval.</caption>\n<thead><tr><td></td>\
         <th scope=\"col\">{}</th><th scope=\"col\">{}</th></tr></thead>",
        side(Side::Left),
        side(Side::Right)
    );
    for (posture, check) in &checks {
        one(out, *posture, check);
    }
    out.push_str("</table>\n");
    for (posture, check) in &checks {
        if let Some(sides) = apart(check) {
            let _ = writeln!(out, "<p>{}, thorax: {}</p>", capital(posture.key()), esc(&sides));
        }
        for again in &check.repeat {
            let _ = writeln!(
                out,
                "<p class=\"small\">{}: not as asked, to be repeated. {}</p>",
                capital(posture.key()),
                esc(&capital(again))
            );
        }
    }
    let _ = writeln!(out, "<p class=\"small\">{}</p>", esc(CAUTION));
}

fn one(out: &mut String, posture: Posture, check: &MobilityCheck) {
    type Pick = fn(&SideTurns) -> Option<&TurnStatistics>;
    let rows: [(&str, Pick); 3] = [
        ("thorax", |s| Some(&s.thorax)),
        ("pelvis", |s| s.pelvis.as_ref()),
        ("thorax on pelvis", |s| s.thorax_on_pelvis.as_ref()),
    ];
    out.push_str("<tbody class=\"apart\">\n");
    for (name, pick) in rows {
        let cell =
            |side| check.side(side).and_then(pick).map_or("–".into(), |s| band(s.mean_deg, s.mean_sd_deg));
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}, {name}</th><td>{}</td><td>{}</td></tr>",
            capital(posture.key()),
            cell(Side::Left),
            cell(Side::Right)
        );
    }
    out.push_str("</tbody>\n");
}

/// Left against right in a sentence.
fn apart(check: &MobilityCheck) -> Option<String> {
    let b = check.thorax_balance.as_ref()?;
    let (difference, half) = (b.left_minus_right_deg.abs(), Z95 * b.left_minus_right_sd_deg);
    let numbers = format!("{}° ± {}°", number(difference, 0, false), number(half.max(1.0), 0, false));
    Some(if difference > half {
        let further = if b.left_minus_right_deg > 0.0 { Side::Left } else { Side::Right };
        format!("{numbers} further to the {further}.")
    } else {
        format!("no difference between the sides can be shown ({numbers}).")
    })
}

fn band(deg: f64, sd_deg: f64) -> String {
    format!("{}° ± {}°", number(deg, 0, false), number((Z95 * sd_deg).max(1.0), 0, false))
}
