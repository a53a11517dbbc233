//! The gyroscope bias of one strap, with an honest covariance.
//!
//! A body that turns slowly looks like one that stands still on a gyroscope with another bias, so no
//! single verdict of rest is trusted. What is known comes from evidence that bodies cannot help giving:
//! gravity comes back to where the gyroscope says it is, whatever lies between; a body turns about
//! as much as it tilts; successive addresses face one target. Each may be misread, and what that would mean is
//! kept as well (`mixture`).

pub mod chunk;
pub mod evidence;
pub mod mixture;
#[cfg(test)]
mod tests;

use super::rest::Rest;
use chunk::{Chunk, Chunker};
use evidence::Evidence;
use nalgebra::{Matrix3, SymmetricEigen, Vector3};
use peakorder_protocol::Role;

/// Known to this about its least certain axis, a bias widens no band that matters, rad/s (0.5 deg/s: half a
/// degree over a backswing, what gravity at address is uncertain by). Own judgement.
const SETTLED_SD_RAD_S: f64 = 0.5 * std::f64::consts::PI / 180.0;

/// How long a bias takes to settle, from the strap's first sample, s (99 % of 168 straps on a real
/// body had settled by then, most of which began moving, swayed or warmed up).
const SETTLES_IN_S: f64 = 30.0;

/// Follows the gyroscope bias of one strap.
#[derive(Debug, Clone)]
pub struct BiasTracker {
    chunker: Chunker,
    evidence: Evidence,
    rest: Rest,
    bias: Vector3<f64>,
    covariance: Matrix3<f64>,
    /// Since when it has been settling, session s.
    settling_since_s: Option<f64>,
}

impl BiasTracker {
    /// For a strap worn at `role`.
    pub fn new(role: Role) -> Self {
        let evidence = Evidence::new(role);
        let (bias, covariance) = evidence.bias();
        Self {
            chunker: Chunker::default(),
            evidence,
            rest: Rest::default(),
            bias,
            covariance,
            settling_since_s: None,
        }
    }

    /// Takes one raw sample at session time `t_s`, by the strap's own clock `step_s` after the one before; infinite
    /// for the first and after the strap started anew.
    #[inline]
    pub fn push(&mut self, t_s: f64, step_s: f64, gyro: &Vector3<f64>, acc: &Vector3<f64>) {
        if step_s == f64::INFINITY {
            self.evidence.restarted();
            (self.bias, self.covariance) = self.evidence.bias();
        }
        if let Some(chunk) = self.chunker.push(t_s, step_s, gyro, acc, &self.bias) {
            self.chunk(chunk);
        }
    }

    fn chunk(&mut self, chunk: Chunk) {
        let now_s = chunk.from_s + chunk.seconds;
        self.rest.chunk(&chunk);
        self.evidence.chunk(chunk);
        (self.bias, self.covariance) = self.evidence.bias();
        // The trace is no less than the largest variance, and cheaper.
        if self.covariance.trace() < SETTLED_SD_RAD_S.powi(2) || self.sd_rad_s() < SETTLED_SD_RAD_S {
            self.settling_since_s = None;
        } else {
            self.settling_since_s.get_or_insert(now_s);
        }
    }

    /// The last sample was at the sensor's limit: how far the strap turned is not known.
    pub fn interrupt(&mut self) {
        self.chunker.interrupt();
    }

    /// The strap was taken off and put on again. Its bias is what it was; where it points at address is not.
    pub fn worn_anew(&mut self) {
        self.evidence.interrupt();
    }

    /// A swing was found whose address ended at session time `t_s`.
    pub fn address(&mut self, t_s: f64) {
        self.evidence.address(t_s);
        (self.bias, self.covariance) = self.evidence.bias();
    }

    /// Gyroscope bias, rad/s, sensor frame.
    pub fn bias(&self) -> Vector3<f64> {
        self.bias
    }

    /// Its covariance, (rad/s)², sensor frame.
    pub fn covariance(&self) -> Matrix3<f64> {
        self.covariance
    }

    /// Standard uncertainty about its least certain axis, rad/s.
    pub fn sd_rad_s(&self) -> f64 {
        largest_sd(&self.covariance)
    }

    /// How the bias is settling; `None` once it has.
    pub fn settling(&self, now_s: f64) -> Option<Settling> {
        if self.sd_rad_s() < SETTLED_SD_RAD_S {
            return None;
        }
        let since_s = self.settling_since_s.unwrap_or(now_s);
        Some(Settling { left_s: (since_s + SETTLES_IN_S - now_s).max(0.0) })
    }

    /// Since when the strap has been at rest, session seconds.
    pub fn rest_since_s(&self) -> Option<f64> {
        self.rest.since_s()
    }
}

/// A bias that is not known well yet. Bands are wider meanwhile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settling {
    /// So much longer it takes as a rule, s; 0 where it has taken longer already.
    pub left_s: f64,
}

/// Standard uncertainty along the least certain axis of a covariance.
pub fn largest_sd(covariance: &Matrix3<f64>) -> f64 {
    SymmetricEigen::new(*covariance).eigenvalues.max().max(0.0).sqrt()
}
