//! What of a swing can be trusted, and why the rest is withheld.

use serde::{Deserialize, Serialize};

/// What can be trusted and why not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Quality {
    /// Sequence timing is usable.
    pub usable: bool,
    /// Withheld numbers, each with the reason, in plain words.
    pub withheld: Vec<Withheld>,
    /// Things to know that withhold nothing.
    #[serde(default)]
    pub notes: Vec<String>,
    /// Samples lost between takeaway and finish, all straps.
    pub lost_samples: u32,
    /// Samples at the sensor's range limit between takeaway and finish, all straps.
    pub clipped_samples: u32,
    /// Standard uncertainty of the straps' alignment to one another, milliseconds.
    pub clock_sd_ms: f64,
}

/// One withheld number or group.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Withheld {
    /// Field or group of fields, e.g. `pelvis.turn_deg`.
    pub what: String,
    /// Why, and what to do about it.
    pub why: String,
}
