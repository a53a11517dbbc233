//! Ways to deal swings, or whole runs of them, out to two sides: what permutation tests count over.

use chacha20::ChaCha8Rng;
use rand::SeedableRng as _;
use rand::seq::SliceRandom as _;

/// Deals are all looked at up to so many; 8 swings against 8 have 12 870.
pub const ALL_UP_TO: u64 = 20_000;
/// So many are drawn where there are more. At p = 0.05 that is known to ± 0.004 (95 %).
pub const DRAWN: usize = 9_999;
/// Same swings, same draws, on every machine.
const SEED: u64 = 0x70_65_61_6b;

/// Sides of every swing in every deal; `true` = second side. The first is what was observed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deals {
    /// One list of sides a deal.
    pub sides: Vec<Vec<bool>>,
    /// Whether these are all there are; otherwise [`DRAWN`] at random follow the observed one.
    pub all: bool,
}

/// `n` over `k`, held at the largest number there is.
pub fn choose(n: usize, k: usize) -> u64 {
    let k = k.min(n.saturating_sub(k)) as u64;
    let mut value = 1_u64;
    for i in 0..k {
        // The product of i + 1 consecutive numbers is a multiple of (i + 1)!.
        match value.checked_mul(n as u64 - i) {
            Some(product) => value = product / (i + 1),
            None => return u64::MAX,
        }
    }
    value
}

impl Deals {
    /// Of single swings that are on the sides `observed`.
    pub fn of_swings(observed: &[bool]) -> Self {
        let singles: Vec<usize> = (0..observed.len()).collect();
        Self::of_units(observed, &singles)
    }

    /// Of whole runs: neighbours on the same side stay together.
    pub fn of_runs(observed: &[bool]) -> Self {
        let mut run = 0;
        let mut units = Vec::with_capacity(observed.len());
        for (i, side) in observed.iter().enumerate() {
            if i > 0 && observed[i - 1] != *side {
                run += 1;
            }
            units.push(run);
        }
        Self::of_units(observed, &units)
    }

    /// `units[i]` is the unit that swing i belongs to.
    fn of_units(observed: &[bool], units: &[usize]) -> Self {
        let n = units.last().map_or(0, |last| last + 1);
        let of_unit: Vec<bool> =
            (0..n).map(|u| units.iter().position(|unit| *unit == u).is_some_and(|i| observed[i])).collect();
        let second = of_unit.iter().filter(|side| **side).count();
        let spread = |sides: &[bool]| units.iter().map(|u| sides[*u]).collect::<Vec<bool>>();
        let mut deals = vec![observed.to_vec()];
        if choose(n, second) <= ALL_UP_TO {
            let mut chosen: Vec<usize> = (0..second).collect();
            loop {
                let mut sides = vec![false; n];
                for &unit in &chosen {
                    sides[unit] = true;
                }
                if sides != of_unit {
                    deals.push(spread(&sides));
                }
                if !next_combination(&mut chosen, n) {
                    break;
                }
            }
            return Self { sides: deals, all: true };
        }
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let mut sides = of_unit;
        for _ in 0..DRAWN {
            sides.shuffle(&mut rng);
            deals.push(spread(&sides));
        }
        Self { sides: deals, all: false }
    }

    /// The smallest p that a two-sided test can come to by these deals: where both sides are alike, the
    /// observed deal has a twin with the sides changed over.
    pub fn least_p(&self) -> f64 {
        if !self.all {
            return 1.0 / self.sides.len() as f64;
        }
        let twin: Vec<bool> = self.sides[0].iter().map(|side| !side).collect();
        let alike = self.sides.iter().filter(|sides| **sides == twin).count() + 1;
        alike as f64 / self.sides.len() as f64
    }

    /// Share of the deals whose number, in `values`, is at least that of the observed one, which is the first.
    ///
    /// The observed deal is one of those drawn, so that p is never 0: Phipson B, Smyth GK 2010, *Stat Appl Genet
    /// Mol Biol* 9:39 (from memory).
    pub fn p(values: &[f64]) -> f64 {
        values.first().map_or(1.0, |observed| share_at_least(values, *observed))
    }
}

/// Share of `values` that are at least `limit`, but for what rounding does.
pub fn share_at_least(values: &[f64], limit: f64) -> f64 {
    let least = limit - 1e-9 * limit.abs();
    values.iter().filter(|v| **v >= least).count() as f64 / values.len().max(1) as f64
}

/// The next choice of `chosen.len()` among `n`, in lexical order.
fn next_combination(chosen: &mut [usize], n: usize) -> bool {
    let k = chosen.len();
    for i in (0..k).rev() {
        if chosen[i] < n - k + i {
            chosen[i] += 1;
            for j in i + 1..k {
                chosen[j] = chosen[j - 1] + 1;
            }
            return true;
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sides(text: &str) -> Vec<bool> {
        text.chars().map(|c| c == 'B').collect()
    }

    #[test]
    fn every_deal_comes_once_and_the_observed_one_first() {
        let deals = Deals::of_swings(&sides("AABBB"));
        assert!(deals.all);
        assert_eq!(deals.sides.len(), 10);
        assert_eq!(deals.sides[0], sides("AABBB"));
        let mut unique = deals.sides.clone();
        unique.sort();
        unique.dedup();
        assert_eq!(unique.len(), 10);
        assert!(deals.sides.iter().all(|d| d.iter().filter(|s| **s).count() == 3));
        assert_eq!(deals.least_p(), 0.1);
        assert_eq!(Deals::of_swings(&sides("AABB")).least_p(), 2.0 / 6.0);
    }

    #[test]
    fn runs_stay_together() {
        let deals = Deals::of_runs(&sides("AABBBAABB"));
        assert_eq!(deals.sides.len(), 6);
        for deal in &deals.sides {
            assert!(deal[0] == deal[1] && deal[2] == deal[3] && deal[3] == deal[4] && deal[5] == deal[6]);
        }
        // Changed over it has five on the first side, so that it is not among them... but runs are dealt, so it is.
        assert_eq!(deals.least_p(), 2.0 / 6.0);
        assert_eq!(Deals::of_runs(&sides("AABBAA")).sides.len(), 3);
        assert_eq!(Deals::of_runs(&sides("AABBAA")).least_p(), 1.0 / 3.0);
    }

    #[test]
    fn many_are_drawn_alike_every_time() {
        let observed = sides(&("A".repeat(12) + &"B".repeat(12)));
        let deals = Deals::of_swings(&observed);
        assert!(!deals.all);
        assert_eq!(deals.sides.len(), DRAWN + 1);
        assert_eq!(deals, Deals::of_swings(&observed));
        assert!(deals.sides.iter().all(|d| d.iter().filter(|s| **s).count() == 12));
        // Each swing is on the second side half of the time: 0.5 ± 4 · 0.5/√9999.
        for i in 0..24 {
            let share = deals.sides.iter().filter(|d| d[i]).count() as f64 / deals.sides.len() as f64;
            assert!((share - 0.5).abs() < 0.02, "{i}: {share}");
        }
    }

    #[test]
    fn binomials() {
        assert_eq!(choose(16, 8), 12_870);
        assert_eq!(choose(5, 0), 1);
        assert_eq!(choose(60, 30), 118_264_581_564_861_424);
        assert_eq!(choose(200, 100), u64::MAX);
    }
}
