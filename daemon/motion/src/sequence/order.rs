//! Order with ties: never a forced order.

use peakorder_protocol::Role;
use peakorder_protocol::swing::Gap;

/// 95 % of a normal variable.
pub const K95: f64 = 1.96;

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
/// two straps.
pub fn gaps(timed: &[Timed], clock_sd_s: impl Fn(Role, Role) -> f64) -> Vec<Gap> {
    let mut out = Vec::new();
    for (i, a) in timed.iter().enumerate() {
        for b in &timed[i + 1..] {
            let gap_ms = (b.t_s - a.t_s) * 1e3;
            let clock = clock_sd_s(a.role, b.role);
            let sd_ms = (a.sd_s * a.sd_s + b.sd_s * b.sd_s + clock * clock).sqrt() * 1e3;
            out.push(Gap { from: a.role, to: b.role, gap_ms, sd_ms, resolved: gap_ms.abs() > K95 * sd_ms });
        }
    }
    out
}

/// Groups in order of time. A segment joins the group before it when it cannot be told
/// apart from any member of that group, so that no two in different neighbouring groups
/// are an unresolved pair hidden by a third.
pub fn order(timed: &[Timed], gaps: &[Gap]) -> Vec<Vec<Role>> {
    let mut sorted: Vec<&Timed> = timed.iter().collect();
    sorted.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let resolved = |a: Role, b: Role| {
        gaps.iter()
            .find(|g| (g.from == a && g.to == b) || (g.from == b && g.to == a))
            .is_none_or(|g| g.resolved)
    };
    let mut groups: Vec<Vec<Role>> = Vec::new();
    for item in sorted {
        match groups.last_mut() {
            Some(group) if group.iter().any(|member| !resolved(*member, item.role)) => group.push(item.role),
            _ => groups.push(vec![item.role]),
        }
    }
    // Inside a tie the order says nothing: proximal first.
    for group in &mut groups {
        group.sort();
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use Role::{LeadArm, Pelvis, Thorax};

    fn at(role: Role, ms: f64) -> Timed {
        Timed { role, t_s: ms * 1e-3, sd_s: 1e-3 }
    }

    #[test]
    fn clear_gaps_are_ordered_and_close_ones_are_ties() {
        let timed = [at(Pelvis, -87.0), at(Thorax, -68.0), at(LeadArm, -65.0)];
        let g = gaps(&timed, |_, _| 1e-3);
        assert_eq!(order(&timed, &g), vec![vec![Pelvis], vec![Thorax, LeadArm]]);
        assert!((g[0].gap_ms - 19.0).abs() < 1e-9 && g[0].resolved);
        assert!(!g[2].resolved);
    }

    #[test]
    fn other_orders_are_as_valid() {
        let timed = [at(Pelvis, -50.0), at(Thorax, -90.0), at(LeadArm, -70.0)];
        let g = gaps(&timed, |_, _| 0.0);
        assert_eq!(order(&timed, &g), vec![vec![Thorax], vec![LeadArm], vec![Pelvis]]);
    }

    #[test]
    fn a_chain_of_ties_is_one_tie() {
        // 0, 2.5, 5 ms: neighbours cannot be told apart, the ends can. No order is forced.
        let timed = [at(Pelvis, 0.0), at(Thorax, 2.5), at(LeadArm, 5.0)];
        let g = gaps(&timed, |_, _| 0.0);
        assert!(g.iter().any(|g| g.resolved));
        assert_eq!(order(&timed, &g), vec![vec![Pelvis, Thorax, LeadArm]]);
    }
}
