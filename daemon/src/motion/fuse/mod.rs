//! Orientation of a strap.
//!
//! Two regimes. Between swings a running filter blends gyroscope and accelerometer. In a
//! swing the accelerometer speaks of the motion, not of gravity, so from takeaway to
//! finish only the gyroscope is integrated, from an attitude latched at address: see
//! [`latched`]. Global frame: Y up; heading is whatever it was at the start.

pub mod latched;
pub mod running;
