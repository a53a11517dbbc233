//! Errors, coverage and counts.

use crate::bone::Bone;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{Backswing, Outcome, Segment, ShiftTowardsTarget, Swing, SwingKind};
use peakorder_virtual_straps::{SegmentTruth, SwingStyle, SwingTruth};
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
Swings of one player share the errors of one calibration, so that a scenario of ten players says
less about the bands of angles than its number of swings suggests.

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
         | gap bands hold | turn bands hold | bands of the bone hold | wrong way round |\n\
         |---|---|---|---|---|---|---|---|---|---|---|\n",
    );
    for (size, tally) in sizes {
        let of = |name: &str| {
            tally.errors.iter().find(|((_, n, _), _)| n == name).map(|(_, e)| e.clone()).unwrap_or_default()
        };
        let gap = |name: &str| format!("{:+.2}, {:.2}", of(name).mean(), of(name).sd());
        let _ = writeln!(
            s,
            "| {size} | {:.2} | {:.2} | {:.2} | {:+.1} | {} | {} | {} | {} | {} | {} |",
            of("thorax turn at top").rms(),
            of("thorax turn at impact").rms(),
            of("pelvis turn at impact").rms(),
            of("thorax peak speed").mean(),
            gap("gap pelvis to thorax, peaks"),
            gap("gap thorax to lead arm, peaks"),
            tally.gap_covered.text(),
            tally.turn_covered.text(),
            tally.bone.held(),
            tally.resolved_wrong.text(),
        );
    }
    s.push('\n');
    s
}

/// Everything of one kind of number.
#[derive(Debug, Default, Clone)]
pub(crate) struct Errors {
    /// Measured minus true.
    sizes: Vec<f64>,
    /// Stated standard uncertainties, and whether their 95 % bands hold the truth.
    stated: Vec<f64>,
    held: Share,
    /// Without a stated uncertainty.
    unstated: usize,
}

impl Errors {
    fn push(&mut self, e: f64, sd: Option<f64>) {
        self.sizes.push(e);
        match sd {
            Some(sd) => {
                self.stated.push(sd);
                self.held.push(e.abs() <= Z95 * sd);
            }
            None => self.unstated += 1,
        }
    }
    fn add(&mut self, other: Self) {
        self.sizes.extend(other.sizes);
        self.stated.extend(other.stated);
        self.held.add(other.held);
        self.unstated += other.unstated;
    }
    fn mean(&self) -> f64 {
        mean(&self.sizes)
    }
    fn sd(&self) -> f64 {
        let m = self.mean();
        (self.sizes.iter().map(|e| (e - m).powi(2)).sum::<f64>() / self.sizes.len() as f64).sqrt()
    }
    fn rms(&self) -> f64 {
        (self.sizes.iter().map(|e| e * e).sum::<f64>() / self.sizes.len() as f64).sqrt()
    }
    fn p95(&self) -> f64 {
        let mut a: Vec<f64> = self.sizes.iter().map(|e| e.abs()).collect();
        a.sort_by(f64::total_cmp);
        a.get((a.len() * 95 / 100).min(a.len().saturating_sub(1))).copied().unwrap_or(f64::NAN)
    }
    fn row(&self, name: &str, unit: &str) -> String {
        if self.sizes.is_empty() {
            return String::new();
        }
        let stated = match (self.stated.is_empty(), self.unstated) {
            (true, _) => "– | –".into(),
            (false, 0) => format!("{:.2} | {}", mean(&self.stated), self.held.text()),
            (false, n) => format!("{:.2} | {}; {n} without", mean(&self.stated), self.held.text()),
        };
        format!(
            "| {name}, {unit} | {} | {:+.2} | {:.2} | {:.2} | {:.2} | {stated} |\n",
            self.sizes.len(),
            self.mean(),
            self.sd(),
            self.rms(),
            self.p95()
        )
    }
}

fn mean(numbers: &[f64]) -> f64 {
    numbers.iter().sum::<f64>() / numbers.len() as f64
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
    fn share(self) -> f64 {
        self.yes as f64 / self.all as f64
    }
    fn text(self) -> String {
        if self.all == 0 {
            return "–".into();
        }
        format!("{:.2} % ({} of {})", 100.0 * self.share(), self.yes, self.all)
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
    turn_covered: Share,
    resolved: Share,
    resolved_wrong: Share,
    rehearsals_told: Share,
    rising_told: Share,
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
        self.withheld.push(!swing.quality.withheld.is_empty());
        // Links delay all straps alike by some milliseconds; only differences mean anything.
        let mut late = BTreeMap::new();
        for (role, t) in &truth.segments {
            if let (Some(p), Outcome::Peak) = (swing.peak(*role), t.outcome) {
                late.insert(*role, (p.t_s - t.peak_s) * 1e3);
            }
        }
        let common = (!late.is_empty()).then(|| late.values().sum::<f64>() / late.len() as f64);
        for (role, t) in &truth.segments {
            let Some(segment) = swing.segments.get(role) else { continue };
            if truth.strike {
                self.rising_told.push(
                    segment.peak.is_some_and(|p| p.outcome == Outcome::Rising)
                        == (t.outcome == Outcome::Rising),
                );
            }
            if let (Some(p), Some(e)) = (swing.peak(*role), late.get(role)) {
                self.error(
                    1,
                    format!("{role} peak time (with the session clock's common offset)"),
                    "ms",
                    *e,
                    None,
                );
                self.error(
                    3,
                    format!("{role} peak speed"),
                    "deg/s",
                    p.speed_dps - t.peak_dps,
                    p.speed_sd_dps,
                );
            }
            if let Some(got) = segment.speed_at_impact_dps.filter(|_| truth.strike) {
                let e = got - t.speed_at_impact_dps;
                self.error(4, format!("{role} speed at impact"), "deg/s", e, segment.speed_at_impact_sd_dps);
            }
            if let (Some(kept), Outcome::Peak, true) = (segment.speed_kept_at_impact, t.outcome, truth.strike)
            {
                let e = 100.0 * (kept - t.speed_at_impact_dps / t.peak_dps);
                let sd = segment.speed_kept_sd.map(|sd| 100.0 * sd);
                self.error(4, format!("{role} speed kept at impact"), "%", e, sd);
            }
            if let (Some(r), Some(common)) = (&segment.reversal, common) {
                let e = (r.t_s - t.reversal_s) * 1e3 - common;
                self.error(5, format!("{role} reversal, relative to the peaks"), "ms", e, Some(r.sd_ms));
            }
            // The arm's own turn, tilt and flexion are not printed: near the horizontal they are ill-conditioned.
            if *role == Role::LeadArm {
                continue;
            }
            self.angles(*role, segment, t, truth.strike);
        }
        if let Some(common) = common {
            let mut time = |rank, name: &str, got: f64, want: f64, sd_ms: f64| {
                self.error(
                    rank,
                    format!("{name}, relative to the peaks"),
                    "ms",
                    (got - want) * 1e3 - common,
                    Some(sd_ms),
                );
            };
            let events = swing.events;
            let takeaway = "takeaway (truth: thorax at 5 % of its fastest turn away)";
            time(20, takeaway, events.takeaway.t_s, truth.onset_s, events.takeaway.sd_ms);
            time(21, "top", events.top.t_s, truth.top_s, events.top.sd_ms);
            if truth.strike {
                time(22, "impact", events.impact.t_s, truth.impact_s, events.impact.sd_ms);
            }
            time(
                23,
                "finish (truth: all slower than 35 deg/s)",
                events.finish.t_s,
                truth.slow_s,
                events.finish.sd_ms,
            );
        }
        if truth.strike {
            let (back, down) = (truth.top_s - truth.onset_s, truth.impact_s - truth.top_s);
            let tempo = &swing.tempo;
            let ms = |s: f64| s * 1e3;
            self.error(24, "backswing", "ms", ms(tempo.backswing_s - back), tempo.backswing_sd_s.map(ms));
            self.error(24, "downswing", "ms", ms(tempo.downswing_s - down), tempo.downswing_sd_s.map(ms));
            self.error(24, "backswing over downswing", "ratio", tempo.ratio - back / down, tempo.ratio_sd);
        }
        if let Some(common) = common.filter(|_| late.len() > 1) {
            for (role, e) in &late {
                self.error(
                    0,
                    format!("{role} peak time, relative to the other straps"),
                    "ms",
                    e - common,
                    None,
                );
            }
        }
        let gaps = &swing.sequence.gaps;
        for (gap, what, of) in gaps
            .iter()
            .map(|g| (g, "peaks", true))
            .chain(swing.sequence.reversal_gaps.iter().map(|g| (g, "reversals", false)))
        {
            let (Some(a), Some(b)) = (truth.segments.get(&gap.from), truth.segments.get(&gap.to)) else {
                continue;
            };
            if of && (a.outcome != Outcome::Peak || b.outcome != Outcome::Peak) {
                continue;
            }
            let want = if of { b.peak_s - a.peak_s } else { b.reversal_s - a.reversal_s } * 1e3;
            let e = gap.gap_ms - want;
            let rank = if of { 2 } else { 6 };
            self.error(rank, format!("gap {} to {}, {what}", gap.from, gap.to), "ms", e, Some(gap.sd_ms));
            if of {
                self.gap_covered.push(e.abs() <= Z95 * gap.sd_ms);
                self.resolved.push(gap.resolved);
                self.resolved_wrong.push(gap.resolved && gap.gap_ms * want < 0.0);
            }
        }
        if let (Some(got), Some(want)) = (&swing.separation, &truth.separation) {
            let mut separation = |what: &str, got: f64, want: f64, sd| {
                self.error(9, format!("separation {what}"), "deg", got - want, sd);
            };
            separation("at top", got.top_deg, want.top_deg, Some(got.sd_deg));
            separation("at its largest", got.max_deg, want.max_deg, got.max_sd_deg);
            separation("stretch", got.stretch_deg, want.stretch_deg, got.stretch_sd_deg);
        }
        self.arm(truth, swing);
        self.hip_shift(truth, swing);
        self.bone.swing(truth, swing);
    }

    /// Turn, lateral tilt and flexion of a trunk segment. A rehearsal has no impact.
    fn angles(&mut self, role: Role, segment: &Segment, truth: &SegmentTruth, strike: bool) {
        for (rank, name, got, want) in [
            (7, "turn", segment.turn_deg, &truth.turn_deg),
            (8, "lateral tilt", segment.lateral_tilt_deg, &truth.lateral_tilt_deg),
            (8, "flexion", segment.flexion_deg, &truth.flexion_deg),
        ] {
            let Some(got) = got else { continue };
            let mut angle = |at: &str, e: f64, sd: Option<f64>| {
                self.error(rank, format!("{role} {name} {at}"), "deg", e, sd);
            };
            angle("at top", got.top - want.top, Some(got.sd));
            angle("at max away", got.max_away - want.max_away, got.max_away_sd);
            if strike {
                angle("at impact", got.impact - want.impact, got.impact_sd);
            }
            if name == "turn" {
                let held = |e: f64, sd: Option<f64>| sd.is_some_and(|sd| e.abs() <= Z95 * sd);
                self.turn_covered.push((got.top - want.top).abs() <= Z95 * got.sd);
                self.turn_covered.push(held(got.max_away - want.max_away, got.max_away_sd));
                if strike {
                    self.turn_covered.push(held(got.impact - want.impact, got.impact_sd));
                }
            } else {
                angle("at address", got.address - want.address, got.address_sd);
                if strike {
                    let e = (got.impact - got.address) - (want.impact - want.address);
                    angle("from address to impact", e, got.address_to_impact_sd);
                }
            }
        }
    }

    fn arm(&mut self, truth: &SwingTruth, swing: &Swing) {
        if let (Some(arm), Some(gravity)) = (&swing.arm, truth.arm_elevation_gravity_top_deg) {
            let sd = Some(arm.elevation_gravity_sd_deg);
            self.told(
                "arm raised against gravity at top",
                "deg",
                Some(arm.elevation_gravity_top_deg),
                sd,
                gravity,
            );
            let at_top = [
                (
                    "arm raised against the thorax at top",
                    arm.elevation_top_deg,
                    arm.elevation_sd_deg,
                    truth.arm_elevation_top_deg,
                ),
                (
                    "arm across the chest at top",
                    arm.across_chest_top_deg,
                    arm.across_chest_sd_deg,
                    truth.arm_across_chest_top_deg,
                ),
            ];
            for (what, got, sd, want) in at_top {
                if let Some(want) = want {
                    self.told(what, "deg", got, sd, want);
                }
            }
        }
        let Some(want) = &truth.backswing else { return };
        let none = Backswing::default();
        let got = swing.backswing.as_ref().unwrap_or(&none);
        let percent = |v: Option<f64>| v.map(|v| 100.0 * v);
        let share = |got, sd, want: f64| (percent(got), percent(sd), 100.0 * want);
        let hips = want
            .hips_share
            .map(|want| ("backswing by hips", "%", share(got.hips_share, got.hips_share_sd, want)));
        let rest = [
            ("backswing by turn", "%", share(got.turn_share, got.turn_share_sd, want.turn_share)),
            (
                "arm moved in the shoulder",
                "deg",
                (got.arm_moved_deg, got.arm_moved_sd_deg, want.arm_moved_deg),
            ),
            (
                "arm raised in the shoulder",
                "deg",
                (got.arm_raised_deg, got.arm_raised_sd_deg, want.arm_raised_deg),
            ),
            (
                "arm drawn across the chest",
                "deg",
                (got.arm_across_deg, got.arm_across_sd_deg, want.arm_across_deg),
            ),
            ("100 × chest per arm", "", share(got.chest_per_arm, got.chest_per_arm_sd, want.chest_per_arm)),
        ];
        for (what, unit, (got, sd, want)) in rest.into_iter().chain(hips) {
            self.told(what, unit, got, sd, want);
        }
    }

    /// A number that may be withheld.
    fn told(&mut self, what: &'static str, unit: &'static str, got: Option<f64>, sd: Option<f64>, want: f64) {
        self.arm_told.entry(what).or_default().push(got.is_some());
        if let Some(got) = got {
            let e = got - want;
            self.error(10, what, unit, if unit == "deg" { e - 360.0 * (e / 360.0).round() } else { e }, sd);
        }
    }

    fn hip_shift(&mut self, truth: &SwingTruth, swing: &Swing) {
        let Some(shift) = &swing.hip_shift else { return };
        let at = truth.hip_shift;
        let mut error = |what: &str, got: ShiftTowardsTarget, want: f64| {
            self.error(11, what, "cm", got.towards_target_cm - want, Some(got.sd_cm));
        };
        error("mid-hips shift at top", shift.top.mid_hips, at.mid_top_cm);
        error("trail hip shift at top", shift.top.trail_hip, at.trail_top_cm);
        if let Some(impact) = &shift.impact_for_block_means {
            error("mid-hips shift at impact", impact.mid_hips, at.mid_impact_cm);
            error("trail hip shift at impact", impact.trail_hip, at.trail_impact_cm);
        }
    }

    /// Which of the stated bands hold the truth in fewer than 93 % or in more than 97 %.
    pub(crate) fn bands(&self) -> String {
        let mut s = String::from(
            "## Bands that do not hold the truth in 93–97 %\n\n\
             Over all scenarios that count. Above 97 %: the arm hangs and the pose is taken up better in virtual \
             players than is stated for people (2.5 and 1.0 deg, own judgement), consumer gyroscopes are \
             stated a little worse than those modelled, and the band of a reversal holds both ends of a pause, which is \
             one clear instant in most swings and far apart in a few.\n\n\
             Takeaway is stated for people, whose turn begins more gradually than that of virtual players: on five real \
             swings, each with five sets of sensors, its bands hold 96 % (`tests/tests/golf/`).\n\n\
             In `tests/tests/published_values` three bounds are \
             wider than the published figures ask for: the reversal at a corner is within 6 ms, not 4; SDs of peak times at \
             2 deg/s of noise are up to 1.4 ms at 100 Hz and 0.93 at 200 for pelvis and thorax, not 0.9 and 0.8 (a 12 Hz \
             filter reaches those and shifts the peaks by up to 3.3 ms); and order and components are tried at 4 and 1 deg/s of \
             gyroscope noise, not 12 and 3.\n\n\
             | what | mean stated SD | SD of the error | bands hold the truth |\n|---|---|---|---|\n",
        );
        let off = |e: &&Errors| e.held.all > 0 && !(0.93..=0.97).contains(&e.held.share());
        for ((_, name, unit), e) in self.errors.iter().filter(|(_, e)| off(e)) {
            let stated = mean(&e.stated);
            let _ = writeln!(s, "| {name}, {unit} | {stated:.2} | {:.2} | {} |", e.sd(), e.held.text());
        }
        s.push('\n');
        s
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
                "- stated 95 % bands hold the truth: gaps of peaks {}; turns {}; each number below",
                self.gap_covered.text(),
                self.turn_covered.text()
            );
            let _ = writeln!(
                s,
                "- pairs called resolved: {}; resolved the wrong way round: {}",
                self.resolved.text(),
                self.resolved_wrong.text()
            );
            for (what, told) in &self.arm_told {
                let _ = writeln!(s, "- {what}: told in {}", told.text());
            }
            s.push_str(&self.bone.line());
            let _ = writeln!(s, "- swings with something withheld: {}\n", self.withheld.text());
            s.push_str(
                "| what | n | bias | SD | RMS | 95th percentile of the size | mean stated SD | 95 % bands hold the truth |\n\
                 |---|---|---|---|---|---|---|---|\n",
            );
            for ((_, name, unit), errors) in &self.errors {
                s.push_str(&errors.row(name, unit));
            }
            s.push_str(&self.bone.table());
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
