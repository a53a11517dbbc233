//! Angles, arm and hips of one swing.

use super::Tally;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{Backswing, Segment, ShiftTowardsTarget, Swing};
use peakorder_virtual_straps::{SegmentTruth, SwingTruth};

impl Tally {
    /// Turn, lateral tilt and flexion of a trunk segment. A rehearsal has no impact.
    pub(super) fn angles(&mut self, role: Role, segment: &Segment, truth: &SegmentTruth, strike: bool) {
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

    pub(super) fn separation(&mut self, truth: &SwingTruth, swing: &Swing) {
        let (Some(got), Some(want)) = (&swing.separation, &truth.separation) else { return };
        let mut error = |what: &str, got: f64, want: f64, sd| {
            self.error(9, format!("separation {what}"), "deg", got - want, sd);
        };
        error("at top", got.top_deg, want.top_deg, Some(got.sd_deg));
        error("at its largest", got.max_deg, want.max_deg, got.max_sd_deg);
        error("stretch", got.stretch_deg, want.stretch_deg, got.stretch_sd_deg);
    }

    pub(super) fn arm(&mut self, truth: &SwingTruth, swing: &Swing) {
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

    pub(super) fn hip_shift(&mut self, truth: &SwingTruth, swing: &Swing) {
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
}
