//! From a stream of movement to swings.
//!
//! [`trigger`] watches every sample cheaply and says when something fast has come and gone.
//! [`phases`] then looks at the whole window around it and decides whether it was a swing
//! — calm address, a turn away, a reversal, a faster turn back — and where its events lie.
//! [`impact`] looks for the strike.

pub mod impact;
pub mod onset;
pub mod phases;
pub mod signal;
pub mod trigger;
