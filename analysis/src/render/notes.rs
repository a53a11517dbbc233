//! Footnotes: every definition once.

use super::{Style, clean, marked, wrap};
use crate::words;
use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;
use std::collections::BTreeMap;

/// Distinct values in order of first appearance, cleaned for the terminal.
fn distinct<'a>(texts: impl Iterator<Item = &'a str>) -> String {
    let mut seen: Vec<String> = Vec::new();
    for text in texts {
        let text = clean(text);
        if !seen.contains(&text) {
            seen.push(text);
        }
    }
    seen.join("; or ")
}

/// Appends the definitions behind the numbers of `swings`.
pub(super) fn definitions(out: &mut String, style: Style, swings: &[&Swing]) {
    if swings.is_empty() {
        return;
    }
    out.push('\n');
    for (i, (speed, roles)) in speeds(swings).into_iter().enumerate() {
        let first = if i == 0 { "  speed       " } else { "              " };
        let names: Vec<String> = roles.iter().map(|&r| marked(r)).collect();
        wrap(out, style, first, &format!("{}: {speed}", names.join(", ")));
    }
    wrap(
        out,
        style,
        "  peak        ",
        "largest speed between the segment's own reversal and impact, never after impact; \
         kept = speed at impact / peak speed: how far the body keeps turning",
    );
    wrap(
        out,
        style,
        "  angles      ",
        &format!(
            "{}; turn is relative to address, tilt and flexion to upright; flexion change = at \
             impact − at address, − = straightened up",
            distinct(swings.iter().map(|s| s.angle_order.as_str()))
        ),
    );
    let tops: Vec<String> = swings.iter().map(|s| words::top(s.tempo.downswing_from)).collect();
    wrap(
        out,
        style,
        "  top         ",
        &format!(
            "one instant for all segments, where the downswing starts: {}; tempo = takeaway \
             (the thorax begins to turn) to top / top to impact",
            distinct(tops.iter().map(String::as_str))
        ),
    );
    let separations: Vec<&str> =
        swings.iter().filter_map(|s| Some(s.separation.as_ref()?.method.as_str())).collect();
    if !separations.is_empty() {
        wrap(
            out,
            style,
            "  separation  ",
            &format!("{}; stretch = its growth after the pelvis reversed", distinct(separations.into_iter())),
        );
    }
    let backswings: Vec<&str> =
        swings.iter().filter_map(|s| Some(s.backswing.as_ref()?.method.as_str())).collect();
    if !backswings.is_empty() {
        wrap(out, style, "  turn, lift  ", &distinct(backswings.into_iter()));
    }
    let arms: Vec<&str> = swings.iter().filter_map(|s| Some(s.arm.as_ref()?.method.as_str())).collect();
    if !arms.is_empty() {
        wrap(out, style, "  arm         ", &format!("at the top: {}", distinct(arms.into_iter())));
    }
    let priors: Vec<&str> =
        swings.iter().map(|s| s.bone_prior.as_str()).filter(|prior| !prior.is_empty()).collect();
    if !priors.is_empty() {
        wrap(out, style, "  bone        ", &distinct(priors.into_iter()));
    }
    let shifts: Vec<&str> =
        swings.iter().filter_map(|s| Some(s.hip_shift.as_ref()?.method.as_str())).collect();
    if !shifts.is_empty() {
        wrap(out, style, "  hip shift   ", &distinct(shifts.into_iter()));
    }
}

/// Speed definitions with the segments they are used for.
fn speeds(swings: &[&Swing]) -> Vec<(String, Vec<Role>)> {
    let mut by_role: BTreeMap<Role, Vec<String>> = BTreeMap::new();
    for swing in swings {
        for (&role, segment) in &swing.segments {
            let text = clean(&segment.speed_definition);
            let texts = by_role.entry(role).or_default();
            if !texts.contains(&text) {
                texts.push(text);
            }
        }
    }
    let mut by_text: Vec<(String, Vec<Role>)> = Vec::new();
    for (role, texts) in by_role {
        let text = texts.join("; or ");
        match by_text.iter_mut().find(|(t, _)| *t == text) {
            Some((_, roles)) => roles.push(role),
            None => by_text.push((text, vec![role])),
        }
    }
    by_text
}
