//! What the daemon made of the scenario, held against what was played and what was true.
//! States, counts, bytes and swings are judged; of times only what a machine's emulation
//! leaves meaningful: one strap's against another's.

use super::radio::{BEGINS, STREAMS};
use super::scenario::{self, LOST, LOST_IN_SWING};
use crate::files;
use peakorder_protocol::Role;
use peakorder_protocol::log::{Record, StrapEventKind};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::{Outcome, Swing, SwingKind};
use peakorder_virtual_straps::SwingTruth;
use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;

/// Standard uncertainties that a gap's error may be. 95 % lie within 1.96 of them; of some
/// twenty gaps one beyond that is expected, one beyond this in a hundred runs (normal
/// distribution).
const SD_LIMIT: f64 = 3.5;
/// Error of a turn at the top, degrees: as the accuracy report's worst swing, not the machine's doing.
const TURN_DEG: f64 = 6.0;
/// Swings after the strap's return that must be whole.
const WHOLE_AFTER: usize = 2;
/// Impacts must keep their distances to this much, seconds: to pair swings with their truth.
const PAIRING_S: f64 = 0.1;

/// Seconds after a restart of the clock in which its times are not checked.
const SETTLING_S: f64 = 6.0;
/// Packets that may miss the end of the session, of each strap.
const AT_THE_END: usize = 2;

/// What was found.
#[derive(Debug, Default)]
pub struct Checked {
    /// Figures, for people.
    pub figures: String,
    /// What is wrong; empty is good.
    pub faults: Vec<String>,
}

impl Checked {
    fn check(&mut self, holds: bool, fault: impl FnOnce() -> String) {
        if !holds {
            self.faults.push(fault());
        }
    }
}

/// What was played, on the radio's clock.
struct Played {
    records: Vec<Record>,
    /// Start of the script, seconds.
    began_s: f64,
}

impl Played {
    /// When a strap began to stream, seconds of the script.
    fn streams_s(&self, role: Role) -> Vec<f64> {
        self.events(role)
            .filter(|(_, what)| matches!(what, StrapEventKind::Note { text } if text == STREAMS))
            .map(|(t_s, _)| t_s)
            .collect()
    }

    fn events(&self, role: Role) -> impl Iterator<Item = (f64, &StrapEventKind)> {
        self.records.iter().filter_map(move |r| match r {
            Record::Strap(e) if e.role == role => Some((e.t_ns as f64 * 1e-9 - self.began_s, &e.what)),
            _ => None,
        })
    }
}

fn arrivals(records: &[Record], role: Role) -> Vec<(f64, &[u8])> {
    let mut mine = Vec::new();
    for record in records {
        if let Record::Arrival(a) = record
            && a.role == role
        {
            mine.push((a.t_ns as f64 * 1e-9, a.bytes.as_slice()));
        }
    }
    mine
}

/// Judges the session folder at `session` by the log of what was played.
pub fn check(session: &Path, played: &Path) -> Checked {
    let mut verdict = Checked::default();
    let log = session.join("samples.log");
    for path in [&log, played] {
        if !path.is_file() {
            verdict.faults.push(format!("{} is missing", path.display()));
            return verdict;
        }
    }
    let records = files::records(played).0;
    let begins = records.iter().find_map(|r| match r {
        Record::Mark(m) if m.detail == BEGINS => Some(m.t_ns as f64 * 1e-9),
        _ => None,
    });
    let Some(began_s) = begins else {
        verdict
            .faults
            .push("the script did not begin: the straps never streamed all at the same time".into());
        return verdict;
    };
    let played = Played { records, began_s };
    let (recorded, findings) = files::records(&log);
    verdict.check(findings.is_empty(), || format!("the recording is damaged: {findings:?}"));
    for role in Role::ALL {
        states(&mut verdict, &played, &recorded, role);
        bytes(&mut verdict, &played, &recorded, role);
    }
    match SessionDir::open(session).and_then(|(dir, file)| Ok((dir.read_swings()?, file))) {
        Ok((swings, file)) => {
            for step in file.calibration.iter().filter(|c| !c.passed()) {
                verdict.faults.push(format!("calibration: {step:?}"));
            }
            verdict.check(file.calibration.len() >= 5, || {
                format!("only {} steps of the calibration were made", file.calibration.len())
            });
            swings_against_truth(&mut verdict, &played, &swings);
        }
        Err(error) => verdict.faults.push(error.to_string()),
    }
    verdict
}

/// The daemon saw every link begin and end as the radio made it.
fn states(verdict: &mut Checked, played: &Played, recorded: &[Record], role: Role) {
    let said: Vec<&StrapEventKind> = recorded
        .iter()
        .filter_map(|r| match r {
            Record::Strap(e) if e.role == role => Some(&e.what),
            _ => None,
        })
        .collect();
    let up: Vec<bool> = said
        .iter()
        .filter(|what| what.is_connected() || what.is_disconnected())
        .map(|what| what.is_connected())
        .collect();
    let expected = [true, false].repeat(if role == LOST { 2 } else { 1 });
    verdict.check(up == expected, || format!("{role}: links were up {up:?}, not {expected:?}; {said:?}"));
    for what in &said {
        let StrapEventKind::Connected { information, mtu } = what else { continue };
        verdict.check(information.contains("firmware 1.2.3") && *mtu == Some(247), || {
            format!("{role}: of itself the strap is recorded to say only '{information}', MTU {mtu:?}")
        });
    }
    let percent = scenario::BATTERY_PERCENT[role.index()];
    verdict.check(said.contains(&&StrapEventKind::Battery { percent }), || {
        format!("{role}: no battery level of {percent} % is recorded")
    });
    verdict.check(!said.contains(&&StrapEventKind::Restarted), || {
        format!("{role}: a restart is recorded, but the strap's clock went on")
    });
    let intervals: Vec<Duration> = played
        .events(role)
        .filter_map(|(_, what)| match what {
            StrapEventKind::Interval { interval } => Some(*interval),
            _ => None,
        })
        .collect();
    let asked = Duration::from_millis(15);
    verdict.check(!intervals.is_empty() && intervals.iter().all(|i| *i == asked), || {
        format!("{role}: it asked for a connection interval of 15 ms and got {intervals:?}")
    });
}

/// Every packet that went over the radio is recorded, whole and in order.
fn bytes(verdict: &mut Checked, played: &Played, recorded: &[Record], role: Role) {
    let sent = arrivals(&played.records, role);
    let got = arrivals(recorded, role);
    let lateness: Vec<f64> = sent.iter().zip(&got).map(|(s, g)| g.0 - s.0).collect();
    let least = lateness.iter().copied().fold(f64::INFINITY, f64::min);
    let mut late: Vec<f64> = lateness.iter().map(|l| (l - least) * 1e3).collect();
    late.sort_by(f64::total_cmp);
    let at = |q: f64| late.get(((late.len().max(1) - 1) as f64 * q) as usize).copied().unwrap_or(f64::NAN);
    let _ = writeln!(
        verdict.figures,
        "{role}: {} packets sent, {} recorded; lateness p50 {:.1}, p95 {:.1}, max {:.1} ms (the emulation's)",
        sent.len(),
        got.len(),
        at(0.5),
        at(0.95),
        at(1.0)
    );
    let different = sent.iter().zip(&got).position(|(s, g)| s.1 != g.1);
    // A packet on its way when the session is ended may come too late for it.
    let missing = sent.len() - got.len().min(sent.len());
    verdict.check(got.len() <= sent.len() && missing <= AT_THE_END && different.is_none(), || {
        format!(
            "{role}: {} packets were sent and {} are recorded; the first difference is at packet {:?}",
            sent.len(),
            got.len(),
            different.unwrap_or(sent.len().min(got.len()))
        )
    });
}

fn swings_against_truth(verdict: &mut Checked, played: &Played, swings: &[Swing]) {
    let session = scenario::session();
    let truth = session.truth();
    verdict.check(swings.len() == truth.len(), || {
        format!("{} swings are recorded, {} were played", swings.len(), truth.len())
    });
    if swings.len() != truth.len() {
        return;
    }
    // The daemon's clock began at another time than the script.
    let mut offsets: Vec<f64> =
        swings.iter().zip(&truth).map(|(s, t)| s.events.impact.t_s - t.impact_s).collect();
    let back_s = played.streams_s(LOST).get(1).copied();
    let whole_from = match back_s {
        Some(back_s) => {
            let _ = writeln!(
                verdict.figures,
                "{LOST} strap: streams again {:.1} s after it was back in range",
                back_s - scenario::out_of_range_s(&session).1
            );
            truth.iter().position(|t| t.takeaway_s > back_s + SETTLING_S).unwrap_or(truth.len())
        }
        None => truth.len(),
    };
    verdict.check(whole_from + WHOLE_AFTER <= truth.len(), || {
        format!(
            "the {LOST} strap came back too late ({back_s:?} s): {whole_from} of {} swings were over",
            truth.len()
        )
    });
    let mut gaps = Gaps::default();
    for (i, (swing, truth)) in swings.iter().zip(&truth).enumerate() {
        verdict.check(swing.kind == SwingKind::Strike, || format!("swing {}: no strike was seen", i + 1));
        let whole = i + 1 < LOST_IN_SWING || i >= whole_from;
        one_swing(verdict, &mut gaps, swing, truth, whole);
        if i + 1 == LOST_IN_SWING {
            let judged = swing.segments.get(&LOST).and_then(|s| s.peak);
            verdict.check(judged.is_none(), || {
                format!("swing {}: the {LOST} strap was lost before impact, and yet its peak is given: {judged:?}", i + 1)
            });
        }
    }
    let _ = writeln!(
        verdict.figures,
        "{} gaps against truth: {} within the stated 95 % band, worst {:.1} standard uncertainties, largest error {:.1} ms; {} resolved",
        gaps.all, gaps.within, gaps.worst_sd, gaps.worst_ms, gaps.resolved
    );
    verdict.check(gaps.resolved * 2 >= gaps.all && gaps.all >= 12, || {
        format!("of {} gaps only {} are resolved", gaps.all, gaps.resolved)
    });
    offsets.sort_by(f64::total_cmp);
    if let (Some(first), Some(last)) = (offsets.first(), offsets.last()) {
        verdict.check(last - first < PAIRING_S, || {
            format!("swings lie elsewhere in time than those that were played: by {offsets:?} s")
        });
    }
}

/// Tally of gaps between peaks.
#[derive(Default)]
struct Gaps {
    all: u32,
    within: u32,
    resolved: u32,
    worst_sd: f64,
    worst_ms: f64,
}

fn one_swing(verdict: &mut Checked, gaps: &mut Gaps, swing: &Swing, truth: &SwingTruth, whole: bool) {
    let n = swing.number;
    let line = |order: &[Vec<Role>]| {
        let tie = |t: &Vec<Role>| t.iter().map(|r| r.key()).collect::<Vec<_>>().join(" = ");
        order.iter().map(tie).collect::<Vec<_>>().join(" > ")
    };
    let _ = writeln!(
        verdict.figures,
        "swing {n}: {}{}",
        line(&swing.sequence.order),
        if whole { "" } else { " (not whole)" }
    );
    for role in Role::ALL.iter().filter(|r| whole || **r != LOST) {
        let peak = swing.segments.get(role).and_then(|s| s.peak);
        verdict.check(peak.is_some_and(|p| p.outcome == Outcome::Peak), || {
            format!("swing {n}: the {role} has no peak ({:?})", swing.quality.withheld)
        });
    }
    if whole {
        verdict
            .check(swing.quality.usable, || format!("swing {n} is not usable: {:?}", swing.quality.withheld));
        for role in [Role::Pelvis, Role::Thorax] {
            let turn = swing.segments.get(&role).and_then(|s| s.turn_deg).map(|t| t.top);
            let error = turn.map(|t| t - truth.segments[&role].turn_deg.top);
            verdict.check(error.is_some_and(|e| e.abs() < TURN_DEG), || {
                format!(
                    "swing {n}: the {role} turn at the top is {turn:?}° and was {:.1}°",
                    truth.segments[&role].turn_deg.top
                )
            });
        }
    }
    for gap in &swing.sequence.gaps {
        let peak_s = |role: Role| truth.segments[&role].peak_s;
        let true_ms = (peak_s(gap.to) - peak_s(gap.from)) * 1e3;
        let (error_ms, sds) = (gap.gap_ms - true_ms, (gap.gap_ms - true_ms).abs() / gap.sd_ms);
        let _ = writeln!(
            verdict.figures,
            "    {} → {}: {:+.1} ± {:.1} ms, truly {true_ms:+.1}",
            gap.from.key(),
            gap.to.key(),
            gap.gap_ms,
            1.96 * gap.sd_ms
        );
        gaps.all += 1;
        gaps.within += u32::from(sds <= 1.96);
        gaps.resolved += u32::from(gap.resolved);
        gaps.worst_sd = gaps.worst_sd.max(sds);
        gaps.worst_ms = gaps.worst_ms.max(error_ms.abs());
        verdict.check(sds <= SD_LIMIT, || {
            format!(
                "swing {n}: {} to {} is {:.1} ± {:.1} ms (95 %), and was {true_ms:.1} ms",
                gap.from,
                gap.to,
                gap.gap_ms,
                1.96 * gap.sd_ms
            )
        });
        verdict.check(!gap.resolved || gap.gap_ms * true_ms > 0.0, || {
            format!("swing {n}: {} and {} are in the wrong order", gap.from, gap.to)
        });
    }
}
