//! The list of measures, and the orders of swings that are proposed.

use axum::Json;
use peakorder_analysis::design::PROPOSALS;
use peakorder_analysis::measure::{Measure, More};
use serde::Serialize;

/// A quantity of a swing.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct MeasureView {
    /// Stable name; ends in the unit.
    key: String,
    /// Name on screen.
    label: String,
    /// Kind of quantity: `timing`, `speed`, `tempo`, `turn`, `separation`, `posture`, `backswing`, `arm` or `shift`.
    group: &'static str,
    /// Unit on screen; empty for a ratio.
    unit: &'static str,
    /// Digits after the point.
    decimals: usize,
    /// A sign tells a direction.
    signed: bool,
    /// Digits after the point where a value is said.
    spoken_decimals: usize,
    /// Which way "more" goes: `larger`, `negative` (the larger size is more and is negative), or `own_side` (the larger
    /// size, on whichever side the player's mean is).
    more: &'static str,
    /// What is said of a negative and of a positive value; empty where nothing is.
    ways: [&'static str; 2],
    /// What a change across zero is called, to the negative and to the positive.
    moved: [&'static str; 2],
    /// What is said of a value that is more than another, and of one that is less.
    compared: [&'static str; 2],
    /// One swing tells too little of it: there are only means over a block, and no targets.
    means_only: bool,
    /// Key of the measure that stands for those that say nearly the same; its own where it stands alone.
    stands_for: String,
    /// What it is.
    definition: String,
}

/// All measures in the order shown.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/measures", responses((status = 200, body = Vec<MeasureView>))))]
pub(super) async fn measures() -> Json<Vec<MeasureView>> {
    let view = |m: Measure| MeasureView {
        key: m.key(),
        label: m.label(),
        group: m.group().key(),
        unit: m.unit().symbol(),
        decimals: m.decimals(),
        signed: m.signed(),
        spoken_decimals: m.unit().spoken_decimals(),
        more: match m.row().more {
            More::Larger => "larger",
            More::Negative => "negative",
            More::OwnSide => "own_side",
        },
        ways: m.row().ways,
        moved: m.row().moved,
        compared: m.row().compared,
        means_only: m.means_only(),
        stands_for: m.stands_for().key(),
        definition: m.meaning(),
    };
    Json(Measure::ALL.into_iter().map(view).collect())
}

/// An order of swings that shows a change.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct DesignView {
    /// Stable name.
    key: &'static str,
    /// Sizes of the blocks, old and new way in turn.
    blocks: &'static [usize],
    /// Swings in all.
    swings: usize,
    /// In words.
    words: String,
    /// The change that is found 8 times in 10, in standard deviations from swing to swing.
    found: FoundChange,
}

/// By how many numbers the lesson is about.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub(super) struct FoundChange {
    /// One.
    one: f64,
    /// Up to three.
    three: f64,
    /// Up to five.
    five: f64,
}

/// Orders of swings to choose from when a lesson is set up, with what each can show.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/designs", responses((status = 200, body = Vec<DesignView>))))]
pub(super) async fn designs() -> Json<Vec<DesignView>> {
    let view = |p: &peakorder_analysis::design::Proposal| DesignView {
        key: p.key,
        blocks: p.blocks,
        swings: p.swings(),
        words: p.words(),
        found: FoundChange { one: p.found[0], three: p.found[1], five: p.found[2] },
    };
    Json(PROPOSALS.iter().map(view).collect())
}
