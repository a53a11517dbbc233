//! Errors, coverage and counts.

use peakorder_protocol::Role;
use peakorder_protocol::swing::{Outcome, Swing, SwingKind};
use peakorder_virtual_straps::{SwingStyle, SwingTruth};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Head of the report.
pub(crate) const PREFACE: &str = "\
# Accuracy against simulated truth

Written by `cargo bench -p peakorder-daemon --bench accuracy`. Every figure is measured against
the exact truth of virtual players whose peak speeds, times and their spread follow published
means and SDs (Cheetham et al. 2008, second-hand), through the whole chain: straps worn askew,
sensor noise, bias, scale error, counts, crystals, a Bluetooth-like link, guided calibration.

## What simulated truth cannot show

- Skin and clothes moving over bone other than by the two models below (ringing, sliding).
- Impact shock in the gyroscope other than the one modelled; straps that slip during a swing.
- How far a strap's segment is the segment an optical laboratory would define. Published:
  11 to 19 deg from segment definition alone in whole-body inertial measurement (Kamstra, Wilmes,
  van der Helm 2022, Sensors 22:9765), which come on top of the errors here.
- Whether real players move as the virtual ones do. No open recording of pelvis and thorax in
  a golf swing with inertial sensors and truth is known; what there is of real data is below
  (bodies that do not swing) and in `tests/tests/broad.rs` (orientation against optical truth).
- Sensors other than the modelled consumer MEMS: temperature steps, vibration rectification.

Errors are measured minus true. Bands are the stated 95 % bands (1.96 standard uncertainties).

";

/// How errors grow with the size of the soft-tissue artefact.
pub(crate) fn growth(sizes: &[(f64, Tally)]) -> String {
    let mut s = String::from(
        "## Sliding skin: how errors grow\n\n\
         Skin stays behind the turning bone by 4.5 deg times the size at a full turn (pelvis 45, thorax 90, arm \
         110 deg), with a lag of 80 ms, about an axis up to 30 deg from the long axis. The size is own judgement \
         within published whole-body soft-tissue errors of 3.8 to 9.1 deg RMS (Kamstra, Wilmes, van der Helm 2022, \
         Sensors 22:9765); no figure for a golfer's trunk is known. The same players in each row.\n\n\
         | size | thorax turn at top, RMS deg | thorax turn at impact, RMS deg | pelvis turn at impact, RMS deg \
         | thorax peak speed, bias deg/s | gap pelvis to thorax, bias and SD ms | gap thorax to arm, bias and SD ms \
         | gap bands hold | turn bands hold | wrong way round |\n\
         |---|---|---|---|---|---|---|---|---|---|\n",
    );
    for (size, tally) in sizes {
        let of = |name: &str| {
            tally.errors.iter().find(|((_, n, _), _)| n == name).map(|(_, e)| e.clone()).unwrap_or_default()
        };
        let gap = |name: &str| format!("{:+.2}, {:.2}", of(name).mean(), of(name).sd());
        let _ = writeln!(
            s,
            "| {size} | {:.2} | {:.2} | {:.2} | {:+.1} | {} | {} | {} | {} | {} |",
            of("thorax turn at top").rms(),
            of("thorax turn at impact").rms(),
            of("pelvis turn at impact").rms(),
            of("thorax peak speed").mean(),
            gap("gap pelvis to thorax"),
            gap("gap thorax to lead arm"),
            tally.gap_covered.text(),
            tally.turn_covered.text(),
            tally.resolved_wrong.text(),
        );
    }
    s.push('\n');
    s
}

/// Everything of one kind of number.
#[derive(Debug, Default, Clone)]
pub(crate) struct Errors(Vec<f64>);

impl Errors {
    fn push(&mut self, e: f64) {
        self.0.push(e);
    }
    fn mean(&self) -> f64 {
        self.0.iter().sum::<f64>() / self.0.len() as f64
    }
    fn sd(&self) -> f64 {
        let m = self.mean();
        (self.0.iter().map(|e| (e - m).powi(2)).sum::<f64>() / self.0.len() as f64).sqrt()
    }
    fn rms(&self) -> f64 {
        (self.0.iter().map(|e| e * e).sum::<f64>() / self.0.len() as f64).sqrt()
    }
    fn p95(&self) -> f64 {
        let mut a: Vec<f64> = self.0.iter().map(|e| e.abs()).collect();
        a.sort_by(f64::total_cmp);
        a.get((a.len() * 95 / 100).min(a.len().saturating_sub(1))).copied().unwrap_or(f64::NAN)
    }
    fn row(&self, name: &str, unit: &str) -> String {
        if self.0.is_empty() {
            return String::new();
        }
        format!(
            "| {name}, {unit} | {} | {:+.2} | {:.2} | {:.2} | {:.2} |\n",
            self.0.len(),
            self.mean(),
            self.sd(),
            self.rms(),
            self.p95()
        )
    }
}

/// Counts of a yes/no.
#[derive(Debug, Default, Clone, Copy)]
struct Share {
    yes: usize,
    all: usize,
}

impl Share {
    fn push(&mut self, yes: bool) {
        self.all += 1;
        self.yes += usize::from(yes);
    }
    fn add(&mut self, o: Self) {
        self.all += o.all;
        self.yes += o.yes;
    }
    fn text(self) -> String {
        if self.all == 0 {
            return "–".into();
        }
        format!("{:.2} % ({} of {})", 100.0 * self.yes as f64 / self.all as f64, self.yes, self.all)
    }
}

/// Comparison of measured with true.
#[derive(Debug, Default, Clone)]
pub(crate) struct Tally {
    errors: BTreeMap<(u8, String, &'static str), Errors>,
    found: BTreeMap<String, Share>,
    false_swings: usize,
    seconds: f64,
    gap_covered: Share,
    pair_covered: BTreeMap<String, Share>,
    impact_covered: Share,
    turn_covered: Share,
    resolved: Share,
    resolved_wrong: Share,
    rehearsals_told: Share,
    rising_told: Share,
    withheld: Share,
    arm_told: BTreeMap<&'static str, Share>,
    arm_covered: BTreeMap<&'static str, Share>,
}

fn style(s: SwingStyle) -> String {
    format!("{s:?}").to_lowercase()
}

impl Tally {
    /// Adds another tally.
    pub(crate) fn merge(&mut self, other: Self) {
        for (k, e) in other.errors {
            self.errors.entry(k).or_default().0.extend(e.0);
        }
        for (k, s) in other.found {
            self.found.entry(k).or_default().add(s);
        }
        self.false_swings += other.false_swings;
        self.seconds += other.seconds;
        self.gap_covered.add(other.gap_covered);
        for (pair, share) in other.pair_covered {
            self.pair_covered.entry(pair).or_default().add(share);
        }
        self.impact_covered.add(other.impact_covered);
        self.turn_covered.add(other.turn_covered);
        self.resolved.add(other.resolved);
        self.resolved_wrong.add(other.resolved_wrong);
        self.rehearsals_told.add(other.rehearsals_told);
        self.rising_told.add(other.rising_told);
        self.withheld.add(other.withheld);
        for (mine, theirs) in
            [(&mut self.arm_told, other.arm_told), (&mut self.arm_covered, other.arm_covered)]
        {
            for (what, share) in theirs {
                mine.entry(what).or_default().add(share);
            }
        }
    }

    fn error(&mut self, rank: u8, name: impl Into<String>, unit: &'static str, e: f64) {
        self.errors.entry((rank, name.into(), unit)).or_default().push(e);
    }

    /// Compares one session's swings with its truth.
    pub(crate) fn compare(&mut self, truths: &[SwingTruth], swings: &[&Swing], seconds: f64, straps: usize) {
        self.seconds += seconds;
        let mut used = vec![false; swings.len()];
        for truth in truths {
            let near = swings.iter().position(|s| (s.events.impact.t_s - truth.impact_s).abs() < 0.2);
            self.found.entry(style(truth.style)).or_default().push(near.is_some());
            if let Some(i) = near {
                used[i] = true;
                self.swing(truth, swings[i], straps);
            }
        }
        self.false_swings += used.iter().filter(|u| !**u).count();
    }

    fn swing(&mut self, truth: &SwingTruth, swing: &Swing, straps: usize) {
        if straps == 3 {
            self.rehearsals_told.push(truth.strike == (swing.kind == SwingKind::Strike));
        }
        self.error(
            20,
            "takeaway (truth: first faster than 5 deg/s)",
            "ms",
            (swing.events.takeaway.t_s - truth.moving_s) * 1e3,
        );
        self.error(21, "top", "ms", (swing.events.top.t_s - truth.top_s) * 1e3);
        self.withheld.push(!swing.quality.withheld.is_empty());
        let mut clock_free = BTreeMap::new();
        for (role, t) in &truth.segments {
            let Some(segment) = swing.segments.get(role) else { continue };
            if truth.strike {
                self.rising_told.push(
                    segment.peak.is_some_and(|p| p.outcome == Outcome::RisingAtImpact)
                        == (t.outcome == Outcome::RisingAtImpact),
                );
            }
            if let (Some(p), Outcome::Peak) = (swing.peak(*role), t.outcome) {
                let e = (p.t_s - t.peak_s) * 1e3;
                clock_free.insert(*role, e);
                self.error(1, format!("{role} peak time (with the session clock's common offset)"), "ms", e);
                self.error(3, format!("{role} peak speed"), "deg/s", p.speed_dps - t.peak_dps);
            }
            if let Some(r) = &segment.reversal {
                self.error(5, format!("{role} reversal"), "ms", (r.t_s - t.reversal_s) * 1e3);
            }
            if *role != Role::LeadArm
                && let Some(a) = &segment.turn_deg
            {
                for (what, got, want, sd) in [
                    ("top", a.top, t.turn_deg.top, a.sd),
                    ("impact", a.impact, t.turn_deg.impact, a.impact_sd),
                    ("max away", a.max_away, t.turn_deg.max_away, a.sd),
                ] {
                    // A rehearsal has no impact.
                    if what == "impact" && !truth.strike {
                        continue;
                    }
                    self.error(6, format!("{role} turn at {what}"), "deg", got - want);
                    self.turn_covered.push((got - want).abs() <= 1.96 * sd);
                }
            }
            for (what, got, want) in [
                ("lateral tilt", &segment.lateral_tilt_deg, &t.lateral_tilt_deg),
                ("flexion", &segment.flexion_deg, &t.flexion_deg),
            ] {
                if let (Some(got), true) = (got, *role != Role::LeadArm) {
                    self.error(7, format!("{role} {what} at address"), "deg", got.address - want.address);
                    self.error(8, format!("{role} {what} at top"), "deg", got.top - want.top);
                    self.error(8, format!("{role} {what} at impact"), "deg", got.impact - want.impact);
                }
            }
        }
        if truth.strike && !clock_free.is_empty() {
            let common = clock_free.values().sum::<f64>() / clock_free.len() as f64;
            let e = (swing.events.impact.t_s - truth.impact_s) * 1e3 - common;
            self.error(22, "impact, relative to the peaks", "ms", e);
            self.impact_covered.push(e.abs() <= 1.96 * swing.events.impact.sd_ms);
        }
        // Links delay all straps alike by some milliseconds; only differences mean anything.
        if clock_free.len() > 1 {
            let common = clock_free.values().sum::<f64>() / clock_free.len() as f64;
            for (role, e) in &clock_free {
                self.error(0, format!("{role} peak time, relative to the other straps"), "ms", e - common);
            }
        }
        for gap in &swing.sequence.gaps {
            let (Some(a), Some(b)) = (truth.segments.get(&gap.from), truth.segments.get(&gap.to)) else {
                continue;
            };
            if a.outcome != Outcome::Peak || b.outcome != Outcome::Peak {
                continue;
            }
            let want = (b.peak_s - a.peak_s) * 1e3;
            let e = gap.gap_ms - want;
            self.error(2, format!("gap {} to {}", gap.from, gap.to), "ms", e);
            let held = e.abs() <= 1.96 * gap.sd_ms;
            self.gap_covered.push(held);
            self.pair_covered.entry(format!("{} to {}", gap.from, gap.to)).or_default().push(held);
            self.resolved.push(gap.resolved);
            self.resolved_wrong.push(gap.resolved && gap.gap_ms * want < 0.0);
        }
        if let (Some(got), Some(want)) = (&swing.separation, &truth.separation) {
            self.error(9, "separation at top", "deg", got.top_deg - want.top_deg);
            self.error(9, "separation stretch", "deg", got.stretch_deg - want.stretch_deg);
        }
        self.arm(truth, swing);
    }

    fn arm(&mut self, truth: &SwingTruth, swing: &Swing) {
        let Some(arm) = &swing.arm else { return };
        for (what, unit, scale, got, sd, want) in [
            (
                "arm raised against gravity at top",
                "deg",
                1.0,
                Some(arm.elevation_gravity_top_deg),
                Some(arm.elevation_gravity_sd_deg),
                truth.arm_elevation_gravity_top_deg,
            ),
            (
                "arm raised against the thorax at top",
                "deg",
                1.0,
                arm.elevation_top_deg,
                arm.elevation_sd_deg,
                truth.arm_elevation_top_deg,
            ),
            (
                "arm across the chest at top",
                "deg",
                1.0,
                arm.across_chest_top_deg,
                arm.across_chest_sd_deg,
                truth.arm_across_chest_top_deg,
            ),
            (
                "share of the arm's travel by the turn",
                "%",
                100.0,
                arm.turn_share_of_travel,
                arm.turn_share_sd,
                truth.arm_turn_share,
            ),
        ] {
            let Some(want) = want else { continue };
            self.arm_told.entry(what).or_default().push(got.is_some());
            if let (Some(got), Some(sd)) = (got, sd) {
                let e = got - want;
                let e = if unit == "deg" { e - 360.0 * (e / 360.0).round() } else { e };
                self.error(10, what, unit, scale * e);
                self.arm_covered.entry(what).or_default().push(e.abs() <= 1.96 * sd);
            }
        }
    }

    /// The report of this tally.
    pub(crate) fn section(&self, name: &str, what: &str) -> String {
        let mut s = format!("## {name}\n\n{what}\n\n");
        let total: Share = self.found.values().fold(Share::default(), |mut a, b| {
            a.add(*b);
            a
        });
        let _ = writeln!(
            s,
            "- swings found: {}; false swings: {} in {:.1} h",
            total.text(),
            self.false_swings,
            self.seconds / 3600.0
        );
        for (style, share) in &self.found {
            let _ = writeln!(s, "  - {style}: {}", share.text());
        }
        if total.yes > 0 {
            let precision = total.yes as f64 / (total.yes + self.false_swings) as f64;
            let _ = writeln!(s, "- precision: {precision:.4}");
            let _ =
                writeln!(s, "- strike told from rehearsal (three straps): {}", self.rehearsals_told.text());
            let _ = writeln!(s, "- rising at impact told from a peak: {}", self.rising_told.text());
            let _ = writeln!(
                s,
                "- stated 95 % bands hold the truth: gaps {}; impact {}; turns {}",
                self.gap_covered.text(),
                self.impact_covered.text(),
                self.turn_covered.text()
            );
            for (pair, share) in &self.pair_covered {
                let _ = writeln!(s, "  - gap {pair}: {}", share.text());
            }
            let _ = writeln!(
                s,
                "- pairs called resolved: {}; resolved the wrong way round: {}",
                self.resolved.text(),
                self.resolved_wrong.text()
            );
            for (what, told) in &self.arm_told {
                let covered = self.arm_covered.get(what).copied().unwrap_or_default();
                let _ = writeln!(
                    s,
                    "- {what}: told in {}; bands hold the truth: {}",
                    told.text(),
                    covered.text()
                );
            }
            let _ = writeln!(s, "- swings with something withheld: {}\n", self.withheld.text());
            s.push_str(
                "| what | n | bias | SD | RMS | 95th percentile of the size |\n|---|---|---|---|---|---|\n",
            );
            for ((_, name, unit), errors) in &self.errors {
                s.push_str(&errors.row(name, unit));
            }
        }
        s.push('\n');
        s
    }
}

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
