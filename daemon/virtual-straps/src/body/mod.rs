//! A player's body as three moving segments whose every derivative is exact.
//!
//! A degree of freedom is a [`channel::Channel`]: a sum of smooth steps and waves with
//! closed-form first and second derivatives. Orientations are chains of elementary
//! rotations by those angles (`chain`), so angular velocity and acceleration follow
//! without any finite difference. [`skeleton`] joins the segments; `planner` plans
//! who moves when; `swing` and `activities` know golf.

pub(crate) mod activities;
pub(crate) mod chain;
pub mod channel;
pub(crate) mod planner;
pub mod player;
pub mod skeleton;
pub(crate) mod swing;

#[cfg(test)]
mod tests;
