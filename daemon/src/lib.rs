#![doc = include_str!("../README.md")]
//!
//! # How it is laid out
//!
//! Straps in, swings out.
//!
//! Data goes one way: a [`source`] yields records, the [`recorder`] puts them on disk
//! before anything can fail on them, the pure [`peakorder_motion`] pipeline turns them into swings,
//! and [`output`] writes files and tells watchers. [`engine`] ties the four together.

pub mod ble;
pub mod cli;
pub mod config;
pub mod engine;
pub mod output;
pub mod recorder;
pub mod serve;
pub mod service;
pub mod source;
pub mod watch;

/// Version of this program and the commit it was built from.
pub const VERSION: &str = concat!(env!("CARGO_PKG_VERSION"), " (", env!("PEAKORDER_COMMIT"), ")");
/// The commit alone.
pub const COMMIT: &str = env!("PEAKORDER_COMMIT");
