#![doc = include_str!("../README.md")]
//!
//! # How it is laid out
//!
//! From raw arrivals to swings: decode → clock → calibrate → fuse → detect → sequence.
//!
//! Everything here is pure: no I/O, no wall clock, no async, no randomness.

pub mod angles;
pub mod attitude;
pub mod bias;
pub mod calibrate;
pub mod clock;
pub mod detect;
pub mod fuse;
pub mod joint;
pub mod measure;
pub mod minimum;
pub mod mobility;
pub mod movement;
#[cfg(test)]
mod noise;
pub mod path;
pub mod pipeline;
pub mod repetition;
pub mod rest;
pub mod samples;
pub mod segment;
pub mod sequence;
pub mod settings;
pub mod shake;
pub mod shift;
pub mod stream;
#[cfg(test)]
mod stream_tests;
pub mod window;
