#![doc = include_str!("../README.md")]
//!
//! # How it is laid out
//!
//! Virtual straps: a player's body as three moving segments with exact truth, straps worn
//! askew on them, sensors, clocks, a Bluetooth-like link, and scripted practice sessions.
//!
//! They are the source of the demo, whose scenario is invented, and the truth that the
//! motion pipeline is measured against. To be of use for that they share no code with the
//! pipeline and assume nothing about it: orientation is a closed-form function of time, or a
//! spline through poses that an optical laboratory saw ([`body`]), truth is searched on it
//! numerically ([`truth`]), and everything between the
//! body and the host ([`strap`], [`link`]) is a model with named parameters.
//!
//! Everything is drawn from one seed; the same seed gives the same bytes.

pub mod body;
pub mod link;
#[cfg(feature = "optical")]
pub mod optical;
mod rng;
pub mod script;
mod session_header;
pub mod strap;
pub mod truth;

pub use body::SegmentState;
pub use body::channel::Family;
pub use body::drill::{DrillOptions, DrillStyle};
pub use body::people::{Group, Manner, Top};
pub use body::player::{PlayerParams, Population, Posture, SegmentParams, Spread};
pub use body::recorded::{Trial, TrialError};
pub use body::swing::SwingStyle;
pub use link::{LinkModel, Outage};
pub use script::{PracticeOptions, RecordedOptions, Script, Session, StrapOptions};
pub use session_header::virtual_session;
pub use strap::clock::ClockModel;
pub use strap::sensor::SensorModel;
pub use strap::{Ringing, Sample, Sliding, Slip};
pub use truth::repetition::{RepetitionAngles, RepetitionTruth};
pub use truth::{HipShiftTruth, SegmentTruth, SwingTruth};
