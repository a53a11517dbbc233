//! The axial angle of one strap through a performance, still position to still position.

use super::find::Still;
use super::{StrapTurn, mean};
use crate::angles::{Cardan, attitude_from_up, unwrap};
use crate::fuse::latched;

/// Scale error of consumer gyroscopes, share of the angle turned (own judgement: data sheets
/// give 0.5–1 %).
const SCALE: f64 = 0.007;
/// Share of an alignment error that shows in the turn. About the vertical it is none: a turn
/// about global Y adds to the axial angle whatever the strap's own tilt. A trunk turned about
/// an axis that leans by 12 deg leaves sin 12 deg of it.
const ALIGNMENT_SHARE: f64 = 0.2;

/// A person comes back to the neutral position to about this, unseen where the drift between
/// still positions is taken out, deg (own judgement).
const NEUTRAL_SD_DEG: f64 = 0.7;

/// A still position of this strap.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pause {
    /// Its middle, session time, s.
    pub(super) t_s: f64,
    /// Angle since the still position before, which is what was taken out, deg.
    pub(super) step_deg: f64,
    /// SD of the angle while still: sway, deg.
    sway_deg: f64,
}

/// Turn of one strap against its still positions, deg, + = left.
#[derive(Debug, Clone)]
pub(super) struct Track {
    /// Still positions; `step_deg` of the first is 0.
    pub(super) stills: Vec<Pause>,
    t_s: Vec<f64>,
    turn_deg: Vec<f64>,
    alignment_sd_deg: f64,
}

impl Track {
    /// Follows `strap` through `stills`. `None` when there are fewer than two of them or one
    /// has no samples.
    pub(super) fn new(strap: &StrapTurn, stills: &[Still]) -> Option<Self> {
        let range = |s: &Still| {
            let lo = strap.t_s.partition_point(|t| *t < s.from_s);
            let hi = strap.t_s.partition_point(|t| *t <= s.to_s);
            (hi >= lo + 5).then_some((lo, hi))
        };
        let ranges: Vec<(usize, usize)> = stills.iter().map(range).collect::<Option<_>>()?;
        let mut track = Self {
            stills: Vec::with_capacity(stills.len()),
            t_s: Vec::new(),
            turn_deg: Vec::new(),
            alignment_sd_deg: strap.mounting?.sd_deg,
        };
        for pair in ranges.windows(2) {
            track.piece(strap, pair[0], pair[1])?;
        }
        (track.stills.len() >= 2).then_some(track)
    }

    /// From one still position to the next: attitude latched at the first, gyroscope alone
    /// from there, what is left over at the second taken out in proportion to time.
    fn piece(&mut self, strap: &StrapTurn, a: (usize, usize), b: (usize, usize)) -> Option<()> {
        let (lo, hi) = (a.0, b.1);
        let up = latched::up_at(&strap.t_s, &strap.gyro, &strap.acc, a.0, a.1, lo)?;
        let t_s = &strap.t_s[lo..hi];
        let path = latched::integrate(attitude_from_up(&up), t_s, &strap.gyro[lo..hi], strap.sample_is);
        let mut axial: Vec<f64> = path.iter().map(|q| Cardan::from_quaternion(q).axial).collect();
        unwrap(&mut axial);
        let mut axial: Vec<f64> = axial.into_iter().map(f64::to_degrees).collect();
        let still = |(from, to): (usize, usize)| {
            let part = &axial[from - lo..to - lo];
            let zero = mean(part);
            let sway = (part.iter().map(|x| (x - zero).powi(2)).sum::<f64>() / part.len() as f64).sqrt();
            (mean(&strap.t_s[from..to]), zero, sway)
        };
        let ((ta, zero, sway_a), (tb, end, sway_b)) = (still(a), still(b));
        let slope = (end - zero) / (tb - ta).max(1e-6);
        for (angle, t) in axial.iter_mut().zip(t_s) {
            *angle -= zero + slope * (t - ta);
        }
        if self.stills.is_empty() {
            self.stills.push(Pause { t_s: ta, step_deg: 0.0, sway_deg: sway_a });
        }
        self.stills.push(Pause { t_s: tb, step_deg: end - zero, sway_deg: sway_b });
        // The pieces overlap over a still position; the later one has its attitude fresh.
        let keep = self.t_s.partition_point(|t| *t < t_s[0]);
        self.t_s.truncate(keep);
        self.turn_deg.truncate(keep);
        self.t_s.extend_from_slice(t_s);
        self.turn_deg.extend(axial);
        Some(())
    }

    /// Turn at `t_s`, deg, + = left.
    pub(super) fn at(&self, t_s: f64) -> f64 {
        let i = self.t_s.partition_point(|t| *t < t_s).clamp(1, self.t_s.len() - 1);
        let f = ((t_s - self.t_s[i - 1]) / (self.t_s[i] - self.t_s[i - 1])).clamp(0.0, 1.0);
        self.turn_deg[i - 1] * (1.0 - f) + self.turn_deg[i] * f
    }

    /// Where the turn is largest in the direction `sign` between two times: time and angle.
    pub(super) fn extreme(&self, sign: f64, from_s: f64, to_s: f64) -> Option<(f64, f64)> {
        let lo = self.t_s.partition_point(|t| *t < from_s);
        let hi = self.t_s.partition_point(|t| *t <= to_s);
        (lo..hi)
            .max_by(|&a, &b| (sign * self.turn_deg[a]).total_cmp(&(sign * self.turn_deg[b])))
            .map(|i| (self.t_s[i], self.turn_deg[i]))
    }

    /// Largest turn either way while still positions are in place, deg.
    pub(super) fn largest_deg(&self) -> f64 {
        self.turn_deg.iter().fold(0.0, |m, a| m.max(a.abs()))
    }

    /// Standard measuring uncertainty of the turn `deg` at `t_s`, deg: scale, alignment, sway
    /// of the still positions, and the drift taken out. That could as well have been the
    /// player coming back elsewhere; then the start position would have been the right zero,
    /// so all of it is a rectangular half-width.
    pub(super) fn sd_deg(&self, deg: f64, t_s: f64) -> f64 {
        let next = self.stills.partition_point(|p| p.t_s < t_s).clamp(1, self.stills.len() - 1);
        let (a, b) = (self.stills[next - 1], self.stills[next]);
        let share = ((t_s - a.t_s) / (b.t_s - a.t_s).max(1e-6)).clamp(0.0, 1.0);
        let taken_out = (b.step_deg * share).abs() / 3.0_f64.sqrt();
        let sway = (a.sway_deg * (1.0 - share)).hypot(b.sway_deg * share);
        (SCALE * deg)
            .hypot(ALIGNMENT_SHARE * self.alignment_sd_deg)
            .hypot(sway)
            .hypot(taken_out)
            .hypot(NEUTRAL_SD_DEG)
    }

    /// Mean drift from the first to the last still position, deg/s.
    pub(super) fn drift_dps(&self) -> f64 {
        let (Some(first), Some(last)) = (self.stills.first(), self.stills.last()) else { return 0.0 };
        self.left_over_deg() / (last.t_s - first.t_s).max(1e-6)
    }

    /// Angle from the first to the last still position, deg.
    pub(super) fn left_over_deg(&self) -> f64 {
        self.stills.iter().map(|p| p.step_deg).sum()
    }

    /// Seconds from the first to the last still position.
    pub(super) fn seconds(&self) -> f64 {
        self.stills.last().map_or(0.0, |l| l.t_s) - self.stills.first().map_or(0.0, |f| f.t_s)
    }

    /// Largest difference between successive still positions, deg.
    pub(super) fn largest_step_deg(&self) -> f64 {
        self.stills.iter().fold(0.0, |m, p| m.max(p.step_deg.abs()))
    }
}
