//! Orders of swings that are proposed.

use crate::design::PROPOSALS;
use serde::Serialize;

/// Schema of [`Plan`].
pub const PLAN: &str = "peakorder.plan/1";

/// The orders.
#[derive(Debug, Serialize)]
pub struct Plan {
    schema: &'static str,
    measures: usize,
    orders: Vec<Order>,
}

#[derive(Debug, Serialize)]
struct Order {
    key: &'static str,
    blocks: &'static [usize],
    swings: usize,
    words: String,
    found_spreads: f64,
}

impl Plan {
    /// For so many measures meant.
    pub fn of(measures: usize) -> Self {
        let order = |p: &crate::design::Proposal| Order {
            key: p.key,
            blocks: p.blocks,
            swings: p.swings(),
            words: p.words(),
            found_spreads: p.found_with(measures),
        };
        Self { schema: PLAN, measures, orders: PROPOSALS.iter().map(order).collect() }
    }
}
