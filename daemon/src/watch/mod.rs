//! `peakorderd watch`: the lesson in a terminal, from the same API as the page.
//!
//! [`client`] follows the events and comes back after losses, [`screen`] gathers what is
//! shown, [`draw`] puts it into lines, [`terminal`] paints them.

pub mod client;
pub mod draw;
pub mod screen;
pub mod terminal;
