//! The coach's page in a real browser, fed by the daemon with virtual straps: what a person
//! would see, hear and reach.

mod above;
mod access;
mod backswing;
mod ball;
mod common;
mod compared;
mod delay;
mod headline;
mod keyboard;
mod left;
mod lesson;
mod lost;
mod privacy;
mod said;
mod sound;
#[cfg(target_os = "linux")]
mod straps;
mod target;
mod tone;
mod viewer;
mod words;
