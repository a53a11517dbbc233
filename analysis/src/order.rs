//! Orders of peaks and reversals, with ties kept as ties.

use crate::stats::wilson;
use peakorder_protocol::Role;
use peakorder_protocol::swing::Sequence;

/// The notation used by [`Order::text`], for a legend.
pub const LEGEND: &str = "→ before · ≈ too close to tell (95 %) · ↗ no peak before impact · arm: lead arm";

/// One order of events of the segments.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Order {
    /// First to last; several segments in one inner list are a tie, kept proximal to
    /// distal so that equal ties compare equal.
    pub groups: Vec<Vec<Role>>,
    /// Segments without a peak because their speed still rose at impact.
    pub rising: Vec<Role>,
}

impl Order {
    /// Order of the peaks; `None` when there is neither a peak nor a rising segment.
    pub fn of_peaks(sequence: &Sequence) -> Option<Self> {
        Self::new(&sequence.order, &sequence.rising_at_impact)
    }

    /// Order of the reversals (transition); `None` without any.
    pub fn of_reversals(sequence: &Sequence) -> Option<Self> {
        Self::new(&sequence.reversal_order, &[])
    }

    fn new(groups: &[Vec<Role>], rising: &[Role]) -> Option<Self> {
        let sorted = |roles: &[Role]| {
            let mut roles = roles.to_vec();
            roles.sort_unstable();
            roles
        };
        let groups: Vec<Vec<Role>> = groups.iter().filter(|g| !g.is_empty()).map(|g| sorted(g)).collect();
        let rising = sorted(rising);
        (!groups.is_empty() || !rising.is_empty()).then_some(Self { groups, rising })
    }

    /// Whether any two segments could not be told apart.
    pub fn has_tie(&self) -> bool {
        self.groups.iter().any(|g| g.len() > 1)
    }

    /// `pelvis → thorax ≈ arm`, in the notation of [`LEGEND`].
    pub fn text(&self) -> String {
        let names = |roles: &[Role]| roles.iter().map(|&r| short(r)).collect::<Vec<_>>();
        let groups: Vec<String> = self.groups.iter().map(|g| names(g).join(" ≈ ")).collect();
        let rising: Vec<String> = names(&self.rising).iter().map(|n| format!("{n} ↗")).collect();
        let mut parts = Vec::new();
        if !groups.is_empty() {
            parts.push(groups.join(" → "));
        }
        parts.extend(rising);
        parts.join(", ")
    }
}

/// The segment's name in narrow places: `arm` for the lead arm.
pub const fn short(role: Role) -> &'static str {
    match role {
        Role::Pelvis => "pelvis",
        Role::Thorax => "thorax",
        Role::LeadArm => "arm",
    }
}

/// How often one order was seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// The order.
    pub order: Order,
    /// Swings with it.
    pub count: usize,
    /// Out of so many.
    pub of: usize,
    /// 95 % interval of the share, 0 to 1 (Wilson).
    pub interval: (f64, f64),
}

impl Share {
    /// Share of swings, 0 to 1.
    pub fn share(&self) -> f64 {
        self.count as f64 / self.of as f64
    }
}

/// Counts each order, most frequent first.
pub fn shares(orders: impl IntoIterator<Item = Order>) -> Vec<Share> {
    let mut counts = std::collections::BTreeMap::new();
    for order in orders {
        *counts.entry(order).or_insert(0_usize) += 1;
    }
    let of = counts.values().sum();
    let mut shares: Vec<Share> = counts
        .into_iter()
        .filter_map(|(order, count)| Some(Share { order, count, of, interval: wilson(count, of)? }))
        .collect();
    // A stable sort: equal counts stay in the order of the keys.
    shares.sort_by_key(|s| std::cmp::Reverse(s.count));
    shares
}
