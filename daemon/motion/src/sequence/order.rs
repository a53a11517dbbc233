//! Gaps between segments, and which of them are resolved.

use super::width::SMOOTHINGS;
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
    /// The same instant by other smoothings, each by the same for all segments, s.
    pub by_smoothing_s: [f64; SMOOTHINGS],
    /// First and last session time that it may have been as well, s.
    pub rivals_s: [f64; 2],
    /// A stretch that lasts until impact: the time is its middle.
    pub held: bool,
}

impl Timed {
    /// An instant that does not depend on the smoothing.
    pub fn sharp(role: Role, t_s: f64, sd_s: f64) -> Self {
        Self { role, t_s, sd_s, by_smoothing_s: [t_s; SMOOTHINGS], rivals_s: [t_s; 2], held: false }
    }
}

/// All pairs, proximal first. `clock_sd_s` is the standard uncertainty of the alignment of
/// two straps. The band of a gap holds what every smoothing says of it, one and the same for both
/// segments. A pair is resolved when its gap exceeds its 95 % band, or when that follows from two
/// other pairs.
pub fn gaps(timed: &[Timed], clock_sd_s: impl Fn(Role, Role) -> f64) -> Vec<Gap> {
    let mut out = Vec::new();
    for (i, a) in timed.iter().enumerate() {
        for b in &timed[i + 1..] {
            let gap_ms = (b.t_s - a.t_s) * 1e3;
            let clock = clock_sd_s(a.role, b.role);
            let least_ms = (a.sd_s * a.sd_s + b.sd_s * b.sd_s + clock * clock).sqrt() * 1e3;
            let smoothings = a.by_smoothing_s.iter().zip(&b.by_smoothing_s).map(|(a, b)| b - a);
            let rivals = a.rivals_s.iter().map(|a| b.t_s - a).chain(b.rivals_s.iter().map(|b| b - a.t_s));
            let furthest_ms = smoothings.chain(rivals).map(|s| (s * 1e3 - gap_ms).abs()).fold(0.0, f64::max);
            let sd_ms = least_ms.max(furthest_ms / Z95);
            out.push(Gap {
                from: a.role,
                to: b.role,
                gap_ms,
                sd_ms,
                bone_sd_ms: None,
                resolved: gap_ms.abs() > Z95 * sd_ms,
                held: a.held || b.held,
            });
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
        Timed::sharp(role, ms * 1e-3, 1e-3)
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
