//! What went wrong, swing by swing.

use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{Outcome, Swing, SwingKind};
use peakorder_virtual_straps::SwingTruth;

/// Prints what went wrong, swing by swing.
pub(crate) fn explain(seed: u64, truths: &[SwingTruth], swings: &[&Swing]) {
    for t in truths {
        match swings.iter().find(|s| (s.events.impact.t_s - t.impact_s).abs() < 0.2) {
            None => eprintln!("seed {seed}: missed {:?} {} at {:.2} s", t.style, t.number, t.impact_s),
            Some(s) => {
                let common = 3.0;
                let top_off = (s.events.top.t_s - t.top_s) * 1e3 - common;
                if top_off.abs() > 15.0 {
                    eprintln!("seed {seed}: swing {} {:?} top off by {top_off:.0} ms", t.number, t.style);
                }
                let impact_off = (s.events.impact.t_s - t.impact_s) * 1e3 - common;
                if impact_off.abs() > 5.0 && t.strike {
                    eprintln!(
                        "seed {seed}: swing {} {:?} impact off by {impact_off:.1} ms ({:?} sd {:.1})",
                        t.number, t.style, s.events.impact.evidence, s.events.impact.sd_ms
                    );
                }
                for (role, want) in &t.segments {
                    if let Some(r) = s.segments.get(role).and_then(|x| x.reversal) {
                        let off = (r.t_s - want.reversal_s) * 1e3 - common;
                        if off.abs() > 15.0 {
                            eprintln!(
                                "seed {seed}: swing {} {:?} {role} reversal off by {off:.0} ms (sd {:.0})",
                                t.number, t.style, r.sd_ms
                            );
                        }
                    }
                    if let Some(p) = s.peak(*role) {
                        let e = (p.t_s - want.peak_s) * 1e3;
                        if e.abs() > 4.0 {
                            eprintln!(
                                "seed {seed}: swing {} {:?} {role} peak off by {e:.1} ms (sd {:.2}), truth {:?} {:.1} before",
                                t.number, t.style, p.sd_ms, want.outcome, want.peak_before_ms
                            );
                        }
                    }
                    if let (Some(a), true) =
                        (s.segments.get(role).and_then(|x| x.turn_deg.as_ref()), *role != Role::LeadArm)
                        && (a.top - want.turn_deg.top).abs() > 4.0
                    {
                        eprintln!(
                            "seed {seed}: swing {} {:?} {role} turn top {:.1} want {:.1}",
                            t.number, t.style, a.top, want.turn_deg.top
                        );
                    }
                }
                for g in s.sequence.gaps.iter().filter(|g| !g.held) {
                    let at = |role| t.segments.get(role).filter(|s| s.outcome == Outcome::Peak);
                    let (Some(a), Some(b)) = (at(&g.from), at(&g.to)) else { continue };
                    let want = (b.peak_s - a.peak_s) * 1e3;
                    if (g.gap_ms - want).abs() > Z95 * g.sd_ms {
                        eprintln!(
                            "seed {seed}: swing {} {:?} gap {} to {} {:.1} (sd {:.2}), truth {want:.1}, within 2 % {:.0?} {:.0?}",
                            t.number,
                            t.style,
                            g.from,
                            g.to,
                            g.gap_ms,
                            g.sd_ms,
                            a.within_2pct_ms,
                            b.within_2pct_ms
                        );
                    }
                }
                if let (Some(got), Some(sd), Some(want)) = (
                    s.arm.as_ref().and_then(|a| a.across_chest_top_deg),
                    s.arm.as_ref().and_then(|a| a.across_chest_sd_deg),
                    t.arm_across_chest_top_deg,
                ) && (got - want).abs() > 8.0
                {
                    eprintln!(
                        "seed {seed}: swing {} {:?} arm across the chest {got:.1} want {want:.1} (sd {sd:.1})",
                        t.number, t.style
                    );
                }
                if t.strike != (s.kind == SwingKind::Strike) {
                    eprintln!(
                        "seed {seed}: swing {} {:?} strike {} taken for {:?}",
                        t.number, t.style, t.strike, s.kind
                    );
                }
            }
        }
    }
    for s in swings {
        if !truths.iter().any(|t| (s.events.impact.t_s - t.impact_s).abs() < 0.2) {
            eprintln!("seed {seed}: false swing at {:.2} s", s.events.impact.t_s);
        }
    }
}
