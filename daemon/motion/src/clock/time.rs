//! The two clocks: a strap's own and the session's.
//!
//! Both count seconds, so both would be a bare `f64` and could be mixed up unnoticed. Each has
//! a type of its own wherever the two meet: in the clock, in a strap's stream and in what a
//! stream keeps. A [`TimeMap`](super::TimeMap) is the only way from one to the other. Once
//! samples are cut out for a swing ([`window`](crate::window)) no device time is left, and
//! plain seconds on the session clock, named `…_s`, are used from there on.

/// Seconds on a strap's own clock. Its zero is arbitrary and moves when the strap restarts.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct DeviceTime(f64);

/// Seconds on the session clock: host monotonic, zero at the start of the session.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct SessionTime(f64);

impl DeviceTime {
    /// Before every sample.
    pub const NEVER: Self = Self(f64::NEG_INFINITY);

    /// `seconds` on the strap's clock.
    pub const fn from_s(seconds: f64) -> Self {
        Self(seconds)
    }

    /// Nanoseconds of a sample that carries its own time.
    pub const fn from_ns(ns: i64) -> Self {
        Self(ns as f64 * 1e-9)
    }

    /// Seconds on the strap's clock.
    pub const fn s(self) -> f64 {
        self.0
    }

    /// This time and `seconds` more.
    #[must_use]
    pub const fn plus_s(self, seconds: f64) -> Self {
        Self(self.0 + seconds)
    }

    /// Seconds from `earlier` to this time, both on the same strap's clock.
    pub const fn since_s(self, earlier: Self) -> f64 {
        self.0 - earlier.0
    }
}

impl SessionTime {
    /// Before the session.
    pub const NEVER: Self = Self(f64::NEG_INFINITY);

    /// `seconds` on the session clock.
    pub const fn from_s(seconds: f64) -> Self {
        Self(seconds)
    }

    /// Nanoseconds on the session clock, as records carry them.
    pub const fn from_ns(ns: u64) -> Self {
        Self(ns as f64 * 1e-9)
    }

    /// Seconds on the session clock.
    pub const fn s(self) -> f64 {
        self.0
    }

    /// Seconds from `earlier` to this time.
    pub const fn since_s(self, earlier: Self) -> f64 {
        self.0 - earlier.0
    }
}
