//! What of a session folder is intact, and what was saved.

use crate::integrity::{Health, Salvaged};
use crate::words::integrity as words;
use crate::words::trouble;
use std::fmt::Write as _;

/// One session folder, looked through.
pub fn health(health: &Health) -> String {
    let mut out = String::new();
    let verdict = if health.is_whole() { "whole" } else { "not whole" };
    let _ = writeln!(out, "{}: {verdict}", health.folder.display());
    match &health.log {
        Ok(log) => {
            let straps: Vec<&str> = log.straps.keys().map(|role| role.label()).collect();
            let of = if straps.is_empty() { "no strap".to_owned() } else { straps.join(", ") };
            line(&mut out, "recording", &format!("{:.1} s of {of}", log.seconds));
            for hole in &log.holes {
                line(&mut out, "", &words::hole(hole));
            }
        }
        Err(_) => line(&mut out, "recording", &health.log_problem().unwrap_or_default()),
    }
    match &health.session {
        Ok(session) => {
            for note in &session.troubles {
                let at_s = note.t_ms as f64 * 1e-3;
                line(&mut out, "noted", &format!("at {at_s:.1} s: {}", trouble::sentence(&note.what)));
            }
        }
        Err(why) => line(&mut out, "session", &why.to_string()),
    }
    let (swings, curves) = (health.swings.len(), health.curves.len());
    line(&mut out, "swings", &format!("{swings} intact, curves of {curves}"));
    for problem in &health.files {
        line(&mut out, "", &words::file(problem));
    }
    for notice in &health.remarks {
        line(&mut out, "remarks", notice);
    }
    if health.needs_salvage() {
        let folder = health.folder.display();
        line(
            &mut out,
            "to do",
            &format!("peakorder salvage {folder} --into NEW-FOLDER writes a session of what is left"),
        );
    }
    out
}

/// What was saved.
pub fn salvaged(done: &Salvaged) -> String {
    let mut out = String::new();
    let health = &done.health;
    let _ = writeln!(out, "{}: saved from {}", done.into.display(), health.folder.display());
    if let Ok(log) = &health.log {
        line(&mut out, "recording", &format!("{} records up to {:.1} s", done.records, log.seconds));
        for hole in &log.holes {
            line(&mut out, "", &words::hole(hole));
        }
    }
    let (swings, curves) = (health.swings.len(), health.curves.len());
    line(&mut out, "swings", &format!("{swings} copied, curves of {curves}"));
    for assumption in &done.assumed {
        line(&mut out, "assumed", &words::assumption(assumption));
    }
    if !health.files.is_empty() || health.swings.is_empty() {
        let (into, missing) = (done.into.display(), health.files.len());
        line(
            &mut out,
            "to do",
            &format!(
                "{missing} computed files are missing. peakorderd replay {into} --into NEW-FOLDER computes all swings that the saved recording holds; they may get other numbers"
            ),
        );
    }
    out
}

fn line(out: &mut String, what: &str, text: &str) {
    let _ = writeln!(out, "  {what:<10} {text}");
}
