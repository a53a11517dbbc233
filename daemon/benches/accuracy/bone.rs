//! Whether the bands that are stated of the bone hold the bone, beside those of the strap.

use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{AngleSet, Outcome, Swing};
use peakorder_virtual_straps::SwingTruth;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Bands of one kind of number.
#[derive(Debug, Default, Clone, Copy)]
struct Bands {
    all: usize,
    strap_held: usize,
    bone_held: usize,
    strap_sd: f64,
    bone_sd: f64,
}

/// All kinds of numbers that have a band of the bone.
#[derive(Debug, Default, Clone)]
pub(crate) struct Bone {
    kinds: BTreeMap<(u8, String, &'static str), Bands>,
    /// What was withheld, and in how many swings.
    withheld: BTreeMap<String, usize>,
}

/// Both standard uncertainties of a number.
type Sds = (Option<f64>, Option<f64>);

impl Bone {
    pub(crate) fn merge(&mut self, other: Self) {
        for (what, swings) in other.withheld {
            *self.withheld.entry(what).or_default() += swings;
        }
        for (kind, o) in other.kinds {
            let b = self.kinds.entry(kind).or_default();
            b.all += o.all;
            b.strap_held += o.strap_held;
            b.bone_held += o.bone_held;
            b.strap_sd += o.strap_sd;
            b.bone_sd += o.bone_sd;
        }
    }

    /// A number: measured minus true.
    fn push(&mut self, rank: u8, name: impl Into<String>, unit: &'static str, error: f64, sds: Sds) {
        let (Some(strap), Some(bone)) = sds else { return };
        let bands = self.kinds.entry((rank, name.into(), unit)).or_default();
        bands.all += 1;
        bands.strap_held += usize::from(error.abs() <= Z95 * strap);
        bands.bone_held += usize::from(error.abs() <= Z95 * bone);
        bands.strap_sd += strap;
        bands.bone_sd += bone;
    }

    /// Sets one swing against its truth, which is the bone's.
    pub(crate) fn swing(&mut self, truth: &SwingTruth, swing: &Swing) {
        for withheld in &swing.quality.withheld {
            *self.withheld.entry(withheld.what.key()).or_default() += 1;
        }
        for (role, want) in &truth.segments {
            let Some(got) = swing.segments.get(role) else { continue };
            if let (Some(peak), Outcome::Peak) = (swing.peak(*role), want.outcome) {
                let sds = (peak.speed_sd_dps, peak.speed_bone_sd_dps);
                self.push(1, format!("{role} peak speed"), "deg/s", peak.speed_dps - want.peak_dps, sds);
                if let (Some(kept), true) = (got.speed_kept_at_impact, truth.strike) {
                    let percent = |sd: Option<f64>| sd.map(|sd| 100.0 * sd);
                    let e = 100.0 * (kept - want.speed_at_impact_dps / want.peak_dps);
                    let sds = (percent(got.speed_kept_sd), percent(got.speed_kept_bone_sd));
                    self.push(2, format!("{role} speed kept at impact"), "%", e, sds);
                }
            }
            if let Some(at_impact) = got.speed_at_impact_dps.filter(|_| truth.strike) {
                let sds = (got.speed_at_impact_sd_dps, got.speed_at_impact_bone_sd_dps);
                let e = at_impact - want.speed_at_impact_dps;
                self.push(2, format!("{role} speed at impact"), "deg/s", e, sds);
            }
            // The arm's own turn, tilt and flexion are not printed.
            if *role == Role::LeadArm {
                continue;
            }
            for (rank, what, set, want) in [
                (4, "turn", got.turn_deg, &want.turn_deg),
                (5, "lateral tilt", got.lateral_tilt_deg, &want.lateral_tilt_deg),
                (5, "flexion", got.flexion_deg, &want.flexion_deg),
            ] {
                let Some(set) = set else { continue };
                let want = [want.top, want.max_away, want.address, want.impact];
                self.angles(rank, &format!("{role} {what}"), &set, want, truth.strike);
            }
        }
        let (gaps, reversals) = (&swing.sequence.gaps, &swing.sequence.reversal_gaps);
        for (gap, of_peaks) in gaps.iter().map(|g| (g, true)).chain(reversals.iter().map(|g| (g, false))) {
            let [Some(from), Some(to)] = [gap.from, gap.to].map(|role| truth.segments.get(&role)) else {
                continue;
            };
            // A pair with a top that is held to impact tells an order and no ms.
            if of_peaks && (gap.held || [from, to].iter().any(|t| t.outcome != Outcome::Peak)) {
                continue;
            }
            let (what, want) = if of_peaks {
                ("peaks", to.peak_s - from.peak_s)
            } else {
                ("reversals", to.reversal_s - from.reversal_s)
            };
            let sds = (Some(gap.sd_ms), gap.bone_sd_ms);
            self.push(
                3,
                format!("gap {} to {}, {what}", gap.from, gap.to),
                "ms",
                gap.gap_ms - 1e3 * want,
                sds,
            );
        }
        if let (Some(got), Some(want)) = (&swing.separation, &truth.separation) {
            let mut separation =
                |what, e: f64, sds| self.push(6, format!("separation {what}"), "deg", e, sds);
            separation("at top", got.top_deg - want.top_deg, (Some(got.sd_deg), got.bone_sd_deg));
            separation("at its largest", got.max_deg - want.max_deg, (got.max_sd_deg, got.max_bone_sd_deg));
            let sds = (got.stretch_sd_deg, got.stretch_bone_sd_deg);
            separation("stretch", got.stretch_deg - want.stretch_deg, sds);
        }
        if truth.strike {
            let (back, down) = (truth.top_s - truth.onset_s, truth.impact_s - truth.top_s);
            let (got, ms) = (&swing.tempo, |sd: Option<f64>| sd.map(|s| 1e3 * s));
            let sds = (ms(got.backswing_sd_s), ms(got.backswing_bone_sd_s));
            self.push(8, "backswing", "ms", 1e3 * (got.backswing_s - back), sds);
            let sds = (ms(got.downswing_sd_s), ms(got.downswing_bone_sd_s));
            self.push(8, "downswing", "ms", 1e3 * (got.downswing_s - down), sds);
            let sds = (got.ratio_sd, got.ratio_bone_sd);
            self.push(8, "backswing over downswing", "ratio", got.ratio - back / down, sds);
        }
        self.arm(truth, swing);
    }

    /// `truth` at the top, at the extreme, at address and at impact.
    fn angles(&mut self, rank: u8, name: &str, got: &AngleSet, truth: [f64; 4], strike: bool) {
        let [top, max_away, address, impact] = truth;
        let mut at = |at: &str, e: f64, sds: Sds| self.push(rank, format!("{name} {at}"), "deg", e, sds);
        at("at top", got.top - top, (Some(got.sd), got.bone_sd));
        at("at max away", got.max_away - max_away, (got.max_away_sd, got.max_away_bone_sd));
        at("at address", got.address - address, (got.address_sd, got.address_bone_sd));
        if strike {
            at("at impact", got.impact - impact, (got.impact_sd, got.impact_bone_sd));
            // Of a turn it is the same as at impact.
            if got.address_sd.is_some() {
                let e = (got.impact - got.address) - (impact - address);
                at("from address to impact", e, (got.address_to_impact_sd, got.address_to_impact_bone_sd));
            }
        }
    }

    fn arm(&mut self, truth: &SwingTruth, swing: &Swing) {
        let mut told = |name: &str, unit: &'static str, got: Option<f64>, want: Option<f64>, sds: Sds| {
            let (Some(got), Some(want)) = (got, want) else { return };
            let e = got - want;
            let e = if unit == "deg" { e - 360.0 * (e / 360.0).round() } else { e };
            self.push(7, name, unit, e, sds);
        };
        if let Some(arm) = &swing.arm {
            let got = Some(arm.elevation_gravity_top_deg);
            let sds = (Some(arm.elevation_gravity_sd_deg), arm.elevation_gravity_bone_sd_deg);
            told("arm raised against gravity", "deg", got, truth.arm_elevation_gravity_top_deg, sds);
            let sds = (arm.elevation_sd_deg, arm.elevation_bone_sd_deg);
            told(
                "arm raised against the thorax",
                "deg",
                arm.elevation_top_deg,
                truth.arm_elevation_top_deg,
                sds,
            );
            let sds = (arm.across_chest_sd_deg, arm.across_chest_bone_sd_deg);
            let want = truth.arm_across_chest_top_deg;
            told("arm across the chest", "deg", arm.across_chest_top_deg, want, sds);
        }
        let (Some(got), Some(want)) = (&swing.backswing, &truth.backswing) else { return };
        let percent = |share: Option<f64>| share.map(|share| 100.0 * share);
        let sds = (percent(got.turn_share_sd), percent(got.turn_share_bone_sd));
        told("backswing by turn", "%", percent(got.turn_share), Some(100.0 * want.turn_share), sds);
        let sds = (percent(got.hips_share_sd), percent(got.hips_share_bone_sd));
        told("backswing by hips", "%", percent(got.hips_share), percent(want.hips_share), sds);
        let sds = (got.arm_moved_sd_deg, got.arm_moved_bone_sd_deg);
        told("arm moved in the shoulder", "deg", got.arm_moved_deg, Some(want.arm_moved_deg), sds);
        let sds = (got.arm_raised_sd_deg, got.arm_raised_bone_sd_deg);
        told("arm raised in the shoulder", "deg", got.arm_raised_deg, Some(want.arm_raised_deg), sds);
        let sds = (got.arm_across_sd_deg, got.arm_across_bone_sd_deg);
        told("arm drawn across the chest", "deg", got.arm_across_deg, Some(want.arm_across_deg), sds);
        let sds = (percent(got.chest_per_arm_sd), percent(got.chest_per_arm_bone_sd));
        let want = Some(100.0 * want.chest_per_arm);
        told("100 × chest per arm", "", percent(got.chest_per_arm), want, sds);
    }

    fn share(&self, of: fn(&Bands) -> usize) -> String {
        let (all, held) = self.kinds.values().fold((0, 0), |sum, b| (sum.0 + b.all, sum.1 + of(b)));
        format!("{:.2} % ({held} of {all})", 100.0 * held as f64 / all.max(1) as f64)
    }

    /// How many of all bands of the bone hold the bone.
    pub(crate) fn held(&self) -> String {
        self.share(|b| b.bone_held)
    }

    /// The same with the strap's beside it, and what has no band because it was withheld.
    pub(crate) fn line(&self) -> String {
        let withheld: Vec<String> =
            self.withheld.iter().map(|(what, swings)| format!("{what} in {swings}")).collect();
        let withheld = if withheld.is_empty() { "nothing".into() } else { withheld.join("; ") };
        format!(
            "- bands of the bone hold the bone: {}; the strap's would: {}\n- withheld: {withheld}\n",
            self.held(),
            self.share(|b| b.strap_held)
        )
    }

    /// A row for each kind of number.
    pub(crate) fn table(&self) -> String {
        let mut s = String::from(
            "\n| of the bone | n | mean SD stated, strap | bone | strap's 95 % bands hold the bone | the bone's |\n\
             |---|---|---|---|---|---|\n",
        );
        for ((_, name, unit), b) in &self.kinds {
            let share = |x: f64| x / b.all as f64;
            let [strap, bone] = [b.strap_held, b.bone_held].map(|held| 100.0 * share(held as f64));
            let (strap_sd, bone_sd) = (share(b.strap_sd), share(b.bone_sd));
            let _ = writeln!(
                s,
                "| {name}, {unit} | {} | {strap_sd:.2} | {bone_sd:.2} | {strap:.1} % | {bone:.1} % |",
                b.all
            );
        }
        s
    }
}
