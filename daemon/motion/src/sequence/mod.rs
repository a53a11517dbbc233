//! Kinematic sequence: when each segment turned back and when it was fastest.

pub mod apex;
pub mod fit;
pub mod order;
pub mod peak;
pub mod reversal;
mod smoothing;
pub mod width;
