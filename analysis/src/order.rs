//! Orders of peaks and reversals, with ties kept as ties.

use crate::stats::wilson;
use crate::words::{capital, list};
use peakorder_protocol::Role;
use peakorder_protocol::order::PartialOrder;
use peakorder_protocol::swing::{Gap, Sequence, Swing, SwingKind};

/// The notation used by [`Order::text`], for a legend.
pub const LEGEND: &str =
    "→ before · ≈ too close to tell (95 %) · held: to impact · ↗ rising at impact · arm: lead arm";

/// One order of events of the segments.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Order {
    /// Of the segments whose event was measured.
    pub of: PartialOrder,
    /// Segments without a peak because their speed still rose at impact.
    pub rising: Vec<Role>,
}

impl Order {
    /// Order of the peaks; `None` when there is neither a peak nor a rising segment.
    pub fn of_peaks(sequence: &Sequence) -> Option<Self> {
        Self::new(&sequence.order, &sequence.gaps, &sequence.rising_at_impact)
    }

    /// Order of the reversals (transition); `None` without any.
    pub fn of_reversals(sequence: &Sequence) -> Option<Self> {
        Self::new(&sequence.reversal_order, &sequence.reversal_gaps, &[])
    }

    fn new(groups: &[Vec<Role>], gaps: &[Gap], rising: &[Role]) -> Option<Self> {
        let of = PartialOrder::new(groups.iter().flatten().copied(), gaps);
        let mut rising = rising.to_vec();
        rising.sort_unstable();
        (!of.is_empty() || !rising.is_empty()).then_some(Self { of, rising })
    }

    /// Whether any two segments could not be told apart.
    pub fn has_tie(&self) -> bool {
        self.of.has_tie()
    }

    /// `pelvis → thorax ≈ arm` or `pelvis → arm, thorax tied with both`, in the notation of
    /// [`LEGEND`].
    pub fn text(&self) -> String {
        let mut parts = Vec::new();
        match &self.of {
            PartialOrder::Groups(groups) if groups.is_empty() => {}
            PartialOrder::Groups(groups) => {
                let group = |g: &Vec<Role>| g.iter().map(|&r| short(r)).collect::<Vec<_>>().join(" ≈ ");
                parts.push(groups.iter().map(group).collect::<Vec<_>>().join(" → "));
            }
            PartialOrder::OnePair { first, second, tied } => {
                parts.push(format!("{} → {}", short(*first), short(*second)));
                parts.push(format!("{} tied with both", short(*tied)));
            }
        }
        parts.extend(self.rising.iter().map(|&r| format!("{} ↗", short(r))));
        parts.join(", ")
    }
}

/// The order of a swing's peaks as a heading: `Pelvis, then thorax and lead arm tied`.
pub fn heading(swing: &Swing) -> String {
    let sequence = &swing.sequence;
    let Some(order) = Order::of_peaks(sequence) else { return "No order could be measured".to_owned() };
    let held = &sequence.held_to_impact;
    if swing.kind == SwingKind::Unsure && !held.is_empty() && order.of.resolved().is_empty() {
        return "No order can be told: when impact was is not known".to_owned();
    }
    let names = |roles: &[Role]| list(&roles.iter().map(|r| r.label()).collect::<Vec<_>>());
    let mut text = match &order.of {
        PartialOrder::Groups(groups) => {
            let group = |g: &Vec<Role>| format!("{}{}", names(g), if g.len() > 1 { " tied" } else { "" });
            groups.iter().map(group).collect::<Vec<_>>().join(", then ")
        }
        PartialOrder::OnePair { first, second, tied } => {
            format!("{first} before {second}, {tied} tied with both")
        }
    };
    // Of an estimated impact the tops may have come before or after.
    if swing.kind == SwingKind::Strike && !held.is_empty() {
        text = format!("{text}; {} at the top until impact", names(held));
    }
    if !order.rising.is_empty() {
        let between = if text.is_empty() { "" } else { "; " };
        text = format!("{text}{between}{} still rising at impact", names(&order.rising));
    }
    capital(&text)
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
