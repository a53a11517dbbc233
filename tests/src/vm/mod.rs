//! The daemon against the real kernel's and the real `BlueZ` Bluetooth stack: in a virtual
//! machine, with a simulated controller and three straps within its reach.
//!
//! [`scenario`] is what happens, [`radio`] plays it to the machine's kernel through
//! `/dev/vhci`, [`check`] holds what the daemon made of it against the truth.
//! `tests/vm/run.sh` ties them together.

mod att;
pub mod check;
mod controller;
pub mod radio;
pub mod scenario;
mod strap;
mod trace;
