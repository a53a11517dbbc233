//! Published and independently computed values against the product's own computations.
//!
//! Every check names where its numbers come from: a paper ("second-hand" where only a
//! digest of it was seen), scipy 1.17.1 with numpy 2.4.6, or arithmetic written out beside it.

#[path = "published_values/angles.rs"]
mod angles;
#[path = "published_values/clocks.rs"]
mod clocks;
#[path = "published_values/rates.rs"]
mod rates;
#[path = "published_values/sequence.rs"]
mod sequence;
#[path = "published_values/smoothing.rs"]
mod smoothing;
#[path = "published_values/tempo.rs"]
mod tempo;
