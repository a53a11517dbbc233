//! What is suspicious about the samples of an imported file.

use crate::role::Role;
use serde::{Deserialize, Serialize};

/// Something about an imported file that its user should look at. The samples are taken as they are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum ImportWarning {
    /// A quantity stands in the file in two units; the first was read.
    BothUnits {
        /// Strap.
        role: Role,
        /// Column that was read.
        used: String,
        /// Column that was not.
        unused: String,
    },
    /// Times in seconds give no rate of a logger, but in this unit they would.
    TimeUnit {
        /// Strap.
        role: Role,
        /// What the times seem to be.
        unit: TimeUnit,
        /// Samples a second as the file says.
        rate_hz: f64,
    },
    /// Too few samples a second to see a swing.
    LowRate {
        /// Strap.
        role: Role,
        /// So many.
        rate_hz: f64,
        /// At least so many are needed.
        least_hz: f64,
    },
    /// Samples are missing.
    Gaps {
        /// Strap.
        role: Role,
        /// How many gaps there are.
        count: u64,
        /// Length of the longest, seconds.
        longest_s: f64,
        /// Where it begins, time as in the file, seconds.
        from_s: f64,
    },
    /// Every value of a sensor is zero.
    AllZero {
        /// Strap.
        role: Role,
        /// Sensor.
        sensor: Sensor,
    },
    /// Values that no sensor of this kind gives.
    OutOfRange {
        /// Strap.
        role: Role,
        /// Sensor.
        sensor: Sensor,
        /// Line of the first.
        line: u64,
        /// The first, in deg/s or g.
        value: f64,
        /// Samples with such a value.
        count: u64,
        /// Samples of the file.
        of: u64,
    },
    /// The accelerometer's ordinary reading is not gravity's.
    Gravity {
        /// Strap.
        role: Role,
        /// Its median size, g.
        found_g: f64,
        /// The unit that the values are in, by their size.
        mistaken: Option<Mistaken>,
    },
    /// The gyroscope disagrees with how gravity turns, by the factor between degree and radian.
    GyroUnit {
        /// Strap.
        role: Role,
        /// The true rate over what the file says.
        times: f64,
        /// The unit that the values are in.
        mistaken: Mistaken,
    },
    /// Two straps have the same samples.
    SameSamples {
        /// One strap.
        one: Role,
        /// The other.
        other: Role,
    },
    /// One strap alone cannot show a swing: the one that was not given.
    MissingStrap {
        /// The strap that is missing.
        role: Role,
    },
    /// No guided movement is marked.
    NoGuidedMovements,
}

impl ImportWarning {
    /// Whether it explains that no swing was found.
    pub fn prevents_measuring(&self) -> bool {
        match self {
            Self::TimeUnit { .. }
            | Self::LowRate { .. }
            | Self::AllZero { .. }
            | Self::Gravity { .. }
            | Self::GyroUnit { .. }
            | Self::SameSamples { .. }
            | Self::MissingStrap { .. } => true,
            // A few wild values are noise, many are another quantity.
            Self::OutOfRange { count, of, .. } => count * 100 > *of,
            Self::BothUnits { .. } | Self::Gaps { .. } | Self::NoGuidedMovements => false,
        }
    }
}

/// A sensor of a strap.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sensor {
    /// Angular velocity.
    Gyroscope,
    /// Specific force.
    Accelerometer,
}

/// A unit of time that is not seconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TimeUnit {
    /// 10⁻³ s.
    Milliseconds,
    /// 10⁻⁶ s.
    Microseconds,
    /// 10⁻⁹ s.
    Nanoseconds,
}

impl TimeUnit {
    /// How many of it make a second.
    pub const fn in_a_second(self) -> f64 {
        match self {
            Self::Milliseconds => 1e3,
            Self::Microseconds => 1e6,
            Self::Nanoseconds => 1e9,
        }
    }
}

/// A unit that the values are in although the column says another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mistaken {
    /// The column says deg/s, the values are rad/s.
    RadPerSecond,
    /// The column says rad/s, the values are deg/s.
    DegPerSecond,
    /// The column says m/s², the values are in g.
    StandardGravity,
    /// The column says g, the values are in m/s².
    MetrePerSecondSquared,
}
