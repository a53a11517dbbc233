//! Peaks, events and sequence of one swing.

use super::{Clock, Tally};
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::{Outcome, Peak, Segment, Swing};
use peakorder_virtual_straps::{SegmentTruth, SwingTruth};

/// A top counts as within 2 % of its largest at impact, ms (truth looks every 2 ms).
const AT_IMPACT_MS: f64 = 2.0;

impl Tally {
    pub(super) fn segment(
        &mut self,
        role: Role,
        segment: &Segment,
        truth: &SegmentTruth,
        strike: bool,
        clock: Clock,
    ) {
        let peaked = truth.outcome == Outcome::Peak;
        match segment.peak.map(|p| p.outcome) {
            // Of a rehearsal nobody knows when impact would have been.
            _ if !strike => {}
            Some(Outcome::Held) => {
                let reaches = truth.peak_before_ms - truth.within_2pct_ms[1] <= AT_IMPACT_MS;
                self.held_told.push(reaches);
            }
            got => self.rising_told.push((got == Some(Outcome::Rising)) != peaked),
        }
        if let Some(p) = segment.peak.filter(|p| p.outcome == Outcome::Peak && peaked) {
            self.peak(role, &p, truth, clock);
        }
        if let Some(got) = segment.speed_at_impact_dps.filter(|_| strike) {
            let e = got - truth.speed_at_impact_dps;
            self.error(4, format!("{role} speed at impact"), "deg/s", e, segment.speed_at_impact_sd_dps);
        }
        if let (Some(kept), true, true) = (segment.speed_kept_at_impact, peaked, strike) {
            let e = 100.0 * (kept - truth.speed_at_impact_dps / truth.peak_dps);
            let sd = segment.speed_kept_sd.map(|sd| 100.0 * sd);
            self.error(4, format!("{role} speed kept at impact"), "%", e, sd);
        }
        if let (Some(r), Some(common_ms)) = (segment.reversal, clock.common_ms) {
            let e = (r.t_s - truth.reversal_s) * 1e3 - common_ms;
            self.error(5, format!("{role} reversal, relative to the peaks"), "ms", e, Some(r.sd_ms));
        }
        // The arm's own turn, tilt and flexion are not printed: near the horizontal they are ill-conditioned.
        if role != Role::LeadArm {
            self.angles(role, segment, truth, strike);
        }
    }

    fn peak(&mut self, role: Role, peak: &Peak, truth: &SegmentTruth, clock: Clock) {
        let late = (peak.t_s - truth.peak_s) * 1e3;
        let e = peak.speed_dps - truth.peak_dps;
        self.error(3, format!("{role} peak speed"), "deg/s", e, peak.speed_sd_dps);
        // The band of a peak holds no clock, so it is tried where there is none between.
        if clock.one {
            let [before, after] = peak.band_ms.unwrap_or([Z95 * peak.sd_ms; 2]);
            let held = (-after..=before).contains(&late);
            let name = format!("{role} peak time, on one clock");
            self.errors.entry((0, name, "ms")).or_default().push_band(late, peak.sd_ms, held);
            return;
        }
        let name = format!("{role} peak time (with the session clock's common offset)");
        self.error(1, name, "ms", late, None);
        if let Some(common_ms) = clock.common_ms {
            let name = format!("{role} peak time, relative to what all peaks say");
            self.error(0, name, "ms", late - common_ms, None);
        }
    }

    pub(super) fn events(&mut self, truth: &SwingTruth, swing: &Swing, clock: Clock) {
        let mut time = |rank, name: &str, got_s: f64, want_s: f64, sd_ms: f64| {
            let Some(common_ms) = clock.common_ms else { return };
            let e = (got_s - want_s) * 1e3 - common_ms;
            self.error(rank, format!("{name}, relative to the peaks"), "ms", e, Some(sd_ms));
        };
        let events = swing.events;
        let takeaway = "takeaway (truth: thorax at 5 % of its fastest turn away)";
        time(20, takeaway, events.takeaway.t_s, truth.onset_s, events.takeaway.sd_ms);
        time(21, "top", events.top.t_s, truth.top_s, events.top.sd_ms);
        if truth.strike {
            time(22, "impact", events.impact.t_s, truth.impact_s, events.impact.sd_ms);
        }
        let finish = "finish (truth: all slower than 35 deg/s)";
        time(23, finish, events.finish.t_s, truth.slow_s, events.finish.sd_ms);
        if truth.strike {
            let (back, down) = (truth.top_s - truth.onset_s, truth.impact_s - truth.top_s);
            let tempo = &swing.tempo;
            let ms = |s: f64| s * 1e3;
            self.error(24, "backswing", "ms", ms(tempo.backswing_s - back), tempo.backswing_sd_s.map(ms));
            self.error(24, "downswing", "ms", ms(tempo.downswing_s - down), tempo.downswing_sd_s.map(ms));
            self.error(24, "backswing over downswing", "ratio", tempo.ratio - back / down, tempo.ratio_sd);
        }
    }

    pub(super) fn sequence(&mut self, truth: &SwingTruth, swing: &Swing) {
        let of = |from: Role, to: Role| Some((truth.segments.get(&from)?, truth.segments.get(&to)?));
        for gap in &swing.sequence.gaps {
            let Some((a, b)) = of(gap.from, gap.to) else { continue };
            let want = (b.peak_s - a.peak_s) * 1e3;
            if gap.held {
                // A gap of a held top lies anywhere in its band: it tells an order and no ms.
                self.held_pairs += 1;
            } else if a.outcome == Outcome::Peak && b.outcome == Outcome::Peak {
                let e = gap.gap_ms - want;
                let name = format!("gap {} to {}, peaks", gap.from, gap.to);
                self.error(2, name, "ms", e, Some(gap.sd_ms));
                self.gap_covered.push(e.abs() <= Z95 * gap.sd_ms);
            } else {
                continue;
            }
            self.resolved.push(gap.resolved);
            self.resolved_wrong.push(gap.resolved && gap.gap_ms * want < 0.0);
        }
        for gap in &swing.sequence.reversal_gaps {
            let Some((a, b)) = of(gap.from, gap.to) else { continue };
            let e = gap.gap_ms - (b.reversal_s - a.reversal_s) * 1e3;
            let name = format!("gap {} to {}, reversals", gap.from, gap.to);
            self.error(6, name, "ms", e, Some(gap.sd_ms));
        }
    }
}
