//! Errors, coverage and counts.

mod errors;
mod numbers;
mod report;
mod times;

pub(crate) use report::{BANDS, PREFACE, growth};

use crate::bone::Bone;
use errors::{Errors, Share};
use peakorder_protocol::swing::{Outcome, Swing, SwingKind};
use peakorder_virtual_straps::{SwingStyle, SwingTruth};
use std::collections::BTreeMap;

/// No peak is taken to tell more of the link's delay than this, ms.
const LEAST_SD_MS: f64 = 0.5;

/// What the times of a swing are relative to.
#[derive(Debug, Clone, Copy)]
struct Clock {
    /// All straps and the truth have one clock: no link, no delay.
    one: bool,
    /// By how much all straps are late, ms; `None` if nothing tells.
    common_ms: Option<f64>,
}

/// Comparison of measured with true.
#[derive(Debug, Default, Clone)]
pub(crate) struct Tally {
    errors: BTreeMap<(u8, String, &'static str), Errors>,
    found: BTreeMap<String, Share>,
    false_swings: usize,
    seconds: f64,
    gap_covered: Share,
    turn_covered: Share,
    resolved: Share,
    resolved_wrong: Share,
    rehearsals_told: Share,
    rising_told: Share,
    /// Tops said to be held to impact, of which the truth was within 2 % of its largest there.
    held_told: Share,
    /// Pairs of which only the order is told, because one of the two is held.
    held_pairs: usize,
    withheld: Share,
    bone: Bone,
    arm_told: BTreeMap<&'static str, Share>,
}

fn style(s: SwingStyle) -> String {
    format!("{s:?}").to_lowercase()
}

impl Tally {
    /// Adds another tally.
    pub(crate) fn merge(&mut self, other: Self) {
        for (k, e) in other.errors {
            self.errors.entry(k).or_default().add(e);
        }
        for (k, s) in other.found {
            self.found.entry(k).or_default().add(s);
        }
        self.false_swings += other.false_swings;
        self.seconds += other.seconds;
        self.gap_covered.add(other.gap_covered);
        self.turn_covered.add(other.turn_covered);
        self.resolved.add(other.resolved);
        self.resolved_wrong.add(other.resolved_wrong);
        self.rehearsals_told.add(other.rehearsals_told);
        self.rising_told.add(other.rising_told);
        self.held_told.add(other.held_told);
        self.held_pairs += other.held_pairs;
        self.withheld.add(other.withheld);
        self.bone.merge(other.bone);
        for (what, share) in other.arm_told {
            self.arm_told.entry(what).or_default().add(share);
        }
    }

    /// A number: measured minus true, and the standard uncertainty that is stated with it.
    fn error(&mut self, rank: u8, name: impl Into<String>, unit: &'static str, e: f64, sd: Option<f64>) {
        self.errors.entry((rank, name.into(), unit)).or_default().push(e, sd);
    }

    /// Compares one session's swings with its truth.
    pub(crate) fn compare(
        &mut self,
        truths: &[SwingTruth],
        swings: &[&Swing],
        seconds: f64,
        straps: usize,
        one_clock: bool,
    ) {
        self.seconds += seconds;
        let mut used = vec![false; swings.len()];
        let mut pairs = Vec::new();
        for truth in truths {
            let near = swings.iter().position(|s| (s.events.impact.t_s - truth.impact_s).abs() < 0.2);
            self.found.entry(style(truth.style)).or_default().push(near.is_some());
            if let Some(i) = near {
                used[i] = true;
                pairs.push((truth, swings[i]));
            }
        }
        for (truth, swing) in pairs {
            let common_ms = if one_clock { Some(0.0) } else { common_ms(truth, swing) };
            self.swing(truth, swing, straps, Clock { one: one_clock, common_ms });
        }
        self.false_swings += used.iter().filter(|u| !**u).count();
    }

    fn swing(&mut self, truth: &SwingTruth, swing: &Swing, straps: usize, clock: Clock) {
        if straps == 3 {
            self.rehearsals_told.push(truth.strike == (swing.kind == SwingKind::Strike));
        }
        self.withheld.push(!swing.quality.withheld.is_empty());
        for (role, t) in &truth.segments {
            let Some(segment) = swing.segments.get(role) else { continue };
            self.segment(*role, segment, t, truth.strike, clock);
        }
        self.events(truth, swing, clock);
        self.sequence(truth, swing);
        self.separation(truth, swing);
        self.arm(truth, swing);
        self.hip_shift(truth, swing);
        self.bone.swing(truth, swing);
    }
}

/// By how much the link delays all straps alike, ms: only differences mean anything. What the peaks say of it, each as much as
/// it is known.
fn common_ms(truth: &SwingTruth, swing: &Swing) -> Option<f64> {
    let late = truth.segments.iter().filter_map(|(role, t)| {
        let peak = swing.peak(*role).filter(|_| t.outcome == Outcome::Peak)?;
        let weight = 1.0 / (peak.sd_ms * peak.sd_ms + LEAST_SD_MS * LEAST_SD_MS);
        Some((weight, weight * (peak.t_s - t.peak_s) * 1e3))
    });
    let (weight, sum) = late.fold((0.0, 0.0), |a, (w, v)| (a.0 + w, a.1 + v));
    (weight > 0.0).then(|| sum / weight)
}
