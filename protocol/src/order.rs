//! In which order the segments came, by the pairs that could be told apart.
//!
//! A pair of segments is resolved when the gap between them exceeds its 95 % band; any other
//! pair is a tie. Ties do not chain: where thorax is tied with pelvis and with the arm, pelvis
//! and arm can still be clearly apart. Up to three segments can stand in five ways: one after
//! the other; two tied and then one; one and then two tied; all tied; or one pair resolved and
//! the third segment tied with both.

use crate::role::Role;
use crate::swing::Gap;
use serde::{Deserialize, Serialize};

/// The order of the segments' peaks or reversals.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum PartialOrder {
    /// First to last. Segments of one group are tied with each other, and each is resolved
    /// from every segment of every other group.
    Groups(Vec<Vec<Role>>),
    /// One pair is resolved, and the third segment is tied with both.
    OnePair {
        /// First of the resolved pair.
        first: Role,
        /// Second of the resolved pair.
        second: Role,
        /// Tied with both.
        tied: Role,
    },
}

/// Makes resolved what follows from two resolved pairs: with a before b and b before c, a is
/// before c, however wide the band of that gap alone is.
pub fn close(gaps: &mut [Gap]) {
    let before = closed(gaps);
    for gap in gaps {
        gap.resolved = before(gap.from, gap.to) != before(gap.to, gap.from);
    }
}

/// Whether the first segment is before the second, by the resolved gaps and what follows from
/// them. Gaps that contradict each other resolve nothing.
fn closed(gaps: &[Gap]) -> impl Fn(Role, Role) -> bool + use<> {
    let mut before = [[false; 3]; 3];
    for gap in gaps.iter().filter(|g| g.resolved) {
        let (first, second) = if gap.gap_ms > 0.0 { (gap.from, gap.to) } else { (gap.to, gap.from) };
        before[first.index()][second.index()] = true;
    }
    for middle in 0..3 {
        for a in 0..3 {
            for b in 0..3 {
                before[a][b] |= before[a][middle] && before[middle][b];
            }
        }
    }
    move |a, b| before[a.index()][b.index()] && !before[b.index()][a.index()]
}

impl PartialOrder {
    /// Of `roles`, by their gaps. A pair without a gap is a tie.
    pub fn new(roles: impl IntoIterator<Item = Role>, gaps: &[Gap]) -> Self {
        let mut roles: Vec<Role> = roles.into_iter().collect();
        roles.sort_unstable();
        roles.dedup();
        let before = closed(gaps);
        let pairs = || roles.iter().flat_map(|a| roles.iter().map(move |b| (*a, *b)));
        let mut resolved = pairs().filter(|(a, b)| before(*a, *b));
        if let (3, Some((first, second)), None) = (roles.len(), resolved.next(), resolved.next())
            && let Some(&tied) = roles.iter().find(|r| **r != first && **r != second)
        {
            return Self::OnePair { first, second, tied };
        }
        // Of the other four ways, segments with as many others before them are tied.
        let rank = |role: Role| roles.iter().filter(|other| before(**other, role)).count();
        let mut groups: Vec<Vec<Role>> = Vec::new();
        let mut ranked: Vec<(usize, Role)> = roles.iter().map(|r| (rank(*r), *r)).collect();
        ranked.sort_unstable();
        for pair in ranked.chunk_by(|a, b| a.0 == b.0) {
            groups.push(pair.iter().map(|(_, role)| *role).collect());
        }
        Self::Groups(groups)
    }

    /// Whether any pair is a tie.
    pub fn has_tie(&self) -> bool {
        match self {
            Self::Groups(groups) => groups.iter().any(|g| g.len() > 1),
            Self::OnePair { .. } => true,
        }
    }

    /// No segment at all.
    pub fn is_empty(&self) -> bool {
        matches!(self, Self::Groups(groups) if groups.is_empty())
    }

    /// Resolved pairs, each with the earlier segment first.
    pub fn resolved(&self) -> Vec<(Role, Role)> {
        match self {
            Self::Groups(groups) => {
                let mut pairs = Vec::new();
                for (i, group) in groups.iter().enumerate() {
                    for later in groups.iter().skip(i + 1).flatten() {
                        pairs.extend(group.iter().map(|earlier| (*earlier, *later)));
                    }
                }
                pairs
            }
            Self::OnePair { first, second, .. } => vec![(*first, *second)],
        }
    }

    /// Tied pairs, each with the proximal segment first.
    pub fn tied(&self) -> Vec<(Role, Role)> {
        match self {
            Self::Groups(groups) => {
                let mut pairs = Vec::new();
                for group in groups {
                    for (i, a) in group.iter().enumerate() {
                        pairs.extend(group.iter().skip(i + 1).map(|b| (*a, *b)));
                    }
                }
                pairs
            }
            Self::OnePair { first, second, tied } => {
                let mut pairs = [*first, *second].map(|r| (r.min(*tied), r.max(*tied)));
                pairs.sort_unstable();
                pairs.to_vec()
            }
        }
    }

    /// As groups in order, for the swing file's `order`: segments of different groups are not
    /// always resolved, but no resolved pair is in one group or the wrong way round. A segment
    /// that is tied with both of a resolved pair joins the one it is less clearly apart from, by
    /// gap over standard uncertainty; without gaps, and where it is as far from both, the first.
    pub fn groups(&self, gaps: &[Gap]) -> Vec<Vec<Role>> {
        match self {
            Self::Groups(groups) => groups.clone(),
            Self::OnePair { first, second, tied } => {
                let apart = |role: Role| {
                    let gap = gaps
                        .iter()
                        .find(|g| (g.from, g.to) == (role, *tied) || (g.from, g.to) == (*tied, role));
                    gap.map_or(0.0, |g| if g.sd_ms > 0.0 { (g.gap_ms / g.sd_ms).abs() } else { 0.0 })
                };
                let (near, alone_first) =
                    if apart(*first) <= apart(*second) { (*first, false) } else { (*second, true) };
                let mut pair = vec![near, *tied];
                pair.sort_unstable();
                if alone_first { vec![vec![*first], pair] } else { vec![pair, vec![*second]] }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Z95;
    use Role::{LeadArm, Pelvis, Thorax};
    use proptest::prelude::*;

    fn gap(from: Role, to: Role, gap_ms: f64, sd_ms: f64) -> Gap {
        Gap { from, to, gap_ms, sd_ms, resolved: gap_ms.abs() > Z95 * sd_ms, held: false, bone_sd_ms: None }
    }

    fn three(at: [f64; 3], sd: [f64; 3]) -> [Gap; 3] {
        [
            gap(Pelvis, Thorax, at[1] - at[0], sd[0]),
            gap(Pelvis, LeadArm, at[2] - at[0], sd[1]),
            gap(Thorax, LeadArm, at[2] - at[1], sd[2]),
        ]
    }

    #[test]
    fn a_resolved_pair_is_no_tie_because_a_chain_runs_past_it() {
        let gaps = three([0.0, -2.5, -5.0], [2.0, 1.0, 2.0]);
        let order = PartialOrder::new(Role::ALL, &gaps);
        assert_eq!(order, PartialOrder::OnePair { first: LeadArm, second: Pelvis, tied: Thorax });
        assert_eq!(order.resolved(), [(LeadArm, Pelvis)]);
        assert_eq!(order.tied(), [(Pelvis, Thorax), (Thorax, LeadArm)]);
        assert_eq!(order.groups(&gaps), [vec![Thorax, LeadArm], vec![Pelvis]]);
    }

    #[test]
    fn the_third_joins_the_one_it_is_less_clearly_apart_from() {
        let nearer_last = three([0.0, 4.0, 5.0], [2.5, 1.0, 2.5]);
        let order = PartialOrder::new(Role::ALL, &nearer_last);
        assert_eq!(order.groups(&nearer_last), [vec![Pelvis], vec![Thorax, LeadArm]]);
        // Also when it came last of all, but nobody knows how late.
        let last = three([0.0, 6.0, 5.0], [3.5, 1.0, 3.5]);
        let order = PartialOrder::new(Role::ALL, &last);
        assert_eq!(order, PartialOrder::OnePair { first: Pelvis, second: LeadArm, tied: Thorax });
        assert_eq!(order.groups(&last), [vec![Pelvis], vec![Thorax, LeadArm]]);
    }

    #[test]
    fn the_other_four_ways_and_fewer_segments() {
        let of = |at| PartialOrder::new(Role::ALL, &three(at, [1.0; 3]));
        assert_eq!(
            of([0.0, 10.0, 20.0]),
            PartialOrder::Groups(vec![vec![Pelvis], vec![Thorax], vec![LeadArm]])
        );
        assert_eq!(of([0.0, 1.0, 20.0]), PartialOrder::Groups(vec![vec![Pelvis, Thorax], vec![LeadArm]]));
        assert_eq!(of([0.0, 20.0, 21.0]), PartialOrder::Groups(vec![vec![Pelvis], vec![Thorax, LeadArm]]));
        assert_eq!(of([0.0, 1.0, 0.5]), PartialOrder::Groups(vec![vec![Pelvis, Thorax, LeadArm]]));
        let two = PartialOrder::new([LeadArm, Pelvis], &three([9.0, 0.0, 0.0], [1.0; 3])[1..2]);
        assert_eq!(two, PartialOrder::Groups(vec![vec![LeadArm], vec![Pelvis]]));
        assert_eq!(PartialOrder::new([Thorax], &[]), PartialOrder::Groups(vec![vec![Thorax]]));
        assert!(PartialOrder::new([], &[]).is_empty());
    }

    #[test]
    fn what_follows_from_two_pairs_is_resolved() {
        let mut gaps = three([0.0, 5.0, 10.0], [1.0, 20.0, 1.0]);
        assert!(!gaps[1].resolved);
        close(&mut gaps);
        assert!(gaps.iter().all(|g| g.resolved));
    }

    #[test]
    fn gaps_that_contradict_each_other_resolve_nothing() {
        let mut gaps =
            [gap(Pelvis, Thorax, 9.0, 1.0), gap(Thorax, LeadArm, 9.0, 1.0), gap(Pelvis, LeadArm, -9.0, 1.0)];
        assert_eq!(PartialOrder::new(Role::ALL, &gaps), PartialOrder::Groups(vec![Role::ALL.to_vec()]));
        close(&mut gaps);
        assert!(gaps.iter().all(|g| !g.resolved));
    }

    proptest! {
        #[test]
        fn no_rendering_contradicts_a_resolved_pair(
            at in prop::array::uniform3(-30.0..30.0_f64),
            sd in prop::array::uniform3(0.1..15.0_f64),
            worn in prop::sample::subsequence(Role::ALL.to_vec(), 0..=3),
        ) {
            let mut gaps: Vec<Gap> = three(at, sd).into_iter()
                .filter(|g| worn.contains(&g.from) && worn.contains(&g.to)).collect();
            close(&mut gaps);
            let order = PartialOrder::new(worn.iter().copied(), &gaps);
            let groups = order.groups(&gaps);
            prop_assert_eq!(groups.iter().map(Vec::len).sum::<usize>(), worn.len());
            let place = |role: Role| groups.iter().position(|g| g.contains(&role)).unwrap();
            for g in &gaps {
                let pair = if g.gap_ms > 0.0 { (g.from, g.to) } else { (g.to, g.from) };
                prop_assert_eq!(order.resolved().contains(&pair), g.resolved);
                prop_assert_eq!(order.tied().contains(&(g.from, g.to)), !g.resolved);
                prop_assert!(!g.resolved || place(pair.0) < place(pair.1), "{:?} of {:?}", groups, gaps);
            }
        }

        #[test]
        fn the_order_does_not_depend_on_how_it_is_given(
            at in prop::array::uniform3(-30.0..30.0_f64),
            sd in prop::array::uniform3(0.1..15.0_f64),
            shuffled in Just(vec![0_usize, 1, 2]).prop_shuffle(),
            turned in prop::array::uniform3(any::<bool>()),
        ) {
            let gaps = three(at, sd);
            let other: Vec<Gap> = shuffled.iter().map(|&i| {
                let g = gaps[i];
                if turned[i] { Gap { from: g.to, to: g.from, gap_ms: -g.gap_ms, ..g } } else { g }
            }).collect();
            let roles = shuffled.iter().map(|&i| Role::ALL[i]);
            let (a, b) = (PartialOrder::new(Role::ALL, &gaps), PartialOrder::new(roles, &other));
            prop_assert_eq!(a.groups(&gaps), b.groups(&other));
            prop_assert_eq!(a, b);
        }
    }
}
