//! Gaps between segments, and which of them are resolved.

use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::order::close;
use peakorder_protocol::swing::Gap;

/// An instant of one segment.
#[derive(Debug, Clone, Copy)]
pub struct Timed {
    /// Segment.
    pub role: Role,
    /// Session time, s.
    pub t_s: f64,
    /// Standard uncertainty without the clock's share, s.
    pub sd_s: f64,
}

/// All pairs, proximal first. `clock_sd_s` is the standard uncertainty of the alignment of
/// two straps. A pair is resolved when its gap exceeds its 95 % band, or when that follows
/// from two other pairs.
pub fn gaps(timed: &[Timed], clock_sd_s: impl Fn(Role, Role) -> f64) -> Vec<Gap> {
    let mut out = Vec::new();
    for (i, a) in timed.iter().enumerate() {
        for b in &timed[i + 1..] {
            let gap_ms = (b.t_s - a.t_s) * 1e3;
            let clock = clock_sd_s(a.role, b.role);
            let sd_ms = (a.sd_s * a.sd_s + b.sd_s * b.sd_s + clock * clock).sqrt() * 1e3;
            out.push(Gap { from: a.role, to: b.role, gap_ms, sd_ms, resolved: gap_ms.abs() > Z95 * sd_ms });
        }
    }
    close(&mut out);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use Role::{LeadArm, Pelvis, Thorax};

    fn at(role: Role, ms: f64) -> Timed {
        Timed { role, t_s: ms * 1e-3, sd_s: 1e-3 }
    }

    #[test]
    fn clear_gaps_are_resolved_and_close_ones_are_ties() {
        let timed = [at(Pelvis, -87.0), at(Thorax, -68.0), at(LeadArm, -65.0)];
        let g = gaps(&timed, |_, _| 1e-3);
        assert!((g[0].gap_ms - 19.0).abs() < 1e-9);
        assert_eq!(g.iter().map(|g| g.resolved).collect::<Vec<_>>(), [true, true, false]);
    }

    #[test]
    fn a_pair_between_two_resolved_ones_is_resolved() {
        // The straps of pelvis and arm are badly aligned to each other.
        let timed = [at(Pelvis, 0.0), at(Thorax, 5.0), at(LeadArm, 10.0)];
        let g = gaps(&timed, |a, b| if (a, b) == (Pelvis, LeadArm) { 20e-3 } else { 0.0 });
        assert!(g.iter().all(|g| g.resolved));
    }
}
