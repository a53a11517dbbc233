//! The mobility check: how far the trunk turned without a club.

use crate::load::Loaded;
use crate::mobility::last_of;
use crate::render::number;
use crate::stats::Z95;
use crate::words::capital;
use maud::{Markup, html};
use peakorder_protocol::mobility::{
    CAUTION, MobilityCheck, Posture, Side, SideTurns, SwingSide, TurnStatistics,
};

/// All postures that were checked; nothing where none was.
pub(super) fn mobility(loaded: &Loaded) -> Markup {
    let checks: Vec<(String, &MobilityCheck)> = Posture::ALL
        .into_iter()
        .filter_map(|p| Some((capital(p.key()), last_of(&loaded.mobility, p)?)))
        .collect();
    let hand = loaded.session.player.handedness;
    html! {
        @if !checks.is_empty() {
            h2 { "How far you turned, arms crossed" }
            table {
                caption { "Mean turn ± half its 95 % interval." }
                thead {
                    tr {
                        td {}
                        @for side in Side::ALL {
                            th scope="col" {
                                "to the " (side) " ("
                                @match side.swing_side(hand) {
                                    SwingSide::Lead => "towards the target",
                                    SwingSide::Trail => "away from the target",
                                }
                                ")"
                            }
                        }
                    }
                }
                @for (posture, check) in &checks { (turns(posture, check)) }
            }
            @for (posture, check) in &checks {
                @if let Some(sides) = apart(check) { p { (posture) ", thorax: " (sides) } }
                @for again in &check.repeat {
                    p class="small" { (posture) ": not as asked, to be repeated. " (capital(again)) }
                }
            }
            p class="small" { (CAUTION) }
        }
    }
}

fn turns(posture: &str, check: &MobilityCheck) -> Markup {
    type Pick = fn(&SideTurns) -> Option<&TurnStatistics>;
    let rows: [(&str, Pick); 3] = [
        ("thorax", |s| Some(&s.thorax)),
        ("pelvis", |s| s.pelvis.as_ref()),
        ("thorax on pelvis", |s| s.thorax_on_pelvis.as_ref()),
    ];
    html! {
        tbody class="apart" {
            @for (name, pick) in rows {
                tr {
                    th scope="row" { (posture) ", " (name) }
                    @for side in Side::ALL {
                        @let turn = check.side(side).and_then(pick);
                        td { (turn.map_or("–".into(), |s| band(s.mean_deg, s.mean_sd_deg))) }
                    }
                }
            }
        }
    }
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
