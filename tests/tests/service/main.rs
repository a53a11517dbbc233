//! The daemon as an operator runs it: under a service manager, with a configuration file, watched over and announced.
#![cfg(unix)]

mod announce;
mod configuration;
mod journal;
mod manager;
mod metrics;
mod version;
