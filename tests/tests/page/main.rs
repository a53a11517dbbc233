//! The coach's page in a real browser, fed by the daemon with virtual straps: what a person
//! would see, hear and reach.

mod above;
mod access;
mod backswing;
mod ball;
mod common;
mod compared;
mod continued;
mod delay;
mod earlier;
mod found_again;
mod headline;
mod keyboard;
mod left;
mod lesson;
mod lost;
#[path = "../../../analysis/benches/library/made.rs"]
mod made;
mod picture;
#[path = "../../../daemon/benches/serve/played.rs"]
mod played;
mod privacy;
mod repetition;
mod said;
mod sound;
#[cfg(target_os = "linux")]
mod strap_setup;
mod straps;
mod target;
mod tone;
mod viewer;
mod words;
