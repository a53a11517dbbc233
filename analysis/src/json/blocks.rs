//! What two blocks are compared in besides their measures, and swings unlike the others of their block.

use crate::order_change::{self, PairCounts};
use crate::outliers::Flag;
use peakorder_protocol::Role;
use serde::Serialize;

/// One measure of one swing far from its block's others.
#[derive(Debug, Serialize)]
pub(super) struct Unlike {
    #[serde(skip_serializing_if = "Option::is_none")]
    number: Option<u32>,
    key: String,
    value: f64,
    others_mean: f64,
    others_sd: f64,
    words: String,
}

impl Unlike {
    /// With the swing's number, where it does not stand in the swing's own row.
    pub(super) fn numbered(flag: &Flag) -> Self {
        Self { number: Some(flag.number), ..flag.into() }
    }
}

impl From<&Flag> for Unlike {
    fn from(f: &Flag) -> Self {
        Self {
            number: None,
            key: f.measure.key(),
            value: f.value,
            others_mean: f.others_mean,
            others_sd: f.others_sd,
            words: f.words.clone(),
        }
    }
}

/// How the orders differ.
#[derive(Debug, Serialize)]
pub(super) struct OrderChange {
    verdict: &'static str,
    p: Option<f64>,
    p_dependent: Option<f64>,
    method: &'static str,
    exploratory: bool,
    rows: Vec<OrderRow>,
    pairs: Vec<Pair>,
    words: Vec<String>,
    presumes: &'static str,
}

impl From<&order_change::OrderChange> for OrderChange {
    fn from(c: &order_change::OrderChange) -> Self {
        let row = |(order, before, after): &(crate::order::Order, usize, usize)| OrderRow {
            order_text: order.text(),
            before: *before,
            after: *after,
        };
        Self {
            verdict: c.verdict.key(),
            p: c.p,
            p_dependent: c.p_dependent,
            method: c.method.key(),
            exploratory: !c.meant,
            rows: c.rows.iter().map(row).collect(),
            pairs: c.pairs.iter().map(Into::into).collect(),
            words: std::iter::once(c.sentence()).chain(c.pair_sentences()).collect(),
            presumes: c.presumes(),
        }
    }
}

#[derive(Debug, Serialize)]
struct OrderRow {
    order_text: String,
    before: usize,
    after: usize,
}

#[derive(Debug, Serialize)]
struct Pair {
    first: Role,
    second: Role,
    before: Counts,
    after: Counts,
    p: Option<f64>,
    p_holm: Option<f64>,
    p_dependent: Option<f64>,
    verdict: &'static str,
}

impl From<&order_change::PairChange> for Pair {
    fn from(p: &order_change::PairChange) -> Self {
        Self {
            first: p.first,
            second: p.second,
            before: p.before.into(),
            after: p.after.into(),
            p: p.p,
            p_holm: p.p_holm,
            p_dependent: p.p_dependent,
            verdict: p.verdict.key(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Counts {
    first: usize,
    tied: usize,
    second: usize,
    untold: usize,
}

impl From<PairCounts> for Counts {
    fn from(c: PairCounts) -> Self {
        Self { first: c.first, tied: c.tied, second: c.second, untold: c.untold }
    }
}
