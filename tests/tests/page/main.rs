//! The coach's page in a real browser, fed by the daemon with virtual straps: what a person
//! would see, hear and reach.

mod access;
mod common;
mod delay;
mod keyboard;
mod lesson;
mod lost;
mod words;
